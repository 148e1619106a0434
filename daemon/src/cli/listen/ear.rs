//! Listens until time, lines, patience or the board have ended.
//!
//! Keeps whole lines, as many as are judged, and counts all bytes.

use super::input::Input;
use super::live::Live;
use crate::clock;
use crate::listen::{Heard, MAX_LINES};
use crate::measure::lines::{LineSplitter, Piece};
use std::io;
use std::time::Duration;
use tokio::signal::unix::{Signal, SignalKind, signal};

/// How long a port may say nothing readable before that is told.
const PATIENCE: Duration = Duration::from_secs(5);

/// Bytes kept to be shown where no line came.
const SAMPLE: usize = 64;

/// When listening ends by itself.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// After this time; none for as long as bytes come.
    pub time: Option<Duration>,
    /// After this many lines with content.
    pub lines: usize,
}

/// Why listening ended.
#[derive(Debug)]
pub enum Ending {
    /// As it was asked for, or by Ctrl-C.
    AsAsked,
    /// The recording is over.
    Over,
    /// The port is gone.
    Gone,
    /// The system says so.
    Failed(io::Error),
}

/// Ctrl-C or SIGTERM: what was heard until then counts.
pub struct Stop {
    interrupt: Signal,
    terminate: Signal,
}

/// What was heard so far.
pub struct Ear {
    splitter: LineSplitter,
    heard: Vec<Heard>,
    lines: usize,
    bytes: u64,
    sample: Vec<u8>,
    /// When listening began; none where the times of lines mean nothing.
    since_ns: Option<u64>,
    live: Live,
}

/// What came next: the end (asked for, or of the time), doubts, or bytes.
enum Step {
    Stop,
    Doubt,
    Bytes(io::Result<Vec<u8>>),
}

impl Stop {
    /// From here on, the signals do not end the program.
    ///
    /// # Errors
    /// What the system says.
    pub fn catch() -> io::Result<Self> {
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
        })
    }

    /// Waits for one of them.
    pub async fn wait(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }
}

impl Ear {
    /// An ear on a port, which is opened in the middle of a line, or on a recording, which begins
    /// with one.
    pub fn new(is_port: bool, live: Live) -> Self {
        Self {
            splitter: if is_port {
                LineSplitter::after_opening()
            } else {
                LineSplitter::new()
            },
            heard: Vec::new(),
            lines: 0,
            bytes: 0,
            sample: Vec::new(),
            since_ns: is_port.then(|| clock::now().boot_ns),
            live,
        }
    }

    /// Listens until one of the limits.
    pub async fn listen(&mut self, input: &mut Input, limits: Limits, stop: &mut Stop) -> Ending {
        let time = pause(limits.time);
        let doubt = pause(input.is_port().then_some(PATIENCE));
        tokio::pin!(time, doubt);
        let mut doubted = false;
        loop {
            let step = tokio::select! {
                biased;
                () = stop.wait() => Step::Stop,
                () = &mut time => Step::Stop,
                () = &mut doubt, if !doubted => Step::Doubt,
                bytes = input.next() => Step::Bytes(bytes),
            };
            doubted |= matches!(step, Step::Doubt);
            if let Some(ending) = self.go_on(step, limits.lines, input.is_port()) {
                return self.end(ending);
            }
        }
    }

    /// Why not to go on, if so.
    fn go_on(&mut self, step: Step, most_lines: usize, is_port: bool) -> Option<Ending> {
        match step {
            Step::Stop => return Some(Ending::AsAsked),
            Step::Doubt => self.doubt(),
            Step::Bytes(Err(error)) => return Some(Ending::Failed(error)),
            Step::Bytes(Ok(bytes)) if bytes.is_empty() => {
                return Some(if is_port { Ending::Gone } else { Ending::Over });
            }
            Step::Bytes(Ok(bytes)) => self.take(&bytes, most_lines),
        }
        (self.lines >= most_lines).then_some(Ending::AsAsked)
    }

    /// The lines that were heard, as many as are judged.
    pub fn heard(&self) -> &[Heard] {
        &self.heard
    }

    /// How many lines with content there were.
    pub fn lines(&self) -> usize {
        self.lines
    }

    /// How many bytes there were.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// The first of them.
    pub fn sample(&self) -> &[u8] {
        &self.sample
    }

    /// Where talk goes.
    pub fn live(&self) -> &Live {
        &self.live
    }

