//! The configuration: one struct per table of the file, checked as a whole before anything starts.
//!
//! Configuration is a pure function of the text: [`parse`] opens nothing.

use crate::alarm::Rule;
use crate::driver::Driver;
use crate::measure::decode::Format;
use crate::measure::front_end::{Electrical, FrontEnd};
use std::path::PathBuf;
use std::time::Duration;

/// A whole, checked configuration.
#[derive(Clone, Debug, PartialEq)]
pub struct Config {
    /// The place, first part of every topic: `cellar`.
    pub site: String,
    /// The `[log]` table.
    pub log: Log,
    /// `[board.NAME]` tables, in the order of the file.
    pub boards: Vec<Board>,
    /// `[probe.NAME]` tables, in the order of the file.
    pub probes: Vec<Probe>,
    /// `[outlet.NAME]` tables, in the order of the file.
    pub outlets: Vec<Outlet>,
}

/// `[log]`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Log {
    /// The SQLite file; relative paths are relative to the configuration file's folder.
    pub path: PathBuf,
    /// How often the log commits: what a power cut can take. Default 2 s.
    pub commit: Duration,
}

/// `[board.NAME]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Board {
    /// The board's label.
    pub name: String,
    /// Where its lines come from.
    pub source: Source,
    /// How it writes them.
    pub format: Format,
    /// After how long without a readable line it counts as silent. Default 10 s.
    pub silent_after: Duration,
    /// `[board.NAME.channel.NAME]` tables.
    pub channels: Vec<Channel>,
}

/// Where a board's lines come from.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// `source = "serial"`.
    Serial {
        /// Device path; one under `/dev/serial/by-id` keeps its name.
        port: PathBuf,
        /// Baud rate, default 115200.
        baud: u32,
    },
    /// `source = "replay"`: a recorded file of lines.
    Replay {
        /// The file. A line may start with `@SECONDS ` to say when it came.
        file: PathBuf,
        /// Interval between lines that carry no time of their own. Default 1 s.
        every: Duration,
        /// How many times faster than life; infinite for as fast as it goes.
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

/// What a simulated board's channel sees.
#[derive(Clone, Debug, PartialEq)]
pub struct SimulatedChannel {
    /// The channel's name in the same board.
    pub channel: String,
    /// The physics.
    pub scene: Scene,
    /// Standard deviation of the converter's noise, counts.
    pub noise_count: f64,
}

/// The physics of a simulated channel. Times in seconds, values in the probe's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scene {
    /// Newton's law: from `start` towards `ambient` with a time constant.
    Cooling {
        /// Value at the start.
        start: f64,
        /// Value it tends to.
        ambient: f64,
        /// Time constant, s.
        tau_s: f64,
    },
    /// A stirred ice bath: 0 degC with a slight wander.
    Ice,
    /// Day and night: a sine of 24 h, clipped at `night`.
    Day {
        /// Value at noon.
        noon: f64,
        /// Value in the night.
        night: f64,
        /// Hour of the day at which the scene starts.
        start_hour: f64,
    },
    /// A straight line: `start` + `slope_per_hour` x hours.
    Ramp {
        /// Value at the start.
        start: f64,
        /// Change in an hour.
        slope_per_hour: f64,
    },
}

/// `[board.NAME.channel.NAME]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// The channel's name.
    pub name: String,
    /// The field of the board's line; default the channel's name.
    pub field: String,
    /// How the probe is wired to it.
    pub front_end: FrontEnd,
}

/// `[probe.NAME]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
    /// The probe's label.
    pub name: String,
    /// Name of the board it is wired to.
    pub board: String,
    /// Name of the channel of that board.
    pub channel: String,
    /// The driver.
    pub driver: Driver,
    /// One slice of numbers per parameter that the driver declares, in its order.
    pub parameters: Vec<Vec<f64>>,
    /// What the driver is given.
    pub input: Electrical,
    /// Quantity of the value: the driver's, or the configuration's where the driver takes any.
    pub quantity: String,
    /// UCUM code of the value's unit: the driver's, or the configuration's where it takes any.
    pub unit: String,
    /// Median of this many samples, odd, 1 for none. Default 1.
    pub median: usize,
    /// Mean over this interval is logged; every line, where it is `None`.
    pub every: Option<Duration>,
    /// `[probe.NAME.alarm.*]`.
    pub alarms: Vec<Rule>,
}

