//! The reason codes of MQTT 5 in words, and what each means for what was sent. One table per
//! packet; no policy beyond a single code: what many of them together mean is decided above.

use rumqttc::v5::mqttbytes::v5::{
    ConnectReturnCode as Connect, DisconnectReasonCode as Disconnect, PubAckReason as Answer,
};

/// What a PUBACK that is no acknowledgement means for its message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// It is taken.
    Taken,
    /// The same message may be taken later.
    Later,
    /// The broker does not like this message for a reason that it keeps to itself: as if it had
    /// closed the connection on it.
    Stumbles,
    /// This message will never be taken as things are set up there.
    Refused,
}

/// OASIS MQTT 5.0, 3.4.2.1, table 3-4 (PUBACK).
///
/// | code | meaning | verdict |
/// |---|---|---|
/// | 0x00 | success | taken |
/// | 0x10 | no matching subscribers | taken: it may be retained, and who comes later is served |
/// | 0x80 | unspecified error | stumbles: may pass, may be for ever |
/// | 0x83 | implementation specific error | stumbles: likewise |
/// | 0x87 | not authorized | refused: access rules do not heal by waiting |
/// | 0x90 | topic name invalid | refused |
/// | 0x91 | packet identifier in use | later: a fresh connection has no old identifiers |
/// | 0x97 | quota exceeded | later: quotas are freed |
/// | 0x99 | payload format invalid | refused |
pub(super) fn verdict(answer: Answer) -> Verdict {
    match answer {
        Answer::Success | Answer::NoMatchingSubscribers => Verdict::Taken,
        Answer::UnspecifiedError | Answer::ImplementationSpecificError => Verdict::Stumbles,
        Answer::PacketIdentifierInUse | Answer::QuotaExceeded => Verdict::Later,
        Answer::NotAuthorized | Answer::TopicNameInvalid | Answer::PayloadFormatInvalid => {
            Verdict::Refused
        }
    }
}

/// The same table in words, for the answers that are no acknowledgement; with what to do.
pub(super) fn denied(answer: Answer) -> &'static str {
    match answer {
        Answer::Success | Answer::NoMatchingSubscribers => "taken",
        Answer::UnspecifiedError => "refused without a reason (0x80); read the broker's log",
        Answer::ImplementationSpecificError => {
            "the broker is not willing to take it (0x83); read its log"
        }
        Answer::NotAuthorized => {
            "not authorised (0x87); allow this topic for this user in the broker's access rules"
        }
        Answer::TopicNameInvalid => {
            "the broker does not accept this topic (0x90); choose another topic"
        }
        Answer::PacketIdentifierInUse => "packet identifier in use (0x91); connecting afresh",
        Answer::QuotaExceeded => "a quota is exceeded (0x97); raise it there",
        Answer::PayloadFormatInvalid => {
            "the broker does not accept this payload (0x99); choose another `payload`"
        }
    }
}

/// Whether a person is needed, and what the code of a CONNACK says (OASIS MQTT 5.0, 3.2.2.2, table
/// 3-1; those of 3.1.1, 3.2.2.3, table 3.1 are among them). Credentials, the client identifier and
/// the version are told with what is configured, by [`super::trouble`].
pub(super) fn connecting(code: Connect) -> (bool, &'static str) {
    match code {
        Connect::ServerUnavailable | Connect::ServiceUnavailable => {
            (false, "it says that its service is unavailable")
        }
        Connect::ServerBusy => (false, "it is busy"),
        Connect::QuotaExceeded => (false, "a quota of connections is exceeded there"),
        Connect::ConnectionRateExceeded => (false, "it allows no more connections for now"),
        Connect::UseAnotherServer => (true, "it sends its clients to another server for now"),
        Connect::ServerMoved => (true, "it has moved for good; write the new `host`"),
        Connect::Banned => (true, "it has banned this client; ask who runs it"),
        Connect::BadAuthenticationMethod => (true, "it wants another way of authentication"),
        Connect::TopicNameInvalid => (true, "it does not accept the topic `status_topic`"),
        Connect::PacketTooLarge => (true, "it allows no packet as large as the first one"),
        Connect::PayloadFormatInvalid => (true, "it does not accept the text `offline` as a will"),
        Connect::RetainNotSupported => (
            true,
            "it keeps no retained messages, which status and alarms need; choose another broker",
        ),
        Connect::QoSNotSupported => (
            true,
            "it does not acknowledge messages (QoS 1), which the status needs; choose another broker",
        ),
        Connect::MalformedPacket | Connect::ProtocolError => (
            true,
            "it does not understand the first packet; check that it is an MQTT broker",
        ),
        _ => (
            false,
            "it refuses the connection without a reason; read its log",
        ),
    }
}

