//! Channels against exact dividers.

use super::*;
use crate::calibrate::make::testing::{Told, point};
use crate::measure::front_end::{Electrical, FrontEnd, Side};

/// A known resistor and what the channel claimed of it; uncertainties standard, in ohm.
fn told(true_ohm: f64, own: f64, (claimed, uncertainty): (f64, f64)) -> Told {
    Told {
        reference: Reference::Resistor {
            what: format!("{true_ohm} Ohm"),
        },
        value: true_ohm,
        own,
        input: claimed,
        input_uncertainty: uncertainty,
        ..Told::default()
    }
}

fn numbered(told: Vec<Told>) -> Vec<(u64, Point)> {
    (1..).zip(told.into_iter().map(point)).collect()
}

/// Of the published dividers with this real resistor, points as a channel claims them that has
/// `written` in its configuration.
fn published(topology: &str, real: f64, full_scale: f64, written: f64) -> Vec<Told> {
    // Source: tests/published/divider_adc.csv, exact rational arithmetic.
    let table = include_str!("../../../tests/published/divider_adc.csv");
    let rows = table.lines().filter(|line| line.starts_with(topology));
    let rows = rows.filter_map(|line| {
        let cells: Vec<Option<f64>> = line.split(',').map(|cell| cell.parse().ok()).collect();
        let numbers: Option<Vec<f64>> = cells[1..].iter().copied().collect();
        numbers.filter(|row| (row[0], row[1]) == (real, full_scale))
    });
    rows.map(|row| {
        let (true_ohm, claimed, step) = (row[2], row[4], row[5]);
        let scale = written / real;
        let step = scale * step / 12.0_f64.sqrt();
        told(true_ohm, 1e-5 * true_ohm, (scale * claimed, step))
    })
    .collect()
}

#[test]
fn the_published_dividers_give_their_resistor() {
    for (topology, real, full_scale, least) in [
        ("low", 10_000.0, 1023.0, 10.0),
        ("high", 10_000.0, 4095.0, 3.0),
        ("low", 10_000.0, 4096.0, 3.0),
        ("high", 4_700.0, 65_535.0, 0.2),
        ("low", 1_000.0, 32_767.0, 0.2),
    ] {
        let points = published(topology, real, full_scale, 1.013 * real);
        assert!(points.len() >= 3, "{topology} {real}");
        let found = characterise(&numbered(points), 1.013 * real).unwrap();
        let off = (found.resistor - real).abs();
        assert!(off <= 3.0 * found.uncertainty, "{found:?}");
        assert!(found.uncertainty < least, "{found:?}");
        assert_eq!(found.finding, Finding::Nothing, "{found:?}");
    }
}

#[test]
fn the_lines_say_the_resistor_and_its_tolerance() {
    // Claimed = true x written / real; 0.02 % at each of four points, uncorrelated, make 0.01 %.
    let points = [1_000.0, 4_700.0, 10_000.0, 47_000.0].map(|ohm: f64| {
        let claimed = ohm * 10_000.0 / 9_963.0;
        told(ohm, 2e-4 * ohm, (claimed, 1e-9 * ohm))
    });
    let found = characterise(&numbered(points.to_vec()), 10_000.0).unwrap();
    assert!((found.uncertainty - 0.9963).abs() < 1e-3, "{found:?}");
    assert_eq!(
        found.lines(),
        [
            "resistor = \"9963.00 Ohm\"",
            "resistor_tolerance = \"0.018 %\""
        ]
    );
    insta::assert_snapshot!(found.words(), @r#"the divider's resistor is 9963.00 Ohm, expanded uncertainty 2 Ohm (k = 2); what is left at each point is no more than the uncertainties explain; write `resistor = "9963.00 Ohm"` and `resistor_tolerance = "0.018 %"` in the channel's table, and calibrate again what was calibrated on it"#);
}

#[test]
fn resistors_of_one_box_share_its_error_and_more_of_them_do_not_help() {
    let points = [1_000.0, 10_000.0, 47_000.0].map(|ohm: f64| Told {
        reference: Reference::Resistor {
            what: "decade box".to_owned(),
        },
        common: 1e-3 * ohm,
        ..told(ohm, 1e-5 * ohm, (ohm, 1e-5 * ohm))
    });
    let found = characterise(&numbered(points.to_vec()), 10_000.0).unwrap();
    assert!((found.uncertainty / 10.0 - 1.0).abs() < 0.01, "{found:?}");
}

/// What a 12-bit divider with 9963 ohm claims, its converter off by so many counts.
fn with_offset(counts: f64) -> Vec<Told> {
    let claims = FrontEnd::Divider {
        probe: Side::Low,
        resistor_ohm: 10_000.0,
        full_scale: 4095.0,
    };
    let one = |ohm: f64| {
        let count = 4095.0 * ohm / (ohm + 9_963.0) + counts;
        let converted = claims.convert(count, Electrical::Ohm).unwrap();
        let step = converted.slope.abs() * 0.1;
        told(ohm, 1e-5 * ohm, (converted.value, step))
    };
    [470.0, 2_200.0, 10_000.0, 47_000.0, 220_000.0]
        .map(one)
        .to_vec()
}

#[test]
fn an_offset_of_the_converter_is_told_from_its_resistor() {
    for counts in [-4.0, 2.5] {
        let found = characterise(&numbered(with_offset(counts)), 10_000.0).unwrap();
        let Finding::Offset(share, uncertainty) = found.finding else {
            panic!("{found:?}");
        };
        let expected = counts / 4095.0;
        assert!((share / expected - 1.0).abs() < 0.05, "{found:?}");
        assert!((share - expected).abs() < 3.0 * uncertainty, "{found:?}");
        assert!(
            (found.resistor - 9_963.0).abs() < 3.0 * found.uncertainty,
            "{found:?}"
        );
    }
    let found = characterise(&numbered(with_offset(0.0)), 10_000.0).unwrap();
    assert_eq!(found.finding, Finding::Nothing);
}

#[test]
fn a_resistor_that_is_another_one_is_named() {
    let mut points = with_offset(0.0);
    points[2].value *= 1.05;
    let found = characterise(&numbered(points), 10_000.0).unwrap();
    assert_eq!(found.finding, Finding::Unexplained(3));
    assert!(
        found.words().contains("most at point 3"),
        "{}",
        found.words()
    );
}

#[test]
fn what_makes_no_sense_is_refused_and_one_point_says_how_little_it_is() {
    let probe = Told::default();
    let only = characterise(&numbered(vec![probe.clone()]), 10_000.0);
    assert_eq!(only, Err(Uncharacterised::NoPoints));
    let broken = told(-1.0, 0.1, (100.0, 0.1));
    let broken = characterise(&numbered(vec![probe, broken]), 10_000.0);
    assert_eq!(broken, Err(Uncharacterised::NoNumber(2)));
    let one = characterise(&numbered(vec![told(1e4, 1.0, (10_037.0, 1.0))]), 10_000.0).unwrap();
    assert_eq!(one.finding, Finding::OnePoint);
    assert!((one.resistor - 9_963.0).abs() < 0.2, "{one:?}");
}
