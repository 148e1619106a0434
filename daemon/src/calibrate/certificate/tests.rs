//! All three forms of a certificate, for an invented probe.

#![allow(clippy::unwrap_used)]

use super::{Budget, Certificate, Row};
use crate::calibrate::Tolerance;
use crate::calibrate::calibration::{
    Calibration, Channel, Residual, Shape, Share, Source, Verification,
};
use crate::calibrate::curve::Term;
use crate::calibrate::point::{Captured, Compared, Point, Role};
use crate::calibrate::reference::{self, Instrument, Stated, StationPressure, Water};
use jiff::tz::TimeZone;

/// 2026-11-24T19:00:00Z.
const EVENING_MS: i64 = 1_795_546_800_000;

/// Everything that a certificate borrows. The probe, its numbers and its owner's words are invented.
struct Scene {
    calibration: Calibration,
    here: Channel,
    points: Vec<Point>,
    verifications: Vec<Verification>,
    range: Vec<Row>,
    budgets: Vec<Budget>,
}

impl Scene {
    fn show(&self, probe: &str, show: fn(&Certificate<'_>) -> String) -> String {
        let numbered = (11..).step_by(3).zip(&self.points);
        let points: Vec<(u64, &Point)> = numbered.collect();
        show(&Certificate {
            site: "cellar",
            probe,
            number: 2,
            calibration: &self.calibration,
            driver: crate::driver::find(&self.calibration.driver).unwrap(),
            here: &self.here,
            points: &points,
            verifications: &self.verifications,
            range: &self.range,
            budgets: &self.budgets,
            printed_ms: EVENING_MS + 7_200_000,
            zone: &TimeZone::fixed(jiff::tz::offset(1)),
        })
    }
}

fn point(n: u8, role: Role, compared: Compared, mean: f64) -> Point {
    let from_ms = EVENING_MS + i64::from(n) * 900_000;
    Point {
        role,
        compared,
        captured: Captured {
            from_ms,
            until_ms: from_ms + 60_000,
            raw: vec![(0.0, 512.0), (30.0, 512.5), (60.0, 512.0)],
            electrical: vec![mean - 3.0, mean + 4.0, mean - 1.0],
            mean,
            uncertainty: mean * 2e-4,
            effective: 2.6,
            drift: (0.01, 0.02),
            evidence:
                "trend over 60 s is 0.01 Ohm/s, which cannot be told from zero at 95 %; five time \
                       constants of 8 s after the last disturbance"
                    .to_owned(),
        },
    }
}

fn thermometer(reading: f64) -> Compared {
    reference::instrument(Instrument {
        name: "kitchen <b>".to_owned(),
        reading,
        stated: Stated::Expanded {
            uncertainty: 0.2,
            coverage: 2.0,
        },
        resolution: 0.1,
        reading_uncertainty: 0.0,
    })
    .unwrap()
}

fn scene() -> Scene {
    let pressure = StationPressure::measured(99_200.0, 100.0, Shape::Normal).unwrap();
    let boiling = reference::boiling(&pressure, Water::Distilled);
    Scene {
        points: vec![
            point(0, Role::Fit, reference::ice(Water::Distilled), 32_554.0),
            point(1, Role::Fit, thermometer(40.1), 5_310.0),
            point(2, Role::Fit, boiling, 688.0),
            point(3, Role::Check, thermometer(25.0), 10_012.0),
        ],
        calibration: calibration(),
        here: calibration().channel,
        verifications: vec![Verification {
            point: 20,
            error: -0.031,
            expanded: 0.24,
            tolerance: 0.5,
            pass: true,
            rule:
                "pass where |error| is within the tolerance less the expanded uncertainty as guard \
                   band (JCGM 106:2012, 8.3.2)"
                    .to_owned(),
        }],
        range: [
            (-10.0, 55_046.0, 0.31, true),
            (0.0, 32_554.0, 0.11, false),
            (20.0, 12_485.0, 0.17, false),
            (40.0, 5_325.0, 0.20, false),
            (60.0, 2_490.0, 0.21, false),
            (80.0, 1_258.0, 0.17, false),
            (99.0, 694.0, 0.13, false),
        ]
        .map(row)
        .to_vec(),
        budgets: vec![Budget {
            value: 40.0,
            shares: vec![
                share(
                    "ice point",
                    "distilled water, more stirring",
                    0.021,
                    Shape::Normal,
                ),
                share(
                    "reference thermometer `kitchen <b>`",
                    "a better thermometer",
                    0.091,
                    Shape::Normal,
                ),
                share("converter step", "more bits", 0.035, Shape::Rectangular),
            ],
        }],
    }
}

fn row((value, electrical, expanded, extrapolated): (f64, f64, f64, bool)) -> Row {
    Row {
        electrical,
        value,
        expanded,
        interval: (value - 0.97 * expanded, value + 0.97 * expanded),
        extrapolated,
    }
}

fn share(name: &str, remedy: &str, uncertainty: f64, shape: Shape) -> Share {
    Share {
        name: name.to_owned(),
        remedy: remedy.to_owned(),
        shape,
        uncertainty,
    }
}

fn calibration() -> Calibration {
    let numbers = [
        ("form", 1.0),
        ("r0", f64::NAN),
        ("t0", 25.0),
        ("beta", f64::NAN),
        ("a", 1.129_148e-3),
        ("b", 2.341_25e-4),
        ("c", 8.767_41e-8),
    ];
    Calibration {
        driver: "thermistor".to_owned(),
        unit: "Cel".to_owned(),
        input: "ohm".to_owned(),
        parameters: numbers
            .map(|(name, value)| (name.to_owned(), vec![value]))
            .to_vec(),
        offset: 0.0,
        slope: 0.0,
        pivot: 0.0,
        terms: vec![Term::Parameter(4), Term::Parameter(5), Term::Parameter(6)],
        decision: "three points: Steinhart-Hart".to_owned(),
        covariance: vec![
            vec![4.1e-12, -7.2e-13, 1.1e-15],
            vec![-7.2e-13, 1.3e-13, -2.0e-16],
            vec![1.1e-15, -2.0e-16, 3.4e-19],
        ],
        sources: vec![Source {
            name: "ice point".to_owned(),
            remedy: "distilled water, more stirring".to_owned(),
            shape: Shape::Normal,
            loading: vec![1e-6, -2e-7, 3e-10],
        }],
        points: vec![11, 14, 17],
        nodes: vec![32_554.0, 5_310.0, 688.0],
        residuals: [0.001, -0.002, 0.001]
            .map(|error| Residual {
                error,
                uncertainty: 0.09,
            })
            .to_vec(),
        chi_square: 0.0007,
        degrees_of_freedom: 0,
        range: (688.0, 32_554.0),
        channel: Channel {
            board: "bench".to_owned(),
            channel: "a0".to_owned(),
            resistor: Some(10_000.0),
            scale_uncertainty: 0.0058,
        },
        tolerance: Tolerance::Value(0.5),
        remarks: vec!["invented for a test: <script>alert(1)</script>".to_owned()],
        made_ms: EVENING_MS + 3_600_000,
        due_ms: Some(EVENING_MS + 365 * 86_400_000),
    }
}

#[test]
fn a_verification_that_cannot_be_decided_is_no_failure() {
    let mut scene = scene();
    for (error, outcome) in [(0.20, "pass"), (0.64, "cannot be decided"), (0.80, "fail")] {
        scene.verifications[0].error = error;
        scene.verifications[0].pass = outcome == "pass";
        let text = scene.show("mash (invented)", |it| it.text());
        let (_, verified) = text.split_once("\nVerification\n").unwrap();
        let row = verified
            .lines()
            .find(|line| line.starts_with("4 "))
            .unwrap();
        assert!(row.ends_with(outcome), "{row}");
    }
}

#[test]
fn the_text_says_all_in_eighty_columns() {
    let text = scene().show("mash (invented)", |it| it.text());
    assert!(text.lines().all(|line| line.chars().count() <= 80));
    insta::assert_snapshot!(text);
}

#[test]
fn the_page_says_all_and_asks_for_nothing() {
    let page = scene().show("mash (invented)", |it| it.html());
    for never in ["<script", "href", "src=", "url(", "@import", "<b>", "NaN"] {
        assert!(!page.contains(never), "{never}");
    }
    assert_eq!(page.matches("<svg").count(), 2);
    insta::assert_snapshot!(page);
}

#[test]
fn the_json_keeps_every_digit() {
    let json = scene().show("mash (invented)", |it| it.json());
    let read: serde_json::Value = serde_json::from_str(&json).unwrap();
    let kept: Point = serde_json::from_value(read["points"][2]["point"].clone()).unwrap();
    assert_eq!(kept, scene().points[2]);
    assert_eq!(read["accredited"], false);
    insta::assert_snapshot!(json);
}

#[test]
fn what_was_measured_elsewhere_says_that_the_resistor_counts() {
    let mut given = scene();
    given.calibration.channel = Channel::elsewhere();
    let text = given.show("mash (invented)", |it| it.text());
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "board, channel measured elsewhere divider's resistor in no point",
        "uncertainty of the resistor of board `bench`, channel `a0` is in the tables in full",
    ] {
        assert!(words.contains(part), "no `{part}` in:\n{text}");
    }
}

#[test]
fn a_certificate_without_points_or_tables_still_says_what_it_is() {
    let mut bare = scene();
    bare.points.clear();
    bare.verifications.clear();
    bare.range.clear();
    bare.budgets.clear();
    bare.calibration.residuals.clear();
    bare.calibration.covariance.clear();
    bare.calibration.remarks = vec!["\u{1b}[2J\n\u{202e}".to_owned(); 2];
    for shown in [
        bare.show("\u{0}", |it| it.text()),
        bare.show("\u{0}", |it| it.html()),
    ] {
        assert!(shown.contains("no accredited certificate"));
        assert!(!shown.contains(['\u{1b}', '\u{0}', '\u{202e}']));
    }
}
