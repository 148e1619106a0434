//! The clock against simulated boards whose true times are known; the scenes are invented.

#![allow(clippy::unwrap_used)]

use super::*;
use proptest::prelude::*;

const MS: f64 = 1e6;
const SECOND: u64 = 1_000_000_000;
const MILLISECONDS: Counter = Counter {
    unit_ns: MS,
    bits: 32,
};

/// A board that sends a line an interval.
struct Scene {
    counter: Counter,
    /// How much faster than the host's its clock runs.
    fast: f64,
    /// What the counter shows at the start.
    start: f64,
    every_ns: f64,
    random: fastrand::Rng,
}

impl Scene {
    fn new(fast_ppm: f64) -> Self {
        Self {
            counter: MILLISECONDS,
            fast: fast_ppm * 1e-6,
            start: 5000.0,
            every_ns: 1e9,
            random: fastrand::Rng::with_seed(1999),
        }
    }

    /// True time and count of a line; the board does not begin it on a tick.
    fn line(&mut self, number: u32) -> (u64, f64) {
        let at_ns = (f64::from(number) + 0.3 * self.random.f64()) * self.every_ns;
        let ticks = at_ns * (1.0 + self.fast) / self.counter.unit_ns;
        let range = 2.0_f64.powi(self.counter.bits as i32);
        let count = (self.start + ticks).floor().rem_euclid(range);
        (at_ns as u64 + 1000 * SECOND, count)
    }
}

/// Delays with a mean of `mean_ms`, most of them short and some long.
fn exponential(mean_ms: f64) -> impl FnMut(&mut fastrand::Rng, u64) -> u64 {
    move |random, _| (-(1.0 - random.f64()).ln() * mean_ms * MS) as u64
}

/// An adapter that lets its bytes go at the next of its ticks, 16 ms apart.
fn held(random: &mut fastrand::Rng, at_ns: u64) -> u64 {
    const TICK_NS: u64 = 16_000_000;
    TICK_NS - at_ns % TICK_NS + random.u64(0..300_000)
}

/// Errors of the dates in ms and their stated uncertainty, from the first dated line on.
fn errors(
    scene: &mut Scene,
    clock: &mut BoardClock,
    lines: std::ops::Range<u32>,
    mut delay: impl FnMut(&mut fastrand::Rng, u64) -> u64,
) -> Vec<(f64, f64)> {
    let mut all = Vec::new();
    for number in lines {
        let (truth, count) = scene.line(number);
        let arrival = truth + delay(&mut scene.random, truth);
        if let Some(dated) = clock.date(arrival, count) {
            assert!(dated <= arrival);
            let uncertainty = clock.uncertainty_ns().unwrap() / MS;
            all.push((signed_difference(dated, truth) / MS, uncertainty));
        }
    }
    all
}

/// Errors are as large as they are said to be: at least 95 of 100 within twice the standard
/// uncertainty (JCGM 100:2008, G.1.2), and their root mean square no larger than it.
#[track_caller]
fn are_as_stated(errors: &[(f64, f64)]) {
    let within = errors
        .iter()
        .filter(|(error, stated)| error.abs() <= 2.0 * stated)
        .count();
    assert!(
        within as f64 >= 0.95 * errors.len() as f64,
        "{within} of {}",
        errors.len()
    );
    let squares: f64 = errors
        .iter()
        .map(|(error, stated)| (error / stated).powi(2))
        .sum();
    let share = (squares / errors.len() as f64).sqrt();
    assert!((0.2..1.1).contains(&share), "{share}");
}

#[test]
fn dates_are_within_their_uncertainty_whatever_the_delays() {
    for fast_ppm in [0.0, 50.0, -50.0, 2000.0] {
        for mean_ms in [0.2, 3.0, 20.0] {
            let (mut scene, mut clock) = (Scene::new(fast_ppm), BoardClock::new(MILLISECONDS));
            let errors = errors(&mut scene, &mut clock, 0..5000, exponential(mean_ms));
            assert!(
                errors.len() > 4900,
                "{fast_ppm} ppm, {mean_ms} ms: {}",
                errors.len()
            );
            are_as_stated(&errors);
            let ppm = clock.fast_ppm().unwrap();
            assert!((ppm - fast_ppm).abs() < 5.0, "{ppm}");
        }
    }
}

#[test]
fn an_adapter_that_holds_bytes_does_not_date_them() {
    let (mut scene, mut clock) = (Scene::new(50.0), BoardClock::new(MILLISECONDS));
    let errors = errors(&mut scene, &mut clock, 0..5000, held);
    are_as_stated(&errors);
    // After a quarter of an hour, about the counter's step is left of 16 ms.
    for (error, stated) in &errors[1000..] {
        assert!(error.abs() < 1.5 && *stated < 0.5, "{error} {stated}");
    }
    let lateness = clock.delays().tell(6001 * SECOND).unwrap();
    assert!((6.0..10.0).contains(&(lateness.mean_ns / MS)));
    let most_ms = lateness.most_ns / MS;
    assert!((14.0..20.0).contains(&most_ms), "{most_ms}");
}

