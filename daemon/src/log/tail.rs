//! The newest readings in memory: all that is not committed yet, and some that is, so that what is
//! live is never read back from the card.

use super::{Batch, Entry};
use crate::alarm::Move;
use crate::reading::Reading;
use std::collections::VecDeque;

/// Committed readings kept in memory for outlets that are close behind.
const KEPT_COMMITTED: usize = 4096;

/// Committed alarm moves kept in memory.
const KEPT_MOVES: usize = 256;

/// The end of the log.
#[derive(Debug, Default)]
pub struct Tail {
    readings: VecDeque<Reading>,
    /// The newest alarm moves, with the journal's numbers.
    moves: VecDeque<Move>,
    /// The journal's number of the last entry.
    newest_entry: u64,
    /// The journal's number of the last alarm move.
    newest_move: u64,
    /// Moves after this entry are all in `moves`.
    moves_complete_after: u64,
    /// Sequence number of the last committed reading.
    committed: u64,
    /// Sequence number of the last reading, committed or not.
    newest: u64,
    /// Readings after this one are all in `readings`.
    complete_after: u64,
}

impl Tail {
    /// The tail of a log whose last committed reading, journal entry and alarm move have these
    /// numbers.
    #[must_use]
    pub fn starting_after(reading: u64, entry: u64, moved: u64) -> Self {
        Self {
            committed: reading,
            newest: reading,
            complete_after: reading,
            newest_entry: entry,
            newest_move: moved,
            moves_complete_after: moved,
            ..Self::default()
        }
    }

    /// Gives each reading and each journal entry of a batch its number, each alarm move that of its
    /// reading, and keeps readings and moves. Readings beyond `most` waiting are dropped from the
    /// batch, the newest first; gives how many.
    pub fn take(&mut self, batch: &mut Batch, most: usize) -> u64 {
        let room = most.saturating_sub(self.waiting());
        let dropped = batch.readings.len().saturating_sub(room);
        batch.readings.truncate(room);
        let before = self.newest;
        for reading in &mut batch.readings {
            self.newest += 1;
            reading.seq = self.newest;
            unsign_zeros(reading);
            self.readings.push_back(reading.clone());
        }
        for entry in &mut batch.entries {
            self.number(entry, before);
        }
        dropped as u64
    }

    /// `before` is the number of the last reading before the entry's batch.
    fn number(&mut self, entry: &mut Entry, before: u64) {
        self.newest_entry += 1;
        entry.seq = self.newest_entry;
        let Some(alarm) = &mut entry.alarm else {
            return;
        };
        alarm.seq = entry.seq;
        let reading = before.saturating_add(alarm.reading_seq);
        // 0 for a move that no reading caused, or whose reading was dropped.
        alarm.reading_seq = if reading > before && reading <= self.newest {
            reading
        } else {
            0
        };
        self.newest_move = entry.seq;
        self.moves.push_back(alarm.clone());
    }

    /// How many readings are not on the card yet.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.readings.len() - self.readings.partition_point(|r| r.seq <= self.committed)
    }

    /// All up to `seq` is on the card; the oldest committed ones are let go.
    pub fn committed_up_to(&mut self, seq: u64) {
        self.committed = seq;
        let waiting = self.waiting();
        while self.readings.len() > KEPT_COMMITTED + waiting {
            if let Some(gone) = self.readings.pop_front() {
                self.complete_after = gone.seq;
            }
        }
    }

    /// All entries up to `seq` are on the card.
    pub fn entries_committed_up_to(&mut self, seq: u64) {
        let waiting = self.moves.len() - self.moves.partition_point(|m| m.seq <= seq);
        while self.moves.len() > KEPT_MOVES + waiting {
            if let Some(gone) = self.moves.pop_front() {
                self.moves_complete_after = gone.seq;
            }
        }
    }

    /// The journal's number of the last entry, and of the last alarm move.
    #[must_use]
    pub fn newest_entry_and_move(&self) -> (u64, u64) {
        (self.newest_entry, self.newest_move)
    }

    /// Whether every move after an entry is here.
    #[must_use]
    pub fn reaches_moves(&self, after: u64) -> bool {
        after >= self.moves_complete_after
    }

    /// Moves after an entry, oldest first: all that are not on the card yet, and the newest that
    /// are.
    #[must_use]
    pub fn moves_after(&self, after: u64) -> Vec<Move> {
        let start = self.moves.partition_point(|m| m.seq <= after);
        self.moves.iter().skip(start).cloned().collect()
    }

    /// Sequence number of the last committed reading.
    #[must_use]
    pub fn committed(&self) -> u64 {
        self.committed
    }

    /// Sequence number of the last reading, committed or not.
    #[must_use]
    pub fn newest(&self) -> u64 {
        self.newest
    }

    /// Whether every reading after `seq` is here.
    #[must_use]
    pub fn reaches(&self, seq: u64) -> bool {
        seq >= self.complete_after
    }

    /// Readings after `after` up to `until`, oldest first: at most `limit`, and then as many more
    /// as belong to the same board's line.
    #[must_use]
    pub fn after(&self, after: u64, until: u64, limit: usize) -> Vec<Reading> {
        let start = self.readings.partition_point(|r| r.seq <= after);
        let mut found: Vec<Reading> = Vec::new();
        for reading in self.readings.iter().skip(start) {
            let full = found.len() >= limit && !found.last().is_some_and(|l| same_line(l, reading));
            if reading.seq > until || full {
                break;
            }
            found.push(reading.clone());
        }
        found
    }
}

