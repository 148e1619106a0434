//! TLS for every outlet: which cryptography, whom to trust, as whom to appear, and what went wrong
//! with a certificate in words.
//!
//! The cryptography is `ring`, which needs no more than a C compiler on small boards. The HTTP
//! client is built without a choice of its own, and panics when it is made before one was
//! installed: call [`install`] first, wherever a client is made. Certificates are read anew at each
//! connect, so that a renewed one is picked up.

use super::words;
use crate::config::{ClientCertificate, Tls};
use rustls::pki_types::pem::{self, PemObject};
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{AlertDescription, CertificateError, ClientConfig, RootCertStore};
use std::path::{Path, PathBuf};

/// Why there is no encrypted connection to be had from this host's own files.
#[derive(Debug, thiserror::Error)]
pub enum Unusable {
    /// A file cannot be read.
    #[error("`{}`: {why}; check that it exists and that the program's user may read it", path.display())]
    File {
        /// Which file.
        path: PathBuf,
        /// What the operating system said, in words.
        why: String,
    },
    /// A file holds nothing of what is wanted.
    #[error("`{}`: no {wanted} in it; it must be PEM text, beginning with `-----BEGIN`", path.display())]
    Content {
        /// Which file.
        path: PathBuf,
        /// What should be in it.
        wanted: &'static str,
    },
    /// No `ca_file`, and the host trusts nobody.
    #[error(
        "this host knows no authority for certificates; install its package of them, or name your own with `ca_file`"
    )]
    NoAuthorities,
    /// Certificate and key do not belong together, or are of a kind that is not supported.
    #[error("`{}` and its key do not go together ({why}); check that both are of one pair", path.display())]
    Pair {
        /// The certificate.
        path: PathBuf,
        /// What the library says.
        why: String,
    },
}

/// What is wrong with a certificate or an encrypted connection, and whether waiting can help.
#[derive(Debug, PartialEq, Eq)]
pub struct Complaint {
    /// In words, with what to do.
    pub what: String,
    /// Waiting can heal it: a host without a clock chip trusts nobody until its clock is set.
    pub may_pass: bool,
}

/// Installs `ring` for the process. Calling it again changes nothing.
pub fn install() {
    // An error says that a choice was made before: that one stands.
    let _ = rustls::crypto::ring::default_provider().install_default();
}

/// A configuration that trusts nobody, for `http` addresses: a host without any certificates can
/// still write to its neighbour.
#[must_use]
pub fn unused() -> ClientConfig {
    install();
    ClientConfig::builder()
        .with_root_certificates(RootCertStore::empty())
        .with_no_client_auth()
}

/// Reads the files of one connection.
///
/// # Errors
/// [`Unusable`] where one of them is of no use.
pub fn configure(settings: &Tls) -> Result<ClientConfig, Unusable> {
    install();
    let trusted = match &settings.ca_file {
        Some(path) => own_authorities(path)?,
        None => authorities_of_the_host()?,
    };
    let builder = ClientConfig::builder().with_root_certificates(trusted);
    let Some(ClientCertificate {
        certificate_file,
        key_file,
    }) = &settings.client
    else {
        return Ok(builder.with_no_client_auth());
    };
    let chain = certificates(certificate_file)?;
    let key = PrivateKeyDer::from_pem_file(key_file)
        .map_err(|error| unreadable(key_file, "private key", error))?;
    let pair = builder.with_client_auth_cert(chain, key);
    pair.map_err(|error| Unusable::Pair {
        path: certificate_file.clone(),
        why: error.to_string(),
    })
}

/// What the TLS library's error means for a person, with or without a certificate of our own.
#[must_use]
pub fn complaint(error: &rustls::Error, shows_own: bool) -> Complaint {
    use rustls::Error;
    let (what, may_pass) = match error {
        Error::InvalidCertificate(why) => return certificate(why),
        Error::AlertReceived(alert) => (alerted(*alert, shows_own), false),
        Error::InvalidMessage(_) => ("no TLS is spoken there; check the port".to_owned(), false),
        other => (format!("no encrypted connection ({other})"), true),
    };
    Complaint { what, may_pass }
}

