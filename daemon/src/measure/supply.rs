//! A board's measured supply, for the absolute dividers that it feeds.
//!
//! One channel's counts become volts with an uncertainty; a line without the field uses the last
//! volts as long as they are fresh enough. What the volts do to a reading is the front end's and the
//! chain's business.

use super::corrections::Corrections;
use super::decode::Slot;
use super::front_end::{Electrical, FrontEnd};
use super::uncertainty::{NoiseEstimate, count_uncertainty};
use crate::reading::{Estimate, Quality};
use std::time::Duration;

/// What a line knows of the supply.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Feed {
    /// Volts, with the part of their standard uncertainty that the noise of the fed readings does
    /// not show.
    Volts(Estimate),
    /// The board has not spoken for long enough to expect it: its counts wait for it.
    NotYet,
    /// There is none: the fault of the supply channel becomes that of what it feeds. `Stale` where
    /// the field has been missing for too long.
    Fault(Quality),
}

/// The channel that measures a supply.
#[derive(Clone, Debug)]
pub struct SupplyChannel {
    name: String,
    front_end: FrontEnd,
    corrections: Corrections,
    noise: NoiseEstimate,
    holds_ns: u64,
    since_ns: u64,
    last: Option<(u64, Result<Volts, Quality>)>,
}

/// One measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Volts {
    volt: f64,
    per_count: f64,
}

impl SupplyChannel {
    /// The channel of this name, with a `voltage` front end; volts hold for `silent_after`, and are
    /// waited for as long after `now_ns`.
    #[must_use]
    pub fn new(
        name: String,
        (front_end, corrections): (FrontEnd, Corrections),
        silent_after: Duration,
        now_ns: u64,
    ) -> Self {
        Self {
            name,
            front_end,
            corrections,
            noise: NoiseEstimate::new(),
            holds_ns: u64::try_from(silent_after.as_nanos()).unwrap_or(u64::MAX),
            since_ns: now_ns,
            last: None,
        }
    }

    /// The channel's name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The board was opened, or talks again: what it said before is of another time.
    pub fn restart(&mut self, now_ns: u64) {
        self.noise.interrupt();
        self.since_ns = now_ns;
        self.last = None;
    }

    /// Takes what a line says of the channel, and gives what it means for the others of that line.
    pub fn take(&mut self, boot_ns: u64, slot: Slot) -> Feed {
        let fresh = slot != Slot::Absent;
        if fresh {
            self.last = Some((boot_ns, self.measure(slot)));
        }
        match self.last {
            Some((when, _)) if boot_ns.saturating_sub(when) > self.holds_ns => {
                Feed::Fault(Quality::Stale)
            }
            Some((_, Ok(volts))) => self.feed(volts, fresh),
            Some((_, Err(quality))) => Feed::Fault(quality),
            None if boot_ns.saturating_sub(self.since_ns) > self.holds_ns => {
                Feed::Fault(Quality::Stale)
            }
            None => Feed::NotYet,
        }
    }

    /// Goes on under a new configuration, where it is the same channel.
    pub fn goes_on(&mut self, before: &Self) {
        if (&self.name, &self.front_end, &self.corrections)
            == (&before.name, &before.front_end, &before.corrections)
        {
            self.noise = before.noise.clone();
            self.since_ns = before.since_ns;
            self.last = before.last;
        }
    }

    fn measure(&mut self, slot: Slot) -> Result<Volts, Quality> {
        let measured = match slot {
            Slot::Number(count) => self.convert(count),
            Slot::Absent | Slot::Unreadable => Err(Quality::Unreadable),
        };
        match measured {
            Ok((count, volts)) => {
                self.noise.push(count);
                Ok(volts)
            }
            Err(fault) => {
                self.noise.interrupt();
                Err(fault)
            }
        }
    }

    fn convert(&self, count: f64) -> Result<(f64, Volts), Quality> {
        self.front_end.convert(count, Electrical::Volt)?;
        let count = self.corrections.correct(count);
        let converted = self.front_end.convert(count, Electrical::Volt)?;
        let volts = Volts {
            volt: converted.value,
            per_count: converted.slope,
        };
        Ok((count, volts))
    }

