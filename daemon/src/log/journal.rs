//! The journal: every event that is no reading.

use crate::alarm::Move;
use crate::reading::Moment;
use std::fmt;

/// What kind of event an entry tells. The words are stored: never change one, only add.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// The service started.
    Start,
    /// The service stopped, or what was dead from when to when.
    Stop,
    /// The configuration was read again, or was refused.
    Configuration,
    /// A board was opened, lost, reset, silent.
    Board,
    /// A probe's quality changed.
    Probe,
    /// An alarm moved.
    Alarm,
    /// An outlet connected, failed, refused something.
    Outlet,
    /// The wall clock stepped.
    Clock,
    /// Something about the log itself.
    Log,
    /// A step of a probe's calibration, or its due date.
    Calibration,
    /// A loaded driver failed, was started again, or was taken anew.
    Driver,
}

impl Kind {
    /// The stored word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Stop => "stop",
            Self::Configuration => "configuration",
            Self::Board => "board",
            Self::Probe => "probe",
            Self::Alarm => "alarm",
            Self::Outlet => "outlet",
            Self::Clock => "clock",
            Self::Log => "log",
            Self::Calibration => "calibration",
            Self::Driver => "driver",
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// How loud an entry is on stderr.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Loudness {
    /// Good to know.
    Info,
    /// Somebody should look.
    Warning,
    /// Somebody must look.
    Error,
}

/// An entry on its way into the journal.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The journal's number; 0 until the log gave one.
    pub seq: u64,
    /// When.
    pub at: Moment,
    /// What kind of event.
    pub kind: Kind,
    /// Name of the board, probe, outlet or driver; empty for the service itself.
    pub subject: String,
    /// For a person.
    pub text: String,
    /// How loud it is on stderr; not stored.
    pub loudness: Loudness,
    /// The alarm move, where the entry is one.
    pub alarm: Option<Move>,
}

impl Entry {
    /// An entry that is no alarm move.
    #[must_use]
    pub fn new(
        at: Moment,
        kind: Kind,
        subject: impl Into<String>,
        text: impl Into<String>,
    ) -> Self {
        Self {
            seq: 0,
            at,
            kind,
            subject: subject.into(),
            text: text.into(),
            loudness: Loudness::Info,
            alarm: None,
        }
    }

    /// The same, louder.
    #[must_use]
    pub fn loud(self, loudness: Loudness) -> Self {
        Self { loudness, ..self }
    }

    /// Says it on stderr.
    pub fn say(&self) {
        match self.loudness {
            Loudness::Info => tracing::info!("{}", self.text),
            Loudness::Warning => tracing::warn!("{}", self.text),
            Loudness::Error => tracing::error!("{}", self.text),
        }
    }
}
