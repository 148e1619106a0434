//! The chain with a thermistor worked out here, and with drivers that misbehave.

use super::*;
use crate::measure::front_end::Side;
use crate::measure::testing::{gaussian, near};
use proptest::prelude::*;

const KELVIN: f64 = 273.15;

/// R = R0 exp(B (1/T - 1/T0)), 10 kohm at 25 degC, B = 3950 K, for -40 to 150 degC: common practice.
#[derive(Clone, Copy, Debug)]
pub(super) struct Thermistor;

impl Transfer for Thermistor {
    fn evaluate(&self, ohm: f64) -> Result<f64, DriverError> {
        let kelvin = 1.0 / (1.0 / 298.15 + (ohm / 10_000.0).ln() / 3950.0);
        let celsius = kelvin - KELVIN;
        (-40.0..=150.0)
            .contains(&celsius)
            .then_some(celsius)
            .ok_or(DriverError::OutOfRange)
    }

    fn slope(&self, ohm: f64) -> Result<f64, DriverError> {
        let kelvin = self.evaluate(ohm)? + KELVIN;
        Ok(-kelvin * kelvin / (3950.0 * ohm))
    }
}

/// Answers always the same.
struct Canned(Result<f64, DriverError>, f64);

impl Transfer for Canned {
    fn evaluate(&self, _: f64) -> Result<f64, DriverError> {
        self.0.clone()
    }

    fn slope(&self, _: f64) -> Result<f64, DriverError> {
        Ok(self.1)
    }
}

const WIRING: FrontEnd = FrontEnd::Divider {
    probe: Side::Low,
    resistor_ohm: 10_000.0,
    full_scale: 1023.0,
};

fn chain<M: Transfer>(model: M) -> Chain<M> {
    Chain::new(WIRING, Electrical::Ohm, 1, None, model)
}

/// A chain of a thermistor that is wired in another way.
pub(super) fn chain_of(wiring: FrontEnd, every: Option<Duration>) -> Chain<Thermistor> {
    Chain::new(wiring, Electrical::Ohm, 1, every, Thermistor)
}

fn measure(count: f64) -> Measured {
    chain(Thermistor).push(0, Slot::Number(count)).unwrap()
}

#[test]
fn the_middle_code_of_a_thermistor_is_room_temperature() {
    let measured = measure(512.0);
    assert_eq!((measured.raw, measured.samples), (Some(512.0), 1));
    // Source: exact arithmetic, `divider_adc.csv`, as above the front end's test.
    near(measured.electrical.unwrap(), 10_019.569_471_6, 1e-9);
    let estimate = measured.outcome.estimate().unwrap();
    // 25 degC less 19.6 ohm at -4.39 %/K; 39.18 ohm a code are 0.0883 K. A first reading has the
    // assumed noise of 2 codes beside the step's 1/sqrt(12).
    near(estimate.value(), 24.956, 1e-4);
    near(
        estimate.uncertainty(),
        0.0883 * (4.0_f64 + 1.0 / 12.0).sqrt(),
        0.01,
    );
}

/// The thermistor driver that is linked in, with the same parameters.
fn linked_thermistor() -> Model {
    let driver = crate::driver::find("thermistor").unwrap();
    let given = [
        ("form", 0.0),
        ("r0", 10_000.0),
        ("t0", 25.0),
        ("beta", 3950.0),
    ];
    let value = |name: &str| {
        given
            .iter()
            .find(|(key, _)| *key == name)
            .map(|(_, value)| *value)
    };
    let values = driver
        .parameters()
        .iter()
        .map(|parameter| match parameter.kind {
            crate::driver::ParameterKind::List { .. } => Vec::new(),
            _ => vec![value(parameter.name).unwrap_or(f64::NAN)],
        })
        .collect();
    driver.bind(values).unwrap()
}

