//! A real broker, and a subscriber that speaks just enough of the protocol not to be in the way.

use crate::board::{COUNTS, FIRST_COUNT};
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// mosquitto on a port of its own, ended when dropped.
#[derive(Debug)]
pub struct Broker {
    child: Child,
    _folder: tempfile::TempDir,
    /// Its port on loopback.
    pub port: u16,
}

impl Broker {
    /// Starts it.
    pub fn start() -> Self {
        let port = TcpListener::bind("127.0.0.1:0")
            .and_then(|l| l.local_addr())
            .expect("a free port")
            .port();
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("broker.conf");
        let settings = format!(
            "listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n\
             set_tcp_nodelay true\nmax_queued_messages 0\nlog_type none\n"
        );
        std::fs::write(&file, settings).expect("its settings");
        let path = std::env::var("PATH").unwrap_or_default() + ":/usr/sbin";
        let child = Command::new("mosquitto")
            .env("PATH", path)
            .arg("-c")
            .arg(file)
            .stderr(Stdio::null())
            .spawn()
            .expect("mosquitto; install it by tests/install");
        Self {
            child,
            _folder: folder,
            port,
        }
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Counts readings' messages and says when they came.
#[derive(Debug)]
pub struct Subscriber {
    arrivals: Receiver<(u64, Instant)>,
}

impl Subscriber {
    /// Subscribes to everything, QoS 0.
    pub fn listen(broker: &Broker) -> Self {
        let mut stream = connect(broker.port);
        stream.set_nodelay(true).expect("no delay");
        stream
            .write_all(b"\x10\x10\x00\x04MQTT\x04\x02\x00\x00\x00\x04cost")
            .expect("CONNECT");
        stream
            .write_all(b"\x82\x06\x00\x01\x00\x01#\x00")
            .expect("SUBSCRIBE");
        let (to, arrivals) = channel();
        std::thread::spawn(move || {
            let mut buffer = Vec::new();
            let mut chunk = vec![0; 1 << 16];
            while let Ok(n @ 1..) = stream.read(&mut chunk) {
                let at = Instant::now();
                buffer.extend_from_slice(&chunk[..n]);
                let mut start = 0;
                while let Some((packet, end)) = packet(&buffer[start..]) {
                    if let Some(line) = line_of(packet)
                        && to.send((line, at)).is_err()
                    {
                        return;
                    }
                    start += end;
                }
                buffer.drain(..start);
            }
        });
        Self { arrivals }
    }

    /// The first arrivals: number of the line, and when.
    pub fn take(&self, most: usize, within: Duration) -> Vec<(u64, Instant)> {
        let end = Instant::now() + within;
        let next = || {
            self.arrivals
                .recv_timeout(end.saturating_duration_since(Instant::now()))
                .ok()
        };
        std::iter::from_fn(next).take(most).collect()
    }

    /// How many came, up to `most`; `meanwhile` is called now and then.
    pub fn count(&self, most: usize, within: Duration, mut meanwhile: impl FnMut()) -> usize {
        let end = Instant::now() + within;
        let mut count = 0;
        while count < most && Instant::now() < end {
            match self
                .arrivals
                .recv_timeout(Duration::from_millis(50).min(within))
            {
                Ok(_) => count += 1,
                Err(_) => meanwhile(),
            }
            if count % 4096 == 0 {
                meanwhile();
            }
        }
        count
    }
}

fn connect(port: u16) -> TcpStream {
    for _ in 0..100 {
        if let Ok(stream) = TcpStream::connect(("127.0.0.1", port)) {
            return stream;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    panic!("the broker does not answer");
}

/// The first whole packet and its length (MQTT 3.1.1, 2.2.3).
fn packet(bytes: &[u8]) -> Option<(&[u8], usize)> {
    let mut length = 0usize;
    for (index, byte) in bytes.iter().skip(1).take(4).enumerate() {
        length |= usize::from(byte & 0x7F) << (7 * index);
        if byte & 0x80 == 0 {
            let end = 2 + index + length;
            return (bytes.len() >= end).then(|| (&bytes[..end], end));
        }
    }
    None
}

/// Number of the line that a reading's message is of.
fn line_of(packet: &[u8]) -> Option<u64> {
    const KEY: &[u8] = b"\"raw\":";
    if packet[0] >> 4 != 3 {
        return None;
    }
    let at = packet.windows(KEY.len()).position(|w| w == KEY)? + KEY.len();
    let digits = packet[at..].iter().take_while(|b| b.is_ascii_digit());
    let count = digits.fold(0u64, |n, b| n * 10 + u64::from(b - b'0'));
    count.checked_sub(FIRST_COUNT).map(|line| line % COUNTS)
}
