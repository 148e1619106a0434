//! What went wrong with a broker, in words for people, and whether trying again can help.

use super::client::{Denial, Loss, Signal};
use super::reason;
use crate::config::{Mqtt, MqttVersion};
use crate::outlet::{Trouble, tls, words};
use rumqttc::v5::mqttbytes::v5::ConnectReturnCode;
use std::io;
use std::time::Duration;

/// What a signal that ends a session means.
pub(super) fn of(signal: &Signal, settings: &Mqtt) -> Trouble {
    match signal {
        Signal::Lost(loss) => lost(loss, settings),
        Signal::Stuck => later(settings, "it acknowledges out of order; connecting afresh"),
        _ => later(settings, "the connection is gone"),
    }
}

/// What a signal that ends a session before the broker has answered means: a broker that expects
/// something else than it gets mostly just closes the connection.
pub(super) fn while_connecting(signal: &Signal, settings: &Mqtt) -> Trouble {
    let closed = matches!(signal, Signal::Lost(loss) if is_closed(loss));
    if !closed {
        return of(signal, settings);
    }
    let mut what = "it closed the connection before it answered; check the port".to_owned();
    what += match settings.tls {
        None => "; if it wants TLS, write `tls = true`",
        Some(_) => "; if it speaks no TLS there, take its port for TLS",
    };
    if settings.version == MqttVersion::V5 {
        what += "; if it knows no MQTT 5, write `version = \"3.1.1\"`";
    }
    later(settings, &what)
}

fn is_closed(loss: &Loss) -> bool {
    match loss {
        Loss::Closed => true,
        Loss::Io(error) => matches!(
            error.kind(),
            io::ErrorKind::ConnectionReset | io::ErrorKind::UnexpectedEof
        ),
        _ => false,
    }
}

/// The broker answered a message with a code that means another time.
pub(super) fn put_off(settings: &Mqtt, topic: &str, denial: &Denial) -> Trouble {
    let words = denied(denial);
    later(settings, &format!("message to `{topic}`: {words}"))
}

/// The broker refuses all that it is given.
pub(super) fn refuses_all(settings: &Mqtt, topic: &str, denial: &Denial) -> Trouble {
    let words = denied(denial);
    person(
        settings,
        &format!("it takes nothing so far; message to `{topic}`: {words}"),
    )
}

/// The broker closes the connection on one reading after the other.
pub(super) fn stumbles_over_all(settings: &Mqtt, topic: &str) -> Trouble {
    person(
        settings,
        &format!(
            "it closes the connection on one message after the other, now one to `{topic}`; read \
             its log, and look at its access rules and limits"
        ),
    )
}

/// Why one message is not sent any more.
pub(super) fn given_up(settings: &Mqtt, topic: &str) -> String {
    format!(
        "{}, message to `{topic}`: the broker closes the connection on this message; read its log",
        broker(settings)
    )
}

/// Why one message is not taken.
pub(super) fn refused_message(settings: &Mqtt, topic: &str, denial: &Denial) -> String {
    let words = denied(denial);
    format!("{}, message to `{topic}`: {words}", broker(settings))
}

fn denied(denial: &Denial) -> String {
    said(reason::denied(denial.reason), denial.words.as_deref())
}

