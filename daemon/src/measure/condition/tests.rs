//! Conditioning against certified statistics, and its rules case by case.

use super::*;
use crate::measure::testing::{near, numbers};
use proptest::prelude::*;

const OPEN: Fault = fault(Quality::OpenCircuit, Some(1023.0));
const SATURATED: Fault = fault(Quality::Saturated, Some(-1.0));
const UNREADABLE: Fault = fault(Quality::Unreadable, None);

const fn fault(quality: Quality, count: Option<f64>) -> Fault {
    Fault { quality, count }
}

const SECOND_NS: u64 = 1_000_000_000;
const EVERY: Option<Duration> = Some(Duration::from_secs(10));

/// Pushes one sample a second from the start of a window, and gives all that comes out.
fn run(mut conditioner: Conditioner, samples: &[Result<f64, Fault>]) -> Vec<Conditioned> {
    let mut out: Vec<Conditioned> = (0..)
        .zip(samples)
        .filter_map(|(second, sample)| conditioner.push(second * SECOND_NS, *sample))
        .collect();
    out.extend(conditioner.flush());
    out
}

fn outcome(samples: &[Result<f64, Fault>]) -> Conditioned {
    let out = run(Conditioner::new(1, EVERY), samples);
    assert_eq!(out.len(), 1);
    out[0]
}

#[test]
fn mean_and_spread_are_the_certified_ones() {
    // Source: NIST Statistical Reference Datasets, univariate summary statistics; the tolerances
    // are those stated with the data for double precision.
    for (table, n, mean, sd, mean_within, sd_within) in [
        (
            include_str!("../../../tests/published/michelso.csv"),
            100,
            299.852_400_000_000,
            0.079_010_547_819_051_8,
            1e-12,
            1e-10,
        ),
        (
            include_str!("../../../tests/published/mavro.csv"),
            50,
            2.001_856_000_000_00,
            0.000_429_123_454_003_053,
            1e-12,
            1e-9,
        ),
        (
            include_str!("../../../tests/published/numacc2.csv"),
            1001,
            1.2,
            0.1,
            1e-13,
            1e-11,
        ),
    ] {
        let samples: Vec<_> = numbers(table, "y").into_iter().map(Ok).collect();
        let whole = Some(Duration::from_secs(100_000));
        let out = run(Conditioner::new(1, whole), &samples);
        assert_eq!((out.len(), out[0].samples), (1, n));
        near(out[0].sample.unwrap(), mean, mean_within);
        near(out[0].spread.unwrap(), sd, sd_within);
    }
}

#[test]
fn without_an_interval_every_sample_goes_on() {
    let out = run(Conditioner::new(1, None), &[Ok(5.0), Err(OPEN)]);
    let good = Conditioned {
        sample: Ok(5.0),
        spread: None,
        samples: 1,
    };
    let fault = Conditioned {
        sample: Err(OPEN),
        ..good
    };
    assert_eq!(out, [good, fault]);
}

#[test]
fn windows_begin_at_multiples_of_the_interval() {
    let mut conditioner = Conditioner::new(1, EVERY);
    let mut push = |second: u64| conditioner.push(second * SECOND_NS, Ok(second as f64));
    assert_eq!([push(7), push(9)], [None, None]);
    let first = push(10).unwrap();
    assert_eq!((first.sample, first.samples), (Ok(8.0), 2));
    assert_eq!([push(13), push(19)], [None, None]);
    // A gap of several windows gives one outcome, not several.
    let second = push(55).unwrap();
    assert_eq!((second.sample, second.samples), (Ok(14.0), 3));
    // Another boot counts from zero.
    let third = push(2).unwrap();
    assert_eq!((third.sample, third.samples), (Ok(55.0), 1));
    let last = conditioner.flush().unwrap();
    assert_eq!((last.sample, last.samples), (Ok(2.0), 1));
    assert_eq!(conditioner.flush(), None);
}

#[test]
fn faulty_samples_are_left_out_of_a_mean() {
    let mean = outcome(&[Ok(10.0), Err(OPEN), Ok(12.0)]);
    assert_eq!((mean.sample, mean.samples), (Ok(11.0), 2));
    near(mean.spread.unwrap(), 2.0_f64.sqrt(), 1e-15);
}

