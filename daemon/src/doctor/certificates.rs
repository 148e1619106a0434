//! Certificates: those that servers show, and those in our own files. Dates only: whom to trust is
//! decided where connections are made, and told by the outlets' trials.

mod peer;

use super::finding::Finding;
use super::{TRIED_WITHIN, bounded};
use crate::clock;
use crate::config::{Mqtt, Outlet, OutletKind, Tls};
use crate::outlet::words;
use jiff::Timestamp;
use reqwest::Url;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::{self, PemObject};
use std::path::Path;
use tokio::time::timeout;

/// From when to when a certificate holds, seconds since 1970 (RFC 5280, 4.1.2.5).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Validity {
    /// First second.
    pub from_s: i64,
    /// Last second.
    pub until_s: i64,
}

const DAY_S: i64 = 86_400;
/// A renewal that somebody has to do by hand needs a weekend and a few days more.
const LAST_DAYS: i64 = 7;
const LATE_DAYS: i64 = 30;

/// Looks at the certificates of all outlets, all at once.
pub async fn examine(outlets: &[Outlet]) -> Vec<Finding> {
    let now_ms = clock::now().wall_ms;
    let mut looks = Vec::new();
    for outlet in outlets {
        looks.push(tokio::spawn(of_outlet(outlet.clone(), now_ms)));
    }
    let mut findings = Vec::new();
    for look in looks {
        findings.extend(look.await.unwrap_or_default());
    }
    findings
}

async fn of_outlet(outlet: Outlet, now_ms: i64) -> Vec<Finding> {
    let place = format!("outlet `{}`", outlet.name);
    let (shown, own) = tokio::join!(
        of_server(&place, &outlet.kind, now_ms),
        of_files(&place, &outlet.kind, now_ms)
    );
    shown.into_iter().chain(own).collect()
}

async fn of_server(place: &str, kind: &OutletKind, now_ms: i64) -> Option<Finding> {
    let (at, validity) = shown_by(server(kind)?).await?;
    let what = format!("the certificate of `{at}`");
    Some(judge(place, &what, validity, now_ms))
}

/// The files lie together mostly: where one's medium hangs, the others' does.
async fn of_files(place: &str, kind: &OutletKind, now_ms: i64) -> Vec<Finding> {
    let OutletKind::Mqtt(Mqtt { tls: Some(tls), .. }) = kind else {
        return Vec::new();
    };
    let client = tls.client.as_ref().map(|it| &it.certificate_file);
    let Some(first) = tls.ca_file.as_ref().or(client) else {
        return Vec::new();
    };
    let own = tls.clone();
    let look = move |place: &str| own_files(place, &own, now_ms);
    let found = bounded::examine(place, first, look).await;
    found.unwrap_or_else(|hung| vec![hung])
}

/// What to think of a certificate at this time, milliseconds since 1970.
#[must_use]
pub fn judge(place: &str, what: &str, validity: Validity, now_ms: i64) -> Finding {
    let now_s = now_ms.div_euclid(1000);
    let (from, until) = (day(validity.from_s), day(validity.until_s));
    let left = (validity.until_s - now_s).div_euclid(DAY_S);
    let renew = "renew it, and check that whatever renews it runs";
    match left {
        _ if now_s < validity.from_s => Finding::wrong(
            place,
            format!("{what} is valid only from {from} on"),
            "this host's clock is behind: set it; or the certificate was made on one that is ahead",
        ),
        _ if now_s > validity.until_s => {
            Finding::wrong(place, format!("{what} has expired on {until}"), renew)
        }
        left if left < LAST_DAYS => {
            Finding::wrong(place, format!("{what} expires on {until}"), renew)
        }
        left if left < LATE_DAYS => {
            let what = format!("{what} expires in {left} days, on {until}");
            Finding::advice(place, what, renew)
        }
        _ => Finding::ok(place, format!("{what} is valid until {until}")),
    }
}

fn day(seconds: i64) -> String {
    Timestamp::from_second(seconds).map_or_else(
        |_| "a day beyond all calendars".to_owned(),
        |time| time.strftime("%Y-%m-%d").to_string(),
    )
}

/// Host and port of a server that shows a certificate.
fn server(kind: &OutletKind) -> Option<(String, u16)> {
    match kind {
        OutletKind::Mqtt(mqtt) if mqtt.tls.is_some() => Some((mqtt.host.clone(), mqtt.port)),
        OutletKind::LineProtocol(settings) => {
            let url = Url::parse(&settings.url).ok()?;
            let host = url.host_str().filter(|_| url.scheme() == "https")?;
            Some((host.to_owned(), url.port_or_known_default()?))
        }
        _ => None,
    }
}

