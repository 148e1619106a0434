//! A serial port behind a network bridge: connected to, read line by line, connected to anew.
//!
//! A bridge whose power fails says nothing: keep-alive probes and a limit on silence notice it.
//! The bytes are taken as they come; no negotiation of Telnet or of a remote port's settings
//! (RFC 2217), and nothing is ever written.

use super::retry::{Pace, Retry};
use super::stream::Stream;
use super::{Event, Sink, Source};
use crate::clock;
use crate::config::Bridge;
use crate::measure::lines::LineSplitter;
use crate::outlet::words;
use crate::reading::Moment;
use rustix::net::sockopt;
use std::future::Future;
use std::io;
use std::pin::Pin;
use std::time::Duration;
use tokio::net::{TcpStream, lookup_host};
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// Waiting times of a network bridge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// Waits between attempts.
    pub pace: Pace,
    /// Longest wait for a name and a connection. In one house both take milliseconds.
    pub connecting: Duration,
}

impl Default for Patience {
    /// As a serial port is looked for.
    fn default() -> Self {
        Self {
            pace: Pace {
                shortest: Duration::from_millis(250),
                longest: Duration::from_secs(5),
            },
            connecting: Duration::from_secs(5),
        }
    }
}

/// Keep-alive: first probe after this much silence, then one each interval, and this many without
/// an answer end the connection: 30 s in all.
const PROBE_AFTER: Duration = Duration::from_secs(15);
const PROBE_EVERY: Duration = Duration::from_secs(5);
const PROBES: u32 = 3;

/// Chunks read at most after the stop.
const LAST_CHUNKS: usize = 16;

/// What is in the kernel's buffer comes within this.
const ALREADY_THERE: Duration = Duration::from_millis(20);

/// A board behind a network bridge.
#[derive(Clone, Debug)]
pub struct TcpSource {
    board: String,
    bridge: Bridge,
    patience: Patience,
}

enum Ending {
    /// By the stop, or by the flow's end.
    Stopped,
    /// The connection is gone, and why.
    Gone(String),
}

impl TcpSource {
    /// The board of this label behind `bridge`. Nothing is opened yet.
    #[must_use]
    pub fn new(board: impl Into<String>, bridge: Bridge) -> Self {
        Self {
            board: board.into(),
            bridge,
            patience: Patience::default(),
        }
    }

    /// The same with other waiting times.
    #[must_use]
    pub fn with_patience(self, patience: Patience) -> Self {
        Self { patience, ..self }
    }

    async fn look_after(self, sink: Sink, stop: CancellationToken) {
        let mut retry = Retry::new(self.patience.pace);
        loop {
            let connected = tokio::select! {
                biased;
                () = stop.cancelled() => return,
                connected = self.connect() => connected,
            };
            let reason = match connected {
                Err(why) => why,
                Ok(stream) => match self.stay(stream, &mut retry, &sink, &stop).await {
                    Ending::Stopped => return,
                    Ending::Gone(why) => why,
                },
            };
            let told = match retry.tell(clock::now(), reason) {
                Some(event) => sink.put(event).await,
                None => true,
            };
            if !told || !retry.pause(&stop).await {
                return;
            }
        }
    }

    /// The name is asked for anew each time: the bridge may have got another address.
    async fn connect(&self) -> Result<TcpStream, String> {
        let connecting = async {
            let found: Vec<_> = lookup_host((self.host(), self.bridge.port))
                .await?
                .collect();
            let stream = TcpStream::connect(&*found).await?;
            keep_alive(&stream)?;
            Ok(stream)
        };
        match timeout(self.patience.connecting, connecting).await {
            Ok(connected) => connected.map_err(|error| self.explain(&error)),
            Err(_) => Err(self.explain(&io::ErrorKind::TimedOut.into())),
        }
    }

    async fn stay(
        &self,
        stream: TcpStream,
        retry: &mut Retry,
        sink: &Sink,
        stop: &CancellationToken,
    ) -> Ending {
        let since = clock::now();
        retry.found();
        if !sink.put(self.opened(since, &stream)).await {
            return Ending::Stopped;
        }
        let mut stream = Stream::new(stream, LineSplitter::after_opening());
        let ending = self.read(&mut stream, sink, stop).await;
        let now = clock::now();
        retry.lasted(now.boot_ns.saturating_sub(since.boot_ns));
        // Where the flow has ended the next event tells.
        stream.finish(now, sink).await;
        ending
    }