/// What is wrong with a server's certificate, without advice.
#[must_use]
pub fn flaw(why: &CertificateError) -> String {
    use CertificateError as Why;
    let why = match why {
        Why::UnknownIssuer => "is from an authority that this host does not trust",
        Why::NotValidYet | Why::NotValidYetContext { .. } => "is not valid yet",
        Why::Expired | Why::ExpiredContext { .. } => "has expired",
        Why::NotValidForName | Why::NotValidForNameContext { .. } => "is for another host name",
        other => return format!("the server's certificate is not accepted: {other}"),
    };
    format!("the server's certificate {why}")
}

fn certificate(why: &CertificateError) -> Complaint {
    use CertificateError as Why;
    let (advice, may_pass) = match why {
        Why::UnknownIssuer => ("name its authority with `ca_file`", false),
        Why::NotValidYet
        | Why::NotValidYetContext { .. }
        | Why::Expired
        | Why::ExpiredContext { .. } => {
            let advice = "renew it there, or this host's clock is wrong: set it";
            (advice, true)
        }
        Why::NotValidForName | Why::NotValidForNameContext { .. } => {
            ("write `host` as the certificate has it", false)
        }
        _ => ("have a new one made there", false),
    };
    Complaint {
        what: format!("{}; {advice}", flaw(why)),
        may_pass,
    }
}

/// What a server says of us (RFC 8446, 6.2). Who asks for a certificate and gets none says
/// `certificate_required` in TLS 1.3 and `handshake_failure` in TLS 1.2; the latter is said of much
/// else as well.
fn alerted(alert: AlertDescription, shows_own: bool) -> String {
    use AlertDescription as Alert;
    let ours = "of `client_certificate_file`";
    match alert {
        Alert::HandshakeFailure if shows_own => {
            format!(
                "no common cipher, or it does not take the client certificate {ours}; read its log"
            )
        }
        Alert::CertificateRequired | Alert::HandshakeFailure if !shows_own => {
            "it wants a certificate from its clients; give `client_certificate_file` and \
             `client_key_file`"
                .to_owned()
        }
        Alert::UnknownCA => {
            format!("it does not trust the authority {ours}; take one that it knows")
        }
        Alert::CertificateExpired => {
            format!("it says that the certificate {ours} has expired; renew it")
        }
        Alert::BadCertificate
        | Alert::CertificateRequired
        | Alert::CertificateUnknown
        | Alert::UnsupportedCertificate
        | Alert::CertificateRevoked
        | Alert::AccessDenied
        | Alert::DecryptError => {
            format!("it refuses the certificate {ours}; take one that it accepts")
        }
        Alert::ProtocolVersion => "it speaks only versions of TLS before 1.2; update it".to_owned(),
        other => format!(
            "it ends the encrypted connection (alert {})",
            u8::from(other)
        ),
    }
}

fn own_authorities(path: &Path) -> Result<RootCertStore, Unusable> {
    let mut trusted = RootCertStore::empty();
    let (added, _) = trusted.add_parsable_certificates(certificates(path)?);
    if added == 0 {
        return Err(no_certificate(path));
    }
    Ok(trusted)
}

/// Certificates of the host that cannot be read are left out: another one may be what is needed.
fn authorities_of_the_host() -> Result<RootCertStore, Unusable> {
    let mut trusted = RootCertStore::empty();
    trusted.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
    if trusted.is_empty() {
        return Err(Unusable::NoAuthorities);
    }
    Ok(trusted)
}

fn certificates(path: &Path) -> Result<Vec<CertificateDer<'static>>, Unusable> {
    let read = CertificateDer::pem_file_iter(path).and_then(Iterator::collect);
    let found: Vec<_> = read.map_err(|error| unreadable(path, CERTIFICATE, error))?;
    if found.is_empty() {
        return Err(no_certificate(path));
    }
    Ok(found)
}

