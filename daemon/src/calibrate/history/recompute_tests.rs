//! Readings by another calibration, against Steinhart-Hart written out here.

use super::testing::calibration;
use super::{Conversion, Place, Recompute, Recomputed};
use crate::calibrate::{Calibration, Channel, Stated, Term, Tolerance};
use crate::driver::find;
use crate::log::testing::reading;
use crate::measure::chain::Transfer;
use crate::measure::self_heating::SelfHeating;
use crate::reading::{Estimate, Outcome, Quality, Reading, Series};
use proptest::prelude::*;
use std::sync::Arc;

const A: f64 = 1.282_926_065_694e-3;
const B: f64 = 2.078_532_276_332e-4;
const C: f64 = 2.005_478_946_611e-7;

/// 1/T = A + B ln R + C (ln R)^3, in kelvin.
fn steinhart_hart(shift_of_a: f64, ohm: f64) -> f64 {
    let x = ohm.ln();
    1.0 / (A + shift_of_a + B * x + C * x.powi(3)) - 273.15
}

/// Kelvin per ohm: -T^2 (B + 3 C (ln R)^2) / R.
fn slope(shift_of_a: f64, ohm: f64) -> f64 {
    let kelvin = steinhart_hart(shift_of_a, ohm) + 273.15;
    -kelvin.powi(2) * (B + 3.0 * C * ohm.ln().powi(2)) / ohm
}

/// Where the fixture's calibration was made.
fn a0() -> Channel {
    calibration(&[], 0.0).channel
}

fn by(number: u32, calibration: &Calibration) -> Conversion {
    Conversion::by(number, calibration, None).unwrap()
}

fn logged(by: u32, ohm: f64, uncertainty: f64) -> Reading {
    let mut reading = reading(1, 1);
    let estimate = Estimate::new(steinhart_hart(0.0, ohm), uncertainty).unwrap();
    reading.electrical = Some(ohm);
    reading.outcome = Outcome::Value(estimate);
    reading.series = Arc::new(Series {
        calibration: by,
        ..(*reading.series).clone()
    });
    reading
}

/// By a configuration without that channel.
fn nowhere(_: &Series) -> Option<Place> {
    None
}

fn anew(wanted: &Conversion, made: &[Conversion], reading: Reading) -> Reading {
    anew_at(wanted, made, &nowhere, reading).0
}

/// The reading, and what was remarked.
fn anew_at(
    wanted: &Conversion,
    made: &[Conversion],
    place: &dyn Fn(&Series) -> Option<Place>,
    reading: Reading,
) -> (Reading, Vec<String>) {
    let mut recompute = Recompute::new(wanted, made, place);
    match recompute.reading(reading) {
        Recomputed::Anew(reading) => (reading, recompute.remarks().map(str::to_owned).collect()),
        Recomputed::AsLogged(reading) => panic!("as it was logged: {reading:?}"),
    }
}

fn uncertainty(reading: &Reading) -> f64 {
    reading.outcome.estimate().unwrap().uncertainty()
}

fn close(got: f64, expected: f64) {
    assert!(
        (got - expected).abs() <= 1e-9 * expected.abs().max(1.0),
        "{got} is not {expected}"
    );
}

#[test]
fn the_value_is_the_other_curves_and_the_uncertainty_goes_through_its_slope() {
    let (one, two) = (calibration(&[], 0.0), calibration(&[], 2.0));
    let shift = -2.0 / 273.15_f64.powi(2);
    let ohm = 20_000.0;
    // 50 ohm of noise, and 0.05 of the calibration's own offset.
    let stored = (slope(0.0, ohm) * 50.0).hypot(0.05);
    let made = [by(1, &one)];
    let reading = anew(&by(2, &two), &made, logged(1, ohm, stored));
    let estimate = reading.outcome.estimate().unwrap();
    close(estimate.value(), steinhart_hart(shift, ohm));
    close(
        estimate.uncertainty(),
        (slope(shift, ohm) * 50.0).hypot(0.05),
    );
    assert_eq!((reading.series.calibration, reading.series.id), (2, 0));
}

#[test]
fn without_what_made_it_the_stored_uncertainty_is_kept_beside_the_calibrations_own() {
    let wanted = by(1, &calibration(&[], 0.0));
    for maker in [0, 7] {
        let kept = logged(maker, 10_000.0, 0.12);
        let (reading, remarks) = anew_at(&wanted, &[], &nowhere, kept);
        close(uncertainty(&reading), 0.12_f64.hypot(0.05));
        assert!(
            remarks[0].contains("keep all of their logged uncertainty"),
            "{remarks:?}"
        );
    }
}

#[test]
fn configured_parameters_that_are_others_now_are_not_taken_for_those_that_made_a_reading() {
    let wanted = by(1, &calibration(&[], 0.0));
    let model = Stated::calibrated(&calibration(&[], 2.0), find("thermistor").unwrap(), &a0());
    let model = model.unwrap().curve().model.clone();
    let stated = Stated::nominal(model, Tolerance::Value(0.5), &a0());
    let configured = Conversion::configured(stated, a0(), "Ohm", "Cel");
    let (reading, remarks) = anew_at(&wanted, &[configured], &nowhere, logged(0, 10_000.0, 0.12));
    close(uncertainty(&reading), 0.12_f64.hypot(0.05));
    assert_eq!(remarks.len(), 1);
}

