//! Front ends against published numbers; apart from the front ends only for length.

use super::*;
use crate::measure::testing::{column, near, numbers};
use Electrical::{Number, Ohm, Ratio, Volt};
use Quality::{OpenCircuit, Saturated, ShortCircuit};
use proptest::prelude::*;

fn divider(probe: Side, resistor_ohm: f64, full_scale: f64) -> FrontEnd {
    FrontEnd::Divider {
        probe,
        resistor_ohm,
        full_scale,
    }
}

/// Source: t = 24.2 us + 0.011 us/ohm x R for 0 to 100 kohm, the resistance inputs of the personal
/// computer's game port (Interrupt 15h/port 201h reference texts); one count a microsecond here,
/// the overflow is invented.
const TIMED: FrontEnd = FrontEnd::ChargeTime {
    offset_count: 24.2,
    count_per_ohm: 0.011,
    overflow_count: 2000.0,
};

const VOLTAGE: FrontEnd = FrontEnd::Voltage {
    reference_volt: 3.3,
    full_scale: 4095.0,
};

#[test]
fn dividers_give_the_resistances_of_exact_arithmetic() {
    let table = include_str!("../../../tests/published/divider_adc.csv");
    let column = |name| column(table, name);
    let sides = column("topology");
    assert_eq!(sides.len(), 29);
    let rows = numbers(table, "R_fixed_ohm")
        .into_iter()
        .zip(numbers(table, "full_scale"))
        .zip(
            numbers(table, "R_sensor_ohm")
                .into_iter()
                .zip(numbers(table, "code")),
        )
        .zip(
            column("R_from_code_ohm")
                .into_iter()
                .zip(column("dR_per_code_ohm")),
        );
    for (side, (((resistor, full_scale), (sensor, code)), (ohm, slope))) in sides.iter().zip(rows) {
        let probe = if *side == "low" {
            Side::Low
        } else {
            Side::High
        };
        let front_end = divider(probe, resistor, full_scale);
        // The code is the rounded count of the sensor's resistance.
        let count = front_end.count_for(sensor, Ohm).unwrap();
        assert!((count - code).abs() <= 0.5, "{sensor} ohm: {count}");
        let Ok(converted) = front_end.convert(code, Ohm) else {
            // "code 0 and code full_scale must be reported as open/short": no number given.
            assert_eq!(ohm, "", "code {code}");
            continue;
        };
        near(converted.value, ohm.parse().unwrap(), 1e-9);
        // The table gives six digits of the slope.
        near(converted.slope.abs(), slope.parse().unwrap(), 1e-5);
        assert_eq!(converted.slope > 0.0, probe == Side::Low);
    }
}

#[test]
fn light_cells_give_the_codes_of_the_published_table() {
    let table = include_str!("../../../tests/published/ldr_worked_points.csv");
    let front_end = divider(Side::Low, 10_000.0, 1023.0);
    let ohms = numbers(table, "computed_R_ohm");
    let codes = numbers(table, "computed_code");
    assert!(ohms.len() >= 9);
    for (ohm, code) in ohms.into_iter().zip(codes) {
        // The table rounds the codes to three decimals.
        let count = front_end.count_for(ohm, Ohm).unwrap();
        assert!((count - code).abs() <= 0.0006, "{ohm} ohm: {count}");
        near(front_end.convert(count, Ohm).unwrap().value, ohm, 1e-9);
        // Full moon to direct sunlight: none of the codes is taken for a broken lead.
        assert!(front_end.convert(code.round(), Ohm).is_ok());
    }
}

#[test]
fn a_timed_charge_is_a_straight_line() {
    for (ohm, count) in [(1000.0, 35.2), (50_000.0, 574.2), (100_000.0, 1124.2)] {
        let converted = TIMED.convert(count, Ohm).unwrap();
        near(converted.value, ohm, 1e-9);
        near(converted.slope, 1.0 / 0.011, 1e-12);
        near(TIMED.count_for(ohm, Ohm).unwrap(), count, 1e-12);
    }
}

#[test]
fn a_voltage_is_a_share_of_the_reference() {
    let volt = VOLTAGE.convert(1365.0, Volt).unwrap();
    near(volt.value, 1.1, 1e-12);
    near(volt.slope, 3.3 / 4095.0, 1e-12);
    near(
        VOLTAGE.convert(1365.0, Ratio).unwrap().value,
        1.0 / 3.0,
        1e-12,
    );
}

#[test]
fn a_number_without_front_end_is_taken_as_it_is() {
    for take in [Number, Ohm, Volt, Ratio] {
        let expected = Converted {
            value: -21.5,
            slope: 1.0,
        };
        assert_eq!(FrontEnd::None.convert(-21.5, take), Ok(expected));
    }
    assert_eq!(FrontEnd::None.step(), None);
}

