//! Jumps, spikes, interruptions, and input that is none.

use super::*;
use proptest::prelude::*;

const AIM: Aim = Aim {
    uncertainty: 0.1,
    step: 0.0,
};

/// A quiet signal of one sample a second that flickers by a hundredth; its neighbours do not know of
/// each other (an angle of 2.4 rad is the golden section of a turn).
fn quiet(at: f64) -> f64 {
    20.0 + 0.01 * (at * 2.4).sin()
}

fn settled_after(seconds: f64) -> Settling {
    let mut settling = Settling::new(AIM, Rules::default());
    for at in each(1.0).take_while(|at| *at <= seconds) {
        settling.push(at, quiet(at));
    }
    settling
}

#[test]
fn a_jump_begins_anew() {
    let mut settling = settled_after(60.0);
    assert!(settling.verdict().is_settled(), "{}", settling.verdict());
    settling.push(61.0, quiet(61.0) + 2.0);
    settling.push(62.0, quiet(62.0) + 2.0);
    assert_eq!(settling.verdict(), &Verdict::Disturbed);
    for second in 63..100 {
        let at = f64::from(second);
        assert!(!settling.push(at, quiet(at) + 2.0).is_settled(), "{at} s");
    }
    for second in 100..115 {
        settling.push(f64::from(second), quiet(f64::from(second)) + 2.0);
    }
    assert!(settling.verdict().is_settled(), "{}", settling.verdict());
}

#[test]
fn a_spike_is_left_out() {
    let mut settling = settled_after(60.0);
    settling.push(61.0, 500.0);
    for second in 62..70 {
        settling.push(f64::from(second), quiet(f64::from(second)));
    }
    assert!(settling.verdict().is_settled(), "{}", settling.verdict());
    assert!(settling.trend().unwrap().deviation < 0.02);
}

#[test]
fn an_interruption_begins_anew() {
    let mut settling = settled_after(60.0);
    settling.interrupt();
    assert!(!settling.verdict().is_settled());
    assert!(!settling.push(61.0, quiet(61.0)).is_settled());
    assert_eq!(settling.approach(), None);
}

#[test]
fn a_time_that_goes_back_begins_anew_and_an_equal_one_counts_for_nothing() {
    let mut settling = settled_after(60.0);
    assert!(settling.push(60.0, 1e9).is_settled());
    assert!(!settling.push(30.0, quiet(30.0)).is_settled());
}

#[test]
fn memory_is_bounded_and_means_stay() {
    let mut samples = Samples::new(f64::INFINITY);
    for index in 0..100_000 {
        let at = f64::from(index);
        samples.push(Sample {
            at,
            value: 2.0 * at,
        });
    }
    assert!(samples.all().len() < 2048);
    let trend = Trend::fit(samples.all(), 0.0).unwrap();
    near(trend.slope, 2.0, 1e-9);
    near(trend.mean, 2.0 * trend.span / 2.0, 0.01);
}

#[test]
fn what_is_old_is_forgotten() {
    let mut samples = Samples::new(100.0);
    for index in 0..5000 {
        samples.push(Sample {
            at: f64::from(index),
            value: 0.0,
        });
    }
    assert!(samples.all()[0].at > 2800.0, "{:?}", samples.all()[0]);
    assert_eq!(samples.last(10.0).len(), 11);
}

proptest! {
    #[test]
    fn whatever_comes_in_is_survived(
        aim in proptest::num::f64::ANY,
        step in proptest::num::f64::ANY,
        input in proptest::collection::vec(
            (proptest::num::f64::ANY, proptest::num::f64::ANY), 0..200),
    ) {
        let mut settling = Settling::new(Aim { uncertainty: aim, step }, Rules::default());
        for (at, value) in input {
            let words = settling.push(at, value).to_string();
            prop_assert!(words.chars().count() <= 76, "{}", words);
        }
        prop_assert!(settling.progress().is_none_or(|share| (0.0..=1.0).contains(&share)));
    }

    #[test]
    fn whatever_comes_in_order_is_survived(
        aim in 1e-6..1.0_f64,
        input in proptest::collection::vec((0.0..30.0_f64, -1e3..1e3_f64), 0..200),
    ) {
        let mut settling = Settling::new(Aim { uncertainty: aim, step: 0.0 }, Rules::default());
        let mut now = 0.0;
        for (later, value) in input {
            now += later;
            let words = settling.push(now, value).to_string();
            prop_assert!(words.chars().count() <= 76, "{}", words);
        }
    }
}
