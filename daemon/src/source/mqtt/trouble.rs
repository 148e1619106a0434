//! What went wrong with a broker, in words, and what to do about it.

use super::{CONNECT_WITHIN_S, MAX_PACKET_BYTES};
use crate::config::Subscription;
use crate::outlet::words;
use rumqttc::{ConnectReturnCode, ConnectionError, StateError, mqttbytes};

/// The broker as messages name it.
#[must_use]
pub fn broker(subscription: &Subscription) -> String {
    let host = bracketed(&subscription.host);
    format!("`{host}:{}`", subscription.port)
}

/// Host and port are joined with a colon, so an IPv6 address needs its brackets.
#[must_use]
pub fn bracketed(host: &str) -> String {
    if host.contains(':') && !host.starts_with('[') {
        format!("[{host}]")
    } else {
        host.to_owned()
    }
}

/// Why a connection ended, or did not come about.
#[must_use]
pub fn of(error: &ConnectionError, subscription: &Subscription) -> String {
    match error {
        ConnectionError::ConnectionRefused(code) => refused(*code, subscription),
        ConnectionError::Io(error) => words(error),
        ConnectionError::MqttState(error) => state(error),
        ConnectionError::NetworkTimeout => {
            format!("no answer within {CONNECT_WITHIN_S} s; check host, port and firewall")
        }
        ConnectionError::FlushTimeout => "it takes no more data".to_owned(),
        ConnectionError::NotConnAck(_) => {
            "something answers there that is no MQTT broker; check the port".to_owned()
        }
        other => other.to_string(),
    }
}

/// The broker does not grant the subscription (MQTT 3.1.1, 3.9.3: return code 0x80).
#[must_use]
pub fn no_subscription(subscription: &Subscription) -> String {
    let topic = &subscription.topic;
    let who = match &subscription.user {
        Some(user) => format!("user `{user}`"),
        None => "clients without a user".to_owned(),
    };
    format!("it refuses the subscription to `{topic}`; allow {who} to read it there")
}

/// OASIS MQTT 3.1.1, 3.2.2.3, table 3.1.
fn refused(code: ConnectReturnCode, subscription: &Subscription) -> String {
    match code {
        ConnectReturnCode::ServiceUnavailable => {
            "it says that its service is unavailable".to_owned()
        }
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
            match &subscription.user {
                Some(user) => format!(
                    "it refuses user `{user}`; check the password, and that the broker allows \
                     this user"
                ),
                None => "it refuses a connection without a user; set `user` and \
                         `password_file`, or allow anonymous clients there"
                    .to_owned(),
            }
        }
        ConnectReturnCode::BadClientId => format!(
            "it refuses the client identifier `{}`; choose another `client_id`",
            subscription.client_id
        ),
        ConnectReturnCode::RefusedProtocolVersion | ConnectReturnCode::Success => {
            "it does not speak MQTT 3.1.1; use a broker that does, or switch it on there".to_owned()
        }
    }
}

fn state(error: &StateError) -> String {
    match error {
        StateError::Io(error) | StateError::Deserialization(mqttbytes::Error::Io(error)) => {
            words(error)
        }
        StateError::Deserialization(mqttbytes::Error::PayloadSizeLimitExceeded(_)) => format!(
            "a message has more than {} KiB; let the board publish a line at a time",
            MAX_PACKET_BYTES / 1024
        ),
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
    use super::super::tests::subscription;
    use super::*;
    use insta::assert_snapshot;

    #[test]
    fn troubles_are_told_with_what_to_do() {
        let of = |error| of(&error, &subscription());
        let refused = ConnectionError::ConnectionRefused;
        assert_snapshot!(of(refused(ConnectReturnCode::NotAuthorized)), @"it refuses a connection without a user; set `user` and `password_file`, or allow anonymous clients there");
        assert_snapshot!(of(refused(ConnectReturnCode::BadClientId)), @"it refuses the client identifier `attic`; choose another `client_id`");
        assert_snapshot!(of(ConnectionError::NetworkTimeout), @"no answer within 5 s; check host, port and firewall");
        assert_snapshot!(of(ConnectionError::Io(std::io::Error::from_raw_os_error(111))), @"connection refused");
        let large = mqttbytes::Error::PayloadSizeLimitExceeded(300_000);
        assert_snapshot!(of(StateError::Deserialization(large).into()), @"a message has more than 256 KiB; let the board publish a line at a time");
        assert_snapshot!(no_subscription(&subscription()), @"it refuses the subscription to `boards/attic`; allow clients without a user to read it there");
    }
}
