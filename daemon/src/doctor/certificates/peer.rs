//! What certificates a server shows: a handshake that goes no further. Nobody is trusted by it, and
//! nothing is sent: the check of the server's certificate notes it and then refuses it.

use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::ring;
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::{ClientConfig, ClientConnection, DigitallySignedStruct, Error, SignatureScheme};
use std::io;
use std::net::{TcpStream, ToSocketAddrs};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// The server's certificate first, then those that lead to its authority. Blocks, at most about
/// `within` for each step.
///
/// # Errors
/// What the operating system says; `InvalidData` where no TLS is spoken there.
pub fn certificates(
    host: &str,
    port: u16,
    within: Duration,
) -> io::Result<Vec<CertificateDer<'static>>> {
    let host = host.trim_matches(['[', ']']);
    let name = ServerName::try_from(host.to_owned()).map_err(io::Error::other)?;
    let mut stream = connect(host, port, within)?;
    stream.set_read_timeout(Some(within))?;
    stream.set_write_timeout(Some(within))?;
    let look = Arc::new(Look::default());
    let mut connection =
        ClientConnection::new(config(Arc::clone(&look)), name).map_err(io::Error::other)?;
    let ended = connection.complete_io(&mut stream);
    let shown = std::mem::take(&mut *look.shown.lock().unwrap_or_else(PoisonError::into_inner));
    match ended {
        _ if !shown.is_empty() => Ok(shown),
        Err(error) => Err(error),
        Ok(_) => Err(io::ErrorKind::InvalidData.into()),
    }
}

fn connect(host: &str, port: u16, within: Duration) -> io::Result<TcpStream> {
    let mut last = io::Error::from(io::ErrorKind::NotFound);
    for address in (host, port).to_socket_addrs()? {
        match TcpStream::connect_timeout(&address, within) {
            Ok(stream) => return Ok(stream),
            Err(error) => last = error,
        }
    }
    Err(last)
}

fn config(look: Arc<Look>) -> Arc<ClientConfig> {
    crate::outlet::tls::install();
    let builder = ClientConfig::builder().dangerous();
    let config = builder.with_custom_certificate_verifier(look);
    Arc::new(config.with_no_client_auth())
}

/// Notes what is shown, and refuses it.
#[derive(Debug, Default)]
struct Look {
    shown: Mutex<Vec<CertificateDer<'static>>>,
}

fn seen() -> Error {
    Error::General("seen, which was all that was wanted".to_owned())
}

impl ServerCertVerifier for Look {
    fn verify_server_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        intermediates: &[CertificateDer<'_>],
        _: &ServerName<'_>,
        _: &[u8],
        _: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        let chain = std::iter::once(end_entity).chain(intermediates);
        let chain = chain.map(|it| it.clone().into_owned()).collect();
        *self.shown.lock().unwrap_or_else(PoisonError::into_inner) = chain;
        Err(seen())
    }

    fn verify_tls12_signature(
        &self,
        _: &[u8],
        _: &CertificateDer<'_>,
        _: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        Err(seen())
    }

    fn verify_tls13_signature(
        &self,
        _: &[u8],
        _: &CertificateDer<'_>,
        _: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        Err(seen())
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        ring::default_provider()
            .signature_verification_algorithms
            .supported_schemes()
    }
}
