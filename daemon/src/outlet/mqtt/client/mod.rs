//! The two flavours of the client library behind two small traits: it holds MQTT 3.1.1 and 5 as
//! copies of each other, with types of their own. What stands above knows only what is here.

mod v3;
mod v5;

use super::message::Message;
use super::plan::Plan;
use crate::config::MqttVersion;
use rumqttc::MqttOptions;
use rumqttc::v5::mqttbytes::v5::{ConnectReturnCode, DisconnectReasonCode, PubAckReason};
use std::future::Future;
use std::io;

/// What a connection reports; pings and the like are dealt with inside.
#[derive(Debug)]
pub(super) enum Signal {
    /// The broker accepted the connection, on these terms.
    Connected(Terms),
    /// The oldest message handed over went out under this identifier (0 at QoS 0).
    Sent(u16),
    /// The broker took responsibility for this identifier.
    Acknowledged(u16),
    /// The broker answered this identifier, but does not take the message.
    Denied(u16, Box<Denial>),
    /// The DISCONNECT packet went out.
    Left,
    /// The library cannot go on sending: an identifier is still in use.
    Stuck,
    /// The connection failed; nothing comes after it.
    Lost(Box<Loss>),
    /// The polling task is gone, with no last word.
    Ended,
}

/// What a broker allows its clients (MQTT 5.0, 3.2.2.3); version 3.1.1 has no words for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Terms {
    /// Messages under way at most.
    pub receive_maximum: usize,
    /// Largest packet, bytes, all of it counted.
    pub largest_packet: usize,
}

/// Why a message is not taken (MQTT 5.0, 3.4.2): a code, and the broker's own words if it has any.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Denial {
    pub reason: PubAckReason,
    pub words: Option<String>,
}

/// How a connection failed.
#[derive(Debug)]
pub(super) enum Loss {
    /// The broker refused it (CONNACK). The newer enumeration holds the older one's codes too.
    Refused(ConnectReturnCode),
    /// The broker said why it closed it (DISCONNECT, MQTT 5.0, 3.14).
    Dismissed(DisconnectReasonCode, Option<String>),
    /// The broker closed it without a word.
    Closed,
    /// What the operating system, or TLS inside it, says.
    Io(io::Error),
    /// No connection within the time.
    NoAnswer,
    /// Pings stay unanswered.
    NoPong,
    /// It takes no more data.
    TakesNothing,
    /// The first answer was none to a CONNECT.
    NoBroker,
    /// What came cannot be read as MQTT.
    Unreadable(String),
    /// A reason code that the standard does not have at this place.
    UnknownCode(u8),
    /// The library's own words.
    Other(String),
}

/// The library's queue is full, which the window rules out.
#[derive(Debug)]
pub(super) struct Full;

/// The side that takes orders. Never waits.
pub(super) trait Client: Send + Sync {
    /// Gives a message to the library.
    fn publish(&self, message: &mut Message, acknowledged: bool) -> Result<(), Full>;
    /// Says goodbye, so that the broker does not publish the will.
    fn disconnect(&self) -> Result<(), Full>;
}

/// The side that does the work while it is polled.
pub(super) trait Events: Send + 'static {
    /// Goes on until something happens; `None` is nothing of interest. After an error it must not
    /// be polled: that would connect anew behind our back.
    fn poll(&mut self) -> impl Future<Output = Result<Option<Signal>, Loss>> + Send;
    /// What arrived in the same read as the end of the connection.
    fn rest(&self) -> Vec<Signal>;
}

/// What is done with a pair of both sides; a way round naming the events' type.
pub(super) trait Opened {
    /// What comes of it.
    type Output;
    /// Takes both sides.
    fn with(self, client: Box<dyn Client>, events: impl Events) -> Self::Output;
}

/// Makes both sides, in the flavour that the plan asks for. Connects when first polled.
pub(super) fn open<T: Opened>(plan: Plan, queue: usize, then: T) -> T::Output {
    match plan.version {
        MqttVersion::V3 => {
            let (client, events) = v3::open(plan, queue);
            then.with(Box::new(client), events)
        }
        MqttVersion::V5 => {
            let (client, events) = v5::open(plan, queue);
            then.with(Box::new(client), events)
        }
    }
}

/// What a connection of version 3.1.1 is made with, whatever the plan's version.
pub(super) fn options(plan: Plan) -> MqttOptions {
    v3::options(plan)
}

impl Default for Terms {
    /// What holds where the broker does not say (MQTT 5.0, 3.2.2.3.3 and 3.2.2.3.6).
    fn default() -> Self {
        Self {
            receive_maximum: u16::MAX.into(),
            largest_packet: usize::MAX,
        }
    }
}

impl Loss {
    /// Whether a broker that answers a message it does not like by closing the connection would
    /// look like this. A network that fails, a broker that shuts down, is busy or is asked for by
    /// two clients of one name does not.
    pub fn may_be_the_messages_fault(&self) -> bool {
        use DisconnectReasonCode as Code;
        match self {
            Self::Closed | Self::UnknownCode(_) => true,
            Self::Io(error) => matches!(
                error.kind(),
                io::ErrorKind::ConnectionReset
                    | io::ErrorKind::ConnectionAborted
                    | io::ErrorKind::BrokenPipe
                    | io::ErrorKind::UnexpectedEof
            ),
            Self::Dismissed(code, _) => matches!(
                code,
                Code::UnspecifiedError
                    | Code::MalformedPacket
                    | Code::ProtocolError
                    | Code::ImplementationSpecificError
                    | Code::NotAuthorized
                    | Code::TopicNameInvalid
                    | Code::PacketTooLarge
                    | Code::QuotaExceeded
                    | Code::AdministrativeAction
                    | Code::PayloadFormatInvalid
                    | Code::RetainNotSupported
                    | Code::QoSNotSupported
            ),
            _ => false,
        }
    }
}

/// An error of TLS as the one of the operating system that it is mostly wrapped in already.
fn tls(error: rumqttc::TlsError) -> Loss {
    match error {
        rumqttc::TlsError::Io(error) => Loss::Io(error),
        rumqttc::TlsError::TLS(error) => Loss::Io(io::Error::other(error)),
        other => Loss::Other(other.to_string()),
    }
}