    fn take(&mut self, bytes: &[u8], most_lines: usize) {
        self.bytes += bytes.len() as u64;
        let free = SAMPLE.saturating_sub(self.sample.len());
        self.sample.extend(bytes.iter().take(free));
        let at_ms = self
            .since_ns
            .map(|since| milliseconds(clock::now().boot_ns.saturating_sub(since)));
        let mut splitter = std::mem::take(&mut self.splitter);
        splitter.feed(bytes, &mut |piece| self.hear(piece, at_ms, most_lines));
        self.splitter = splitter;
    }

    /// A begun line of a port is no line; a recording's last one may lack its end.
    fn end(&mut self, ending: Ending) -> Ending {
        let mut splitter = std::mem::take(&mut self.splitter);
        if matches!(ending, Ending::Over) {
            splitter.finish(&mut |piece| self.hear(piece, None, MAX_LINES));
        }
        self.live.end();
        ending
    }

    fn hear(&mut self, piece: Piece<'_>, at_ms: Option<f64>, most_lines: usize) {
        let line = match piece {
            Piece::Line(line) if self.lines < most_lines => line,
            Piece::Line(_) => return,
            Piece::Discarded { bytes, why } => return self.live.discarded(bytes, why),
        };
        self.live.line(line, at_ms);
        if line.trim_ascii().is_empty() {
            return;
        }
        self.lines += 1;
        let said = if at_ms.is_none() {
            without_time(line)
        } else {
            line
        };
        self.heard.push(Heard {
            at_ms,
            bytes: said.to_vec(),
        });
    }

    fn doubt(&self) {
        if self.bytes == 0 {
            self.live
                .say("nothing yet: is the board's program running, and does it print?");
        } else if self.lines == 0 {
            let bytes = self.bytes;
            self.live.say(&format!(
                "{bytes} bytes, no line: wrong baud rate? `--try-bauds` looks for it"
            ));
        }
    }
}

/// A recorded line may begin with `@SECONDS `, as a replayed file's.
fn without_time(line: &[u8]) -> &[u8] {
    let rest = line.strip_prefix(b"@").unwrap_or(line);
    let digits = rest
        .iter()
        .take_while(|byte| byte.is_ascii_digit() || **byte == b'.')
        .count();
    match rest.get(digits) {
        Some(b' ') if digits > 0 && rest.len() < line.len() => &rest[digits + 1..],
        _ => line,
    }
}

fn milliseconds(ns: u64) -> f64 {
    ns as f64 / 1e6
}

async fn pause(time: Option<Duration>) {
    match time {
        Some(time) => tokio::time::sleep(time).await,
        None => std::future::pending().await,
    }
}

impl Ending {
    /// What is to be said about it, if anything.
    pub fn words(&self) -> Option<String> {
        match self {
            Self::AsAsked | Self::Over => None,
            Self::Gone => Some(
                "the port is gone: unplugged, or without power; what came before counts".to_owned(),
            ),
            Self::Failed(error) => {
                Some(format!("reading failed: {error}; what came before counts"))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recorded_time_is_no_part_of_the_line() {
        for (line, expected) in [
            ("@10.5 a0=1", "a0=1"),
            ("@x a0=1", "@x a0=1"),
            ("@10", "@10"),
            ("10 a0=1", "10 a0=1"),
            ("", ""),
        ] {
            assert_eq!(without_time(line.as_bytes()), expected.as_bytes(), "{line}");
        }
    }

    #[test]
    fn lines_beyond_the_limit_are_not_kept_and_all_bytes_count() {
        let mut ear = Ear::new(false, Live::new(true));
        ear.take(b"a0=1\n\na0=2\na0=3\na0=", 2);
        let lines: Vec<&[u8]> = ear.heard().iter().map(|it| it.bytes.as_slice()).collect();
        assert_eq!(lines, [b"a0=1", b"a0=2"]);
        assert_eq!((ear.lines(), ear.bytes()), (2, 19));
    }

    #[test]
    fn half_a_line_of_a_port_is_left_out_and_a_recordings_last_line_is_not() {
        let bytes = b"12\na0=1\na0=";
        let heard = |is_port: bool, ending: Ending| {
            let mut ear = Ear::new(is_port, Live::new(true));
            ear.take(bytes, MAX_LINES);
            ear.end(ending);
            ear.lines()
        };
        assert_eq!(heard(true, Ending::AsAsked), 1);
        assert_eq!(heard(false, Ending::Over), 3);
    }
}
