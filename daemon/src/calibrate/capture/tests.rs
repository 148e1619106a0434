//! Captures of made-up probes whose truth is known.

#![allow(clippy::unwrap_used)]

use super::*;
use proptest::prelude::*;

const AIM: Aim = Aim {
    uncertainty: 10.0,
    step: 0.0,
};

fn begin(aim: Aim) -> Capture {
    Capture::begin(1_000_000, aim, Duration::default(), "settled".to_owned())
}

fn taken(at: f64, electrical: f64) -> Taken {
    let raw = electrical / 10.0;
    Taken {
        at,
        raw,
        electrical,
        spread: 0.0,
    }
}

/// A standard normal number by the Box-Muller transform (1958).
fn gaussian(random: &mut fastrand::Rng) -> f64 {
    let radius = (-2.0 * (1.0 - random.f64()).ln()).sqrt();
    radius * (std::f64::consts::TAU * random.f64()).cos()
}

/// Feeds a signal, one sample in `interval` seconds, until the capture ends.
fn run(aim: Aim, interval: f64, mut signal: impl FnMut(f64) -> f64) -> Ending {
    let mut capture = begin(aim);
    (0..100_000)
        .map(|index| f64::from(index) * interval)
        .find_map(|at| capture.push(taken(at, signal(at))))
        .unwrap()
}

#[track_caller]
fn point(ending: Ending) -> (Captured, Drift) {
    match ending {
        Ending::Captured(captured, drift) => (*captured, drift),
        Ending::Refused(refusal) => panic!("{refusal}"),
    }
}

#[test]
fn a_level_signal_gives_its_mean_and_the_noise_of_it() {
    // Invented: 10 kohm with 5 ohm of noise, twice a second: 30 s are 61 samples.
    let mut random = fastrand::Rng::with_seed(1);
    let ending = run(AIM, 0.5, |_| 10_000.0 + 5.0 * gaussian(&mut random));
    let (captured, drift) = point(ending);
    assert_eq!(drift, Drift::Still);
    assert_eq!((captured.raw.len(), captured.electrical.len()), (61, 61));
    assert_eq!(
        (captured.from_ms, captured.until_ms),
        (1_000_000, 1_030_000)
    );
    assert!((captured.mean - 10_000.0).abs() < 3.0 * captured.uncertainty);
    assert!(
        (0.5..1.6).contains(&captured.uncertainty),
        "{}",
        captured.uncertainty
    );
    assert!(
        captured
            .evidence
            .starts_with("settled; captured for 30 s, worth ")
    );
    assert!(
        captured.evidence.ends_with("no drift"),
        "{}",
        captured.evidence
    );
}

#[test]
fn a_point_lies_within_its_uncertainty_as_often_as_it_says() {
    // Invented; AR(1) noise of 0.6 between neighbours. 2 standard uncertainties cover 95 %; of 100
    // points 12 or more outside would come once in 400 times.
    let mut random = fastrand::Rng::with_seed(2);
    let outside = (0..100).filter(|_| {
        let mut noise = 0.0;
        let ending = run(AIM, 1.0, |_| {
            noise = 0.6 * noise + 4.0 * gaussian(&mut random);
            10_000.0 + noise
        });
        matches!(ending, Ending::Captured(captured, _)
            if (captured.mean - 10_000.0).abs() > 2.0 * captured.uncertainty)
    });
    assert!(outside.count() < 12);
}

#[test]
fn more_noise_takes_longer_and_ends_at_last() {
    let mut random = fastrand::Rng::with_seed(3);
    let mut noisy = |noise: f64| point(run(AIM, 1.0, |_| noise * gaussian(&mut random))).0;
    let (little, much, most) = (noisy(1.0), noisy(50.0), noisy(1e4));
    assert_eq!(little.until_ms, 1_030_000);
    assert!(much.until_ms > 1_080_000 && much.uncertainty < 10.0);
    assert_eq!(most.until_ms, 1_300_000);
    assert!(most.uncertainty > 300.0);
}

#[test]
fn a_drift_is_counted_or_refused_and_says_which() {
    let drifting = |ohm_a_second: f64| {
        let mut random = fastrand::Rng::with_seed(4);
        run(AIM, 0.5, move |at| {
            10_000.0 + ohm_a_second * at + gaussian(&mut random)
        })
    };
    // 12 ohm in 30 s, of 10 aimed at: counted.
    let (captured, drift) = point(drifting(0.4));
    assert_eq!(drift, Drift::Counted);
    assert!((captured.mean - 10_006.0).abs() < 1.0);
    assert!((captured.drift.0 - 0.4).abs() < 3.0 * captured.drift.1);
    assert!((captured.uncertainty - 12.0 / 3.0_f64.sqrt()).abs() < 0.7);
    assert!(
        captured
            .evidence
            .ends_with("its drift is in the uncertainty")
    );
    // 60 ohm: refused.
    let Ending::Refused(refusal) = drifting(2.0) else {
        panic!("taken")
    };
    assert!(matches!(refusal, Refusal::Drifted { change, .. } if change > 55.0));
}

#[test]
fn a_step_that_noise_does_not_spread_is_left_in_full() {
    // Source: JCGM 100:2008, F.2.2.1: step / sqrt(12).
    let aim = Aim {
        uncertainty: 10.0,
        step: 40.0,
    };
    let (captured, _) = point(run(aim, 0.5, |_| 10_000.0));
    let step = 40.0 / 12.0_f64.sqrt();
    assert!(
        (captured.uncertainty / step - 1.0).abs() < 0.02,
        "{}",
        captured.uncertainty
    );
    // Flickering between two codes is no spread.
    let (captured, _) = point(run(aim, 0.5, |at| {
        10_000.0 + 40.0 * f64::from((at * 1.3) % 1.0 > 0.8)
    }));
    assert!(captured.uncertainty > step);
}

