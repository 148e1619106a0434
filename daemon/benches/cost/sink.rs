//! A database that says yes to everything, so that it costs both programs the same.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};

/// Takes posts on a port of its own until the process ends.
#[derive(Debug)]
pub struct Sink {
    /// Its port on loopback.
    pub port: u16,
}

impl Sink {
    /// Starts it.
    pub fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = listener.local_addr().expect("its port").port();
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                std::thread::spawn(move || serve(stream));
            }
        });
        Self { port }
    }
}

fn serve(stream: TcpStream) -> Option<()> {
    stream.set_nodelay(true).ok()?;
    let mut answers = stream.try_clone().ok()?;
    let mut reader = BufReader::new(stream);
    loop {
        let mut length = 0u64;
        loop {
            let mut line = String::new();
            if reader.read_line(&mut line).ok()? == 0 {
                return None;
            }
            if let Some(value) = line.to_ascii_lowercase().strip_prefix("content-length:") {
                length = value.trim().parse().ok()?;
            }
            if line.trim().is_empty() {
                break;
            }
        }
        std::io::copy(&mut reader.by_ref().take(length), &mut std::io::sink()).ok()?;
        answers.write_all(b"HTTP/1.1 204 No Content\r\n\r\n").ok()?;
    }
}
