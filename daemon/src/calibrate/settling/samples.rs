//! The samples since the last disturbance, in bounded memory.
//!
//! The rule: what is older than the longest window is forgotten; where there are still too many,
//! neighbours are averaged in pairs, and from then on each entry is the mean of twice as many. A
//! mean and a line come out the same.

/// Entries kept at most: at two a second more than the longest window.
const MOST: usize = 2048;

/// A value and when it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Seconds, from anywhere.
    pub at: f64,
    /// In any unit.
    pub value: f64,
}

/// Samples in the order of time.
#[derive(Clone, Debug)]
pub struct Samples {
    entries: Vec<Sample>,
    /// How many samples an entry is the mean of.
    each: usize,
    /// Sums of the entry under way.
    under_way: Sample,
    count: usize,
    /// Seconds that are kept.
    kept: f64,
}

impl Samples {
    /// Keeps this many seconds.
    #[must_use]
    pub fn new(kept: f64) -> Self {
        Self {
            entries: Vec::new(),
            each: 1,
            under_way: Sample {
                at: 0.0,
                value: 0.0,
            },
            count: 0,
            kept,
        }
    }

    /// Takes the next one, later than those before it.
    pub fn push(&mut self, sample: Sample) {
        self.under_way.at += sample.at;
        self.under_way.value += sample.value;
        self.count += 1;
        if self.count >= self.each {
            let count = self.count as f64;
            self.entries.push(Sample {
                at: self.under_way.at / count,
                value: self.under_way.value / count,
            });
            self.start_entry();
            self.make_room();
        }
    }

    /// All entries.
    #[must_use]
    pub fn all(&self) -> &[Sample] {
        &self.entries
    }

    /// The entries of the last `seconds`.
    #[must_use]
    pub fn last(&self, seconds: f64) -> &[Sample] {
        let from = self.entries.last().map_or(0.0, |last| last.at - seconds);
        let first = self.entries.partition_point(|entry| entry.at < from);
        &self.entries[first..]
    }

    /// All entries, neighbours averaged until there are no more than `most`.
    #[must_use]
    pub fn thinned(&self, most: usize) -> Vec<Sample> {
        let each = self.entries.len().div_ceil(most.max(1)).max(1);
        self.entries.chunks(each).map(mean).collect()
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        *self = Self::new(self.kept);
    }

    fn start_entry(&mut self) {
        self.under_way = Sample {
            at: 0.0,
            value: 0.0,
        };
        self.count = 0;
    }

    fn make_room(&mut self) {
        if self.entries.len() < MOST {
            return;
        }
        let old = self.entries.len() - self.last(self.kept).len();
        self.entries.drain(..old);
        if self.entries.len() > MOST / 2 {
            self.entries = self.entries.chunks(2).map(mean).collect();
            self.each = self.each.saturating_mul(2);
        }
    }
}

fn mean(samples: &[Sample]) -> Sample {
    let count = samples.len().max(1) as f64;
    Sample {
        at: samples.iter().map(|sample| sample.at).sum::<f64>() / count,
        value: samples.iter().map(|sample| sample.value).sum::<f64>() / count,
    }
}
