//! An authority, a broker's certificate and a client's, made on the spot: nothing that could expire
//! lies in the project.

use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, DnType, IsCa, KeyPair};
use std::fs;
use std::path::{Path, PathBuf};

/// Files of one authority: its own certificate, and what it signed.
#[derive(Clone, Debug)]
pub struct Certificates {
    folder: PathBuf,
}

impl Certificates {
    /// Makes them in a folder: a server's for 127.0.0.1, a client's for `cellar`.
    ///
    /// # Panics
    /// Where the folder is not writable.
    #[must_use]
    pub fn made_in(folder: &Path) -> Self {
        let mut params = CertificateParams::default();
        params
            .distinguished_name
            .push(DnType::CommonName, "the house");
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let key = KeyPair::generate().expect("a key");
        let authority = CertifiedIssuer::self_signed(params, key).expect("a certificate");
        let made = Self {
            folder: folder.to_owned(),
        };
        made.write("authority.crt", &authority.pem());
        made.sign("127.0.0.1", "server", &authority);
        made.sign("cellar", "client", &authority);
        made
    }

    /// One of the files: `authority.crt`, `server.crt`, `server.key`, `client.crt`, `client.key`.
    #[must_use]
    pub fn file(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// Settings of a broker's listener that lets in only whom the authority has signed.
    #[must_use]
    pub fn listener(&self, port: u16) -> String {
        format!(
            "listener {port} 127.0.0.1\ncafile {}\ncertfile {}\nkeyfile {}\n\
             require_certificate true\n",
            self.file("authority.crt").display(),
            self.file("server.crt").display(),
            self.file("server.key").display()
        )
    }

    /// Keys of an outlet that trusts the authority and is signed by it.
    #[must_use]
    pub fn outlet_keys(&self) -> String {
        format!(
            "tls = true\nca_file = \"{}\"\nclient_certificate_file = \"{}\"\n\
             client_key_file = \"{}\"\n",
            self.file("authority.crt").display(),
            self.file("client.crt").display(),
            self.file("client.key").display()
        )
    }

    fn sign(&self, whom: &str, file: &str, authority: &CertifiedIssuer<'_, KeyPair>) {
        let params = CertificateParams::new([whom.to_owned()]).expect("a name");
        let key = KeyPair::generate().expect("a key");
        let signed = params.signed_by(&key, authority).expect("a certificate");
        self.write(&format!("{file}.crt"), &signed.pem());
        self.write(&format!("{file}.key"), &key.serialize_pem());
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.file(name), text).expect("the folder is writable");
    }
}