const CERTIFICATE: &str = "certificate";

fn no_certificate(path: &Path) -> Unusable {
    Unusable::Content {
        path: path.to_owned(),
        wanted: CERTIFICATE,
    }
}

fn unreadable(path: &Path, wanted: &'static str, error: pem::Error) -> Unusable {
    let path = path.to_owned();
    match error {
        pem::Error::Io(error) => Unusable::File {
            path,
            why: words(&error),
        },
        _ => Unusable::Content { path, wanted },
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::fs;

    fn refusal(settings: &Tls) -> String {
        configure(settings).err().unwrap().to_string()
    }

    fn trusting(ca_file: &Path) -> Tls {
        Tls {
            ca_file: Some(ca_file.to_owned()),
            client: None,
        }
    }

    #[test]
    fn files_of_no_use_are_named_with_what_should_be_in_them() {
        let folder = tempfile::tempdir().unwrap();
        let missing = folder.path().join("none.pem");
        let said = refusal(&trusting(&missing));
        assert!(
            said.contains("none.pem`: no such file or directory; check"),
            "{said}"
        );
        let empty = folder.path().join("empty.pem");
        for text in ["", "no certificate\n", "-----BEGIN CERTIFICATE-----\n%\n"] {
            fs::write(&empty, text).unwrap();
            let said = refusal(&trusting(&empty));
            assert!(
                said.contains("empty.pem`: no certificate in it; it must be PEM"),
                "{said}"
            );
        }
    }

    #[test]
    fn a_key_of_another_certificate_is_noticed_before_anything_is_sent() {
        let folder = tempfile::tempdir().unwrap();
        let names = || vec!["night".to_owned()];
        let [one, other] = [(); 2].map(|()| rcgen::generate_simple_self_signed(names()).unwrap());
        let (certificate_file, key_file) = (
            folder.path().join("one.pem"),
            folder.path().join("other.key"),
        );
        fs::write(&certificate_file, one.cert.pem()).unwrap();
        fs::write(&key_file, other.signing_key.serialize_pem()).unwrap();
        let settings = Tls {
            client: Some(ClientCertificate {
                certificate_file: certificate_file.clone(),
                key_file: key_file.clone(),
            }),
            ..trusting(&certificate_file)
        };
        assert!(refusal(&settings).contains("one.pem` and its key do not go together"));
        fs::write(&key_file, "not a key").unwrap();
        assert!(refusal(&settings).contains("other.key`: no private key in it"));
        fs::write(&key_file, one.signing_key.serialize_pem()).unwrap();
        assert!(configure(&settings).is_ok());
    }

    #[test]
    fn what_is_wrong_with_a_certificate_is_told_with_what_to_do() {
        let check = |error: rustls::Error, what: &str, may_pass| {
            let complaint = complaint(&error, true);
            assert_eq!(
                (complaint.what.as_str(), complaint.may_pass),
                (what, may_pass)
            );
        };
        check(
            CertificateError::Expired.into(),
            "the server's certificate has expired; renew it there, or this host's clock is wrong: \
             set it",
            true,
        );
        check(
            CertificateError::UnknownIssuer.into(),
            "the server's certificate is from an authority that this host does not trust; name its \
             authority with `ca_file`",
            false,
        );
        check(
            rustls::Error::AlertReceived(AlertDescription::UnknownCA),
            "it does not trust the authority of `client_certificate_file`; take one that it knows",
            false,
        );
    }
    #[test]
    fn a_failed_handshake_asks_for_a_certificate_only_where_none_is_given() {
        let failed = rustls::Error::AlertReceived(AlertDescription::HandshakeFailure);
        let said = complaint(&failed, false).what;
        assert!(said.contains("; give `client_certificate_file`"), "{said}");
        let said = complaint(&failed, true).what;
        assert!(
            said.starts_with("no common cipher, or it does not take the client certificate"),
            "{said}"
        );
        assert!(!said.contains("give"), "{said}");
    }
}
