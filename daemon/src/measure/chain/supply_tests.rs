//! The chain with corrected counts and with supplies that move; the scenes are invented.

use super::tests::chain_of;
use super::*;
use crate::measure::corrections::Point;
use crate::measure::front_end::{Side, Supply};
use crate::measure::supply::SupplyChannel;
use crate::measure::testing::{column, gaussian, near, numbers};

const KELVIN: f64 = 273.15;

/// 12 bits of 4.4 V, 10 kOhm, the probe on the low side.
const DIVIDER: AbsoluteDivider = AbsoluteDivider {
    probe: Side::Low,
    resistor_ohm: 10_000.0,
    full_scale: 4095.0,
    reference_volt: 4.4,
    supply: Supply::Measured {
        uncertainty_volt: 0.0,
    },
};

fn volts(volt: f64, uncertainty: f64) -> Feed {
    Feed::Volts(Estimate::new(volt, uncertainty).unwrap())
}

/// The count, not rounded, of a resistance at a supply voltage.
fn count(ohm: f64, volt: f64) -> f64 {
    ohm / (ohm + 10_000.0) * volt / DIVIDER.reference_volt * DIVIDER.full_scale
}

fn value(measured: Option<Measured>) -> f64 {
    measured.unwrap().outcome.estimate().unwrap().value()
}

#[test]
fn a_supply_that_sags_leaves_the_temperature_where_it_is() {
    let mut chain = chain_of(FrontEnd::AbsoluteDivider(DIVIDER), None);
    for volt in [3.3, 3.135, 3.5] {
        let slot = Slot::Number(count(10_000.0, volt));
        let measured = chain.push_fed(0, slot, volts(volt, 0.001));
        near(value(measured), 25.0, 1e-9);
        assert_eq!(measured.unwrap().raw, Some(count(10_000.0, volt)));
    }
}

#[test]
fn a_supply_that_sags_during_a_mean_cancels_sample_by_sample() {
    let every = Some(Duration::from_secs(10));
    let mut chain = chain_of(FrontEnd::AbsoluteDivider(DIVIDER), every);
    for (second, volt) in (0..10).zip([3.3, 3.1].into_iter().cycle()) {
        let slot = Slot::Number(count(10_000.0, volt));
        chain.push_fed(second * 1_000_000_000, slot, volts(volt, 0.001));
    }
    let measured = chain.flush().unwrap();
    near(value(Some(measured)), 25.0, 1e-9);
    near(measured.raw.unwrap(), count(10_000.0, 3.2), 1e-9);
    assert!(measured.spread.unwrap() < 1e-9);
}

#[test]
fn a_supply_without_volts_is_the_probes_fault_with_its_count_kept() {
    let mut chain = chain_of(FrontEnd::AbsoluteDivider(DIVIDER), None);
    let mut push = |feed| chain.push_fed(0, Slot::Number(1500.0), feed);
    assert_eq!(push(Feed::NotYet), None);
    let measured = push(Feed::Fault(Quality::Stale)).unwrap();
    assert_eq!(measured.raw, Some(1500.0));
    assert_eq!(measured.outcome, Outcome::Fault(Quality::Stale));
    let back = push(volts(3.3, 0.001)).unwrap();
    assert!(back.outcome.estimate().is_some());
}

#[test]
fn the_stated_uncertainty_of_the_supply_is_in_every_reading() {
    let uncertainty = |uncertainty_volt| {
        let supply = Supply::Known {
            volt: 3.3,
            uncertainty_volt,
        };
        let wiring = FrontEnd::AbsoluteDivider(AbsoluteDivider { supply, ..DIVIDER });
        let mut chain = chain_of(wiring, None);
        let mut push = || chain.push(0, Slot::Number(count(10_000.0, 3.3).round()));
        let last = (0..20).map(|_| push()).last().flatten().unwrap();
        last.outcome.estimate().unwrap().uncertainty()
    };
    let (without, with) = (uncertainty(0.0), uncertainty(0.033));
    // 1 % of the supply is 1 % of the ratio 1/2; dR/dratio = R_fixed / (1 - ratio)^2 = 40 kOhm, so
    // 200 Ohm, and dT/dR = -T^2 / (B R). JCGM 100:2008, 5.1.2.
    let supply = 200.0 * 298.15_f64.powi(2) / 3950.0 / 10_000.0;
    near(with, without.hypot(supply), 2e-3);
}

