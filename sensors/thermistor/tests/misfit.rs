//! What the driver says of its own error, against what it is on four published tables.
//!
//! The fits go exactly through rows of a table; what is left at the other rows is the model's error.

mod tables;

use nightbench_driver::Status;
use nightbench_driver::host::Binding;
use tables::{Part, bind, guess, parts, temperature, view};

/// Coverage factor of an expanded uncertainty (JCGM 100:2008, 6.2.1).
const K: f64 = 2.0;
/// Extrapolation is stated this far.
const COLD: f64 = -20.0;
const HOT: f64 = 100.0;

/// The label: resistance at 25 Cel and beta.
fn label(part: &Part) -> Binding {
    bind(&[("r0", part.ohm(25.0)), ("beta", part.beta)])
}

/// A maker's curve: Steinhart and Hart's equation over the whole table.
fn makers_curve(part: &Part) -> Binding {
    guess(&label(part), &part.between(COLD, HOT))
}

struct Fitted {
    binding: Binding,
    nodes: Vec<f64>,
}

impl Fitted {
    fn new(present: &Binding, part: &Part, celsius: &[f64]) -> Self {
        let points = part.points(celsius);
        Self {
            binding: guess(present, &points),
            nodes: points.iter().map(|point| point.0).collect(),
        }
    }

    fn error(&self, (ohm, celsius): (f64, f64)) -> f64 {
        temperature(&self.binding, ohm) - celsius
    }

    /// Expanded.
    fn stated(&self, ohm: f64) -> f64 {
        K * misfit(&self.binding, &self.nodes, self.nodes.len(), ohm).expect("stated")
    }
}

fn misfit(binding: &Binding, nodes: &[f64], free: usize, ohm: f64) -> Result<f64, Status> {
    let mut misfit = [f64::NAN];
    let answer = view().misfit(binding, (nodes, free), &[ohm], &mut misfit);
    answer.map(|()| misfit[0])
}

type Present = fn(&Part) -> Binding;

/// What is known before, and the temperatures of the points.
const FITS: &[(&str, Present, &[&[f64]])] = &[
    (
        "one point on a label",
        label,
        &[&[0.0], &[25.0], &[40.0], &[100.0]],
    ),
    (
        "one point on a maker's curve",
        makers_curve,
        &[&[0.0], &[25.0], &[40.0]],
    ),
    (
        "two points, beta",
        label,
        &[
            &[0.0, 40.0],
            &[0.0, 100.0],
            &[20.0, 40.0],
            &[25.0, 50.0],
            &[0.0, 50.0],
            &[10.0, 70.0],
        ],
    ),
    (
        "two points on a maker's curve",
        makers_curve,
        &[
            &[0.0, 40.0],
            &[0.0, 100.0],
            &[20.0, 40.0],
            &[25.0, 50.0],
            &[0.0, 50.0],
            &[10.0, 70.0],
        ],
    ),
    (
        "three points",
        label,
        &[
            &[0.0, 25.0, 50.0],
            &[0.0, 20.0, 40.0],
            &[0.0, 30.0, 70.0],
            &[0.0, 40.0, 100.0],
            &[0.0, 20.0, 60.0],
            &[20.0, 50.0, 80.0],
        ],
    ),
];

/// Source of the errors: the tables under `published/`. A row is worth no more than its last digit.
#[test]
fn twice_the_misfit_covers_every_row_of_every_table() {
    let mut seen = 0;
    for part in parts() {
        for (name, present, sets) in FITS {
            for celsius in *sets {
                let fitted = Fitted::new(&present(&part), &part, celsius);
                for row in part.between(COLD, HOT) {
                    let (error, stated) = (fitted.error(row), fitted.stated(row.0));
                    assert!(
                        error.abs() <= stated + part.digit,
                        "{}, {name} {celsius:?}: {error} K at {}, stated {stated}",
                        part.name,
                        row.1
                    );
                    seen += 1;
                }
            }
        }
    }
    assert!(seen > 4000, "{seen}");
}

/// Not wastefully large: over all tables and rows of a kind of fit the error is a fair share of what
/// is stated, as of a standard deviation.
#[test]
fn over_the_parts_the_error_is_a_fair_share_of_the_misfit() {
    for (name, present, sets) in FITS {
        let mut squares = Vec::new();
        for part in parts() {
            for celsius in *sets {
                let fitted = Fitted::new(&present(&part), &part, celsius);
                let (low, high) = (celsius[0] - 1.0, celsius[celsius.len() - 1] + 1.0);
                let ratio = |row: (f64, f64)| fitted.error(row) * K / fitted.stated(row.0);
                let away = |row: &(f64, f64)| fitted.stated(row.0) > part.digit;
                let rows = part
                    .between(low.min(10.0), high.max(60.0))
                    .into_iter()
                    .filter(away);
                let each: Vec<f64> = rows.map(|row| ratio(row).powi(2)).collect();
                // Each part and set counts alike, however many rows its table has.
                squares.push(each.iter().sum::<f64>() / each.len() as f64);
            }
        }
        let rms = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
        assert!((0.25..1.2).contains(&rms), "{name}: {rms}");
    }
}

