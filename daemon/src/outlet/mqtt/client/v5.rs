//! MQTT 5 by the client library.
//!
//! The library only logs a warning when a PUBACK refuses a message, but reports the packet all the
//! same: its reason code is looked at here. It swallows a DISCONNECT, and a CONNACK, that ends
//! before its properties: then the connection just ends, or the answer never comes.

use super::{Client, Denial, Events, Full, Loss, Signal, Terms, tls};
use crate::outlet::mqtt::message::Message;
use crate::outlet::mqtt::plan::Plan;
use crate::outlet::mqtt::{CONNECT_WITHIN_S, MAX_PACKET_BYTES};
use rumqttc::v5::mqttbytes::v5::{
    ConnAck, LastWill, Packet, PubAck, PubAckReason, PublishProperties,
};
use rumqttc::v5::mqttbytes::{Error, QoS};
use rumqttc::v5::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, StateError};
use rumqttc::{NetworkOptions, Outgoing, Transport};
use std::time::Duration;

/// Under this the library stops the program.
const SHORTEST_KEEP_ALIVE: Duration = Duration::from_secs(5);

/// Both sides of a connection to be.
pub(super) fn open(plan: Plan, queue: usize) -> (AsyncClient, EventLoop) {
    AsyncClient::new(options(plan), queue)
}

fn options(plan: Plan) -> MqttOptions {
    let mut network = NetworkOptions::new();
    // Without it every acknowledgement may wait 40 ms for the next segment.
    network.set_tcp_nodelay(true);
    let mut options = MqttOptions::new(plan.client_id, plan.host, plan.port);
    options
        // And no session expiry: the broker keeps nothing of us that could come back as a surprise.
        .set_clean_start(true)
        .set_keep_alive(plan.keep_alive.max(SHORTEST_KEEP_ALIVE))
        .set_outgoing_inflight_upper_limit(plan.window)
        .set_max_packet_size(u32::try_from(MAX_PACKET_BYTES).ok())
        .set_connection_timeout(CONNECT_WITHIN_S)
        .set_network_options(network);
    if let Some(topic) = plan.will {
        let will = LastWill::new(topic, super::super::OFFLINE, QoS::AtLeastOnce, true, None);
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
        let topic = message.topic.as_str();
        let sent = match message.expires_s {
            None => self.try_publish(topic, qos, message.retain, payload),
            Some(seconds) => {
                let properties = PublishProperties {
                    message_expiry_interval: Some(seconds),
                    ..PublishProperties::default()
                };
                self.try_publish_with_properties(topic, qos, message.retain, payload, properties)
            }
        };
        sent.map_err(|_| Full)
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
        Event::Incoming(Packet::ConnAck(answer)) => Some(Signal::Connected(terms(answer))),
        Event::Incoming(Packet::PubAck(answer)) => Some(answered(answer)),
        Event::Outgoing(Outgoing::Publish(id)) => Some(Signal::Sent(*id)),
        Event::Outgoing(Outgoing::AwaitAck(_)) => Some(Signal::Stuck),
        Event::Outgoing(Outgoing::Disconnect) => Some(Signal::Left),
        _ => None,
    }
}

fn terms(answer: &ConnAck) -> Terms {
    let (stated, otherwise) = (answer.properties.as_ref(), Terms::default());
    let receive_maximum = stated.and_then(|it| it.receive_max).map(usize::from);
    let largest = stated.and_then(|it| it.max_packet_size);
    Terms {
        receive_maximum: receive_maximum.unwrap_or(otherwise.receive_maximum),
        largest_packet: largest
            .and_then(|bytes| usize::try_from(bytes).ok())
            .unwrap_or(otherwise.largest_packet),
    }
}

/// A message for which nobody has subscribed is taken all the same: it may be retained.
fn answered(answer: &PubAck) -> Signal {
    match answer.reason {
        PubAckReason::Success | PubAckReason::NoMatchingSubscribers => {
            Signal::Acknowledged(answer.pkid)
        }
        reason => {
            let properties = answer.properties.as_ref();
            let words = properties.and_then(|it| it.reason_string.clone());
            Signal::Denied(answer.pkid, Box::new(Denial { reason, words }))
        }
    }
}

fn loss(error: ConnectionError) -> Loss {
    match error {
        ConnectionError::ConnectionRefused(code) => Loss::Refused(code),
        ConnectionError::Io(error) => Loss::Io(error),
        ConnectionError::Tls(error) => tls(error),
        ConnectionError::Timeout(_) => Loss::NoAnswer,
        ConnectionError::NotConnAck(_) => Loss::NoBroker,
        ConnectionError::MqttState(error) => state(error),
        other @ ConnectionError::RequestsDone => Loss::Other(other.to_string()),
    }
}

fn state(error: StateError) -> Loss {
    match error {
        StateError::Io(error) | StateError::Deserialization(Error::Io(error)) => Loss::Io(error),
        StateError::AwaitPingResp => Loss::NoPong,
        StateError::ConnectionAborted => Loss::Closed,
        StateError::ServerDisconnect {
            reason_code,
            reason_string,
        } => Loss::Dismissed(reason_code, reason_string),
        // The library reads every code by this name.
        StateError::Deserialization(Error::InvalidConnectReturnCode(code)) => {
            Loss::UnknownCode(code)
        }
        StateError::Deserialization(error) => Loss::Unreadable(error.to_string()),
        other => Loss::Other(other.to_string()),
    }
}
