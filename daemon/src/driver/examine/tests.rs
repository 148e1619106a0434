//! Every promise is broken once, by a driver made for it; the shipped drivers break none.

#![allow(clippy::unwrap_used)]
use super::*;
use crate::driver::Driver;
use insta::assert_snapshot;
use nightbench_driver::{
    Driver as Maker, Electrical, Guess, Misfit, Monotonic, Output, Outputs, Parameter, Slope,
    Table, Values,
};
use std::marker::PhantomData;
use std::sync::atomic::{AtomicU32, Ordering};

/// What a driver does otherwise than `value = 2 x` for x from 0 to 1.
trait Quirk: 'static {
    const SLOPE: Option<Slope> = None;
    const GUESS: Option<Guess> = None;
    const MISFIT: Option<Misfit> = None;
    const MONOTONIC: Monotonic = Monotonic::Unknown;
    const OUTPUTS: Option<Outputs> = None;

    fn value(x: f64) -> Option<f64> {
        (0.0..=1.0).contains(&x).then_some(2.0 * x)
    }
}

struct With<Q>(PhantomData<Q>);

impl<Q: Quirk> Maker for With<Q> {
    const NAME: &'static str = "quirky";
    const SUMMARY: &'static str = "twice the ratio";
    const INPUTS: &'static [Electrical] = &[Electrical::Ratio];
    const QUANTITY: Option<&'static str> = None;
    const UNIT: Option<&'static str> = None;
    const PARAMETERS: &'static [Parameter] =
        &[Parameter::number("gain", "not used", "1").or(2.0).fitted(1)];
    const SLOPE: Option<Slope> = Q::SLOPE;
    const GUESS: Option<Guess> = Q::GUESS;
    const MISFIT: Option<Misfit> = Q::MISFIT;
    const MONOTONIC: Monotonic = Q::MONOTONIC;
    const OUTPUTS: Option<Outputs> = Q::OUTPUTS;

    fn range(_: Values<'_>) -> Option<(f64, f64)> {
        Some((0.0, 1.0))
    }

    fn evaluate(_: Values<'_>, x: f64) -> Option<f64> {
        Q::value(x)
    }
}

fn examined<Q: Quirk>() -> Examination {
    let table: &'static Table = Box::leak(Box::new(Table::of::<With<Q>>()));
    examine(&Driver::new(table).unwrap().bind(vec![vec![]]).unwrap())
}

/// What is not fine, one a line.
fn told<Q: Quirk>() -> String {
    let findings = examined::<Q>().findings.into_iter();
    let odd = findings.filter(|one| one.verdict != Verdict::Fine);
    let lines: Vec<String> = odd
        .map(|one| format!("{}: {}", one.what, one.text))
        .collect();
    lines.join("\n")
}

#[test]
fn the_shipped_drivers_keep_what_they_promise() {
    type Given = &'static [(&'static str, &'static [f64])];
    let given: [(&str, Given); 5] = [
        ("thermistor", &[("r0", &[1e4]), ("beta", &[3950.0])]),
        ("photoresistor", &[("r10", &[5e4]), ("gamma", &[0.7])]),
        (
            "divider",
            &[("gain", &[2.0]), ("lowest", &[0.0]), ("highest", &[1.0])],
        ),
        ("divider", &[("gain", &[-3.0])]),
        (
            "divider",
            &[
                ("form", &[2.0]),
                ("table_x", &[0.1, 0.4, 0.9]),
                ("table_y", &[1.0, 7.0, 9.0]),
            ],
        ),
    ];
    for (name, given) in given {
        let driver = crate::driver::find(name).unwrap();
        let one = |parameter: &crate::driver::Parameter| {
            let found = given.iter().find(|(name, _)| *name == parameter.name);
            found.map_or_else(Vec::new, |(_, values)| values.to_vec())
        };
        let values = driver.parameters().iter().map(one).collect();
        let examination = examine(&driver.bind(values).unwrap());
        assert_eq!(
            examination.wrong(),
            0,
            "{name} {given:?}: {:?}",
            examination.findings
        );
        // With the values, and without the outputs: each gives one only.
        assert_eq!(examination.findings.len(), CHECKS.len());
    }
}

#[test]
fn a_plain_driver_has_nothing_to_be_told() {
    struct Plain;
    impl Quirk for Plain {}
    assert_eq!(told::<Plain>(), "");
    assert_eq!(examined::<Plain>().direction, Some(Direction::Rising));
}

#[test]
fn a_hole_in_the_range_is_found_with_its_input() {
    struct Hole;
    impl Quirk for Hole {
        fn value(x: f64) -> Option<f64> {
            (!(0.4..0.5).contains(&x)).then_some(x)
        }
    }
    assert_snapshot!(told::<Hole>(), @"values: 0.4, which is in its range, gives no value (outside the driver's range)");
    struct NoNumber;
    impl Quirk for NoNumber {
        fn value(x: f64) -> Option<f64> {
            Some((0.5 - x).sqrt())
        }
    }
    assert_snapshot!(told::<NoNumber>(), @"values: 0.501 gives NaN; give a number for every input in the range");
}

