//! MQTT 3.1.1 by the client library.

use super::{Client, Events, Full, Loss, Signal, Terms, tls};
use crate::outlet::mqtt::message::Message;
use crate::outlet::mqtt::plan::Plan;
use crate::outlet::mqtt::{CONNECT_WITHIN_S, MAX_PACKET_BYTES};
use rumqttc::v5::mqttbytes::v5::ConnectReturnCode as Code;
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, EventLoop, LastWill, MqttOptions,
    Outgoing, Packet, QoS, StateError, Transport, mqttbytes,
};

/// Both sides of a connection to be.
pub(super) fn open(plan: Plan, queue: usize) -> (AsyncClient, EventLoop) {
    let (client, mut events) = AsyncClient::new(options(plan), queue);
    events
        .network_options
        .set_connection_timeout(CONNECT_WITHIN_S);
    // Without it every acknowledgement may wait 40 ms for the next segment.
    events.network_options.set_tcp_nodelay(true);
    (client, events)
}

/// What a connection is made with.
pub(super) fn options(plan: Plan) -> MqttOptions {
    let mut options = MqttOptions::new(plan.client_id, plan.host, plan.port);
    options
        .set_clean_session(true)
        .set_keep_alive(plan.keep_alive)
        .set_inflight(plan.window)
        .set_max_packet_size(MAX_PACKET_BYTES, MAX_PACKET_BYTES);
    if let Some(topic) = plan.will {
        let will = LastWill::new(topic, super::super::OFFLINE, QoS::AtLeastOnce, true);
        options.set_last_will(will);
    }
    if let Some((user, password)) = plan.credentials {
        options.set_credentials(user, password.as_ref().map_or("", |it| it.expose()));
    }
    if let Some(config) = plan.tls {
        options.set_transport(Transport::tls_with_config(config.into()));
    }
    options
}

impl Client for AsyncClient {
    fn publish(&self, message: &mut Message, acknowledged: bool) -> Result<(), Full> {
        let qos = if acknowledged {
            QoS::AtLeastOnce
        } else {
            QoS::AtMostOnce
        };
        let payload = std::mem::take(&mut message.payload);
        self.try_publish(message.topic.as_str(), qos, message.retain, payload)
            .map_err(|_| Full)
    }

    fn disconnect(&self) -> Result<(), Full> {
        self.try_disconnect().map_err(|_| Full)
    }
}

impl Events for EventLoop {
    async fn poll(&mut self) -> Result<Option<Signal>, Loss> {
        let event = Self::poll(self).await;
        event.map(|event| signal(&event)).map_err(loss)
    }

    fn rest(&self) -> Vec<Signal> {
        self.state.events.iter().filter_map(signal).collect()
    }
}

fn signal(event: &Event) -> Option<Signal> {
    match event {
        Event::Incoming(Packet::ConnAck(_)) => Some(Signal::Connected(Terms::default())),
        Event::Incoming(Packet::PubAck(answer)) => Some(Signal::Acknowledged(answer.pkid)),
        Event::Outgoing(Outgoing::Publish(id)) => Some(Signal::Sent(*id)),
        Event::Outgoing(Outgoing::AwaitAck(_)) => Some(Signal::Stuck),
        Event::Outgoing(Outgoing::Disconnect) => Some(Signal::Left),
        _ => None,
    }
}

fn loss(error: ConnectionError) -> Loss {
    match error {
        ConnectionError::ConnectionRefused(code) => Loss::Refused(as_newer(code)),
        ConnectionError::Io(error) => Loss::Io(error),
        ConnectionError::Tls(error) => tls(error),
        ConnectionError::NetworkTimeout => Loss::NoAnswer,
        ConnectionError::FlushTimeout => Loss::TakesNothing,
        ConnectionError::NotConnAck(_) => Loss::NoBroker,
        ConnectionError::MqttState(error) => state(error),
        other @ ConnectionError::RequestsDone => Loss::Other(other.to_string()),
    }
}

fn state(error: StateError) -> Loss {
    match error {
        StateError::Io(error) | StateError::Deserialization(mqttbytes::Error::Io(error)) => {
            Loss::Io(error)
        }
        StateError::AwaitPingResp => Loss::NoPong,
        StateError::ConnectionAborted => Loss::Closed,
        StateError::Deserialization(error) => Loss::Unreadable(error.to_string()),
        other => Loss::Other(other.to_string()),
    }
}

/// OASIS MQTT 3.1.1, 3.2.2.3, table 3.1, in the words of MQTT 5.0, 3.2.2.2.
fn as_newer(code: ConnectReturnCode) -> Code {
    match code {
        ConnectReturnCode::Success => Code::Success,
        ConnectReturnCode::RefusedProtocolVersion => Code::UnsupportedProtocolVersion,
        ConnectReturnCode::BadClientId => Code::ClientIdentifierNotValid,
        ConnectReturnCode::ServiceUnavailable => Code::ServerUnavailable,
        ConnectReturnCode::BadUserNamePassword => Code::BadUserNamePassword,
        ConnectReturnCode::NotAuthorized => Code::NotAuthorized,
    }
}