/// What a server shows, with its name. A server that cannot be reached shows nothing: the outlet's
/// own trial tells why.
async fn shown_by((host, port): (String, u16)) -> Option<(String, Validity)> {
    let name = format!("{host}:{port}");
    let asked = tokio::task::spawn_blocking(move || peer::certificates(&host, port, TRIED_WITHIN));
    let shown = timeout(TRIED_WITHIN, asked).await.ok()?.ok()?.ok()?;
    Some((name, narrowest(&shown)?))
}

fn own_files(place: &str, tls: &Tls, now_ms: i64) -> Vec<Finding> {
    let ca = tls.ca_file.as_deref();
    // A bundle may hold old ones beside the one that counts.
    let ca = ca.map(|file| own_file(place, file, widest, now_ms));
    let client = tls.client.as_ref().map(|client| {
        let file = &client.certificate_file;
        own_file(place, file, narrowest, now_ms)
    });
    ca.into_iter().chain(client).collect()
}

fn own_file(
    place: &str,
    file: &Path,
    choose: fn(&[CertificateDer<'static>]) -> Option<Validity>,
    now_ms: i64,
) -> Finding {
    let shown = file.display();
    let read = CertificateDer::pem_file_iter(file).and_then(Iterator::collect::<Result<Vec<_>, _>>);
    let why = match read {
        Ok(certificates) => match choose(&certificates) {
            Some(validity) => return judge(place, &format!("`{shown}`"), validity, now_ms),
            None => "no certificate in it".to_owned(),
        },
        Err(pem::Error::Io(error)) => words(&error),
        Err(_) => "no PEM text".to_owned(),
    };
    let remedy = "check that it exists, is PEM text, and that the service's user may read it";
    Finding::wrong(place, format!("`{shown}`: {why}"), remedy)
}

/// Of a chain, what holds for all of it.
fn narrowest(chain: &[CertificateDer<'static>]) -> Option<Validity> {
    let validities = chain.iter().filter_map(|it| validity(it));
    validities.reduce(|one, other| Validity {
        from_s: one.from_s.max(other.from_s),
        until_s: one.until_s.min(other.until_s),
    })
}

/// Of a bundle, the certificate that holds longest.
fn widest(bundle: &[CertificateDer<'static>]) -> Option<Validity> {
    let validities = bundle.iter().filter_map(|it| validity(it));
    validities.max_by_key(|it| it.until_s)
}

fn validity(certificate: &[u8]) -> Option<Validity> {
    let (_, certificate) = x509_parser::parse_x509_certificate(certificate).ok()?;
    let validity = certificate.validity();
    Some(Validity {
        from_s: validity.not_before.timestamp(),
        until_s: validity.not_after.timestamp(),
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::finding::Severity::{Advice, Ok, Wrong};
    use super::*;
    use rcgen::{CertificateParams, KeyPair, date_time_ymd};
    use std::fs;

    /// 2026-11-25T00:00:00Z
    const NOW_S: i64 = 1_795_564_800;

    fn made(from: (i32, u8, u8), until: (i32, u8, u8)) -> String {
        let mut params = CertificateParams::new(["night".to_owned()]).unwrap();
        params.not_before = date_time_ymd(from.0, from.1, from.2);
        params.not_after = date_time_ymd(until.0, until.1, until.2);
        params
            .self_signed(&KeyPair::generate().unwrap())
            .unwrap()
            .pem()
    }

    #[test]
    fn days_are_counted_to_the_end_of_a_certificate() {
        let table = [
            (-10, 400, Ok),
            (-10, 30, Ok),
            (-10, 29, Advice),
            (-10, 7, Advice),
            (-10, 6, Wrong),
            (-10, -1, Wrong),
            (1, 400, Wrong),
        ];
        for (from, until, expected) in table {
            let validity = Validity {
                from_s: NOW_S + from * DAY_S,
                until_s: NOW_S + until * DAY_S,
            };
            let found = judge("outlet", "it", validity, NOW_S * 1000);
            assert_eq!(found.severity, expected, "{from} {until}");
        }
    }

    #[test]
    fn dates_are_read_from_the_file() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a.pem");
        let found = |choose| own_file("outlet", &file, choose, NOW_S * 1000);
        assert_eq!(found(narrowest).severity, Wrong);
        fs::write(&file, "-----BEGIN").unwrap();
        assert_eq!(found(narrowest).severity, Wrong);
        let (old, new) = (
            made((2020, 1, 1), (2021, 1, 1)),
            made((2026, 1, 1), (2036, 1, 1)),
        );
        fs::write(&file, &new).unwrap();
        assert!(found(narrowest).what.ends_with("is valid until 2036-01-01"));
        fs::write(&file, old + &new).unwrap();
        assert_eq!(found(widest).severity, Ok);
        assert!(found(narrowest).what.ends_with("has expired on 2021-01-01"));
    }
}
