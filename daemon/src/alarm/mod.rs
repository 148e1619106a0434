//! Alarms: conditions judged on exactly the readings that are logged, as a pure state machine.

/// What is watched for. Numbers are in the unit of the probe's series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Condition {
    /// Value at or above the limit.
    High {
        /// The limit.
        limit: f64,
        /// How far below the limit the value must fall to return.
        deadband: f64,
    },
    /// Value at or below the limit.
    Low {
        /// The limit.
        limit: f64,
        /// How far above the limit the value must rise to return.
        deadband: f64,
    },
    /// Open or short circuit, saturated, out of range, unreadable, driver failed.
    Fault,
    /// Stale, or board silent.
    Stale,
}

impl Condition {
    /// The alarm's name in configuration, topics and journal.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::High { .. } => "high",
            Self::Low { .. } => "low",
            Self::Fault => "fault",
            Self::Stale => "stale",
        }
    }
}

/// One alarm of one probe, as configured.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// What is watched for.
    pub condition: Condition,
    /// How long it must hold before the alarm is raised, milliseconds.
    pub on_delay_ms: u64,
    /// How long it must be gone before the alarm returns, milliseconds.
    pub off_delay_ms: u64,
    /// What the person who is told should do.
    pub action: String,
}

/// Where an alarm stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// The condition does not hold.
    Normal,
    /// The condition has held for its delay.
    Active,
}

/// One alarm going from a state to another.
#[derive(Clone, Debug, PartialEq)]
pub struct Move {
    /// The journal's number; 0 until the log's writer gave one.
    pub seq: u64,
    /// Sequence number of the reading it was judged on; 0 until the log's writer gave one.
    pub reading_seq: u64,
    /// The probe's label.
    pub probe: String,
    /// The board it is wired to.
    pub board: String,
    /// The alarm's name: `high`.
    pub alarm: String,
    /// Where it came from.
    pub from: State,
    /// Where it went.
    pub to: State,
    /// When.
    pub at: crate::reading::Stamp,
    /// The value it was judged on, where there was one.
    pub value: Option<f64>,
    /// The limit, where there is one.
    pub limit: Option<f64>,
    /// UCUM code of value and limit.
    pub unit: String,
    /// The quality it was judged on.
    pub quality: crate::reading::Quality,
    /// What to do.
    pub action: String,
}
