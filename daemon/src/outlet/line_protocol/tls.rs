//! Which cryptography TLS uses: `ring`, which needs no more than a C compiler on small boards.
//!
//! The HTTP client is built without a choice of its own, and panics when it is made before one was
//! installed: call [`install`] first, wherever a client is made.

use rustls::{ClientConfig, RootCertStore};

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