#[test]
fn noise_over_several_codes_averages_the_step_away() {
    let aim = Aim {
        uncertainty: 10.0,
        step: 10.0,
    };
    let mut random = fastrand::Rng::with_seed(7);
    let coded = |_| ((10_003.0 + 12.0 * gaussian(&mut random)) / 10.0).round() * 10.0;
    let (captured, _) = point(run(aim, 0.5, coded));
    assert!((captured.mean - 10_003.0).abs() < 3.0 * captured.uncertainty);
    assert!(captured.uncertainty < 10.0 / 12.0_f64.sqrt());
}

#[test]
fn the_spread_of_averaged_samples_counts_as_noise_under_the_step() {
    let aim = Aim {
        uncertainty: 10.0,
        step: 10.0,
    };
    let mut capture = begin(aim);
    let end = (0..1000).find_map(|index| {
        let mean = taken(f64::from(index), 10_000.0 + f64::from(index % 3));
        capture.push(Taken {
            spread: 8.0,
            ..mean
        })
    });
    let (captured, _) = point(end.unwrap());
    assert!(captured.uncertainty < 10.0 / 12.0_f64.sqrt());
}

#[test]
fn jumps_and_faults_end_a_capture_and_a_spike_does_not() {
    let at_ten = |odd: fn(f64) -> f64| {
        let mut random = fastrand::Rng::with_seed(8);
        run(AIM, 0.5, move |at| {
            10_000.0 + gaussian(&mut random) + odd(at)
        })
    };
    let jumped = at_ten(|at| if at >= 10.0 { 300.0 } else { 0.0 });
    assert_eq!(jumped, Ending::Refused(Refusal::Jumped));
    let (captured, _) = point(at_ten(|at| if at == 10.0 { 300.0 } else { 0.0 }));
    assert!(captured.electrical.iter().all(|value| *value < 10_100.0));
    let fault = begin(AIM).fault(Quality::OpenCircuit);
    assert_eq!(fault, Ending::Refused(Refusal::Fault(Quality::OpenCircuit)));
}

#[test]
fn refusals_say_what_to_do() {
    let refusals = [
        Refusal::Drifted {
            change: 60.0,
            seconds: 30.0,
        },
        Refusal::Jumped,
        Refusal::Fault(Quality::OpenCircuit),
        Refusal::TooFew(300.0),
    ];
    insta::assert_snapshot!(refusals.map(|refusal| refusal.to_string()).join("\n"), @r"
    no point: it drifted over 30 s by more than is aimed at; stir, and let it settle again
    no point: it jumped; keep it still, and let it settle again
    no point: open circuit; check the plug and the lead for a break
    no point: fewer than 5 readings in 300 s; have the board send more often
    ");
}

#[test]
fn too_few_readings_are_no_point() {
    assert_eq!(
        run(AIM, 200.0, |_| 1.0),
        Ending::Refused(Refusal::TooFew(300.0))
    );
}

#[test]
fn memory_is_bounded() {
    // 200 readings a second for five minutes, with noise that no mean gets below the aim.
    let mut random = fastrand::Rng::with_seed(9);
    let (captured, _) = point(run(AIM, 0.005, |_| 1e5 * gaussian(&mut random)));
    assert!(
        (900..2000).contains(&captured.raw.len()),
        "{}",
        captured.raw.len()
    );
    assert_eq!(captured.raw.len(), captured.electrical.len());
}

proptest! {
    #[test]
    fn whatever_comes_in_is_survived(
        uncertainty in proptest::num::f64::ANY,
        step in proptest::num::f64::ANY,
        input in proptest::collection::vec(
            (proptest::num::f64::ANY, proptest::num::f64::ANY, proptest::num::f64::ANY), 0..100),
    ) {
        let mut capture = begin(Aim { uncertainty, step });
        for (at, electrical, spread) in input {
            let ending = capture.push(Taken { at, raw: 0.0, electrical, spread });
            prop_assert!((0.0..=1.0).contains(&capture.progress()));
            if ending.is_some() {
                break;
            }
        }
    }
}

#[test]
fn readings_of_a_span_are_captured_when_they_are_over_however_few_seconds_they_are() {
    let feed = |slope: f64| {
        let evidence = "as the file says".to_owned();
        let mut capture = Capture::begin(1_000_000, AIM, Duration::OPEN, evidence);
        for index in 0..20 {
            let at = f64::from(index) / 100.0;
            let flicker = f64::from(index % 3 - 1);
            let ending = capture.push(taken(at, 10_000.0 + flicker + slope * at));
            assert_eq!(ending, None);
        }
        capture.finish()
    };
    let (captured, _) = point(feed(0.0));
    assert_eq!((captured.raw.len(), captured.until_ms), (20, 1_000_190));
    assert!((captured.mean - 10_000.0).abs() < 0.2, "{}", captured.mean);
    let drifted = feed(1000.0);
    assert!(
        matches!(drifted, Ending::Refused(Refusal::Drifted { .. })),
        "{drifted:?}"
    );
    let none = Capture::begin(0, AIM, Duration::OPEN, String::new()).finish();
    assert_eq!(none, Ending::Refused(Refusal::TooFew(0.0)));
}
