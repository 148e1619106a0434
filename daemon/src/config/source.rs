//! The part of `[board.NAME]` that says where its lines come from.

mod file;
mod mqtt;
mod program;
mod tcp;

pub(super) use file::check_field as check_file;
pub use file::{PolledFile, PolledFiles, Scaling};
pub use mqtt::{BoardTime, Subscription, TimeUnit};
pub use program::Program;
pub use tcp::Bridge;

use super::Channel;
use super::item::{Item, Value};
use super::problem::Fault;
use super::reader::Table;
use super::scene::SimulatedChannel;
use super::{secret, words};
use crate::measure::decode::Format;
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
    /// `source = "mqtt"`: lines published to a topic.
    Mqtt(Subscription),
    /// `source = "program"`: what a child process writes.
    Program(Program),
    /// `source = "file"`: numbers that stand in files.
    File(PolledFiles),
    /// `source = "tcp"`: a serial port behind a network bridge.
    Tcp(Bridge),
}

impl Source {
    /// The interval between a board's lines, where the configuration says it.
    #[must_use]
    pub fn interval(&self) -> Option<Duration> {
        match self {
            Self::Serial { .. } | Self::Mqtt(_) | Self::Program(_) | Self::Tcp(_) => None,
            Self::Replay { every, .. } | Self::Simulated { every, .. } => Some(*every),
            Self::File(files) => Some(files.every),
        }
    }

    /// The source with what the board's channels add to it.
    pub(super) fn with_channels(self, channels: &[Channel], scene: Vec<SimulatedChannel>) -> Self {
        match self {
            Self::Simulated {
                every, speed, seed, ..
            } => Self::Simulated {
                scene,
                every,
                speed,
                seed,
            },
            Self::File(files) => Self::File(files.for_channels(channels)),
            other => other,
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
    /// `mqtt`.
    Mqtt,
    /// `program`.
    Program,
    /// `file`.
    File,
    /// `tcp`.
    Tcp,
}

use SourceKind::{File, Mqtt, Program as Child, Replay, Serial, Simulated, Tcp};

const KINDS: &[(&str, SourceKind)] = &[
    ("serial", Serial),
    ("replay", Replay),
    ("simulated", Simulated),
    ("mqtt", Mqtt),
    ("program", Child),
    ("file", File),
    ("tcp", Tcp),
];

/// Every key that not all sources have, and those that have it.
const OWNERS: &[(&str, &[SourceKind])] = &[
    ("port", &[Serial, Mqtt, Tcp]),
    ("baud", &[Serial]),
    ("file", &[Replay]),
    ("every", &[Replay, Simulated, File]),
    ("speed", &[Replay, Simulated]),
    ("seed", &[Simulated]),
    ("host", &[Mqtt, Tcp]),
    ("client_id", &[Mqtt]),
    ("user", &[Mqtt]),
    ("password_file", &[Mqtt]),
    ("password_env", &[Mqtt]),
    ("topic", &[Mqtt]),
    ("keep_alive", &[Mqtt]),
    ("time_field", &[Mqtt]),
    ("time_unit", &[Mqtt]),
    ("command", &[Child]),
    ("folder", &[Child]),
    ("environment", &[Child]),
    ("files", &[File]),
];

/// From the slowest to the fastest rate that Linux terminals name (termios: B50 to B4000000).
const BAUD: RangeInclusive<u32> = 50..=4_000_000;
const DEFAULT_BAUD: u32 = 115_200;

/// A simulated or replayed board is no faster than a serial line could be.
const EVERY: RangeInclusive<Duration> = Duration::from_millis(1)..=Duration::from_secs(86_400);
const DEFAULT_EVERY: Duration = Duration::from_secs(1);

/// A night in less than a second is as fast as it needs to be.
const FASTEST: f64 = 100_000.0;

/// What a source needs to know of the board around it.
pub(super) struct Around<'t> {
    /// The board's label.
    pub(super) board: &'t str,
    /// The site, where it is given.
    pub(super) site: Option<&'t str>,
    /// What relative paths are relative to.
    pub(super) base: &'t Path,
    /// How lines are written, where that could be read.
    pub(super) format: Option<&'t Format>,
    /// After how long the board counts as silent.
    pub(super) silent_after: Value<Duration>,
}

/// The source of a board.
pub(super) fn kind(table: &Table<'_>) -> Value<SourceKind> {
    table.required("source", "\"serial\"", |item| item.choice(KINDS))
}

/// Reads the keys of a source. What its channels add comes later, by [`Source::with_channels`].
pub(super) fn read(table: &Table<'_>, kind: SourceKind, around: &Around<'_>) -> Value<Source> {
    refuse_others(table, kind);
    match kind {
        Serial => serial(table, around.base),
        Replay => replay(table, around.base),
        Simulated => simulated(table),
        Mqtt => mqtt::read(table, around).map(Source::Mqtt),
        Child => program::read(table, around.base).map(Source::Program),
        File => file::read(table, around).map(Source::File),
        Tcp => tcp::read(table, around).map(Source::Tcp),
    }
}

/// Lets every key pass that some source has: where it is not known which one it is.
pub(super) fn know_all(table: &Table<'_>) {
    for (key, _) in OWNERS {
        table.know(&[key]);
    }
}

fn refuse_others(table: &Table<'_>, kind: SourceKind) {
    for (key, owners) in OWNERS.iter().filter(|(_, owners)| !owners.contains(&kind)) {
        let why = format!("it goes with `source = {}", words::either(&names(owners)));
        table.foreign(&[key], &why);
    }
    if kind != Mqtt {
        secret::refuse_plain(table, &secret::PASSWORD);
    }
}

fn names(kinds: &[SourceKind]) -> Vec<&'static str> {
    let named = KINDS.iter().filter(|(_, kind)| kinds.contains(kind));
    named.map(|(name, _)| *name).collect()
}

fn serial(table: &Table<'_>, base: &Path) -> Value<Source> {
    let example = "\"/dev/serial/by-id/…\"";
    let port = table.required("port", example, |item| port(item, base));
    let baud = table.or("baud", DEFAULT_BAUD, |item| item.whole(BAUD));
    Some(Source::Serial {
        port: port?,
        baud: baud?,
    })
}

fn replay(table: &Table<'_>, base: &Path) -> Value<Source> {
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
