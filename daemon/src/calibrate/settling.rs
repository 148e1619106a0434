//! Whether a probe has settled, how that is known, and how long it still takes.
//!
//! Three questions, asked every two seconds of the samples since the last disturbance, and all must be
//! answered with yes for a while:
//! - is there no trend over the window: none that can be told from zero at 95 %, and none worth
//!   speaking of that the noise could hide ([`Trend`], its error widened for autocorrelation);
//! - has an exponential approach, where one is seen, run for five time constants, or is what
//!   remains of it below the aim ([`Approach`]);
//! - is the window long enough, for that approach and for that noise.
//!
//! What is slower than the window is not seen here: the capture looks again, over its own time, and a
//! point that disagrees with the probe's nominal curve is questioned. Settled is not yet right.
//!
//! Values may be in any unit; times are told, in seconds. Nothing here asks for the time.

mod approach;
mod effective;
mod jumps;
mod samples;
mod student;
mod trend;
mod verdict;

#[cfg(test)]
mod tests;

pub use approach::Approach;
pub use effective::{effective, inflation, lag_one};
pub use samples::{Sample, Samples};
pub use trend::Trend;
pub use verdict::{Evidence, Restless, Verdict};

pub(super) use jumps::{Arrival, Jumps};

/// Of the aim, what the slope's interval may hide by its noise alone; a window is made long enough.
const NOISE_SHARE: f64 = 0.6;

/// Of the aim, a change over the window that is not worth speaking of, even where it is certain.
const NEGLIGIBLE: f64 = 0.25;

/// A window is at least so many time constants of the approach it shall not see any more.
const WINDOW_CONSTANTS: f64 = 2.0;

/// Where no approach is seen there may be one that the noise hides: what is left of it is taken to go
/// on for so many least windows.
const HIDDEN_WINDOWS: f64 = 2.0;

/// After five time constants 0.7 % of a step is left (any text on first-order systems: exp(-5)).
const CONSTANTS: f64 = 5.0;

/// Seconds for which a disturbance is shown.
const SHOWN: f64 = 3.0;

/// A trend that has gone on for so many least windows without a curve in it is a drift.
const DRIFT_WINDOWS: f64 = 5.0;

/// A curve is fitted through this many points at most, each a mean of neighbours.
const CURVE_POINTS: usize = 64;

/// What settled shall mean for a probe, in the unit of its samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aim {
    /// Standard uncertainty aimed at; a change over the window larger than this is too much.
    pub uncertainty: f64,
    /// Step of the converter; 0 where there is none.
    pub step: f64,
}

impl Aim {
    /// What can be reached: not less than what a step leaves, step / sqrt(12) (JCGM 100:2008,
    /// F.2.2.1).
    #[must_use]
    pub fn reachable(self) -> f64 {
        self.uncertainty.max(self.floor())
    }

    /// Least standard deviation of a sample.
    #[must_use]
    pub fn floor(self) -> f64 {
        self.step.max(0.0) / 12.0_f64.sqrt()
    }
}

/// How long to look, seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rules {
    /// The shortest window.
    pub least: f64,
    /// The longest.
    pub most: f64,
}

impl Default for Rules {
    /// A bead in stirred water has a time constant of 1 to 10 s, a steel sheath of 10 to 30 s
    /// (common practice), and a window sees what is not slower than itself. A quarter of an hour is
    /// as long as a kitchen's bath stands still.
    fn default() -> Self {
        Self {
            least: 40.0,
            most: 900.0,
        }
    }
}

impl Rules {
    /// How long all must have been well, seconds.
    fn held(self) -> f64 {
        self.least / 8.0
    }

    /// Seconds between two looks.
    fn pace(self) -> f64 {
        self.least / 20.0
    }
}

/// Watches one probe settle.
#[derive(Clone, Debug)]
pub struct Settling {
    aim: Aim,
    rules: Rules,
    samples: Samples,
    jumps: Jumps,
    suspect: Option<Sample>,
    last: Option<f64>,
    began: Option<f64>,
    looked: Option<f64>,
    well_since: Option<f64>,
    is_disturbed: bool,
    trend: Option<Trend>,
    approach: Option<Approach>,
    verdict: Verdict,
}

impl Settling {
    /// Nothing seen yet.
    #[must_use]
    pub fn new(aim: Aim, rules: Rules) -> Self {
        Self {
            aim,
            rules,
            samples: Samples::new(rules.most),
            jumps: Jumps::new(aim.step),
            suspect: None,
            last: None,
            began: None,
            looked: None,
            well_since: None,
            is_disturbed: false,
            trend: None,
            approach: None,
            verdict: Verdict::Waiting {
                seconds: rules.least,
            },
        }
    }

    /// Takes the next sample: seconds from anywhere, and the value. What is no number, or as old as
    /// the one before, is left out; a time that goes back begins anew.
    pub fn push(&mut self, at: f64, value: f64) -> &Verdict {
        if !at.is_finite() || !value.is_finite() || self.last == Some(at) {
            return &self.verdict;
        }
        if self.last.is_some_and(|last| at < last) {
            self.interrupt();
        }
        self.last = Some(at);
        self.sort_in(Sample { at, value });
        if self
            .looked
            .is_none_or(|looked| at - looked >= self.rules.pace())
        {
            self.look(at);
        }
        &self.verdict
    }

