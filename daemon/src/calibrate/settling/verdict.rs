//! The verdict in words for a person: each one line of at most 76 columns.
//!
//! What to do about it at a certain reference (stir the ice, cover the bath) is the guide's.

use super::{CONSTANTS, DRIFT_WINDOWS, NEGLIGIBLE, SHOWN, Settling, Trend};
use std::fmt;

/// Whether a probe has settled.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// Nothing speaks against it, but it has not been watched for long enough.
    Waiting {
        /// Seconds left, at least.
        seconds: f64,
    },
    /// On its way down.
    Falling {
        /// Seconds to go, where the curve shows it already.
        to_go: Option<f64>,
    },
    /// On its way up.
    Rising {
        /// Seconds to go, where the curve shows it already.
        to_go: Option<f64>,
    },
    /// Settled, and how that is known.
    Settled(Evidence),
    /// Waiting alone will not help.
    NotSettling(Restless),
    /// It just jumped.
    Disturbed,
}

/// Why waiting will not help.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Restless {
    /// A slow drift, so much a second.
    Drift(f64),
    /// More noise than can be averaged over the longest window; its standard deviation.
    Noise(f64),
}

/// How it is known that a probe has settled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Seconds of the window.
    pub window: f64,
    /// Samples in it.
    pub samples: usize,
    /// How many independent ones they are worth.
    pub effective: f64,
    /// Largest change over the window that cannot be excluded at 95 %, in the unit of the samples.
    pub largest_change: f64,
    /// Whether the slope cannot be told from zero; otherwise it is negligible against the aim.
    pub is_flat: bool,
    /// Time constants since the last disturbance, where an approach was seen.
    pub time_constants: Option<f64>,
}

impl Verdict {
    /// The same for the other sign: of a quantity that falls where this one rises.
    #[must_use]
    pub fn mirrored(self) -> Self {
        match self {
            Self::Falling { to_go } => Self::Rising { to_go },
            Self::Rising { to_go } => Self::Falling { to_go },
            Self::NotSettling(Restless::Drift(drift)) => Self::NotSettling(Restless::Drift(-drift)),
            other => other,
        }
    }

    /// Whether it has settled.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        matches!(self, Self::Settled(_))
    }

    /// Seconds until it may be settled, where anybody can know.
    #[must_use]
    pub fn seconds_left(&self) -> Option<f64> {
        match self {
            Self::Waiting { seconds } => Some(*seconds),
            Self::Falling { to_go } | Self::Rising { to_go } => *to_go,
            Self::Settled(_) => Some(0.0),
            Self::NotSettling(_) | Self::Disturbed => None,
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Waiting { seconds } => write!(f, "watching it: {} more at least", span(*seconds)),
            Self::Falling { to_go } => moving(f, "falling", *to_go),
            Self::Rising { to_go } => moving(f, "rising", *to_go),
            Self::Settled(evidence) => write!(f, "{evidence}"),
            Self::NotSettling(Restless::Drift(_)) => {
                f.write_str("drifts slowly and does not settle: what it is in changes")
            }
            Self::NotSettling(Restless::Noise(_)) => {
                f.write_str("too noisy to tell: average more samples, or shorten the lead")
            }
            Self::Disturbed => f.write_str("it jumped: watching it from here anew"),
        }
    }
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            window, samples, ..
        } = self;
        let flat = if self.is_flat {
            "no trend"
        } else {
            "no change"
        };
        let worth = self.effective.round();
        write!(
            f,
            "{flat} in {window:.0} s (95 %), worth {worth} of {samples} samples"
        )?;
        match self.time_constants {
            Some(count) if count >= CONSTANTS => {
                write!(f, ", {:.0} time constants", count.floor().min(99.0))
            }
            Some(_) => f.write_str(", rest below the aim"),
            None => Ok(()),
        }
    }
}

impl Settling {
    pub(super) fn evidence(&self, trend: &Trend) -> Evidence {
        Evidence {
            window: trend.span,
            samples: trend.samples,
            effective: trend.effective,
            largest_change: trend.largest_change(),
            is_flat: trend.is_indistinguishable_from_zero(),
            time_constants: self.approach.map(|approach| approach.time_constants()),
        }
    }

    /// Why it has not settled, the most telling reason first.
    pub(super) fn unsettled(&self, wanted: f64) -> Verdict {
        if self.is_disturbed && self.elapsed() < SHOWN {
            return Verdict::Disturbed;
        }
        self.approaching()
            .or_else(|| self.drifting())
            .or_else(|| self.too_noisy(wanted))
            .unwrap_or_else(|| self.waiting(wanted))
    }

    fn approaching(&self) -> Option<Verdict> {
        let aim = self.aim.reachable();
        let approach = self.approach.filter(|it| it.remainder.0.abs() > aim)?;
        // What remains must leave the window, too.
        let to_go = approach.to_go(aim) + self.rules.least.max(approach.tau.0);
        if to_go > self.rules.most {
            let drift = -approach.remainder.0 / approach.tau.0;
            return Some(Verdict::NotSettling(Restless::Drift(drift)));
        }
        Some(toward(-approach.remainder.0, Some(to_go)))
    }

    fn drifting(&self) -> Option<Verdict> {
        let moves = |trend: &Trend| {
            !trend.is_indistinguishable_from_zero()
                && (trend.slope * trend.span).abs() > NEGLIGIBLE * self.aim.reachable()
        };
        let trend = self.trend.filter(moves)?;
        let is_long = self.elapsed() >= DRIFT_WINDOWS * self.rules.least;
        Some(if is_long && self.approach.is_none() {
            Verdict::NotSettling(Restless::Drift(trend.slope))
        } else {
            toward(trend.slope, None)
        })
    }

    fn too_noisy(&self, wanted: f64) -> Option<Verdict> {
        let is_tried = self.elapsed() >= DRIFT_WINDOWS * self.rules.least;
        let trend = self
            .trend
            .filter(|_| is_tried && wanted > self.rules.most)?;
        Some(Verdict::NotSettling(Restless::Noise(trend.deviation)))
    }

    fn waiting(&self, wanted: f64) -> Verdict {
        // What asks for the longest window and more is, at first, a way that is still within the window.
        let known = Some(wanted).filter(|wanted| *wanted <= self.rules.most);
        let left = known.unwrap_or(self.rules.least) - self.elapsed();
        Verdict::Waiting {
            seconds: left.max(self.rules.held()),
        }
    }
}

fn toward(change: f64, to_go: Option<f64>) -> Verdict {
    if change < 0.0 {
        Verdict::Falling { to_go }
    } else {
        Verdict::Rising { to_go }
    }
}

fn moving(f: &mut fmt::Formatter<'_>, how: &str, to_go: Option<f64>) -> fmt::Result {
    match to_go {
        Some(seconds) => write!(f, "still {how}, about {} to go", span(seconds)),
        None => write!(f, "still {how}"),
    }
}

/// A stretch of time for people, rounded up to what can be told: `40 s`, `3 min`, `2 h`.
#[must_use]
pub fn span(seconds: f64) -> String {
    match seconds {
        seconds if seconds <= 10.0 => format!("{:.0} s", seconds.max(0.0).ceil()),
        seconds if seconds <= 90.0 => format!("{:.0} s", (seconds / 5.0).ceil() * 5.0),
        seconds if seconds <= 5400.0 => format!("{:.0} min", (seconds / 60.0).ceil()),
        seconds => format!("{:.0} h", (seconds / 3600.0).ceil()),
    }
}
