//! A reading is the same from memory and from the file, bit for bit.

use crate::log::testing::{Bench, NEVER, all_after, open, reading, run};
use crate::reading::{Estimate, Outcome, Quality, Reading, Stamp};
use proptest::prelude::*;

/// Everything of a reading, numbers as their bits: `==` takes -0.0 for 0.0.
fn bits(reading: &Reading) -> (Reading, [Option<u64>; 5]) {
    let bits = |number: Option<f64>| number.map(f64::to_bits);
    let estimate = reading.outcome.estimate();
    let numbers = [
        bits(reading.raw),
        bits(reading.electrical),
        bits(estimate.map(Estimate::value)),
        bits(estimate.map(Estimate::uncertainty)),
        bits(reading.spread),
    ];
    (reading.clone(), numbers)
}

fn all_bits(readings: &[Reading]) -> Vec<(Reading, [Option<u64>; 5])> {
    readings.iter().map(bits).collect()
}

fn finite() -> impl Strategy<Value = f64> {
    use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    NORMAL | SUBNORMAL | ZERO | POSITIVE | NEGATIVE
}

fn outcome() -> impl Strategy<Value = Outcome> {
    let value = (finite(), finite()).prop_map(|(value, uncertainty)| {
        let estimate = Estimate::new(value, uncertainty.abs()).unwrap();
        Outcome::Value(estimate)
    });
    let without_value = Quality::ALL.into_iter().filter(|q| !q.has_value());
    let fault =
        proptest::sample::select(without_value.collect::<Vec<_>>()).prop_map(Outcome::Fault);
    prop_oneof![value, fault]
}

fn any_reading() -> impl Strategy<Value = Reading> {
    let maybe = || proptest::option::of(finite());
    let boot_ns = 0..u64::try_from(i64::MAX).unwrap();
    let parts = (any::<i64>(), boot_ns, maybe(), maybe(), outcome(), maybe());
    (parts, any::<u32>()).prop_map(|(parts, samples)| {
        let (wall_ms, boot_ns, raw, electrical, outcome, spread) = parts;
        let boot = 1;
        Reading {
            at: Stamp {
                wall_ms,
                boot_ns,
                boot,
            },
            raw,
            electrical,
            outcome,
            spread,
            samples,
            ..reading(0, 1)
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn memory_and_file_give_the_same_bits(
        mut readings in proptest::collection::vec(any_reading(), 1..40),
    ) {
        run(async {
            let bench = Bench::new().await;
            bench.append(readings.clone(), Vec::new()).await;
            for (reading, seq) in readings.iter_mut().zip(1..) {
                reading.seq = seq;
            }
            let from_memory = all_after(&mut bench.log.reader(), 0).await;
            prop_assert_eq!(&from_memory, &readings);
            bench.log.close().await.unwrap();
            let log = open(bench.log.path(), NEVER).await;
            let from_file = all_after(&mut log.reader(), 0).await;
            prop_assert_eq!(all_bits(&from_file), all_bits(&from_memory));
            Ok(())
        })?;
    }
}
