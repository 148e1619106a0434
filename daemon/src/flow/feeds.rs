//! The measured supplies of a board: which probe hangs on which, and what is told of them.
//!
//! A probe takes over the fault of its supply, so its own journal entry would send people to the
//! wrong wire: the entry of the supply names the right one.

use crate::measure::decode::Slot;
use crate::measure::supply::{Feed, SupplyChannel};
use crate::reading::{Moment, Quality};

/// A fault that flickers is told at most this often, nanoseconds.
const TELL_GAP_NS: u64 = 600_000_000_000;

/// The supplies of one board.
#[derive(Debug, Default)]
pub(super) struct Feeds {
    supplies: Vec<Supply>,
    /// For each probe of the board, in their order, which supply it hangs on.
    of_probe: Vec<Option<usize>>,
    /// What the last line says of each supply.
    feeds: Vec<Feed>,
}

#[derive(Debug)]
struct Supply {
    channel: SupplyChannel,
    /// The fault that was told last, and when.
    told: Option<(Quality, u64)>,
    /// Whether there were volts since.
    is_back: bool,
}

impl Feeds {
    /// Of these channels; `wanted` names that of each probe.
    pub(super) fn new(channels: Vec<SupplyChannel>, wanted: &[Option<&str>]) -> Self {
        let place = |name: &str| channels.iter().position(|channel| channel.name() == name);
        Self {
            of_probe: wanted.iter().map(|name| name.and_then(place)).collect(),
            feeds: Vec::with_capacity(channels.len()),
            supplies: channels
                .into_iter()
                .map(|channel| Supply {
                    channel,
                    told: None,
                    is_back: false,
                })
                .collect(),
        }
    }

    /// How many there are: so many slots follow those of the probes.
    pub(super) fn len(&self) -> usize {
        self.supplies.len()
    }

    /// What was said before is of another time.
    pub(super) fn restart(&mut self, at: Moment) {
        for supply in &mut self.supplies {
            supply.channel.restart(at.boot_ns);
        }
    }

    /// Goes on under a new configuration.
    pub(super) fn goes_on(&mut self, before: &Self) {
        for supply in &mut self.supplies {
            let name = supply.channel.name().to_owned();
            let mut old = before.supplies.iter();
            if let Some(old) = old.find(|old| old.channel.name() == name) {
                supply.channel.goes_on(&old.channel);
                (supply.told, supply.is_back) = (old.told, old.is_back);
            }
        }
    }

    /// Takes what a line says of the supplies, and gives what is to be told of them.
    pub(super) fn take(&mut self, at: Moment, slots: &[Slot]) -> Vec<String> {
        let mut news = Vec::new();
        self.feeds.clear();
        for (supply, slot) in self.supplies.iter_mut().zip(slots) {
            let feed = supply.channel.take(at.boot_ns, *slot);
            self.feeds.push(feed);
            news.extend(supply.news(at, feed));
        }
        news
    }

    /// What the last line says of the supply of the probe at this place; `None` for one that hangs
    /// on no measured supply.
    pub(super) fn of(&self, probe: usize) -> Option<Feed> {
        let supply = self.of_probe.get(probe).copied().flatten()?;
        self.feeds.get(supply).copied()
    }
}

impl Supply {
    fn news(&mut self, at: Moment, feed: Feed) -> Option<String> {
        let Feed::Fault(quality) = feed else {
            self.is_back |= matches!(feed, Feed::Volts(_));
            return None;
        };
        let is_known = self.told.is_some_and(|(told, when)| {
            let goes_on = told == quality && !self.is_back;
            goes_on || at.boot_ns.saturating_sub(when) < TELL_GAP_NS
        });
        if is_known {
            return None;
        }
        self.told = Some((quality, at.boot_ns));
        self.is_back = false;
        let name = self.channel.name();
        Some(format!(
            "supply channel `{name}`: {quality}; the probes that it feeds read the same until it is \
             back; {}",
            quality.advice()
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::corrections::Corrections;
    use crate::measure::front_end::FrontEnd;
    use std::time::Duration;

    const SECOND: u64 = 1_000_000_000;

    fn feeds() -> Feeds {
        let front_end = FrontEnd::Voltage {
            reference_volt: 6.6,
            full_scale: 4095.0,
        };
        let wiring = (front_end, Corrections::default());
        let channel = SupplyChannel::new("vdd".to_owned(), wiring, Duration::from_secs(10), 0);
        Feeds::new(vec![channel], &[None, Some("vdd")])
    }

    fn at(second: u64) -> Moment {
        Moment {
            wall_ms: 0,
            boot_ns: second * SECOND,
        }
    }

    #[test]
    fn each_probe_gets_the_supply_that_it_hangs_on() {
        let mut feeds = feeds();
        assert!(feeds.take(at(1), &[Slot::Number(2000.0)]).is_empty());
        assert_eq!(feeds.of(0), None);
        assert!(matches!(feeds.of(1), Some(Feed::Volts(_))));
    }

    #[test]
    fn a_supply_that_fails_is_told_once() {
        let mut feeds = feeds();
        let news = feeds.take(at(1), &[Slot::Number(4095.0)]);
        insta::assert_snapshot!(news.join("\n"), @"supply channel `vdd`: saturated; the probes that it feeds read the same until it is back; check the wiring, and `full_scale` in the configuration");
        assert!(feeds.take(at(2), &[Slot::Absent]).is_empty());
        assert!(feeds.take(at(3), &[Slot::Unreadable]).is_empty());
        assert_eq!(feeds.take(at(700), &[Slot::Unreadable]).len(), 1);
        assert!(feeds.take(at(1400), &[Slot::Unreadable]).is_empty());
        assert!(feeds.take(at(1500), &[Slot::Number(2000.0)]).is_empty());
        assert_eq!(feeds.take(at(1501), &[Slot::Unreadable]).len(), 1);
    }
}