#[test]
fn half_of_the_samples_faulty_is_a_fault() {
    for (samples, fault) in [
        (&[Ok(1.0), Err(OPEN)][..], OPEN),
        (&[Err(OPEN), Err(SATURATED), Err(OPEN), Ok(1.0)], OPEN),
        (&[Err(OPEN), Err(UNREADABLE)], UNREADABLE),
        (&[Err(UNREADABLE), Err(OPEN)], OPEN),
    ] {
        let judged = outcome(samples);
        assert_eq!(judged.sample, Err(fault));
        assert_eq!(judged.spread, None);
        assert_eq!(judged.samples as usize, samples.len());
    }
}

#[test]
fn the_median_takes_spikes_and_single_faults_away() {
    let samples = [Ok(5.0), Ok(6.0), Ok(900.0), Ok(7.0), Err(OPEN), Ok(8.0)];
    let out = run(Conditioner::new(3, None), &samples);
    let medians: Vec<_> = out.iter().map(|conditioned| conditioned.sample).collect();
    let expected = [5.0, 5.5, 6.0, 7.0, 453.5, 7.5].map(Ok);
    assert_eq!(medians, expected);
}

#[test]
fn the_median_of_mostly_faults_is_a_fault() {
    let samples = [Ok(5.0), Ok(6.0), Err(OPEN), Err(OPEN), Ok(7.0), Ok(7.0)];
    let out = run(Conditioner::new(3, None), &samples);
    let medians: Vec<_> = out.iter().map(|conditioned| conditioned.sample).collect();
    let fault = Err(OPEN);
    assert_eq!(medians, [Ok(5.0), Ok(5.5), Ok(5.5), fault, fault, Ok(7.0)]);
}

#[test]
fn the_median_forgets_what_was_before_a_silence() {
    let mut conditioner = Conditioner::new(3, None);
    for count in [5.0, 5.0, 5.0] {
        conditioner.push(0, Ok(count));
    }
    assert_eq!(conditioner.flush(), None);
    let after = conditioner.push(0, Ok(80.0)).unwrap();
    assert_eq!(after.sample, Ok(80.0));
}

fn any_sample() -> impl Strategy<Value = Result<f64, Fault>> {
    prop_oneof![
        3 => (-1e6..1e6_f64).prop_map(Ok),
        1 => (1_usize..Quality::ALL.len()).prop_map(|code| Err(fault(Quality::ALL[code], None))),
    ]
}

#[test]
fn a_fault_keeps_its_latest_count() {
    let at = |count| Err(fault(Quality::OpenCircuit, Some(count)));
    let judged = outcome(&[at(1023.0), Ok(500.0), at(1022.0), Err(UNREADABLE)]);
    assert_eq!(judged.sample, at(1022.0));
}

proptest! {
    #[test]
    fn every_sample_is_accounted_for_and_a_mean_lies_among_its_samples(
        samples in proptest::collection::vec(any_sample(), 0..80),
        seconds in 1_u64..20,
    ) {
        let every = Some(Duration::from_secs(seconds));
        let out = run(Conditioner::new(1, every), &samples);
        let windows: Vec<_> = samples.chunks(usize::try_from(seconds).unwrap()).collect();
        prop_assert_eq!(out.len(), windows.len());
        for (conditioned, window) in out.iter().zip(windows) {
            let good: Vec<f64> = window.iter().filter_map(|sample| sample.ok()).collect();
            let faulty = window.len() - good.len();
            prop_assert_eq!(conditioned.sample.is_err(), 2 * faulty >= window.len());
            if let Ok(mean) = conditioned.sample {
                let lowest = good.iter().copied().fold(f64::INFINITY, f64::min);
                let highest = good.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                prop_assert!(lowest - 1e-9 <= mean && mean <= highest + 1e-9);
                prop_assert_eq!(conditioned.samples as usize, good.len());
            }
        }
    }

    #[test]
    fn any_times_and_sizes_are_taken(
        median in 0_usize..12,
        every in proptest::option::of(any::<u64>()),
        pushes in proptest::collection::vec((any::<u64>(), any_sample()), 0..40),
    ) {
        let mut conditioner = Conditioner::new(median, every.map(Duration::from_nanos));
        for (boot_ns, sample) in pushes {
            if let Some(conditioned) = conditioner.push(boot_ns, sample) {
                prop_assert!(conditioned.samples > 0);
                let fault = conditioned.sample.err();
                prop_assert!(fault.is_none_or(|fault| fault.quality != Quality::Good));
            }
        }
    }
}
