//! The keys of an encrypted connection: whom to trust, and as whom to appear. Opens no file: that
//! is done at each connect, so that a renewed certificate is picked up.

use super::item::Value;
use super::problem::Fault;
use super::reader::Table;
use std::path::{Path, PathBuf};

/// How a connection is encrypted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tls {
    /// The certificates (PEM) of the only authorities to trust; the host's where there is none.
    pub ca_file: Option<PathBuf>,
    /// What to show a server that asks who is there.
    pub client: Option<ClientCertificate>,
}

/// A certificate of our own, and its key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClientCertificate {
    /// The certificate, with the ones that lead to its authority behind it (PEM).
    pub certificate_file: PathBuf,
    /// Its private key (PEM: PKCS#8, PKCS#1 or SEC 1, not encrypted).
    pub key_file: PathBuf,
}

/// Every key that is read here.
pub(super) const KEYS: &[&str] = &["tls", "ca_file", CERTIFICATE, KEY];

const CERTIFICATE: &str = "client_certificate_file";
const KEY: &str = "client_key_file";

/// Reads `tls` and what goes with it; the inner `None` is a connection in the clear.
pub(super) fn read(table: &Table<'_>, base: &Path) -> Value<Option<Tls>> {
    let wanted = table.or("tls", false, |item| item.flag())?;
    if !wanted {
        table.foreign(&KEYS[1..], "it goes with `tls = true`");
        return Some(None);
    }
    let ca_file = table.optional("ca_file", |item| item.path(base));
    let certificate = table.optional(CERTIFICATE, |item| item.path(base));
    let key = table.optional(KEY, |item| item.path(base));
    let client = client(table, certificate?, key?)?;
    Some(Some(Tls {
        ca_file: ca_file?,
        client,
    }))
}

fn client(
    table: &Table<'_>,
    certificate: Option<PathBuf>,
    key: Option<PathBuf>,
) -> Value<Option<ClientCertificate>> {
    let (here, missing) = match (certificate, key) {
        (None, None) => return Some(None),
        (Some(certificate_file), Some(key_file)) => {
            return Some(Some(ClientCertificate {
                certificate_file,
                key_file,
            }));
        }
        (Some(_), None) => (CERTIFICATE, KEY),
        (None, Some(_)) => (KEY, CERTIFICATE),
    };
    let what = format!("there is `{here}`, but no `{missing}`");
    table.error(Fault::new(
        what,
        "a certificate is of use only with its key; name both",
    ));
    None
}