#[test]
fn the_ends_of_the_range_are_faults() {
    let low = divider(Side::Low, 10_000.0, 1023.0);
    let high = divider(Side::High, 10_000.0, 4095.0);
    let full_1024 = divider(Side::Low, 10_000.0, 1024.0);
    let full_256 = divider(Side::Low, 10_000.0, 256.0);
    for (front_end, count, fault) in [
        (low, 0.0, ShortCircuit),
        (low, 1.0, ShortCircuit),
        (low, 1022.0, OpenCircuit),
        (low, 1023.0, OpenCircuit),
        (low, -1.0, Saturated),
        (low, 1024.0, Saturated),
        (full_1024, 1023.0, OpenCircuit),
        (full_256, 255.0, OpenCircuit),
        (high, 0.0, OpenCircuit),
        (high, 4.0, OpenCircuit),
        (high, 4091.0, ShortCircuit),
        (high, 4095.0, ShortCircuit),
        (high, 5000.0, Saturated),
        (VOLTAGE, 0.0, Saturated),
        (VOLTAGE, 4095.0, Saturated),
        (VOLTAGE, -3.0, Saturated),
        (TIMED, 2000.0, OpenCircuit),
        (TIMED, 65_535.0, OpenCircuit),
        (TIMED, 24.0, ShortCircuit),
        (TIMED, 3.0, ShortCircuit),
        (TIMED, -1.0, Saturated),
    ] {
        let take = front_end.gives()[0];
        assert_eq!(
            front_end.convert(count, take),
            Err(fault),
            "{front_end:?} at {count}"
        );
    }
}

#[test]
fn just_inside_the_ends_there_are_numbers() {
    let low = divider(Side::Low, 10_000.0, 1023.0);
    for (front_end, count) in [
        (low, 2.0),
        (low, 8.0),
        (low, 1021.0),
        (divider(Side::High, 10_000.0, 4095.0), 5.0),
        (VOLTAGE, 5.0),
        (TIMED, 25.0),
        (TIMED, 1999.0),
    ] {
        assert!(front_end.convert(count, front_end.gives()[0]).is_ok());
    }
}

#[test]
fn broken_and_touching_leads_have_counts_for_simulation() {
    let low = divider(Side::Low, 10_000.0, 1023.0);
    let high = divider(Side::High, 10_000.0, 1023.0);
    for (front_end, ohm, count) in [
        (low, f64::INFINITY, Some(1023.0)),
        (low, 0.0, Some(0.0)),
        (high, f64::INFINITY, Some(0.0)),
        (high, 0.0, Some(1023.0)),
        (TIMED, f64::INFINITY, Some(2000.0)),
        (TIMED, 0.0, Some(24.2)),
        (low, -1.0, None),
        (TIMED, f64::NAN, None),
        (VOLTAGE, 100.0, None),
    ] {
        assert_eq!(
            front_end.count_for(ohm, Ohm),
            count,
            "{front_end:?} at {ohm}"
        );
    }
    assert_eq!(VOLTAGE.count_for(3.4, Volt), None);
}

fn any_front_end() -> impl Strategy<Value = FrontEnd> {
    prop_oneof![
        (any::<bool>(), 1.0..1e7_f64, 255.0..1e6_f64).prop_map(|(low, resistor, full_scale)| {
            divider(
                if low { Side::Low } else { Side::High },
                resistor,
                full_scale,
            )
        }),
        (0.0..1e3_f64, 1e-3..10.0_f64, 1e3..1e6_f64).prop_map(|(offset, slope, overflow)| {
            FrontEnd::ChargeTime {
                offset_count: offset,
                count_per_ohm: slope,
                overflow_count: overflow,
            }
        }),
        (0.1..10.0_f64, 255.0..1e6_f64).prop_map(|(reference_volt, full_scale)| {
            FrontEnd::Voltage {
                reference_volt,
                full_scale,
            }
        }),
        (any::<bool>(), 255.0..1e6_f64, 0.5..6.0_f64, 0.5..6.0_f64).prop_map(
            |(low, full_scale, reference_volt, volt)| {
                FrontEnd::AbsoluteDivider(AbsoluteDivider {
                    probe: if low { Side::Low } else { Side::High },
                    resistor_ohm: 10_000.0,
                    full_scale,
                    reference_volt,
                    supply: Supply::Known {
                        volt,
                        uncertainty_volt: 0.0,
                    },
                })
            }
        ),
        Just(FrontEnd::None),
    ]
}

proptest! {
    #[test]
    fn whatever_is_converted_has_a_count(front_end in any_front_end(), share in 0.0..1.0_f64) {
        let count = match front_end {
            FrontEnd::ChargeTime { overflow_count, .. } => share * overflow_count,
            FrontEnd::Divider { full_scale, .. } | FrontEnd::Voltage { full_scale, .. } => {
                share * full_scale
            }
            FrontEnd::AbsoluteDivider(divider) => share * divider.full_scale,
            FrontEnd::None => share * 1e6,
        };
        for take in front_end.gives() {
            if let Ok(converted) = front_end.convert(count, *take) {
                let back = front_end.count_for(converted.value, *take).unwrap();
                prop_assert!((back - count).abs() <= 1e-9 * count.max(1.0));
            }
        }
    }

    #[test]
    fn the_slope_is_that_of_the_value(front_end in any_front_end(), share in 0.1..0.9_f64) {
        let count = share * 1000.0 + 1000.0 * f64::from(u8::from(front_end.step().is_none()));
        for take in front_end.gives() {
            let at = |count| front_end.convert(count, *take).map(|converted| converted.value);
            if let (Ok(below), Ok(here), Ok(above)) = (
                at(count - 0.01),
                front_end.convert(count, *take),
                at(count + 0.01),
            ) {
                near((above - below) / 0.02, here.slope, 1e-3);
            }
        }
    }

    #[test]
    fn any_count_gives_finite_numbers_or_a_fault(
        front_end in any_front_end(),
        count in proptest::num::f64::ANY,
    ) {
        for take in [Number, Ohm, Volt, Ratio] {
            match front_end.convert(count, take) {
                Ok(converted) => prop_assert!(converted.value.is_finite() && converted.slope.is_finite()),
                Err(fault) => prop_assert_ne!(fault, Quality::Good),
            }
        }
    }
}
