//! A reload: what goes on under the new configuration, and what is given up.

use super::*;

fn every_10_s(probe: &str) -> Setup {
    let mut setup = setup(probe);
    setup.measuring.every = Some(Duration::from_secs(10));
    setup
}

/// Lets `new` take over from `old` at this second of the scene.
fn reload(old: Flow, mut new: Flow, second: u64) -> (Flow, Batch) {
    let batch = new.take_over(at(second * 1000), old);
    (new, batch)
}

#[test]
fn a_mean_goes_on_where_the_measuring_is_unchanged() {
    let mut old = flow(vec![every_10_s("vat")]);
    all(&mut old, &[line(0, "vat=500")]);
    let (mut new, batch) = reload(old, flow(vec![every_10_s("vat")]), 1);
    assert!(batch.is_empty());
    let batch = all(&mut new, &[line(2000, "vat=510"), line(12_000, "vat=512")]);
    assert_eq!(readings(&batch), ["2 vat: 505"]);
}

#[test]
fn a_mean_ends_where_the_measuring_changes() {
    let mut old = flow(vec![every_10_s("vat")]);
    all(&mut old, &[line(0, "vat=500")]);
    let mut changed = every_10_s("vat");
    changed.measuring.median = 3;
    let (mut new, batch) = reload(old, flow(vec![changed]), 1);
    assert_eq!(readings(&batch), ["0 vat: 500"]);
    let batch = all(&mut new, &[line(2000, "vat=510"), line(12_000, "vat=512")]);
    assert_eq!(readings(&batch), ["2 vat: 510"]);
}

/// Uncertainty of the last reading of a batch.
fn uncertainty(batch: &Batch) -> f64 {
    let last = batch.readings.last().unwrap();
    last.outcome.estimate().unwrap().uncertainty()
}

#[test]
fn what_is_known_of_the_noise_goes_on_where_counts_are_taken_alike() {
    let calibrated = || {
        let mut setup = setup("vat");
        setup.series = Arc::new(Series {
            calibration: 1,
            ..(*setup.series).clone()
        });
        setup
    };
    let noisy = |second: u64| {
        let count = 500 + 40 * (second % 2);
        line(second * 1000, &format!("vat={count}"))
    };
    let first = |setup: Setup| {
        let mut old = flow(vec![super::setup("vat")]);
        let before = all(&mut old, &(0..20).map(noisy).collect::<Vec<_>>());
        let (mut new, _) = reload(old, flow(vec![setup]), 20);
        (
            uncertainty(&before),
            uncertainty(&all(&mut new, &[noisy(20)])),
        )
    };
    let (before, after) = first(calibrated());
    assert!((after / before - 1.0).abs() < 0.1, "{before} {after}");
    let mut rewired = calibrated();
    rewired.measuring.front_end = FrontEnd::Divider {
        probe: Side::High,
        resistor_ohm: 10_000.0,
        full_scale: 1023.0,
    };
    let (before, after) = first(rewired);
    assert!(after < 0.5 * before, "{before} {after}");
}

#[test]
fn stamps_go_on_increasing() {
    let mut old = flow(vec![setup("vat")]);
    let mut batch = all(
        &mut old,
        &[line(5, "vat=1"), line(5, "vat=2"), line(5, "vat=3")],
    );
    let (mut new, rest) = reload(old, flow(vec![setup("vat")]), 0);
    batch.append(rest);
    batch.append(all(&mut new, &[line(6, "vat=4")]));
    let stamps: Vec<i64> = batch.readings.iter().map(|r| r.at.wall_ms).collect();
    assert!(stamps.is_sorted_by(|a, b| a < b), "{stamps:?}");
}

fn with_alarm(alarm: (Rule, State)) -> Setup {
    let mut vat = setup("vat");
    vat.alarms = vec![alarm];
    vat
}

#[test]
fn an_alarm_stays_active_under_another_limit_until_a_reading_says_otherwise() {
    let mut old = flow(vec![with_alarm(high(500.0))]);
    let raised = all(&mut old, &[line(0, "vat=512")]);
    assert_eq!(raised.entries.len(), 1);
    let (mut new, batch) = reload(old, flow(vec![with_alarm(high(600.0))]), 1);
    assert!(batch.is_empty());
    let batch = all(&mut new, &[line(2000, "vat=512"), line(3000, "vat=512")]);
    insta::assert_snapshot!(journal(&batch), @"probe `vat`: alarm `high` back to normal (512.00, limit 600)");
}

#[test]
fn an_active_alarm_that_is_no_longer_configured_is_withdrawn() {
    let mut old = flow(vec![with_alarm(high(500.0))]);
    all(&mut old, &[line(0, "vat=512")]);
    let (_, batch) = reload(old, flow(vec![setup("vat")]), 1);
    insta::assert_snapshot!(journal(&batch), @"probe `vat`: alarm `high` is no longer configured, so it is no longer active");
    assert!(batch.at_once);
    let withdrawn = batch.entries[0].alarm.as_ref().unwrap();
    assert_eq!(
        (withdrawn.from, withdrawn.to, withdrawn.reading_seq),
        (State::Active, State::Normal, 0)
    );
}

#[test]
fn so_is_one_of_a_probe_that_is_no_longer_configured_and_its_mean_is_kept() {
    let mut vat = every_10_s("vat");
    vat.alarms = vec![high(500.0)];
    let mut old = flow(vec![vat, setup("tank")]);
    all(
        &mut old,
        &[line(0, "vat=600 tank=1"), line(10_000, "vat=601 tank=1")],
    );
    let (_, batch) = reload(old, flow(vec![setup("tank")]), 11);
    assert_eq!(readings(&batch), ["10 vat: 601"]);
    insta::assert_snapshot!(journal(&batch), @"probe `vat`: alarm `high` is no longer configured, so it is no longer active");
}

#[test]
fn an_alarm_that_is_at_rest_goes_without_a_word() {
    let mut old = flow(vec![with_alarm(high(900.0))]);
    all(&mut old, &[line(0, "vat=512")]);
    let (_, batch) = reload(old, flow(vec![setup("vat")]), 1);
    assert!(batch.is_empty());
}

#[test]
fn silence_goes_on_and_is_not_told_anew() {
    let mut old = flow(vec![setup("vat")]);
    let mut batch = ticks(&mut old, 1, 12);
    let (mut new, rest) = reload(old, flow(vec![setup("vat")]), 13);
    batch.append(rest);
    batch.append(ticks(&mut new, 14, 21));
    assert_eq!(
        readings(&batch),
        ["10 vat: board silent", "20 vat: board silent"]
    );
    assert_eq!(batch.entries.len(), 2, "{}", journal(&batch));
}

#[test]
fn a_clock_step_during_the_reload_is_told() {
    let mut old = flow(vec![setup("vat")]);
    old.tick(at(0));
    let (mut new, _) = reload(old, flow(vec![setup("vat")]), 1);
    let mut stepped = at(2000);
    stepped.wall_ms += 60_000;
    assert_eq!(new.tick(stepped).entries.len(), 1);
}
