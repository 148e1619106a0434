//! Reads back from a real broker, with the wire format of these tests only.

use super::wire::{self, Packet, Publish, prefixed};
use std::collections::BTreeMap;
use std::net::{Shutdown, TcpStream};
use std::time::Duration;
use tokio::sync::mpsc;

/// Subscribed to everything; what comes is kept in order.
pub struct Subscriber {
    stream: TcpStream,
    messages: mpsc::UnboundedReceiver<Publish>,
}

impl Subscriber {
    /// Returns when the broker has confirmed the subscription.
    #[expect(
        clippy::disallowed_methods,
        reason = "no more comes than the test lets happen"
    )]
    pub fn start(port: u16) -> Self {
        let mut stream = subscribed(port, "reads-along");
        let mut reader = stream.try_clone().unwrap();
        let (report, messages) = mpsc::unbounded_channel();
        wait_for(wire::SUBACK, &mut stream);
        std::thread::spawn(move || {
            while let Ok(packet) = Packet::read(&mut reader) {
                if packet.kind() == wire::PUBLISH && report.send(packet.publish(4)).is_err() {
                    return;
                }
            }
        });
        Self { stream, messages }
    }

    /// The next message.
    pub async fn next(&mut self) -> Publish {
        let wait = tokio::time::timeout(Duration::from_secs(10), self.messages.recv());
        wait.await
            .expect("a message within 10 s")
            .expect("a living connection")
    }

    /// The next messages as topic and text.
    pub async fn next_texts(&mut self, count: usize) -> Vec<(String, String)> {
        let mut texts = Vec::new();
        for _ in 0..count {
            let message = self.next().await;
            texts.push((message.topic, String::from_utf8(message.payload).unwrap()));
        }
        texts
    }
}

impl Drop for Subscriber {
    fn drop(&mut self) {
        let _ = self.stream.shutdown(Shutdown::Both);
    }
}

/// Everything the broker retains. A message of its own, sent after subscribing, marks the end.
pub fn retained(port: u16) -> BTreeMap<String, String> {
    const MARK: &str = "end-of-retained";
    let mut stream = subscribed(port, "reads-retained");
    Packet::write(wire::PUBLISH, &prefixed(MARK), &mut stream).unwrap();
    let mut found = BTreeMap::new();
    loop {
        let packet = Packet::read(&mut stream).unwrap();
        if packet.kind() != wire::PUBLISH {
            continue;
        }
        let message = packet.publish(4);
        if message.topic == MARK {
            return found;
        }
        assert!(message.retain, "{message:?}");
        found.insert(message.topic, String::from_utf8(message.payload).unwrap());
    }
}

fn subscribed(port: u16, client_id: &str) -> TcpStream {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    // Level 4, clean session, no keep-alive (MQTT 3.1.1, 3.1).
    let connect = [prefixed("MQTT"), vec![4, 2, 0, 0], prefixed(client_id)].concat();
    Packet::write(wire::CONNECT, &connect, &mut stream).unwrap();
    wait_for(wire::CONNACK, &mut stream);
    let subscribe = [vec![0, 1], prefixed("#"), vec![0]].concat();
    Packet::write(wire::SUBSCRIBE, &subscribe, &mut stream).unwrap();
    stream
}

fn wait_for(kind: u8, stream: &mut TcpStream) {
    while Packet::read(stream).unwrap().kind() != kind {}
}
