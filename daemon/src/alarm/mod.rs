//! Alarms: conditions judged on exactly the readings that are logged, by a pure state machine.
//!
//! Nothing here knows a clock or a broker: a reading goes in, a move may come out. Telling people is
//! the outlets' business.

mod machine;

pub use machine::Machine;

use crate::reading::{Quality, Stamp};
use serde::{Deserialize, Serialize};

/// What every message to a person says, so that nobody leans on it.
pub const NOTICE: &str = "not a safety device";

/// What an alarm `due` says in place of a number.
const DATE: &str = "the date of its calibration";

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
    /// The probe's calibration is past its date.
    Due,
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
            Self::Due => "due",
        }
    }

    /// The limit, where there is one.
    #[must_use]
    pub fn limit(self) -> Option<f64> {
        match self {
            Self::High { limit, .. } | Self::Low { limit, .. } => Some(limit),
            Self::Fault | Self::Stale | Self::Due => None,
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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// The condition does not hold.
    Normal,
    /// The condition has held for its delay.
    Active,
}

impl State {
    /// The word in messages and topics.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Active => "active",
        }
    }
}

/// One alarm going from a state to another. The journal keeps it as JSON: fields are only added.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Move {
    /// The journal's number; 0 until the log's writer gave one.
    #[serde(skip)]
    pub seq: u64,
    /// Sequence number of the reading it was judged on. On its way to the log's writer: the place
    /// of that reading in its batch, counted from 1; 0 for a move that no reading caused.
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
    pub at: Stamp,
    /// The value it was judged on, where there was one.
    pub value: Option<f64>,
    /// The limit, where there is one.
    pub limit: Option<f64>,
    /// UCUM code of value and limit.
    pub unit: String,
    /// The quality it was judged on.
    pub quality: Quality,
    /// What to do.
    pub action: String,
}

impl Move {
    /// Whether nobody needs to be woken for it: a calibration's date can wait for the morning.
    #[must_use]
    pub fn is_gentle(&self) -> bool {
        self.alarm == Condition::Due.name()
    }

    /// For a person, without the time: what, where, the number, and what to do.
    #[must_use]
    pub fn text(&self) -> String {
        let subject = format!("probe `{}`: alarm `{}`", self.probe, self.alarm);
        // UCUM writes "no unit" as 1; a person does not.
        let unit = match self.unit.as_str() {
            "1" => String::new(),
            unit => format!(" {unit}"),
        };
        let number = match (self.value, self.limit) {
            _ if self.is_gentle() => DATE.to_owned(),
            (Some(value), Some(limit)) => format!("{value:.2}{unit}, limit {limit}{unit}"),
            (Some(value), None) => format!("{value:.2}{unit}"),
            (None, _) => self.quality.words().to_owned(),
        };
        match self.to {
            State::Active if self.action.is_empty() => format!("{subject} active ({number})"),
            State::Active => format!("{subject} active ({number}); {}", self.action),
            State::Normal => format!("{subject} back to normal ({number})"),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn moved(to: State, value: Option<f64>, limit: Option<f64>, quality: Quality) -> Move {
        Move {
            seq: 7,
            reading_seq: 123,
            probe: "mash".to_owned(),
            board: "bench".to_owned(),
            alarm: if limit.is_some() { "high" } else { "fault" }.to_owned(),
            from: State::Normal,
            to,
            at: Stamp {
                wall_ms: 1_795_572_847_123,
                boot_ns: 5,
                boot: 1,
            },
            value,
            limit,
            unit: "Cel".to_owned(),
            quality,
            action: "turn the burner off and stir".to_owned(),
        }
    }

    #[test]
    fn a_move_says_what_where_the_number_and_what_to_do() {
        let high = moved(State::Active, Some(68.4449), Some(68.0), Quality::Good);
        let no_unit = Move {
            unit: "1".to_owned(),
            ..high.clone()
        };
        let no_action = Move {
            action: String::new(),
            ..high.clone()
        };
        let due = Move {
            alarm: "due".to_owned(),
            action: "ice check it".to_owned(),
            ..moved(State::Active, Some(21.0), None, Quality::Good)
        };
        let moves = [
            high,
            moved(State::Normal, Some(67.4), Some(68.0), Quality::Good),
            moved(State::Active, None, None, Quality::OpenCircuit),
            moved(State::Normal, Some(21.0), None, Quality::Good),
            moved(State::Normal, None, None, Quality::ShortCircuit),
            no_unit,
            no_action,
            due,
        ];
        insta::assert_snapshot!(moves.map(|m| m.text()).join("\n"), @r"
        probe `mash`: alarm `high` active (68.44 Cel, limit 68 Cel); turn the burner off and stir
        probe `mash`: alarm `high` back to normal (67.40 Cel, limit 68 Cel)
        probe `mash`: alarm `fault` active (open circuit); turn the burner off and stir
        probe `mash`: alarm `fault` back to normal (21.00 Cel)
        probe `mash`: alarm `fault` back to normal (short circuit)
        probe `mash`: alarm `high` active (68.44, limit 68); turn the burner off and stir
        probe `mash`: alarm `high` active (68.44 Cel, limit 68 Cel)
        probe `mash`: alarm `due` active (the date of its calibration); ice check it
        ");
    }

    #[test]
    fn the_journal_gives_a_move_back_but_for_its_number() {
        let before = moved(State::Active, Some(68.4449), Some(68.0), Quality::Good);
        let json = serde_json::to_string(&before).unwrap();
        insta::assert_snapshot!(json, @r#"{"reading_seq":123,"probe":"mash","board":"bench","alarm":"high","from":"normal","to":"active","at":{"wall_ms":1795572847123,"boot_ns":5,"boot":1},"value":68.4449,"limit":68.0,"unit":"Cel","quality":"good","action":"turn the burner off and stir"}"#);
        let after: Move = serde_json::from_str(&json).unwrap();
        assert_eq!(after, Move { seq: 0, ..before });
    }
}
