//! Why no answer came, in words: what the HTTP client knows is five errors deep.

use crate::outlet::{Trouble, tls, words};
use std::error::Error;
use std::io;
use std::time::Duration;

/// A request without a whole answer is tried again, whatever the cause: cables come back, names
/// resolve again, servers start up.
pub(super) fn trouble(error: &reqwest::Error, address: &str, timeout: Duration) -> Trouble {
    let cause = root(error);
    let what = if error.is_timeout() {
        let seconds = timeout.as_secs_f64();
        format!(
            "no answer within {seconds} s; if the server is slow, raise `timeout` or lower `batch`"
        )
    } else if error.is_connect() {
        no_connection(&cause)
    } else {
        format!("no whole answer ({cause}); check that `url` is the address of a database")
    };
    Trouble::Later {
        what: format!("{address}: {what}"),
        after: None,
    }
}

fn no_connection(cause: &str) -> String {
    let advice = if cause.contains("certificate") {
        "check the certificate's authority, name and dates, and this host's clock"
    } else if cause.contains("lookup") {
        "check the host name in `url`, and this host's network"
    } else {
        "check that the server runs, and host and port in `url`"
    };
    format!("no connection ({cause}); {advice}")
}

/// The innermost cause, as the operating system or the library puts it.
pub(super) fn root(error: &(dyn Error + 'static)) -> String {
    let mut cause = error;
    while let Some(inner) = within(cause) {
        cause = inner;
    }
    if let Some(rustls::Error::InvalidCertificate(why)) = cause.downcast_ref() {
        return tls::flaw(why);
    }
    match cause.downcast_ref::<io::Error>() {
        Some(error) => words(error),
        None => cause.to_string(),
    }
}

/// `io::Error` passes over the error that it wraps when it is asked for its source.
fn within<'a>(error: &'a (dyn Error + 'static)) -> Option<&'a (dyn Error + 'static)> {
    match error.downcast_ref::<io::Error>() {
        Some(error) => error.get_ref().map(|inner| inner as &(dyn Error + 'static)),
        None => error.source(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustls::CertificateError as Certificate;

    fn check(why: Certificate, expected: &str) {
        let tls = rustls::Error::InvalidCertificate(why);
        let said = no_connection(&root(&io::Error::other(tls)));
        let advice = "check the certificate's authority, name and dates, and this host's clock";
        assert_eq!(said, format!("no connection ({expected}); {advice}"));
    }

    #[test]
    fn what_is_wrong_with_a_certificate_is_told_in_words() {
        check(
            Certificate::NotValidYet,
            "the server's certificate is not valid yet",
        );
        check(Certificate::Expired, "the server's certificate has expired");
        check(
            Certificate::NotValidForName,
            "the server's certificate is for another host name",
        );
    }
}