/// Source: `ntc_expected.toml`: 0.4395 K off at -19 Cel when fitted at 0, 25, 50.
#[test]
fn the_sheet_that_no_three_points_follow_is_covered() {
    let part = &parts()[0];
    let fitted = Fitted::new(&label(part), part, &[0.0, 25.0, 50.0]);
    let row = (part.ohm(-19.0), -19.0);
    assert!((fitted.error(row).abs() - 0.4395).abs() < 5e-4);
    let stated = fitted.stated(row.0);
    assert!((0.4395..1.5).contains(&stated), "{stated}");
    assert!(fitted.stated(part.ohm(10.0)) < 0.1);
}

#[test]
fn the_misfit_vanishes_at_the_points_and_grows_beyond_them() {
    let part = &parts()[2];
    for celsius in [&[0.0, 40.0][..], &[0.0, 25.0, 50.0]] {
        let fitted = Fitted::new(&label(part), part, celsius);
        for node in &fitted.nodes {
            assert!(fitted.stated(*node) < 1e-9);
        }
        let beyond = [60.0, 70.0, 80.0, 100.0].map(|one| fitted.stated(part.ohm(one)));
        assert!(beyond.is_sorted() && beyond[0] > 0.05, "{beyond:?}");
    }
}

#[test]
fn more_points_than_terms_are_taken_into_account() {
    let part = &parts()[2];
    let fitted = guess(&label(part), &part.points(&[0.0, 10.0, 25.0, 40.0, 50.0]));
    let nodes = [0.0, 10.0, 25.0, 40.0, 50.0].map(|one| part.ohm(one));
    let at = |celsius| misfit(&fitted, &nodes, 3, part.ohm(celsius)).expect("stated");
    assert!(at(20.0) > 0.0 && at(20.0) < 0.05, "{}", at(20.0));
    assert!(at(100.0) > 0.3, "{}", at(100.0));
    for celsius in [-20.0, 5.0, 30.0, 45.0, 70.0, 100.0] {
        let row = (part.ohm(celsius), celsius);
        assert!((temperature(&fitted, row.0) - celsius).abs() <= K * at(celsius));
    }
}

#[test]
fn without_points_or_terms_nothing_is_stated() {
    let part = &parts()[2];
    let label = label(part);
    for (nodes, free) in [
        (&[][..], 1),
        (&[1e4][..], 0),
        (&[1e4][..], 2),
        (&[1e4, 1e4][..], 2),
    ] {
        assert_eq!(misfit(&label, nodes, free, 5e3), Err(Status::OUT_OF_RANGE));
    }
    assert_eq!(misfit(&label, &[1e4], 1, -1.0), Err(Status::OUT_OF_RANGE));
    assert_eq!(misfit(&label, &[-1.0], 1, 1e4), Err(Status::OUT_OF_RANGE));
}

/// The README's table; paste what the test prints where it fails.
#[test]
fn the_readme_shows_the_errors_as_they_are() {
    let shown: [(&str, Present, &[f64]); 5] = [
        ("label, one point at 25", label, &[25.0]),
        ("maker's curve, one point at 25", makers_curve, &[25.0]),
        ("beta, two points at 0, 40", label, &[0.0, 40.0]),
        (
            "maker's curve, two points at 0, 40",
            makers_curve,
            &[0.0, 40.0],
        ),
        ("three points at 0, 25, 50", label, &[0.0, 25.0, 50.0]),
    ];
    let mut table = String::new();
    for (name, present, celsius) in shown {
        for part in parts() {
            let fitted = Fitted::new(&present(&part), &part, celsius);
            let cell = |celsius: f64| {
                let ohm = part.ohm(celsius);
                let error = fitted.error((ohm, celsius)).abs();
                format!(" {error:.2} / {:.2} |", fitted.stated(ohm))
            };
            let cells: String = [COLD, 10.0, 60.0, HOT].map(cell).concat();
            table.push_str(&format!("| {name} | {} |{cells}\n", part.name));
        }
    }
    assert!(include_str!("../README.md").contains(&table), "{table}");
}