/// Our words, and the broker's own where it has any.
fn said(ours: &str, theirs: Option<&str>) -> String {
    match theirs {
        Some(theirs) if !theirs.trim().is_empty() => {
            format!("{ours}; it says `{}`", theirs.trim().escape_debug())
        }
        _ => ours.to_owned(),
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

/// Something that only a person can mend.
pub(super) fn person(settings: &Mqtt, what: &str) -> Trouble {
    Trouble::Person {
        what: format!("{}: {what}", broker(settings)),
    }
}

fn by_kind(settings: &Mqtt, (needs_a_person, what): (bool, &str)) -> Trouble {
    if needs_a_person {
        person(settings, what)
    } else {
        later(settings, what)
    }
}

/// The broker as messages name it.
pub(super) fn broker(settings: &Mqtt) -> String {
    format!("broker `{}:{}`", settings.host, settings.port)
}

fn lost(loss: &Loss, settings: &Mqtt) -> Trouble {
    let version = settings.version.name();
    let what = match loss {
        Loss::Refused(code) => return refused(*code, settings),
        Loss::Dismissed(code, theirs) => {
            let (needs_a_person, what) = reason::dismissed(*code);
            let what = said(what, theirs.as_deref());
            return by_kind(settings, (needs_a_person, &what));
        }
        Loss::Io(error) => return io(error, settings),
        Loss::Closed => "it closed the connection; its log says why".to_owned(),
        Loss::NoAnswer => format!(
            "no answer within {} s; check host, port and firewall",
            super::CONNECT_WITHIN_S
        ),
        Loss::NoPong => "it no longer answers pings".to_owned(),
        Loss::TakesNothing => "it takes no more data".to_owned(),
        Loss::NoBroker => {
            "something answers there that is no MQTT broker; check the port".to_owned()
        }
        Loss::Unreadable(why) => {
            format!("what it sends is not MQTT {version} ({why}); check the port")
        }
        Loss::UnknownCode(code) => {
            format!(
                "it answers with code {code:#04x}, which MQTT {version} does not have there; read its log"
            )
        }
        Loss::Other(why) => why.clone(),
    };
    later(settings, &what)
}

fn io(error: &io::Error, settings: &Mqtt) -> Trouble {
    let inner = error.get_ref().and_then(|inner| inner.downcast_ref());
    let Some(of_tls) = inner else {
        return later(settings, &words(error));
    };
    let tls = settings.tls.as_ref();
    let shows_own = tls.is_some_and(|it| it.client.is_some());
    let complaint = tls::complaint(of_tls, shows_own);
    by_kind(settings, (!complaint.may_pass, &complaint.what))
}

fn refused(code: ConnectReturnCode, settings: &Mqtt) -> Trouble {
    let why = match code {
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
            refused_credentials(settings)
        }
        ConnectReturnCode::BadClientId | ConnectReturnCode::ClientIdentifierNotValid => format!(
            "refuses the client identifier `{}`; choose another `client_id`",
            settings.client_id
        ),
        ConnectReturnCode::RefusedProtocolVersion
        | ConnectReturnCode::UnsupportedProtocolVersion => another_version(settings.version),
        other => return by_kind(settings, reason::connecting(other)),
    };
    Trouble::Person {
        what: format!("{} {why}", broker(settings)),
    }
}

fn another_version(spoken: MqttVersion) -> String {
    let (spoken, other) = match spoken {
        MqttVersion::V3 => (spoken.name(), MqttVersion::V5.name()),
        MqttVersion::V5 => (spoken.name(), MqttVersion::V3.name()),
    };
    format!(
        "does not speak MQTT {spoken}; write `version = \"{other}\"`, or switch {spoken} on there"
    )
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

#[cfg(test)]
mod tests {
    use super::super::tests::settings;
    use super::*;
    use rumqttc::v5::mqttbytes::v5::{DisconnectReasonCode, PubAckReason};

    fn of_loss(loss: Loss) -> Trouble {
        of(&Signal::Lost(Box::new(loss)), &settings())
    }

    fn is_for_a_person(trouble: &Trouble) -> bool {
        matches!(trouble, Trouble::Person { .. })
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
        let person = |code| is_for_a_person(&of_loss(Loss::Refused(code)));
        assert!(person(ConnectReturnCode::ClientIdentifierNotValid));
        assert!(person(ConnectReturnCode::UnsupportedProtocolVersion));
        assert!(!person(ConnectReturnCode::ServerUnavailable));
        assert!(!person(ConnectReturnCode::UnspecifiedError));
    }

    #[test]
    fn messages_name_the_broker_and_use_words() {
        let refused = io::Error::from_raw_os_error(111);
        let cases = [
            (Loss::Io(refused), "connection refused"),
            (
                Loss::NoAnswer,
                "no answer within 5 s; check host, port and firewall",
            ),
            (Loss::Closed, "it closed the connection; its log says why"),
            (Loss::NoPong, "it no longer answers pings"),
            (
                Loss::UnknownCode(0x95),
                "it answers with code 0x95, which MQTT 3.1.1 does not have there; read its log",
            ),
        ];
        for (loss, expected) in cases {
            assert_eq!(
                of_loss(loss).to_string(),
                format!("broker `127.0.0.1:1883`: {expected}")
            );
        }
    }

    #[test]
    fn a_name_that_two_clients_have_needs_a_person() {
        let trouble = of_loss(Loss::Dismissed(
            DisconnectReasonCode::SessionTakenOver,
            Some("other\nbench".into()),
        ));
        assert_eq!(
            trouble,
            Trouble::Person {
                what: "broker `127.0.0.1:1883`: another client has connected with the same \
                       `client_id`; give each its own; it says `other\\nbench`"
                    .into()
            }
        );
    }

    #[test]
    fn a_certificate_that_the_clock_may_heal_is_tried_again() {
        let broken = |why: rustls::CertificateError| {
            Loss::Io(io::Error::other(rustls::Error::InvalidCertificate(why)))
        };
        let expired = of_loss(broken(rustls::CertificateError::Expired));
        assert!(!is_for_a_person(&expired), "{expired}");
        assert!(
            expired.to_string().contains("this host's clock"),
            "{expired}"
        );
        let unknown = of_loss(broken(rustls::CertificateError::UnknownIssuer));
        assert!(is_for_a_person(&unknown), "{unknown}");
    }

    #[test]
    fn a_door_shut_without_a_word_says_what_may_be_expected_behind_it() {
        let closed = Signal::Lost(Box::new(Loss::Closed));
        let newer = Mqtt {
            version: MqttVersion::V5,
            ..settings()
        };
        assert_eq!(
            while_connecting(&closed, &newer).to_string(),
            "broker `127.0.0.1:1883`: it closed the connection before it answered; check the port; \
             if it wants TLS, write `tls = true`; if it knows no MQTT 5, write `version = \"3.1.1\"`"
        );
    }

    #[test]
    fn what_the_broker_says_of_a_message_is_passed_on() {
        let denial = Denial {
            reason: PubAckReason::QuotaExceeded,
            words: Some("80 of 80".into()),
        };
        assert_eq!(
            put_off(&settings(), "cellar/mash/late", &denial).to_string(),
            "broker `127.0.0.1:1883`: message to `cellar/mash/late`: a quota is exceeded (0x97); \
             raise it there; it says `80 of 80`"
        );
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