#[test]
fn the_linked_driver_gives_the_same_as_the_equation() {
    for count in (0..=1023).map(f64::from) {
        let expected = measure(count);
        let mut chain = chain(linked_thermistor());
        let measured = chain.push(0, Slot::Number(count)).unwrap();
        assert_eq!(measured.electrical, expected.electrical);
        let both = (measured.outcome.estimate(), expected.outcome.estimate());
        if let (Some(measured), Some(expected)) = both {
            assert!((measured.value() - expected.value()).abs() < 1e-9);
            near(measured.uncertainty(), expected.uncertainty(), 1e-6);
        } else if expected.outcome.quality() != Quality::OutOfRange {
            assert_eq!(measured, expected, "count {count}");
        }
    }
}

#[test]
fn rails_are_faults_that_keep_their_count() {
    for (count, fault) in [
        (1023.0, Quality::OpenCircuit),
        (0.0, Quality::ShortCircuit),
        (-7.0, Quality::Saturated),
    ] {
        let expected = Measured {
            raw: Some(count),
            electrical: None,
            outcome: Outcome::Fault(fault),
            spread: None,
            samples: 1,
        };
        assert_eq!(measure(count), expected);
    }
}

#[test]
fn beyond_the_driver_the_ohms_are_kept() {
    // 1010 of 1023 are 777 kohm, colder than -40 degC.
    let measured = measure(1010.0);
    assert_eq!(measured.outcome, Outcome::Fault(Quality::OutOfRange));
    near(measured.electrical.unwrap(), 776_923.076_923, 1e-9);
}

#[test]
fn absent_fields_give_nothing_and_unreadable_ones_a_fault() {
    let mut chain = chain(Thermistor);
    assert_eq!(chain.push(0, Slot::Absent), None);
    let measured = chain.push(0, Slot::Unreadable).unwrap();
    assert_eq!(measured.outcome, Outcome::Fault(Quality::Unreadable));
    assert_eq!((measured.raw, measured.electrical), (None, None));
}

#[test]
fn a_driver_that_gives_no_finite_number_has_failed() {
    for driver in [
        Canned(Err(DriverError::Broken(7)), 1.0),
        Canned(Ok(f64::NAN), 1.0),
        Canned(Ok(f64::INFINITY), 1.0),
        Canned(Ok(20.0), f64::NAN),
    ] {
        let measured = chain(driver).push(0, Slot::Number(512.0)).unwrap();
        assert_eq!(measured.outcome, Outcome::Fault(Quality::DriverFailed));
        assert!(measured.electrical.is_some());
    }
}

#[test]
fn a_broken_lead_in_an_interval_does_not_pull_the_mean() {
    let every = Some(Duration::from_secs(10));
    let mut chain = Chain::new(WIRING, Electrical::Ohm, 1, every, Thermistor);
    for (second, count) in (0..).zip([512.0, 1023.0, 514.0, 516.0]) {
        assert_eq!(
            chain.push(second * 1_000_000_000, Slot::Number(count)),
            None
        );
    }
    let measured = chain.flush().unwrap();
    assert_eq!((measured.raw, measured.samples), (Some(514.0), 3));
    assert_eq!(measured.spread, Some(2.0));
    assert!(measured.outcome.estimate().is_some());
    assert_eq!(chain.flush(), None);
}

#[test]
fn noise_widens_the_uncertainty_once_it_is_known() {
    let mut chain = chain(Thermistor);
    let mut uncertainty = |count| {
        let measured = chain.push(0, Slot::Number(count)).unwrap();
        measured.outcome.estimate().unwrap().uncertainty()
    };
    let first = uncertainty(512.0);
    let quiet = (0..20).map(|_| uncertainty(512.0)).last();
    // The assumed 2 steps go, 1 / sqrt(12) stays.
    near(quiet.unwrap(), first / 49.0_f64.sqrt(), 1e-12);
    let later = (0..80)
        .map(|i| uncertainty(504.0 + 8.0 * f64::from(i % 2)))
        .last();
    // Successive differences of 8 counts: sigma = 8 / sqrt(2), against 1 / sqrt(12).
    let expected = quiet.unwrap() * (32.0_f64 + 1.0 / 12.0).sqrt() * 12.0_f64.sqrt();
    near(later.unwrap(), expected, 1e-12);
}