#[test]
fn a_tolerance_that_the_calibration_replaces_is_taken_out_again() {
    let driver = find("thermistor").unwrap();
    let fitted = calibration(&[], 0.0);
    let model = Stated::calibrated(&fitted, driver, &a0()).unwrap();
    let model = model.curve().model.clone();
    let stated = Stated::nominal(model, Tolerance::Value(0.5), &a0());
    let (ohm, noise) = (10_000.0, 20.0);
    let total = stated.uncertainty(ohm, noise).unwrap();
    let configured = Conversion::configured(stated, a0(), "Ohm", "Cel");
    let wanted = by(1, &fitted);
    let (reading, remarks) = anew_at(&wanted, &[configured], &nowhere, logged(0, ohm, total));
    close(uncertainty(&reading), (slope(0.0, ohm) * noise).hypot(0.05));
    assert_eq!(remarks, [""; 0]);
}

#[test]
fn on_another_channel_both_resistors_count_as_they_do_for_the_service() {
    let fitted = calibration(&[], 0.0);
    let there = Channel {
        channel: "a1".to_owned(),
        scale_uncertainty: 0.001,
        ..a0()
    };
    let heating = SelfHeating {
        supply_volt: 5.0,
        resistor_ohm: 1e4,
        dissipation: 2e-3,
    };
    let place = |series: &Series| {
        (series.channel == "a1").then(|| Place {
            channel: there.clone(),
            heating: Some(heating),
        })
    };
    let mut moved = logged(3, 10_000.0, 0.12);
    Arc::make_mut(&mut moved.series).channel = "a1".to_owned();
    let wanted = by(1, &fitted);
    let (reading, _) = anew_at(&wanted, &[], &place, moved.clone());
    let service = Stated::calibrated(&fitted, find("thermistor").unwrap(), &there).unwrap();
    let service = service.heated(Some(heating));
    let noise = 0.12 / slope(0.0, 10_000.0).abs();
    close(
        uncertainty(&reading),
        service.answer(10_000.0, noise).unwrap().uncertainty,
    );
    // Without a configuration the resistor is taken to be of the same kind, and that is said.
    let (reading, remarks) = anew_at(&wanted, &[], &nowhere, moved);
    let resistor = 0.0058 * slope(0.0, 10_000.0) * 10_000.0;
    let expected = 0.12_f64.hypot(0.05).hypot(resistor).hypot(resistor);
    close(uncertainty(&reading), expected);
    insta::assert_snapshot!(remarks.join("\n"), @r"
    some readings keep all of their logged uncertainty beside the calibration's, which is too much rather than too little: calibration 3, which made them, cannot be computed here
    the resistor of board `bench`, channel `a1` is taken to be known as well as that of board `bench`, channel `a0`; a configuration with that channel (`--config FILE`) says how well it is
    ");
}

#[test]
fn a_calibration_of_an_ohmmeters_points_knows_no_resistor_but_the_channel_has_one() {
    let mut given = calibration(&[], 0.0);
    given.channel = Channel::elsewhere();
    let wanted = by(1, &given);
    let (reading, remarks) = anew_at(&wanted, &[], &nowhere, logged(3, 10_000.0, 0.12));
    // 1 %, rectangular, as the configuration assumes.
    let resistor = 0.01 / 3.0_f64.sqrt() * slope(0.0, 10_000.0) * 10_000.0;
    close(uncertainty(&reading), 0.12_f64.hypot(0.05).hypot(resistor));
    assert!(
        remarks
            .iter()
            .any(|one| one.contains("is taken to be known to 1 %")),
        "{remarks:?}"
    );
}

#[test]
fn what_a_calibration_adds_is_never_more_than_all() {
    let made = [by(1, &calibration(&[], 0.0))];
    let logged = logged(1, 20_000.0, 0.01);
    let (reading, remarks) = anew_at(&by(2, &calibration(&[], 2.0)), &made, &nowhere, logged);
    close(uncertainty(&reading), 0.05);
    assert!(remarks[0].contains("less uncertainty than calibration 1 adds"));
}

proptest! {
    #[test]
    fn the_calibration_that_made_a_reading_gives_it_again(
        ohm in 200.0..200_000.0_f64,
        noise in 1e-6..0.1_f64,
        on in prop::sample::select(vec!["a0", "a1"]),
        free in 1_usize..4,
    ) {
        let mut fitted = calibration(&[], 0.0);
        fitted.terms = [4, 5, 6].map(Term::Parameter)[..free].to_vec();
        fitted.sources[0].loading = [1e-6, 1e-8, 1e-10][..free].to_vec();
        let here = Channel { channel: on.to_owned(), ..a0() };
        let driver = find("thermistor").unwrap();
        let service = Stated::calibrated(&fitted, driver, &here).unwrap();
        let answer = service.answer(ohm, noise * ohm).unwrap();
        let mut kept = logged(1, ohm, 0.0);
        kept.outcome = answer.outcome();
        Arc::make_mut(&mut kept.series).channel = on.to_owned();
        let place = |_: &Series| Some(Place { channel: here.clone(), heating: None });
        let made = [by(1, &fitted)];
        // The same bits, by its number ...
        let (same, _) = anew_at(&made[0], &made, &place, kept.clone());
        prop_assert_eq!(same.outcome, kept.outcome);
        // ... and the same numbers, where it is not known by it.
        let (again, remarks) = anew_at(&by(2, &fitted), &made, &place, kept.clone());
        prop_assert_eq!(remarks.len(), 0);
        let (was, is) = (kept.outcome.estimate().unwrap(), again.outcome.estimate().unwrap());
        prop_assert_eq!(was.value().to_bits(), is.value().to_bits());
        prop_assert!((was.uncertainty() / is.uncertainty() - 1.0).abs() < 1e-9);
        prop_assert_eq!(again.outcome.quality(), kept.outcome.quality());
    }
}

#[test]
fn what_the_calibration_made_itself_keeps_every_bit() {
    let kept = logged(1, 10_000.0, 0.0712);
    let reading = anew(&by(1, &calibration(&[], 0.0)), &[], kept.clone());
    assert_eq!(reading.outcome, kept.outcome);
}

#[test]
fn what_several_calibrations_made_becomes_one_series() {
    let wanted = by(3, &calibration(&[], 0.0));
    let mut recompute = Recompute::new(&wanted, &[], &nowhere);
    let mut series = [0, 1, 3].map(|made_by| {
        let mut reading = logged(made_by, 10_000.0, 0.1);
        Arc::make_mut(&mut reading.series).id = made_by + 7;
        match recompute.reading(reading) {
            Recomputed::Anew(reading) => reading.series,
            Recomputed::AsLogged(_) => panic!("by {made_by}"),
        }
    });
    series.sort_by_key(|series| series.id);
    assert!(series.windows(2).all(|pair| pair[0] == pair[1]));
}

#[test]
fn outside_the_points_it_is_extrapolated_and_outside_the_driver_a_fault() {
    let wanted = by(1, &calibration(&[], 0.0));
    for (ohm, quality) in [
        (3_592.0, Quality::Good),
        // A reading's own noise about the outermost point, here 12 ohm, is no extrapolation.
        (3_580.0, Quality::Good),
        (3_550.0, Quality::Extrapolated),
        (33_000.0, Quality::Extrapolated),
        (1e-2, Quality::OutOfRange),
    ] {
        let mut reading = logged(0, 10_000.0, 0.1);
        reading.electrical = Some(ohm);
        let reading = anew(&wanted, &[], reading);
        assert_eq!(reading.outcome.quality(), quality, "{ohm}");
    }
}

#[test]
fn a_fault_stays_a_fault_and_what_it_cannot_take_stays_as_it_was() {
    let wanted = by(1, &calibration(&[], 0.0));
    let mut fault = logged(0, 10_000.0, 0.1);
    fault.outcome = Outcome::Fault(Quality::OutOfRange);
    let again = anew(&wanted, &[], fault.clone());
    assert_eq!(again.outcome, fault.outcome);
    let mut without = logged(0, 10_000.0, 0.1);
    without.electrical = None;
    let mut volts = logged(0, 1.0, 0.1);
    volts.series = Arc::new(Series {
        electrical_unit: "V".to_owned(),
        ..(*volts.series).clone()
    });
    for kept in [without, volts] {
        let given = Recompute::new(&wanted, &[], &nowhere).reading(kept.clone());
        assert_eq!(given, Recomputed::AsLogged(kept));
    }
}

#[test]
fn what_this_version_cannot_compute_says_why() {
    let refused = |change: fn(&mut Calibration)| {
        let mut calibration = calibration(&[], 0.0);
        change(&mut calibration);
        Conversion::by(1, &calibration, None)
            .map(|_| ())
            .unwrap_err()
    };
    let texts = [
        refused(|c| c.driver = "bolometer".to_owned()),
        refused(|c| c.input = "henry".to_owned()),
        refused(|c| c.parameters.push(("z".to_owned(), vec![1.0]))),
        refused(|c| c.parameters.retain(|(name, _)| name != "c")),
        refused(|c| c.terms = vec![Term::Parameter(99)]),
    ];
    insta::assert_snapshot!(texts.join("\n"), @r"
    needs the driver `bolometer`, which is not linked in; name a configuration whose probe has it (`--config FILE`)
    takes `henry`, which this version of nightbench does not know
    cannot be used: the calibration has the parameter `z`, which the driver `thermistor` does not have any more
    cannot be used: the form `steinhart-hart` needs `a`, `b` and `c`
    cannot be used: the calibration fitted parameter 99, which is no number
    ");
}
