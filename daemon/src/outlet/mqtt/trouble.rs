//! What went wrong with a broker, in words for people, and whether trying again can help.

use super::session::Signal;
use crate::config::Mqtt;
use crate::outlet::{Trouble, words};
use rumqttc::{ConnectReturnCode, ConnectionError, StateError, mqttbytes};
use std::time::Duration;

/// What a signal that ends a session means.
pub(super) fn of(signal: &Signal, settings: &Mqtt) -> Trouble {
    match signal {
        Signal::Lost(error) => lost(error, settings),
        Signal::Stuck => later(settings, "it acknowledges out of order; connecting afresh"),
        _ => later(settings, "the connection is gone"),
    }
}

fn lost(error: &ConnectionError, settings: &Mqtt) -> Trouble {
    match error {
        ConnectionError::ConnectionRefused(code) => refused(*code, settings),
        other => later(settings, &what(other)),
    }
}

/// Nothing came from the broker for `patience` though messages wait for its acknowledgement.
pub(super) fn hung(settings: &Mqtt, patience: Duration) -> Trouble {
    later(
        settings,
        &format!(
            "it accepts messages but has acknowledged none for {} s; look at the broker's host and its log",
            patience.as_secs_f64()
        ),
    )
}

/// There is no connection to deliver over.
pub(super) fn not_connected(settings: &Mqtt) -> Trouble {
    later(settings, "not connected")
}

fn later(settings: &Mqtt, what: &str) -> Trouble {
    Trouble::Later {
        what: format!("{}: {what}", broker(settings)),
        after: None,
    }
}

fn broker(settings: &Mqtt) -> String {
    format!("broker `{}:{}`", settings.host, settings.port)
}

/// OASIS MQTT 3.1.1, 3.2.2.3, table 3.1.
fn refused(code: ConnectReturnCode, settings: &Mqtt) -> Trouble {
    let why = match code {
        ConnectReturnCode::ServiceUnavailable => {
            return later(settings, "it says that its service is unavailable");
        }
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
            refused_credentials(settings)
        }
        ConnectReturnCode::BadClientId => format!(
            "refuses the client identifier `{}`; choose another `client_id`",
            settings.client_id
        ),
        ConnectReturnCode::RefusedProtocolVersion | ConnectReturnCode::Success => {
            "does not speak MQTT 3.1.1; use a broker that does, or switch it on there".to_owned()
        }
    };
    Trouble::Person {
        what: format!("{} {why}", broker(settings)),
    }
}

fn refused_credentials(settings: &Mqtt) -> String {
    match &settings.user {
        Some(user) => format!(
            "refuses user `{user}`; check the password, and that the broker allows this user"
        ),
        None => "refuses a connection without a user; set `user` and `password_file`, or allow \
                 anonymous clients there"
            .to_owned(),
    }
}

fn what(error: &ConnectionError) -> String {
    match error {
        ConnectionError::Io(error) => words(error),
        ConnectionError::MqttState(error) => state(error),
        ConnectionError::NetworkTimeout => format!(
            "no answer within {} s; check host, port and firewall",
            super::CONNECT_WITHIN_S
        ),
        ConnectionError::FlushTimeout => "it takes no more data".to_owned(),
        ConnectionError::NotConnAck(_) => {
            "something answers there that is no MQTT broker; check the port".to_owned()
        }
        other => other.to_string(),
    }
}

fn state(error: &StateError) -> String {
    match error {
        StateError::Io(error) | StateError::Deserialization(mqttbytes::Error::Io(error)) => {
            words(error)
        }
        StateError::AwaitPingResp => "it no longer answers pings".to_owned(),
        StateError::ConnectionAborted => "it closed the connection; its log says why".to_owned(),
        StateError::Deserialization(error) => {
            format!("what it sends is not MQTT 3.1.1 ({error}); check the port")
        }
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::settings;
    use super::*;
    use std::io;

    fn of_error(error: ConnectionError) -> Trouble {
        of(&Signal::Lost(Box::new(error)), &settings())
    }

    #[test]
    fn a_refused_user_needs_a_person_and_says_what_to_check() {
        let with_user = Mqtt {
            user: Some("night".into()),
            ..settings()
        };
        for code in [
            ConnectReturnCode::BadUserNamePassword,
            ConnectReturnCode::NotAuthorized,
        ] {
            let trouble = refused(code, &with_user);
            assert_eq!(
                trouble,
                Trouble::Person {
                    what: "broker `127.0.0.1:1883` refuses user `night`; check the password, and \
                           that the broker allows this user"
                        .into()
                }
            );
        }
    }

    #[test]
    fn only_refusals_that_waiting_cannot_heal_need_a_person() {
        let person = |code| {
            matches!(
                of_error(ConnectionError::ConnectionRefused(code)),
                Trouble::Person { .. }
            )
        };
        assert!(person(ConnectReturnCode::BadClientId));
        assert!(person(ConnectReturnCode::RefusedProtocolVersion));
        assert!(!person(ConnectReturnCode::ServiceUnavailable));
    }

    #[test]
    fn messages_name_the_broker_and_use_words() {
        let refused = io::Error::from_raw_os_error(111);
        let cases = [
            (ConnectionError::Io(refused), "connection refused"),
            (
                ConnectionError::NetworkTimeout,
                "no answer within 5 s; check host, port and firewall",
            ),
            (
                StateError::ConnectionAborted.into(),
                "it closed the connection; its log says why",
            ),
            (
                StateError::AwaitPingResp.into(),
                "it no longer answers pings",
            ),
        ];
        for (error, expected) in cases {
            assert_eq!(
                of_error(error).to_string(),
                format!("broker `127.0.0.1:1883`: {expected}")
            );
        }
    }

    #[test]
    fn a_hung_broker_is_told_with_the_time_waited() {
        assert_eq!(
            hung(&settings(), Duration::from_millis(20_500)).to_string(),
            "broker `127.0.0.1:1883`: it accepts messages but has acknowledged none for 20.5 s; \
             look at the broker's host and its log"
        );
    }
}