/// `[outlet.NAME]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlet {
    /// The outlet's label; its cursors in the log go by it.
    pub name: String,
    /// Readings a second of backlog at most, so that what is new is not starved. Default 2000.
    pub backlog_rate: u32,
    /// What it is.
    pub kind: OutletKind,
}

/// What an outlet is.
#[derive(Clone, Debug, PartialEq)]
pub enum OutletKind {
    /// `kind = "mqtt"`.
    Mqtt(Mqtt),
    /// `kind = "line-protocol"`.
    LineProtocol(LineProtocol),
    /// `kind = "line-protocol-file"`.
    LineProtocolFile(LineProtocolFile),
}

/// An MQTT 3.1.1 broker.
#[derive(Clone, Debug, PartialEq)]
pub struct Mqtt {
    /// Host name or address.
    pub host: String,
    /// Port, default 1883.
    pub port: u16,
    /// Client identifier; default `nightbench-SITE-OUTLET`.
    pub client_id: String,
    /// User, where the broker asks for one.
    pub user: Option<String>,
    /// Where the password comes from.
    pub password: Option<Secret>,
    /// 0 (lossy) or 1 (default).
    pub qos: u8,
    /// Topic of live readings, retained. `{site}`, `{board}`, `{probe}` are filled in.
    pub topic: Template,
    /// Topic of readings sent late, not retained.
    pub backlog_topic: Template,
    /// Topic of an alarm's state, retained; `{alarm}` is filled in as well.
    pub alarm_topic: Template,
    /// Topic of `online` and `offline`, retained; only `{site}` is filled in.
    pub status_topic: Template,
    /// What a message holds.
    pub payload: Payload,
    /// Whether one message holds all readings of one board's line; topics then know no `{probe}`.
    pub per_line: bool,
    /// Messages under way at most. Default 100.
    pub window: u16,
    /// Keep-alive, default 15 s.
    pub keep_alive: Duration,
}

/// A topic with `{site}`, `{board}`, `{probe}`, `{alarm}` in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template(pub String);

/// What an MQTT message holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Payload {
    /// An object with value, unit, uncertainty, quality, time and sequence number.
    Json,
    /// A SenML pack (RFC 8428).
    Senml,
    /// The number alone; empty where there is none.
    Plain,
}

/// A secret is never in the configuration: only where to find it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Secret {
    /// `..._file = "PATH"`: the file's first line.
    File(PathBuf),
    /// `..._env = "NAME"`: an environment variable.
    Environment(String),
}

/// A database that takes line protocol over HTTP.
#[derive(Clone, Debug, PartialEq)]
pub struct LineProtocol {
    /// `http://host:port`, with a path prefix where needed; no query.
    pub url: String,
    /// Which of the two write interfaces, and its names.
    pub write: Write,
    /// Where the token comes from.
    pub token: Option<Secret>,
    /// User for the first interface.
    pub user: Option<String>,
    /// Its password.
    pub password: Option<Secret>,
    /// Measurement (table) name. Default `reading`.
    pub measurement: String,
    /// Readings in one request at most. Default 2000.
    pub batch: usize,
    /// Whether requests are compressed. Default true.
    pub gzip: bool,
    /// How long to wait for an answer. Default 10 s.
    pub timeout: Duration,
}

/// The two write interfaces.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Write {
    /// `/write?db=`.
    V1 {
        /// Database.
        database: String,
    },
    /// `/api/v2/write?org=&bucket=`.
    V2 {
        /// Organisation.
        org: String,
        /// Bucket.
        bucket: String,
    },
}

/// Line protocol into a file that rotates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineProtocolFile {
    /// The file; older ones get `.1`, `.2`, …
    pub path: PathBuf,
    /// Measurement (table) name. Default `reading`.
    pub measurement: String,
    /// Size at which it rotates, bytes. Default 10 MiB.
    pub rotate_at: u64,
    /// How many older files are kept. Default 5.
    pub keep: u32,
}
