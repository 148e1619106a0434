//! Single samples to what is logged: a median against spikes, a mean over an interval.
//!
//! One rule for both: faulty samples never enter a number; where at least half of the samples are
//! faulty, the outcome is the fault seen most often, of equals the latest. Otherwise the good ones
//! count, and the faulty ones are left out. Counts are averaged, before the front end and the
//! driver: the uncertainty of a mean count is known. What a count means is not known here.

use crate::reading::Quality;
use std::collections::VecDeque;
use std::time::Duration;

/// Why a sample is no number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// The reason; never `Quality::Good`.
    pub quality: Quality,
    /// What the board sent, in counts, where that was a number at all.
    pub count: Option<f64>,
}

/// What goes on to the front end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditioned {
    /// The count, a mean where several samples were averaged; or the fault, with its latest count.
    pub sample: Result<f64, Fault>,
    /// Standard deviation of the averaged samples, in counts (denominator n - 1); `None` for fewer
    /// than two, and for a fault.
    pub spread: Option<f64>,
    /// How many samples went in: the good ones of a mean, all of them for a fault.
    pub samples: u32,
}

/// Conditions the samples of one probe.
#[derive(Clone, Debug)]
pub struct Conditioner {
    median: Median,
    every_ns: Option<u64>,
    window: Window,
}

impl Conditioner {
    /// Median over the last `median` samples (the next odd number where it is even; 0 and 1 for
    /// none), then mean over `every` (`None` and zero: every sample goes on).
    #[must_use]
    pub fn new(median: usize, every: Option<Duration>) -> Self {
        let every_ns = every.map(|every| u64::try_from(every.as_nanos()).unwrap_or(u64::MAX));
        Self {
            median: Median::new(median),
            every_ns: every_ns.filter(|ns| *ns > 0),
            window: Window::default(),
        }
    }

    /// Takes a sample, and gives what is complete by it.
    ///
    /// Windows begin at multiples of the interval in boot time, so that all probes of a board
    /// close together. A window is given by the first sample at or after its end; that sample
    /// begins the next. A boot time that goes back (another boot) ends a window as well.
    pub fn push(&mut self, boot_ns: u64, sample: Result<f64, Fault>) -> Option<Conditioned> {
        let sample = self.median.push(sample);
        let Some(every_ns) = self.every_ns else {
            self.window.add(sample);
            return self.window.close();
        };
        let index = boot_ns / every_ns;
        let complete = (index != self.window.index)
            .then(|| self.window.close())
            .flatten();
        self.window.index = index;
        self.window.add(sample);
        complete
    }

    /// Gives what the begun window holds, and forgets the samples of the median: for a stop, or
    /// where the board fell silent, since what comes after has nothing to do with what was before.
    pub fn flush(&mut self) -> Option<Conditioned> {
        self.median.last.clear();
        self.window.close()
    }
}

/// Median of the last samples; of those that are there, until there are enough.
#[derive(Clone, Debug)]
struct Median {
    of: usize,
    last: VecDeque<Result<f64, Fault>>,
}

impl Median {
    fn new(of: usize) -> Self {
        let of = of.saturating_add(usize::from(of.is_multiple_of(2)));
        let last = VecDeque::new();
        Self { of, last }
    }

    fn push(&mut self, sample: Result<f64, Fault>) -> Result<f64, Fault> {
        if self.of == 1 {
            return sample;
        }
        if self.last.len() == self.of {
            self.last.pop_front();
        }
        self.last.push_back(sample);
        let mut good: Vec<f64> = self.last.iter().filter_map(|sample| sample.ok()).collect();
        let faults = Faults::of(self.last.iter().filter_map(|sample| sample.err()));
        faults
            .outweigh(good.len())
            .map_or_else(|| Ok(middle(&mut good)), Err)
    }
}

/// The middle of at least one number; halfway between the two middle ones of an even number.
fn middle(numbers: &mut [f64]) -> f64 {
    numbers.sort_by(f64::total_cmp);
    let (low, high) = ((numbers.len() - 1) / 2, numbers.len() / 2);
    numbers[low].midpoint(numbers[high])
}

/// The samples of one interval, as running moments.
#[derive(Clone, Debug, Default)]
struct Window {
    /// Which interval since the boot.
    index: u64,
    good: Moments,
    faults: Faults,
}

impl Window {
    fn add(&mut self, sample: Result<f64, Fault>) {
        match sample {
            Ok(count) => self.good.add(count),
            Err(fault) => self.faults.add(fault),
        }
    }

    fn close(&mut self) -> Option<Conditioned> {
        let good = std::mem::take(&mut self.good);
        let faults = std::mem::take(&mut self.faults);
        if let Some(fault) = faults.outweigh(good.samples as usize) {
            return Some(Conditioned {
                sample: Err(fault),
                spread: None,
                samples: faults.total.saturating_add(good.samples),
            });
        }
        (good.samples > 0).then(|| Conditioned {
            sample: Ok(good.mean),
            spread: good.deviation(),
            samples: good.samples,
        })
    }
}

/// Mean and sum of squared deviations, one sample at a time and without cancellation.
///
/// Source: B. P. Welford, "Note on a method for calculating corrected sums of squares and
/// products", Technometrics 4 (1962) 419-420.
#[derive(Clone, Copy, Debug, Default)]
struct Moments {
    samples: u32,
    mean: f64,
    squares: f64,
}

impl Moments {
    fn add(&mut self, x: f64) {
        self.samples = self.samples.saturating_add(1);
        let off = x - self.mean;
        self.mean += off / f64::from(self.samples);
        self.squares += off * (x - self.mean);
    }

    fn deviation(&self) -> Option<f64> {
        (self.samples >= 2).then(|| (self.squares / f64::from(self.samples - 1)).sqrt())
    }
}

/// The faults of a window, by quality.
#[derive(Clone, Copy, Debug, Default)]
struct Faults {
    total: u32,
    seen: [Seen; Quality::ALL.len()],
}

/// How often a fault was seen, when last (counted in faults), and with which count.
#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    times: u32,
    last: u32,
    count: Option<f64>,
}

impl Faults {
    fn of(faults: impl Iterator<Item = Fault>) -> Self {
        faults.fold(Self::default(), |mut all, fault| {
            all.add(fault);
            all
        })
    }

    fn add(&mut self, fault: Fault) {
        self.total = self.total.saturating_add(1);
        if let Some(seen) = self.seen.get_mut(usize::from(fault.quality.code())) {
            seen.times = seen.times.saturating_add(1);
            seen.last = self.total;
            seen.count = fault.count;
        }
    }

    /// The fault that stands for all of them, where they are at least half of the samples.
    fn outweigh(&self, good: usize) -> Option<Fault> {
        if self.total == 0 || (self.total as usize) < good {
            return None;
        }
        Quality::ALL
            .into_iter()
            .zip(self.seen)
            .max_by_key(|(_, seen)| (seen.times, seen.last))
            .map(|(quality, seen)| Fault {
                quality,
                count: seen.count,
            })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
