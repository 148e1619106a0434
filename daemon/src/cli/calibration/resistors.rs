//! Known resistors in the probe's place: they tell of the channel, not of the probe.
//!
//! Only listed here; what they say of the divider's resistor is computed elsewhere.

use super::Job;
use crate::control::shown;
use crate::words::counted;

impl Job {
    /// The resistors at hand against what the channel made of them; empty where there is none.
    #[must_use]
    pub fn resistors(&self) -> String {
        let taken: Vec<_> = self.history.resistors().collect();
        if taken.is_empty() {
            return String::new();
        }
        let channel = format!("{}/{}", self.here.board, self.here.channel);
        let heading = format!(
            "channel {channel}: {} in the probe's place",
            counted(taken.len(), "known resistor")
        );
        let rows = taken.iter().map(|one| {
            let (compared, captured) = (&one.point.compared, &one.point.captured);
            let known = compared.own.hypot(compared.common);
            format!(
                "{:>7}  {}, read as {}",
                one.number,
                shown(compared.value, known, "Ohm"),
                shown(captured.mean, captured.uncertainty, self.probe.input.unit()),
            )
        });
        std::iter::once(heading)
            .chain(rows)
            .map(|line| line + "\n")
            .collect()
    }
}
