//! The part of `[board.NAME]` that says where its lines come from.

use super::item::{Item, Value};
use super::problem::Fault;
use super::reader::Table;
use super::scene::SimulatedChannel;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Where a board's lines come from.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// `source = "serial"`.
    Serial {
        /// Device path; one under `/dev/serial/by-id` keeps its name.
        port: PathBuf,
        /// Baud rate, 50 to 4000000, default 115200.
        baud: u32,
    },
    /// `source = "replay"`: a recorded file of lines.
    Replay {
        /// The file. A line may start with `@SECONDS ` to say when it came.
        file: PathBuf,
        /// Interval between lines that carry no time of their own. Default 1 s.
        every: Duration,
        /// How many times faster than life; infinite for as fast as it goes (`"unlimited"`).
        speed: f64,
    },
    /// `source = "simulated"`: physics with noise.
    Simulated {
        /// One scene per channel field.
        scene: Vec<SimulatedChannel>,
        /// Interval between lines. Default 1 s.
        every: Duration,
        /// How many times faster than life. Default 1.
        speed: f64,
        /// Seed of the noise, default 1.
        seed: u64,
    },
}

impl Source {
    /// The interval between a board's lines, where the configuration says it.
    #[must_use]
    pub fn interval(&self) -> Option<Duration> {
        match self {
            Self::Serial { .. } => None,
            Self::Replay { every, .. } | Self::Simulated { every, .. } => Some(*every),
        }
    }

    /// The same by the host's clock, where the source runs faster or slower than life.
    #[must_use]
    pub fn real_interval(&self) -> Option<Duration> {
        let speed = match self {
            Self::Replay { speed, .. } | Self::Simulated { speed, .. } => *speed,
            _ => 1.0,
        };
        let seconds = self.interval()?.as_secs_f64() / speed;
        Some(Duration::try_from_secs_f64(seconds).unwrap_or(Duration::MAX))
    }
}

/// Which source, before its own keys are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum SourceKind {
    /// `serial`.
    Serial,
    /// `replay`.
    Replay,
    /// `simulated`.
    Simulated,
}

const KINDS: &[(&str, SourceKind)] = &[
    ("serial", SourceKind::Serial),
    ("replay", SourceKind::Replay),
    ("simulated", SourceKind::Simulated),
];

/// From the slowest to the fastest rate that Linux terminals name (termios: B50 to B4000000).
const BAUD: RangeInclusive<u32> = 50..=4_000_000;
const DEFAULT_BAUD: u32 = 115_200;

/// A simulated or replayed board is no faster than a serial line could be.
const EVERY: RangeInclusive<Duration> = Duration::from_millis(1)..=Duration::from_secs(86_400);
const DEFAULT_EVERY: Duration = Duration::from_secs(1);

/// A night in less than a second is as fast as it needs to be.
const FASTEST: f64 = 100_000.0;

/// The source of a board.
pub(super) fn kind(table: &Table<'_>) -> Value<SourceKind> {
    table.required("source", "\"serial\"", |item| item.choice(KINDS))
}

/// Reads the keys of a source. The scenes of a simulated one are added when the probes are known.
pub(super) fn read(table: &Table<'_>, kind: SourceKind, base: &Path) -> Value<Source> {
    match kind {
        SourceKind::Serial => serial(table, base),
        SourceKind::Replay => replay(table, base),
        SourceKind::Simulated => simulated(table),
    }
}

/// Every key that some source has: all are let pass where it is not known which one it is.
pub(super) const KEYS: &[&str] = &["port", "baud", "file", "every", "speed", "seed"];

fn serial(table: &Table<'_>, base: &Path) -> Value<Source> {
    table.foreign(
        &["file", "every", "speed", "seed"],
        "it goes with `source = \"replay\"` or `\"simulated\"`",
    );
    let example = "\"/dev/serial/by-id/…\"";
    let port = table.required("port", example, |item| port(item, base));
    let baud = table.or("baud", DEFAULT_BAUD, |item| item.whole(BAUD));
    Some(Source::Serial {
        port: port?,
        baud: baud?,
    })
}

fn replay(table: &Table<'_>, base: &Path) -> Value<Source> {
    table.foreign(&["port", "baud"], "it goes with `source = \"serial\"`");
    table.foreign(&["seed"], "it goes with `source = \"simulated\"`");
    let file = table.required("file", "\"night.txt\"", |item| item.path(base));
    let every = table.or("every", DEFAULT_EVERY, |item| item.duration(EVERY));
    let speed = table.or("speed", 1.0, |item| match item.text_if_text() {
        Some("unlimited") => Some(f64::INFINITY),
        Some(word) => item.unknown_word(word, &["unlimited"]),
        None => speed(item),
    });
    Some(Source::Replay {
        file: file?,
        every: every?,
        speed: speed?,
    })
}

fn simulated(table: &Table<'_>) -> Value<Source> {
    table.foreign(&["port", "baud"], "it goes with `source = \"serial\"`");
    table.foreign(&["file"], "it goes with `source = \"replay\"`");
    let every = table.or("every", DEFAULT_EVERY, |item| item.duration(EVERY));
    let speed = table.or("speed", 1.0, speed);
    let seed = table.or("seed", 1, |item| item.whole(0..=i64::MAX));
    Some(Source::Simulated {
        scene: Vec::new(),
        every: every?,
        speed: speed?,
        seed: seed?.unsigned_abs(),
    })
}

fn speed(item: &Item<'_>) -> Value<f64> {
    item.positive_up_to(FASTEST)
}

/// Names that the kernel gives in the order of plugging in.
const UNSTABLE: &[&str] = &["/dev/ttyUSB", "/dev/ttyACM"];

fn port(item: &Item<'_>, base: &Path) -> Value<PathBuf> {
    let path = item.path(base)?;
    let shown = path.to_string_lossy();
    if UNSTABLE.iter().any(|start| shown.starts_with(start)) {
        item.warn(Fault::new(
            format!(
                "`{shown}` names another board as soon as two are plugged in the other way round"
            ),
            "take the name under `/dev/serial/by-id`",
        ));
    }
    Some(path)
}
