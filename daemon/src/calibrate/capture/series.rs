//! The readings of a capture, in bounded memory.
//!
//! The rule: where there would be more than two thousand, neighbours are averaged in pairs, and from
//! then on each entry is the mean of twice as many readings. Mean and line come out the same.

use crate::calibrate::settling::Sample;

/// Entries kept at most.
const MOST: usize = 2000;

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Seconds, from anywhere.
    pub at: f64,
    /// Counts, as the board sent them.
    pub raw: f64,
    /// The same in the electrical quantity.
    pub electrical: f64,
    /// Standard deviation of the samples that were averaged to this reading, in the electrical
    /// quantity; 0 where it is a single one.
    pub spread: f64,
}

impl Taken {
    /// Whether all of it can be computed with.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        [self.at, self.raw, self.electrical, self.spread]
            .into_iter()
            .all(f64::is_finite)
    }
}

/// Readings in the order of time.
#[derive(Clone, Debug, Default)]
pub(super) struct Series {
    entries: Vec<Taken>,
    under_way: Vec<Taken>,
    /// Each entry is the mean of two to this power.
    halvings: u32,
    latest: Option<f64>,
}

impl Series {
    pub fn is_later(&self, at: f64) -> bool {
        self.latest.is_none_or(|latest| at > latest)
    }

    pub fn push(&mut self, taken: Taken) {
        self.latest = Some(taken.at);
        self.under_way.push(taken);
        if self.under_way.len() >= 1 << self.halvings.min(16) {
            self.entries.push(mean(&self.under_way));
            self.under_way.clear();
        }
        if self.entries.len() >= MOST {
            self.entries = self.entries.chunks(2).map(mean).collect();
            self.halvings += 1;
        }
    }

    /// Seconds from the first entry to the latest.
    pub fn span(&self) -> f64 {
        let ends = self.entries.first().zip(self.entries.last());
        ends.map_or(0.0, |(first, last)| last.at - first.at)
    }

    /// Root of the mean square of the spreads.
    pub fn spread(&self) -> f64 {
        let squares = self.entries.iter().map(|entry| entry.spread * entry.spread);
        (squares.sum::<f64>() / self.entries.len().max(1) as f64).sqrt()
    }

    pub fn electrical(&self) -> Vec<Sample> {
        let sample = |entry: &Taken| Sample {
            at: entry.at,
            value: entry.electrical,
        };
        self.entries.iter().map(sample).collect()
    }

    /// Seconds after the first entry, and counts.
    pub fn raw(&self) -> Vec<(f64, f64)> {
        let start = self.entries.first().map_or(0.0, |first| first.at);
        let pair = |entry: &Taken| (entry.at - start, entry.raw);
        self.entries.iter().map(pair).collect()
    }
}

fn mean(entries: &[Taken]) -> Taken {
    let count = entries.len().max(1) as f64;
    let over = |part: fn(&Taken) -> f64| entries.iter().map(part).sum::<f64>() / count;
    Taken {
        at: over(|it| it.at),
        raw: over(|it| it.raw),
        electrical: over(|it| it.electrical),
        spread: over(|it| it.spread * it.spread).sqrt(),
    }
}