#[test]
fn the_counters_wrap_is_no_event() {
    for (bits, start) in [(32, 4_294_900_000.0), (16, 5000.0)] {
        let counter = Counter { unit_ns: MS, bits };
        let mut scene = Scene::new(50.0);
        (scene.counter, scene.start) = (counter, start);
        let mut clock = BoardClock::new(counter);
        let errors = errors(&mut scene, &mut clock, 0..1000, exponential(2.0));
        assert!(errors.len() > 970, "{}", errors.len());
        are_as_stated(&errors);
    }
}

#[test]
fn a_gap_longer_than_a_short_counters_round_is_bridged() {
    let counter = Counter {
        unit_ns: MS,
        bits: 16,
    };
    let mut scene = Scene::new(0.0);
    scene.counter = counter;
    let mut clock = BoardClock::new(counter);
    errors(&mut scene, &mut clock, 0..100, exponential(2.0));
    let errors = errors(&mut scene, &mut clock, 300..400, exponential(2.0));
    assert_eq!(errors.len(), 100);
    are_as_stated(&errors);
}

#[test]
fn after_a_reset_arrival_dates_until_the_clock_is_known_again() {
    let (mut scene, mut clock) = (Scene::new(50.0), BoardClock::new(MILLISECONDS));
    errors(&mut scene, &mut clock, 0..1000, exponential(2.0));
    scene.start = -1_001_000.0;
    let errors = errors(&mut scene, &mut clock, 1002..2000, exponential(2.0));
    assert!((970..=990).contains(&errors.len()), "{}", errors.len());
    are_as_stated(&errors);
}

#[test]
fn a_wrong_digit_costs_one_line() {
    for wrong in [80_000.0, 9_105_000.0] {
        let (mut scene, mut clock) = (Scene::new(0.0), BoardClock::new(MILLISECONDS));
        errors(&mut scene, &mut clock, 0..100, exponential(1.0));
        assert_eq!(clock.date(1100 * SECOND, wrong), None);
        let errors = errors(&mut scene, &mut clock, 101..200, exponential(1.0));
        assert_eq!(errors.len(), 99);
        are_as_stated(&errors);
    }
}

#[test]
fn a_stall_of_the_host_is_told_apart_from_the_boards_pace() {
    // 20 lines are read at once after 20 s.
    let (mut scene, mut clock) = (Scene::new(0.0), BoardClock::new(MILLISECONDS));
    errors(&mut scene, &mut clock, 0..300, exponential(1.0));
    let stalled = move |_: &mut fastrand::Rng, at: u64| (1320 * SECOND).saturating_sub(at);
    let errors = errors(&mut scene, &mut clock, 300..320, stalled);
    assert_eq!(errors.len(), 20);
    are_as_stated(&errors);
}

#[test]
fn lines_that_were_held_back_together_do_not_make_a_clock() {
    let (mut scene, mut clock) = (Scene::new(0.0), BoardClock::new(MILLISECONDS));
    let burst = move |_: &mut fastrand::Rng, at: u64| (1050 * SECOND).saturating_sub(at);
    assert!(errors(&mut scene, &mut clock, 0..50, burst).is_empty());
    let later = errors(&mut scene, &mut clock, 50..300, exponential(1.0));
    assert!(later.len() > 150, "{}", later.len());
    are_as_stated(&later);
}

#[test]
fn a_counter_that_stood_still_is_noticed_within_two_minutes() {
    let (mut scene, mut clock) = (Scene::new(0.0), BoardClock::new(MILLISECONDS));
    errors(&mut scene, &mut clock, 0..300, exponential(1.0));
    scene.start -= 5000.0;
    errors(&mut scene, &mut clock, 306..400, exponential(1.0));
    let errors = errors(&mut scene, &mut clock, 400..600, exponential(1.0));
    are_as_stated(&errors);
}

#[test]
fn microseconds_and_seconds_with_decimals_are_counters_too() {
    let mut clock = BoardClock::new(Counter {
        unit_ns: 1e3,
        bits: 32,
    });
    let mut seconds = BoardClock::new(Counter {
        unit_ns: 1e9,
        bits: 32,
    });
    for line in 0..60_u32 {
        let at = u64::from(line) * SECOND + 250_000;
        let micro = clock.date(at, f64::from(line) * 1e6);
        let second = seconds.date(at, f64::from(line) + 0.125);
        if line >= 10 {
            assert_eq!((micro, second), (Some(at), Some(at)));
        }
    }
    assert!(clock.uncertainty_ns().unwrap() < 1e3);
    assert!((seconds.uncertainty_ns().unwrap() - MS / 12.0_f64.sqrt()).abs() < 1.0);
}

proptest! {
    #[test]
    fn any_lines_are_dated_no_later_than_they_came(
        lines in proptest::collection::vec(
            (
                prop_oneof![any::<u64>(), 0..100 * SECOND],
                prop_oneof![proptest::num::f64::ANY, 0.0..1e5, 0.0..5e9],
            ),
            1..100,
        ),
        bits in 8_u32..=64,
    ) {
        let mut clock = BoardClock::new(Counter { unit_ns: MS, bits });
        for (arrival, count) in lines {
            if let Some(dated) = clock.date(arrival, count) {
                prop_assert!(dated <= arrival);
                prop_assert!(clock.uncertainty_ns().is_some_and(f64::is_finite));
            }
            let _ = clock.delays().tell(arrival);
        }
    }
}