    /// The step is in every reading. The noise of volts of the same line shows in the noise of the
    /// fed counts, once that is known (and cancels there where both saw the same ripple); that of
    /// older volts does not, since they are the same for several lines.
    fn feed(&self, volts: Volts, fresh: bool) -> Feed {
        let noise = match self.noise.deviation() {
            Some(_) if fresh => Some(0.0),
            other => other,
        };
        let counts = count_uncertainty(self.front_end.step(), noise, None, 1);
        Estimate::new(volts.volt, counts * volts.per_count.abs())
            .map_or(Feed::Fault(Quality::Saturated), Feed::Volts)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::measure::testing::near;

    const SECOND: u64 = 1_000_000_000;

    /// 12 bits of 3.3 V behind two equal resistors.
    fn channel() -> SupplyChannel {
        let front_end = FrontEnd::Voltage {
            reference_volt: 6.6,
            full_scale: 4095.0,
        };
        let wiring = (front_end, Corrections::default());
        SupplyChannel::new("vdd".to_owned(), wiring, Duration::from_secs(10), 0)
    }

    fn volts(feed: Feed) -> Estimate {
        match feed {
            Feed::Volts(estimate) => estimate,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn counts_become_volts_in_front_of_the_ratio() {
        near(
            volts(channel().take(0, Slot::Number(2047.5))).value(),
            3.3,
            1e-12,
        );
    }

    #[test]
    fn a_line_without_the_field_uses_the_last_volts_for_a_while() {
        let mut supply = channel();
        supply.take(0, Slot::Number(2000.0));
        assert!(matches!(
            supply.take(10 * SECOND, Slot::Absent),
            Feed::Volts(_)
        ));
        let stale = Feed::Fault(Quality::Stale);
        assert_eq!(supply.take(10 * SECOND + 1, Slot::Absent), stale);
        assert!(matches!(
            supply.take(11 * SECOND, Slot::Number(2000.0)),
            Feed::Volts(_)
        ));
    }

    #[test]
    fn before_the_first_volts_counts_wait_and_then_are_stale() {
        let mut supply = channel();
        assert_eq!(supply.take(10 * SECOND, Slot::Absent), Feed::NotYet);
        let stale = Feed::Fault(Quality::Stale);
        assert_eq!(supply.take(11 * SECOND, Slot::Absent), stale);
        supply.restart(60 * SECOND);
        assert_eq!(supply.take(61 * SECOND, Slot::Absent), Feed::NotYet);
    }

    #[test]
    fn the_supplys_own_fault_is_that_of_what_it_feeds() {
        let mut supply = channel();
        for (slot, quality) in [
            (Slot::Number(4095.0), Quality::Saturated),
            (Slot::Number(0.0), Quality::Saturated),
            (Slot::Unreadable, Quality::Unreadable),
        ] {
            assert_eq!(supply.take(0, slot), Feed::Fault(quality));
            assert_eq!(supply.take(1, Slot::Absent), Feed::Fault(quality));
        }
    }

    #[test]
    fn the_noise_of_older_volts_is_in_their_uncertainty() {
        let mut supply = channel();
        let first = volts(supply.take(0, Slot::Number(2000.0))).uncertainty();
        let step = 6.6 / 4095.0;
        near(first, step * (4.0_f64 + 1.0 / 12.0).sqrt(), 1e-12);
        for line in 1..40 {
            let count = 2000.0 + f64::from(line % 2) * 4.0;
            let fed = volts(supply.take(u64::try_from(line).unwrap(), Slot::Number(count)));
            if line > 20 {
                near(fed.uncertainty(), step / 12.0_f64.sqrt(), 1e-12);
            }
        }
        let held = volts(supply.take(41, Slot::Absent)).uncertainty();
        // Successive differences of 4 counts: 4 / sqrt(2).
        near(held, step * (8.0_f64 + 1.0 / 12.0).sqrt(), 1e-12);
    }
}
