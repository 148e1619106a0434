//! What a connection is made with: address, identity, last will, limits, certificates.
//!
//! The library panics on some settings (keep-alive under a second, no message in flight), so they
//! are held within its bounds here and in [`super::client`], whatever the configuration let
//! through.

use super::topics::{self, Names};
use super::trouble;
use crate::config::{Mqtt, MqttVersion};
use crate::outlet::secret::{self, Hidden};
use crate::outlet::{Trouble, tls};
use rustls::ClientConfig;
use std::time::Duration;

/// MQTT 3.1.1, 3.1.2.10: whole seconds in two bytes.
const KEEP_ALIVE: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(65_535));

/// Everything for one connection, in neither flavour of the client library.
pub(super) struct Plan {
    pub version: MqttVersion,
    pub client_id: String,
    pub host: String,
    pub port: u16,
    pub keep_alive: Duration,
    /// Messages under way at most, 1 or more.
    pub window: u16,
    /// Topic of the last will, which is `offline`, retained.
    pub will: Option<String>,
    pub credentials: Option<(String, Option<Hidden>)>,
    pub tls: Option<ClientConfig>,
}

/// A plan with what the host's files hold now: a changed password or certificate is picked up.
///
/// # Errors
/// [`Trouble::Person`] where a file or the status topic is of no use.
pub(super) fn build(site: &str, settings: &Mqtt, guest: bool) -> Result<Plan, Trouble> {
    let will = (!guest).then(|| status_topic(site, settings)).transpose()?;
    let tls = settings.tls.as_ref().map(tls::configure).transpose();
    Ok(Plan {
        version: settings.version,
        client_id: client_id(settings, guest),
        host: host(&settings.host),
        port: settings.port,
        keep_alive: settings.keep_alive.clamp(KEEP_ALIVE.0, KEEP_ALIVE.1),
        window: settings.window.max(1),
        will,
        credentials: credentials(settings)?,
        tls: tls.map_err(|problem| trouble::person(settings, &problem.to_string()))?,
    })
}

/// A guest's own, and no other guest's: a broker closes the older of two connections with one
/// identifier.
fn client_id(settings: &Mqtt, guest: bool) -> String {
    if guest {
        format!("{}-guest-{}", settings.client_id, std::process::id())
    } else {
        settings.client_id.clone()
    }
}

/// Where `online` and `offline` stand.
///
/// # Errors
/// [`Trouble::Person`] where the template gives no topic.
pub(super) fn status_topic(site: &str, settings: &Mqtt) -> Result<String, Trouble> {
    let names = Names {
        site,
        ..Names::default()
    };
    topics::fill(&settings.status_topic, names).map_err(|problem| Trouble::Person {
        what: format!("`status_topic`: {problem}"),
    })
}

fn credentials(settings: &Mqtt) -> Result<Option<(String, Option<Hidden>)>, Trouble> {
    let Some(user) = &settings.user else {
        return Ok(None);
    };
    let password = settings.password.as_ref().map(secret::read).transpose();
    let password = password.map_err(|problem| Trouble::Person {
        what: format!("{}, user `{user}`: {problem}", trouble::broker(settings)),
    })?;
    Ok(Some((user.clone(), password)))
}

/// The library joins host and port with a colon, so an IPv6 address needs its brackets.
fn host(host: &str) -> String {
    if host.contains(':') && !host.starts_with('[') {
        format!("[{host}]")
    } else {
        host.to_owned()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::client;
    use super::super::tests::settings;
    use super::*;
    use crate::config::{Secret, Template, Tls};

    #[tokio::test]
    async fn settings_that_the_library_would_panic_on_are_held_in_bounds() {
        struct Made;
        impl client::Opened for Made {
            type Output = ();
            fn with(self, _: Box<dyn client::Client>, _: impl client::Events) {}
        }
        for version in [MqttVersion::V3, MqttVersion::V5] {
            let hasty = Mqtt {
                version,
                keep_alive: Duration::ZERO,
                window: 0,
                client_id: String::new(),
                ..settings()
            };
            let plan = build("cellar", &hasty, false).unwrap();
            assert_eq!((plan.keep_alive, plan.window), (Duration::from_secs(1), 1));
            client::open(plan, 1, Made);
        }
    }

    #[test]
    fn a_guest_has_an_identifier_of_its_own_and_no_will() {
        let [host, guest] = [false, true].map(|guest| build("cellar", &settings(), guest).unwrap());
        assert_eq!(host.will.as_deref(), Some("cellar/status"));
        assert_eq!(
            (guest.will, guest.client_id),
            (
                None,
                format!("{}-guest-{}", host.client_id, std::process::id())
            )
        );
    }

    #[test]
    fn a_missing_password_file_names_broker_user_and_file() {
        let settings = Mqtt {
            user: Some("night".into()),
            password: Some(Secret::File("no/such/file".into())),
            ..settings()
        };
        let trouble = build("cellar", &settings, false).err().unwrap();
        assert!(
            matches!(&trouble, Trouble::Person { what } if what.starts_with(
            "broker `127.0.0.1:1883`, user `night`: secret file `no/such/file`: no such file"))
        );
    }

    #[test]
    fn a_missing_certificate_needs_a_person() {
        let settings = Mqtt {
            tls: Some(Tls {
                ca_file: Some("no/such/ca.pem".into()),
                client: None,
            }),
            ..settings()
        };
        let trouble = build("cellar", &settings, false).err().unwrap();
        assert!(
            matches!(&trouble, Trouble::Person { what } if what.starts_with(
            "broker `127.0.0.1:1883`: `no/such/ca.pem`: no such file"))
        );
    }

    #[test]
    fn a_status_topic_without_sense_needs_a_person() {
        let settings = Mqtt {
            status_topic: Template("{site}/{probe}".into()),
            ..settings()
        };
        assert!(matches!(
            build("cellar", &settings, false),
            Err(Trouble::Person { .. })
        ));
    }

    #[test]
    fn an_address_with_colons_gets_brackets() {
        assert_eq!(host("::1"), "[::1]");
        assert_eq!(host("[::1]"), "[::1]");
        assert_eq!(host("broker.example"), "broker.example");
    }
}
