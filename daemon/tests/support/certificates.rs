//! Certificates for tests, made on the spot: an authority, and what it signs.

use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, DnType, IsCa, KeyPair};
use std::fs;
use std::path::{Path, PathBuf};

/// Who signs.
pub struct Authority {
    issuer: CertifiedIssuer<'static, KeyPair>,
    /// Its own certificate.
    pub file: PathBuf,
}

/// What it signed.
pub struct Signed {
    pub certificate: PathBuf,
    pub key: PathBuf,
}

impl Authority {
    pub fn new(name: &str, folder: &Path) -> Self {
        let mut params = CertificateParams::default();
        params.distinguished_name.push(DnType::CommonName, name);
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let issuer = CertifiedIssuer::self_signed(params, KeyPair::generate().unwrap()).unwrap();
        let file = folder.join(format!("{name}.pem"));
        fs::write(&file, issuer.pem()).unwrap();
        Self { issuer, file }
    }

    /// A certificate for a host name or address.
    pub fn signs(&self, name: &str, folder: &Path) -> Signed {
        self.signs_with(name, folder, |_| {})
    }

    /// One that is not valid any more.
    pub fn signed_long_ago(&self, name: &str, folder: &Path) -> Signed {
        self.signs_with(name, folder, |params| {
            params.not_before = rcgen::date_time_ymd(2001, 1, 1);
            params.not_after = rcgen::date_time_ymd(2002, 1, 1);
        })
    }

    /// One that is not valid yet.
    pub fn signs_in_the_future(&self, name: &str, folder: &Path) -> Signed {
        self.signs_with(name, folder, |params| {
            params.not_before = rcgen::date_time_ymd(3001, 1, 1);
            params.not_after = rcgen::date_time_ymd(3002, 1, 1);
        })
    }

    fn signs_with(
        &self,
        name: &str,
        folder: &Path,
        change: impl FnOnce(&mut CertificateParams),
    ) -> Signed {
        let mut params = CertificateParams::new([name.to_owned()]).unwrap();
        params.distinguished_name.push(DnType::CommonName, name);
        change(&mut params);
        let key = KeyPair::generate().unwrap();
        let signed = params.signed_by(&key, &self.issuer).unwrap();
        let file = |ending: &str| folder.join(format!("{name}.{ending}"));
        let (certificate, key_file) = (file("crt"), file("key"));
        fs::write(&certificate, signed.pem()).unwrap();
        fs::write(&key_file, key.serialize_pem()).unwrap();
        Signed {
            certificate,
            key: key_file,
        }
    }
}