/// Root mean square of error over stated uncertainty; 1 where the uncertainty is right.
fn error_share(median: usize, every: Option<Duration>, sigma: f64) -> f64 {
    let mut random = fastrand::Rng::with_seed(1977);
    let (mut squares, mut readings) = (0.0, 0.0);
    for at in (0..200).map(|step| 15.0 + 0.1 * f64::from(step)) {
        let ohm = 10_000.0 * (3950.0 * (1.0 / (at + KELVIN) - 1.0 / 298.15)).exp();
        let count = WIRING.count_for(ohm, Electrical::Ohm).unwrap();
        let mut chain = Chain::new(WIRING, Electrical::Ohm, median, every, Thermistor);
        for second in 0..100_u64 {
            let code = (count + sigma * gaussian(&mut random)).round();
            let measured = chain.push(second * 1_000_000_000, Slot::Number(code));
            if let (Some(measured), true) = (measured, second > 20) {
                let estimate = measured.outcome.estimate().unwrap();
                squares += ((estimate.value() - at) / estimate.uncertainty()).powi(2);
                readings += 1.0;
            }
        }
    }
    (squares / readings).sqrt()
}

#[test]
fn the_stated_uncertainty_is_that_of_the_values() {
    let ten = Some(Duration::from_secs(10));
    for (median, every, sigma, expected) in [
        // No noise: the error is the converter's step alone.
        (1, None, 0.0, 0.9..1.1),
        (1, None, 3.0, 0.9..1.1),
        // Here the noise makes averaging work on the step as well, which is not counted on.
        (1, ten, 3.0, 0.85..1.1),
        // A median alone is better than stated: its samples are not counted as averaged.
        (5, None, 3.0, 0.35..1.0),
        (5, ten, 3.0, 0.7..1.1),
    ] {
        let share = error_share(median, every, sigma);
        assert!(
            expected.contains(&share),
            "median {median}, {every:?}, {sigma}: {share}"
        );
    }
}

fn any_slot() -> impl Strategy<Value = Slot> {
    prop_oneof![
        4 => (0..1024_u32).prop_map(|code| Slot::Number(f64::from(code))),
        1 => proptest::num::f64::ANY.prop_map(Slot::Number),
        1 => Just(Slot::Unreadable),
        1 => Just(Slot::Absent),
    ]
}

proptest! {
    #[test]
    fn a_fault_has_no_value_and_a_value_is_between_the_rails(
        slots in proptest::collection::vec(any_slot(), 1..60),
        median in 0_usize..6,
        seconds in proptest::option::of(1_u64..8),
    ) {
        let every = seconds.map(Duration::from_secs);
        let mut chain = Chain::new(WIRING, Electrical::Ohm, median, every, Thermistor);
        let mut all: Vec<Measured> = (0..)
            .zip(slots)
            .filter_map(|(second, slot)| chain.push(second * 1_000_000_000, slot))
            .collect();
        all.extend(chain.flush());
        for measured in all {
            prop_assert!(measured.samples > 0);
            match measured.outcome {
                Outcome::Value(estimate) | Outcome::Extrapolated(estimate) => {
                    prop_assert!((-40.0..=150.0).contains(&estimate.value()));
                    prop_assert!(estimate.uncertainty() > 0.0);
                    prop_assert!(measured.raw.is_some_and(|raw| raw > 1.0 && raw < 1022.0));
                    prop_assert!(measured.electrical.is_some());
                }
                Outcome::Fault(quality) => {
                    prop_assert_ne!(quality, Quality::Good);
                    let range = quality == Quality::OutOfRange;
                    prop_assert_eq!(measured.electrical.is_some(), range);
                }
            }
        }
    }

    #[test]
    fn the_same_slots_give_the_same_outcomes_bit_for_bit(
        slots in proptest::collection::vec(any_slot(), 1..60),
    ) {
        let run = || {
            let every = Some(Duration::from_secs(4));
            let mut chain = Chain::new(WIRING, Electrical::Ohm, 3, every, Thermistor);
            let all = (0..).zip(&slots);
            all.filter_map(|(second, slot)| chain.push(second * 1_000_000_000, *slot))
                .map(|measured| (measured.raw.map(f64::to_bits), measured.outcome))
                .collect::<Vec<_>>()
        };
        prop_assert_eq!(run(), run());
    }
}