/// Root mean square of error over stated uncertainty, with a supply that wanders, is measured with
/// noise in each `fresh`th line, and is rounded to counts.
fn error_share(fresh: u64, every: Option<Duration>) -> f64 {
    let mut random = fastrand::Rng::with_seed(2026);
    let (mut squares, mut readings) = (0.0, 0.0);
    for at in (0..150).map(|step| 15.0 + 0.13 * f64::from(step)) {
        let ohm = 10_000.0 * (3950.0 * (1.0 / (at + KELVIN) - 1.0 / 298.15)).exp();
        let mut chain = chain_of(FrontEnd::AbsoluteDivider(DIVIDER), every);
        let volt = 3.2 + 0.2 * random.f64();
        let front_end = FrontEnd::Voltage {
            reference_volt: 8.8,
            full_scale: 4095.0,
        };
        let wiring = (front_end, Corrections::default());
        let mut supply = SupplyChannel::new("vdd".into(), wiring, Duration::from_secs(60), 0);
        for second in 0..100_u64 {
            let mut code = |count: f64| (count + 2.0 * gaussian(&mut random)).round();
            let slot = match second % fresh {
                0 => Slot::Number(code(volt / 8.8 * 4095.0)),
                _ => Slot::Absent,
            };
            let now = second * 1_000_000_000;
            let feed = supply.take(now, slot);
            let probe = Slot::Number(code(count(ohm, volt)));
            let measured = chain.push_fed(now, probe, feed);
            if let (Some(measured), true) = (measured, second > 60) {
                let estimate = measured.outcome.estimate().unwrap();
                squares += ((estimate.value() - at) / estimate.uncertainty()).powi(2);
                readings += 1.0;
            }
        }
    }
    (squares / readings).sqrt()
}

#[test]
fn the_stated_uncertainty_is_that_of_the_values_on_a_measured_supply() {
    let ten = Some(Duration::from_secs(10));
    for (fresh, every, expected) in [
        (1, None, 0.8..1.1),
        (5, None, 0.8..1.1),
        (1, ten, 0.7..1.1),
        // That two volts went into the mean is not counted on.
        (5, ten, 0.6..1.1),
    ] {
        let share = error_share(fresh, every);
        assert!(expected.contains(&share), "{fresh}, {every:?}: {share}");
    }
}

fn corrections(points: &[(f64, f64)]) -> Corrections {
    let point = |(count, correction): &(f64, f64)| Point {
        count: *count,
        correction: *correction,
    };
    Corrections::new(&points.iter().map(point).collect::<Vec<_>>()).unwrap()
}

#[test]
fn corrected_counts_give_the_published_resistances_and_raw_stays_the_boards() {
    // The table's codes as a converter would show them that is 5 low at the bottom and 7 high at the
    // top of its range.
    let table = include_str!("../../../tests/published/divider_adc.csv");
    let sides = column(table, "topology");
    let ohms = column(table, "R_from_code_ohm");
    let parts = numbers(table, "R_fixed_ohm")
        .into_iter()
        .zip(numbers(table, "full_scale"))
        .zip(numbers(table, "code"));
    let mut compared = 0;
    for ((side, ohm), ((resistor_ohm, full_scale), code)) in sides.iter().zip(ohms).zip(parts) {
        let Ok(ohm) = ohm.parse::<f64>() else {
            continue;
        };
        let corrections = corrections(&[(0.0, 5.0), (full_scale, -7.0)]);
        let raw = corrections.invert(code);
        let wiring = FrontEnd::Divider {
            probe: if *side == "low" {
                Side::Low
            } else {
                Side::High
            },
            resistor_ohm,
            full_scale,
        };
        let mut chain = chain_of(wiring, None).corrected_by(corrections);
        let measured = chain.push(0, Slot::Number(raw)).unwrap();
        assert_eq!(measured.raw, Some(raw));
        near(measured.electrical.unwrap(), ohm, 1e-9);
        compared += 1;
    }
    assert_eq!(compared, 27);
}

#[test]
fn samples_are_corrected_before_they_are_averaged() {
    // A bend within the noise: the mean of the corrected is not the corrected mean.
    let corrections = corrections(&[(500.0, 0.0), (512.0, 0.0), (524.0, 12.0)]);
    let wiring = FrontEnd::Divider {
        probe: Side::Low,
        resistor_ohm: 10_000.0,
        full_scale: 1023.0,
    };
    let every = Some(Duration::from_secs(10));
    let mut chain = chain_of(wiring, every).corrected_by(corrections);
    for (second, count) in (0..).zip([506.0, 518.0]) {
        chain.push(second * 1_000_000_000, Slot::Number(count));
    }
    let measured = chain.flush().unwrap();
    assert_eq!((measured.raw, measured.samples), (Some(512.0), 2));
    near(measured.spread.unwrap(), 18.0 / 2.0_f64.sqrt(), 1e-12);
    let ohm = 10_000.0 * 515.0 / (1023.0 - 515.0);
    near(measured.electrical.unwrap(), ohm, 1e-12);
}

#[test]
fn the_rails_are_the_converters_own_whatever_is_added() {
    let wiring = FrontEnd::Divider {
        probe: Side::Low,
        resistor_ohm: 10_000.0,
        full_scale: 1023.0,
    };
    for (raw, fault) in [
        (1023.0, Quality::OpenCircuit),
        (0.0, Quality::ShortCircuit),
        (3.0, Quality::Saturated),
    ] {
        let table = corrections(&[(0.0, -30.0), (1023.0, -30.0)]);
        let mut chain = chain_of(wiring, None).corrected_by(table);
        let measured = chain.push(0, Slot::Number(raw)).unwrap();
        assert_eq!(measured.outcome, Outcome::Fault(fault));
        assert_eq!(measured.raw, Some(raw));
    }
}
