//! A broker that misbehaves on purpose: one manner per connection, everything it sees reported.

use super::wire::{self, Connect, Packet, Publish};
use std::io;
use std::net::{TcpListener, TcpStream};
use std::time::Duration;
use tokio::sync::mpsc;

/// How it behaves on one connection. Publishes count from 0, which is the status message.
#[derive(Clone, Copy)]
pub struct Manner {
    /// Return code of its CONNACK (MQTT 3.1.1, 3.2.2.3); 0 accepts.
    pub answer: u8,
    /// Which publishes it acknowledges.
    pub acknowledges: fn(usize) -> bool,
    /// After how many publishes it cuts the connection.
    pub cuts_after: Option<usize>,
}

/// Accepts, acknowledges everything, never cuts.
pub const WELL_BEHAVED: Manner = Manner {
    answer: 0,
    acknowledges: |_| true,
    cuts_after: None,
};

/// What it saw, in order.
#[derive(Debug, PartialEq, Eq)]
pub enum Seen {
    Connect(Connect),
    Publish(Publish),
    Disconnect,
    /// The connection ended, by either side.
    Gone,
}

pub struct FakeBroker {
    pub port: u16,
    seen: mpsc::UnboundedReceiver<Seen>,
}

impl FakeBroker {
    /// Serves one connection after the other, one per manner, then takes no more.
    #[expect(
        clippy::disallowed_methods,
        reason = "no more comes than the test lets happen"
    )]
    pub fn start<const N: usize>(manners: [Manner; N]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let (report, seen) = mpsc::unbounded_channel();
        std::thread::spawn(move || {
            for manner in manners {
                let (stream, _) = listener.accept().unwrap();
                // How a connection ends is the client's choice: no error for this side.
                let _ = serve(stream, manner, &report);
                let _ = report.send(Seen::Gone);
            }
        });
        Self { port, seen }
    }

    /// The next thing it sees.
    pub async fn sees(&mut self) -> Seen {
        let wait = tokio::time::timeout(Duration::from_secs(10), self.seen.recv());
        wait.await
            .expect("the broker sees something within 10 s")
            .unwrap()
    }

    pub async fn sees_connect(&mut self) -> Connect {
        match self.sees().await {
            Seen::Connect(connect) => connect,
            other => panic!("not a connect: {other:?}"),
        }
    }

    /// Payloads of the publishes that come next, up to the first other thing or `count`.
    pub async fn sees_payloads(&mut self, count: usize) -> Vec<String> {
        let mut payloads = Vec::new();
        while payloads.len() < count {
            match self.sees().await {
                Seen::Publish(publish) => {
                    payloads.push(String::from_utf8(publish.payload).unwrap());
                }
                _ => break,
            }
        }
        payloads
    }
}

fn serve(
    mut stream: TcpStream,
    manner: Manner,
    report: &mpsc::UnboundedSender<Seen>,
) -> io::Result<()> {
    stream.set_nodelay(true)?;
    let mut count = 0;
    while manner.cuts_after != Some(count) {
        let packet = Packet::read(&mut stream)?;
        match packet.kind() {
            wire::CONNECT => {
                let _ = report.send(Seen::Connect(packet.connect()));
                Packet::write(wire::CONNACK, &[0, manner.answer], &mut stream)?;
            }
            wire::PUBLISH => {
                let publish = packet.publish();
                if let Some(id) = publish.id.filter(|_| (manner.acknowledges)(count)) {
                    Packet::write(wire::PUBACK, &id.to_be_bytes(), &mut stream)?;
                }
                count += 1;
                let _ = report.send(Seen::Publish(publish));
            }
            wire::PINGREQ => Packet::write(wire::PINGRESP, &[], &mut stream)?,
            wire::DISCONNECT => {
                let _ = report.send(Seen::Disconnect);
            }
            other => panic!("packet type {other:#x}"),
        }
    }
    Ok(())
}