    /// Says that what comes has nothing to do with what was: a fault, a silence, another bath.
    pub fn interrupt(&mut self) {
        self.jumps.interrupt();
        self.suspect = None;
        self.restart(false);
        self.verdict = Verdict::Waiting {
            seconds: self.rules.least,
        };
    }

    /// The latest verdict.
    #[must_use]
    pub fn verdict(&self) -> &Verdict {
        &self.verdict
    }

    /// The line over the window, as of the latest look.
    #[must_use]
    pub fn trend(&self) -> Option<&Trend> {
        self.trend.as_ref()
    }

    /// The approach since the last disturbance, where one is seen.
    #[must_use]
    pub fn approach(&self) -> Option<&Approach> {
        self.approach.as_ref()
    }

    /// How much of the wait is over, 0 to 1; `None` where nobody can know.
    #[must_use]
    pub fn progress(&self) -> Option<f64> {
        let elapsed = self.elapsed();
        let to_go = self.verdict.seconds_left()?;
        let whole = elapsed + to_go;
        (whole > 0.0).then(|| (elapsed / whole).clamp(0.0, 1.0))
    }

    fn sort_in(&mut self, sample: Sample) {
        match self.jumps.judge(sample.value) {
            Arrival::Suspect => self.suspect = Some(sample),
            Arrival::Usual => self.keep(sample),
            Arrival::BackFromSpike => {
                self.suspect = None;
                self.keep(sample);
            }
            Arrival::Jumped => {
                let first = self.suspect.take();
                self.restart(true);
                first.into_iter().for_each(|first| self.keep(first));
                self.keep(sample);
            }
        }
    }

    fn keep(&mut self, sample: Sample) {
        self.began.get_or_insert(sample.at);
        self.samples.push(sample);
    }

    fn restart(&mut self, is_disturbed: bool) {
        self.samples.clear();
        self.is_disturbed = is_disturbed;
        self.began = None;
        self.looked = None;
        self.well_since = None;
        self.trend = None;
        self.approach = None;
    }

    fn elapsed(&self) -> f64 {
        self.last
            .zip(self.began)
            .map_or(0.0, |(last, began)| last - began)
    }

    fn look(&mut self, at: f64) {
        self.looked = Some(at);
        let floor = self.aim.floor();
        self.approach = Approach::fit(&self.samples.thinned(CURVE_POINTS), floor);
        let wanted = self.window();
        self.trend = Trend::fit(self.samples.last(wanted), floor);
        let well = self.trend.filter(|trend| self.is_well(trend, wanted));
        self.well_since = well.and(self.well_since.or(Some(at)));
        self.verdict = match (well, self.well_since) {
            (Some(trend), Some(since)) if at - since >= self.rules.held() => {
                Verdict::Settled(self.evidence(&trend))
            }
            (Some(_), Some(since)) => Verdict::Waiting {
                seconds: self.rules.held() - (at - since),
            },
            _ => self.unsettled(wanted),
        };
    }

    /// Long enough for the probe's approach, and for its noise.
    fn window(&self) -> f64 {
        let Rules { least, most } = self.rules;
        let slow = self.approach.map_or(0.0, |it| WINDOW_CONSTANTS * it.tau.0);
        let wanted = slow.clamp(least, most);
        let Some(trend) = Trend::fit(self.samples.last(wanted), self.aim.floor()) else {
            return wanted;
        };
        // The margin of a slope falls with its span to the power of 1.5.
        let rate = trend.margin() / (NOISE_SHARE * self.aim.reachable());
        let hidden = self.hidden();
        let within = trend.span * (rate * hidden).powf(2.0 / 3.0);
        let needed = if (0.0..hidden).contains(&within) {
            within
        } else {
            rate * rate * trend.span.powi(3)
        };
        needed.max(wanted)
    }

    /// Seconds for which a slope that cannot be excluded may go on; 0 where the approach is known.
    fn hidden(&self) -> f64 {
        match self.approach {
            Some(_) => 0.0,
            None => HIDDEN_WINDOWS * self.rules.least,
        }
    }

    fn is_well(&self, trend: &Trend, wanted: f64) -> bool {
        let aim = self.aim.reachable();
        let is_level = trend.is_indistinguishable_from_zero()
            || (trend.slope * trend.span).abs() <= NEGLIGIBLE * aim;
        let remains = trend.largest_change() * (self.hidden() / trend.span).max(1.0);
        is_level && remains <= aim && self.is_long(trend, wanted) && self.is_past()
    }

    /// A window of samples is up to one interval shorter than it should be.
    fn is_long(&self, trend: &Trend, wanted: f64) -> bool {
        let interval = trend.span / (trend.samples as f64 - 1.0);
        trend.span + 2.0 * interval >= wanted && trend.span + 2.0 * interval >= self.rules.least
    }

    fn is_past(&self) -> bool {
        self.approach.is_none_or(|approach| {
            let (remainder, uncertainty) = approach.remainder;
            let is_small = remainder.abs() + 2.0 * uncertainty <= self.aim.reachable();
            is_small || approach.time_constants() >= CONSTANTS
        })
    }
}
