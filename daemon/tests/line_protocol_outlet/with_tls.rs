//! `https`: a certificate is checked against the authorities that the host trusts, and no other.

use crate::scene::{bucket, night, receiver, settings};
use crate::stub::{Stub, no_content};
use nightbench::outlet::{Parcel, Receiver, Trouble};
use std::process::Command;

/// Tells the process below which server to write to.
const SERVER: &str = "NIGHTBENCH_TEST_TLS_SERVER";

#[tokio::test]
async fn a_server_of_an_unknown_authority_gets_no_line_and_no_token() {
    let stub = Stub::with_tls(|_| no_content());
    let mut receiver = receiver(settings(&stub.url, bucket()));
    receiver.connect().await.unwrap();
    let trouble = receiver
        .deliver(Parcel::Live(&night(1, 3)))
        .await
        .unwrap_err();
    // Not for a person alone: a host without a clock chip trusts nobody until its clock is set.
    assert!(matches!(&trouble, Trouble::Later { after: None, .. }));
    let expected = format!(
        "{}: no connection (the server's certificate is from an authority that this host does not \
         trust); check the certificate's authority, name and dates, and this host's clock",
        stub.url
    );
    assert_eq!(trouble.to_string(), expected);
    assert_eq!(stub.requests().len(), 0);
}

/// The host's authorities are read from the environment once, so this test runs itself again, in a
/// process that trusts another one: there it delivers, here it looks at what came.
#[test]
fn a_server_of_a_trusted_authority_gets_every_line() {
    if let Ok(url) = std::env::var(SERVER) {
        return deliver_to(&url);
    }
    let stub = Stub::with_tls(|_| no_content());
    let output = Command::new(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "with_tls::a_server_of_a_trusted_authority_gets_every_line",
        ])
        .env(
            "SSL_CERT_FILE",
            concat!(
                env!("CARGO_MANIFEST_DIR"),
                "/tests/line_protocol_outlet/tls/authority.pem"
            ),
        )
        .env(SERVER, &stub.url)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}");
    let lines: usize = stub
        .requests()
        .iter()
        .map(|request| request.lines.len())
        .sum();
    assert_eq!(lines, 3);
}

#[tokio::main(flavor = "current_thread")]
async fn deliver_to(url: &str) {
    let mut receiver = receiver(settings(url, bucket()));
    receiver.connect().await.unwrap();
    receiver.deliver(Parcel::Live(&night(1, 3))).await.unwrap();
}