/// Whether a person is needed, and what a DISCONNECT says (OASIS MQTT 5.0, 3.14.2.1, table 3-10).
pub(super) fn dismissed(code: Disconnect) -> (bool, &'static str) {
    match code {
        Disconnect::ServerShuttingDown => (false, "it shuts down"),
        Disconnect::ServerBusy => (false, "it is busy"),
        Disconnect::KeepAliveTimeout => (false, "it has heard nothing for too long"),
        Disconnect::SessionTakenOver => (
            true,
            "another client has connected with the same `client_id`; give each its own",
        ),
        Disconnect::NotAuthorized => (false, "it closed the connection: not authorised"),
        Disconnect::TopicNameInvalid => (false, "it closed the connection: topic not accepted"),
        Disconnect::PacketTooLarge => (false, "it closed the connection: message too large"),
        Disconnect::PayloadFormatInvalid => {
            (false, "it closed the connection: payload not accepted")
        }
        Disconnect::QuotaExceeded => (false, "it closed the connection: a quota is exceeded"),
        Disconnect::MessageRateTooHigh => (
            false,
            "it closed the connection: too many messages a second; lower `backlog_rate`",
        ),
        Disconnect::ReceiveMaximumExceeded => (
            false,
            "it closed the connection: too many messages under way; lower `window`",
        ),
        Disconnect::RetainNotSupported => {
            (true, "it keeps no retained messages; choose another broker")
        }
        Disconnect::QoSNotSupported => (
            true,
            "it does not acknowledge messages (QoS 1); choose another broker",
        ),
        Disconnect::AdministrativeAction => (false, "somebody there closed the connection"),
        Disconnect::UseAnotherServer => (true, "it sends its clients to another server for now"),
        Disconnect::ServerMoved => (true, "it has moved for good; write the new `host`"),
        Disconnect::ConnectionRateExceeded => (false, "it allows no more connections for now"),
        Disconnect::MaximumConnectTime => (false, "the connection's time was up"),
        _ => (false, "it closed the connection; its log says why"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: OASIS MQTT 5.0, 3.4.2.1, table 3-4: which codes say that a message was taken.
    #[test]
    fn only_success_and_no_subscriber_count_as_taken() {
        use Answer as A;
        for (answer, expected) in [
            (A::Success, Verdict::Taken),
            (A::NoMatchingSubscribers, Verdict::Taken),
            (A::UnspecifiedError, Verdict::Stumbles),
            (A::ImplementationSpecificError, Verdict::Stumbles),
            (A::NotAuthorized, Verdict::Refused),
            (A::TopicNameInvalid, Verdict::Refused),
            (A::PacketIdentifierInUse, Verdict::Later),
            (A::QuotaExceeded, Verdict::Later),
            (A::PayloadFormatInvalid, Verdict::Refused),
        ] {
            assert_eq!(verdict(answer), expected, "{}", denied(answer));
        }
    }

    #[test]
    fn a_full_house_is_waited_for_and_a_ban_is_not() {
        assert!(!connecting(Connect::ServerBusy).0);
        assert!(connecting(Connect::Banned).0);
        assert!(!dismissed(Disconnect::ServerShuttingDown).0);
        assert!(dismissed(Disconnect::SessionTakenOver).0);
    }
}