    async fn read(
        &self,
        stream: &mut Stream<TcpStream>,
        sink: &Sink,
        stop: &CancellationToken,
    ) -> Ending {
        loop {
            let read = tokio::select! {
                biased;
                () = stop.cancelled() => return drain(stream, sink).await,
                read = timeout(self.bridge.silence, stream.read()) => read,
            };
            match read {
                Ok(Ok(0)) => return self.gone("the other end closed the connection"),
                Ok(Ok(n)) if stream.pass_on(n, clock::now(), sink).await => {}
                Ok(Ok(_)) => return Ending::Stopped,
                Ok(Err(error)) => return self.gone(&words(&error)),
                Err(_) => return self.gone(&self.silent()),
            }
        }
    }

    fn silent(&self) -> String {
        let seconds = self.bridge.silence.as_secs_f64();
        format!("nothing came for {seconds} s, so the other end may be dead")
    }

    fn gone(&self, why: &str) -> Ending {
        let place = self.place();
        Ending::Gone(format!(
            "{place}: {why}; what came before is kept; connecting anew"
        ))
    }

    fn explain(&self, error: &io::Error) -> String {
        let (place, board) = (self.place(), &self.board);
        let why = match error.kind() {
            io::ErrorKind::TimedOut => format!(
                "no answer within {} s; check its power and cable",
                self.patience.connecting.as_secs_f64()
            ),
            io::ErrorKind::ConnectionRefused => "it refuses the connection; another client may \
                 have it, or the port is another one"
                .to_owned(),
            _ => words(error),
        };
        format!("{place}: {why}; see `host` and `port` in `[board.{board}]`; trying again")
    }

    fn opened(&self, at: Moment, stream: &TcpStream) -> Event {
        let place = self.place();
        let peer = stream.peer_addr().map(|peer| format!("`{peer}`"));
        let detail = match peer {
            Ok(peer) if peer != place => format!("{place} ({peer})"),
            _ => place,
        };
        Event::Opened {
            at,
            detail,
            resets_board: false,
        }
    }

    /// Without the brackets of an IPv6 address.
    fn host(&self) -> &str {
        self.bridge.host.trim_matches(['[', ']'])
    }

    fn place(&self) -> String {
        let (host, port) = (self.host(), self.bridge.port);
        if host.contains(':') {
            format!("`[{host}]:{port}`")
        } else {
            format!("`{host}:{port}`")
        }
    }
}

/// After the stop: passes on what is already there, without waiting for more.
async fn drain(stream: &mut Stream<TcpStream>, sink: &Sink) -> Ending {
    for _ in 0..LAST_CHUNKS {
        let Ok(Ok(n @ 1..)) = timeout(ALREADY_THERE, stream.read()).await else {
            break;
        };
        if !stream.pass_on(n, clock::now(), sink).await {
            break;
        }
    }
    Ending::Stopped
}

fn keep_alive(stream: &TcpStream) -> io::Result<()> {
    sockopt::set_socket_keepalive(stream, true)?;
    sockopt::set_tcp_keepidle(stream, PROBE_AFTER)?;
    sockopt::set_tcp_keepintvl(stream, PROBE_EVERY)?;
    sockopt::set_tcp_keepcnt(stream, PROBES)?;
    Ok(())
}

impl Source for TcpSource {
    fn run(
        self: Box<Self>,
        sink: Sink,
        stop: CancellationToken,
    ) -> Pin<Box<dyn Future<Output = ()> + Send>> {
        Box::pin(self.look_after(sink, stop))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(host: &str) -> TcpSource {
        let bridge = Bridge {
            host: host.to_owned(),
            port: 2000,
            silence: Duration::from_secs(30),
        };
        TcpSource::new("bench", bridge)
    }

    #[test]
    fn troubles_name_the_place_and_what_to_do() {
        let explain = |kind: io::ErrorKind| source("bridge").explain(&kind.into());
        insta::assert_snapshot!(explain(io::ErrorKind::ConnectionRefused), @"`bridge:2000`: it refuses the connection; another client may have it, or the port is another one; see `host` and `port` in `[board.bench]`; trying again");
        insta::assert_snapshot!(explain(io::ErrorKind::TimedOut), @"`bridge:2000`: no answer within 5 s; check its power and cable; see `host` and `port` in `[board.bench]`; trying again");
    }

    #[test]
    fn an_address_with_colons_is_shown_in_brackets() {
        for host in ["::1", "[::1]"] {
            assert_eq!(source(host).place(), "`[::1]:2000`");
            assert_eq!(source(host).host(), "::1");
        }
        assert_eq!(source("127.0.0.1").place(), "`127.0.0.1:2000`");
    }
}
