//! What the client library is told: address, identity, last will, limits.
//!
//! The library panics on some settings (keep-alive under a second, no message in flight), so they
//! are held within its bounds here, whatever the configuration let through.

use super::MAX_PACKET_BYTES;
use super::topics::{self, Names};
use crate::config::Mqtt;
use crate::outlet::Trouble;
use crate::outlet::secret::{self, Hidden};
use rumqttc::{LastWill, MqttOptions, QoS};
use std::time::Duration;

/// MQTT 3.1.1, 3.1.2.10: whole seconds in two bytes.
const KEEP_ALIVE: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(65_535));

/// Everything for one connection; the password is read anew, so that a changed one is picked up.
///
/// # Errors
/// [`Trouble::Person`] where the password or the status topic is of no use.
pub(super) fn build(site: &str, settings: &Mqtt) -> Result<MqttOptions, Trouble> {
    let mut options = MqttOptions::new(&settings.client_id, host(&settings.host), settings.port);
    options
        .set_clean_session(true)
        .set_keep_alive(settings.keep_alive.clamp(KEEP_ALIVE.0, KEEP_ALIVE.1))
        .set_inflight(settings.window.max(1))
        .set_max_packet_size(MAX_PACKET_BYTES, MAX_PACKET_BYTES)
        .set_last_will(LastWill::new(
            status_topic(site, settings)?,
            "offline",
            QoS::AtLeastOnce,
            true,
        ));
    if let Some(user) = &settings.user {
        let password = password(settings)?;
        options.set_credentials(user, password.as_ref().map_or("", Hidden::expose));
    }
    Ok(options)
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

fn password(settings: &Mqtt) -> Result<Option<Hidden>, Trouble> {
    let read = settings.password.as_ref().map(secret::read).transpose();
    read.map_err(|problem| Trouble::Person {
        what: format!(
            "broker `{}:{}`, user `{}`: {problem}",
            settings.host,
            settings.port,
            settings.user.as_deref().unwrap_or_default()
        ),
    })
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
    use super::super::tests::settings;
    use super::*;
    use crate::config::{Secret, Template};

    #[test]
    fn settings_that_the_library_would_panic_on_are_held_in_bounds() {
        let hasty = Mqtt {
            keep_alive: Duration::ZERO,
            window: 0,
            client_id: String::new(),
            ..settings()
        };
        let options = build("cellar", &hasty).unwrap();
        assert_eq!(options.keep_alive(), Duration::from_secs(1));
        assert_eq!(options.inflight(), 1);
    }

    #[test]
    fn the_will_is_offline_retained_and_acknowledged() {
        let will = build("cellar", &settings()).unwrap().last_will().unwrap();
        assert_eq!(
            will,
            LastWill::new("cellar/status", "offline", QoS::AtLeastOnce, true)
        );
    }

    #[test]
    fn a_missing_password_file_names_broker_user_and_file() {
        let settings = Mqtt {
            user: Some("night".into()),
            password: Some(Secret::File("no/such/file".into())),
            ..settings()
        };
        let trouble = build("cellar", &settings).err().unwrap();
        assert!(
            matches!(&trouble, Trouble::Person { what } if what.starts_with(
            "broker `127.0.0.1:1883`, user `night`: secret file `no/such/file`: no such file"))
        );
    }

    #[test]
    fn a_status_topic_without_sense_needs_a_person() {
        let settings = Mqtt {
            status_topic: Template("{site}/{probe}".into()),
            ..settings()
        };
        assert!(matches!(
            build("cellar", &settings),
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
