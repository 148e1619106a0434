//! Known resistors in the probe's place: they tell of the channel, not of the probe.
//!
//! Shown here; what they say of the divider's resistor is computed in `calibrate/channel.rs`.

use super::Job;
use crate::calibrate::Point;
use crate::calibrate::channel::characterise;
use crate::cli::calibrations::page::Page;
use crate::control::shown;
use crate::words::counted;

impl Job {
    /// The resistors at hand against what the channel made of them, and what that makes of the
    /// divider's own; empty where there is none.
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
        let mut page = Page::default();
        std::iter::once(heading)
            .chain(rows)
            .for_each(|line| page.line(&line));
        if let Some(said) = self.divider() {
            page.paragraph(&said);
        }
        page.text()
    }

    /// What the known resistors say of the divider's; `None` where the front end has none.
    fn divider(&self) -> Option<String> {
        let written = self.here.resistor?;
        let taken = self.history.resistors();
        let points: Vec<(u64, Point)> = taken.map(|one| (one.number, one.point.clone())).collect();
        Some(match characterise(&points, written) {
            Ok(channel) => channel.words(),
            Err(why) => why.to_string(),
        })
    }
}