/// SQLite keeps no sign of a zero; what is live must be what is read back.
fn unsign_zeros(reading: &mut Reading) {
    for number in [
        &mut reading.raw,
        &mut reading.electrical,
        &mut reading.spread,
    ] {
        *number = number.map(|number| number + 0.0);
    }
}

/// Whether two readings came from one line of one board.
#[must_use]
pub fn same_line(a: &Reading, b: &Reading) -> bool {
    a.at.boot_ns == b.at.boot_ns && a.at.boot == b.at.boot && a.series.board == b.series.board
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::State;
    use crate::log::testing::{alarm_move, reading};

    fn seqs(readings: &[Reading]) -> Vec<u64> {
        readings.iter().map(|r| r.seq).collect()
    }

    /// Batches of one reading each, of the board's lines with these numbers.
    fn taken(tail: &mut Tail, lines: impl IntoIterator<Item = u64>) {
        for line in lines {
            let mut batch = Batch {
                readings: vec![reading(0, line)],
                ..Batch::default()
            };
            assert_eq!(tail.take(&mut batch, usize::MAX), 0);
        }
    }

    #[test]
    fn a_line_is_never_cut_in_two() {
        let mut tail = Tail::starting_after(10, 0, 0);
        taken(&mut tail, [1, 2, 2, 2, 3]);
        assert_eq!(seqs(&tail.after(10, u64::MAX, 2)), [11, 12, 13, 14]);
        assert_eq!(seqs(&tail.after(14, u64::MAX, 2)), [15]);
        assert_eq!(seqs(&tail.after(10, 12, 9)), [11, 12]);
    }

    #[test]
    fn what_is_not_committed_is_kept_however_much_it_is() {
        let mut tail = Tail::starting_after(0, 0, 0);
        taken(&mut tail, 1..=20_000);
        tail.committed_up_to(5_000);
        assert!(tail.reaches(5_000));
        assert!(!tail.reaches(0));
        assert_eq!(tail.after(5_000, u64::MAX, usize::MAX).len(), 15_000);
        assert_eq!((tail.committed(), tail.newest()), (5_000, 20_000));
    }

    #[test]
    fn moves_that_are_not_committed_are_kept_however_many_they_are() {
        let mut tail = Tail::starting_after(0, 10, 8);
        let mut batch = Batch {
            entries: vec![alarm_move("vat", State::Active, 0); 1000],
            ..Batch::default()
        };
        tail.take(&mut batch, usize::MAX);
        assert_eq!(tail.newest_entry_and_move(), (1010, 1010));
        assert!(tail.reaches_moves(8), "the file has none after the eighth");
        assert_eq!(tail.moves_after(8).len(), 1000);
        tail.entries_committed_up_to(510);
        let kept = tail.moves_after(0);
        assert_eq!(kept.len(), KEPT_MOVES + 500);
        assert!(!tail.reaches_moves(8));
        assert!(tail.reaches_moves(kept[0].seq - 1));
    }

    #[test]
    fn beyond_what_may_wait_the_newest_are_dropped_and_counted() {
        let mut tail = Tail::starting_after(0, 0, 0);
        let mut batch = Batch {
            readings: (0..10).map(|line| reading(0, line)).collect(),
            ..Batch::default()
        };
        assert_eq!(tail.take(&mut batch, 7), 3);
        assert_eq!(seqs(&batch.readings), [1, 2, 3, 4, 5, 6, 7]);
        tail.committed_up_to(7);
        let mut next = Batch {
            readings: vec![reading(0, 11)],
            ..Batch::default()
        };
        assert_eq!(tail.take(&mut next, 7), 0);
        assert_eq!(seqs(&next.readings), [8]);
    }
}
