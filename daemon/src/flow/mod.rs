//! The flow from a source's events to what goes into the log: readings, alarm moves, journal entries.
//!
//! No clock and no I/O here: events carry their moments, [`Flow::tick`] is told the time. The same
//! events give the same batches, so a night can be replayed.

mod board;
#[cfg(test)]
mod board_tests;
mod feeds;
mod notes;
mod probe;
#[cfg(test)]
mod tests;
mod time_notes;

pub use board::Board;
pub use probe::{Measuring, Probe, Setup, withdrawal};

use crate::log::{Batch, Entry, Kind, Loudness};
use crate::measure::timeline::StepWatch;
use crate::reading::Moment;
use crate::source::Event;
use std::collections::BTreeMap;

/// All boards with their probes. Boards have numbers that their sources know.
#[derive(Debug, Default)]
pub struct Flow {
    boards: BTreeMap<usize, Board>,
    steps: StepWatch,
}

impl Flow {
    /// A flow over these boards.
    #[must_use]
    pub fn new(boards: impl IntoIterator<Item = (usize, Board)>) -> Self {
        Self {
            boards: boards.into_iter().collect(),
            steps: StepWatch::default(),
        }
    }

    /// What an event of a board brings. One of a board that is no longer configured brings nothing.
    pub fn event(&mut self, board: usize, event: &Event) -> Batch {
        let mut batch = Batch::default();
        if let Some(board) = self.boards.get_mut(&board) {
            board.event(event, &mut batch);
        }
        batch
    }

    /// What the passing of time brings: silent boards, stale probes, clock steps. `now` is the
    /// host's own; the moments of lines may be a recording's, or a remote board's.
    pub fn tick(&mut self, now: Moment) -> Batch {
        let mut batch = Batch::default();
        self.watch_clock(now, &mut batch);
        for board in self.boards.values_mut() {
            board.tick(now, &mut batch);
        }
        batch
    }

    /// Ends all means under way: what was read is in the batch.
    pub fn flush(&mut self) -> Batch {
        let mut batch = Batch::default();
        for board in self.boards.values_mut() {
            board.flush(&mut batch);
        }
        batch
    }

    /// Takes over what goes on under a new configuration: the stamps and alarm states of every
    /// probe, and the means under way where a probe is measured as before. What alarms leave behind
    /// that are no longer configured is in the batch.
    pub fn take_over(&mut self, now: Moment, mut old: Self) -> Batch {
        let mut batch = Batch::default();
        self.steps = old.steps;
        for (number, board) in &mut self.boards {
            if let Some(before) = old.boards.get(number) {
                board.goes_on(before);
            }
        }
        for old_board in old.boards.values_mut() {
            for old_probe in old_board.take_probes() {
                match self.probe_named(old_probe.name()) {
                    Some(probe) => probe.take_over(now, old_probe, &mut batch),
                    None => old_probe.retire(now, &mut batch),
                }
            }
        }
        batch
    }

    fn probe_named(&mut self, name: &str) -> Option<&mut Probe> {
        self.boards.values_mut().find_map(|b| b.probe_named(name))
    }

    fn watch_clock(&mut self, at: Moment, batch: &mut Batch) {
        let Some(step) = self.steps.observe(at) else {
            return;
        };
        let direction = if step.by_ms > 0 { "forward" } else { "back" };
        let text = format!(
            "the host's clock was set {direction} by {:.1} s; readings keep their order, and their \
             stamps go on increasing",
            step.by_ms.unsigned_abs() as f64 / 1000.0
        );
        let entry = Entry::new(at, Kind::Clock, "", text).loud(Loudness::Warning);
        batch.entries.push(entry);
    }
}