#[test]
fn a_memory_between_inputs_is_found() {
    static CALLS: AtomicU32 = AtomicU32::new(0);
    struct Counting;
    impl Quirk for Counting {
        fn value(x: f64) -> Option<f64> {
            let calls = CALLS.fetch_add(1, Ordering::Relaxed);
            (0.0..=1.0)
                .contains(&x)
                .then(|| x + f64::from(calls) * 1e-12)
        }
    }
    let found: Vec<_> = examined::<Counting>().findings;
    let wrong = found.iter().filter(|one| one.verdict == Verdict::Wrong);
    let wrong: Vec<&str> = wrong.map(|one| one.what).collect();
    assert_eq!(wrong, ["batches", "repeats", "odd sizes"]);
}

#[test]
fn a_curve_that_turns_or_stands_is_told() {
    struct Turning;
    impl Quirk for Turning {
        fn value(x: f64) -> Option<f64> {
            (0.0..=1.0).contains(&x).then_some((x - 0.3) * (x - 0.3))
        }
    }
    assert_snapshot!(told::<Turning>(), @"
    direction: values turn at 0.301: several inputs give one value, and what asks for the way back (simulation, checks, calibration) gets one of them
    way back: not looked at, as values do not go one way only
    ");
    struct Standing;
    impl Quirk for Standing {
        fn value(x: f64) -> Option<f64> {
            (0.0..=1.0).contains(&x).then_some(7.0)
        }
    }
    assert_snapshot!(told::<Standing>(), @"
    direction: every input gives the same value
    way back: not looked at, as values do not go one way only
    ");
}

#[test]
fn a_wrong_formula_of_the_slope_is_told_with_both_numbers() {
    struct Steep;
    impl Quirk for Steep {
        const SLOPE: Option<Slope> = Some(|_, x| Some(2.0 + x));
    }
    assert_snapshot!(told::<Steep>(), @"slope: at 0.00222844 the formula says 2.00223, the values 2; correct the formula, or leave it out");
}

#[test]
fn a_dip_between_the_looks_of_the_binding_breaks_a_promised_direction() {
    struct Dipping;
    impl Quirk for Dipping {
        const MONOTONIC: Monotonic = Monotonic::Rising;
        fn value(x: f64) -> Option<f64> {
            let dip = if (0.5001..0.5021).contains(&x) {
                0.1
            } else {
                0.0
            };
            (0.0..=1.0).contains(&x).then_some(2.0 * x - dip)
        }
    }
    let told = told::<Dipping>();
    let first = told.lines().next().unwrap_or_default();
    assert_snapshot!(first, @"direction: the driver says that its values rise with the input, but with these parameters they fall between 0.5 and 0.501, from 1 to 0.902; correct the parameters, or tell its maker");
}

#[test]
fn an_output_that_is_no_number_somewhere_in_the_range_is_told() {
    struct Hollow;
    impl Quirk for Hollow {
        const OUTPUTS: Option<Outputs> = Some(Outputs {
            list: &[
                Output::new("twice", "x", "1"),
                Output::new("root", "y", "1"),
            ],
            evaluate: |_, _, x| (0.0..=1.0).contains(&x).then(|| (x - 0.5).sqrt()),
        });
    }
    assert_snapshot!(told::<Hollow>(), @"outputs: `root` gives NaN for 0; give a number for every input in the range");
}

#[test]
fn a_jump_breaks_no_promise() {
    struct Jump;
    impl Quirk for Jump {
        fn value(x: f64) -> Option<f64> {
            let step = if x > 0.5 { 1.0 } else { 0.0 };
            (0.0..=1.0).contains(&x).then_some(x + step)
        }
    }
    assert_eq!(told::<Jump>(), "", "each value that there is leads back");
}

#[test]
fn inputs_that_no_probe_gives_must_not_surprise_it() {
    struct Panicking;
    impl Quirk for Panicking {
        fn value(x: f64) -> Option<f64> {
            assert!(!x.is_nan(), "no number");
            (0.0..=1.0).contains(&x).then_some(x)
        }
    }
    assert_snapshot!(told::<Panicking>(), @"odd inputs: NaN: the driver panicked; say that it is out of range, and write NaN");
    struct Believing;
    impl Quirk for Believing {
        fn value(x: f64) -> Option<f64> {
            Some(x)
        }
    }
    assert_snapshot!(told::<Believing>(), @"odd inputs: NaN gives NaN and `done`; say that it is out of range");
    struct Generous;
    impl Quirk for Generous {
        fn value(x: f64) -> Option<f64> {
            x.is_finite().then_some(x)
        }
    }
    assert_snapshot!(told::<Generous>(), @"odd inputs: 2 has a value though it is outside the range; the host never asks there");
}

#[test]
fn what_a_fit_asks_is_looked_at_too() {
    struct Hasty;
    impl Quirk for Hasty {
        const GUESS: Option<Guess> = Some(|_, points, start| {
            start.set("gain", points.iter().next().expect("a point").0);
            Some(())
        });
        const MISFIT: Option<Misfit> = Some(|_, fit, x| Some(x - fit.nodes.iter().sum::<f64>()));
    }
    assert_snapshot!(told::<Hasty>(), @"
    guess: no points: the driver panicked; say that they give no start
    misfit: at 0 it says -1.5 (done); a standard uncertainty is 0 or more
    ");
}
