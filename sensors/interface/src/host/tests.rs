//! Tables that break the contract are refused with what is wrong; calls that break it are answered.

mod fit;
mod output;
mod pairs;
mod versions;

use super::*;
use std::mem::offset_of;

use crate::table::{Head, Slice, Status, Table, Text};
use crate::{
    Check, Driver, Electrical, Guess, Misfit, Monotonic, Output as OutputRow, Outputs,
    Parameter as Row, Slope, Values,
};

const WORDS: &[Text] = &Text::all(["square", "cube"]);

/// Powers of the input; panics on 13, and its check on a factor of 13.
struct Power;

impl Driver for Power {
    const NAME: &'static str = "power";
    const SUMMARY: &'static str = "powers of the input";
    const INPUTS: &'static [Electrical] = &[Electrical::Volt, Electrical::Ratio];
    const QUANTITY: Option<&'static str> = None;
    const UNIT: Option<&'static str> = Some("W");
    const PARAMETERS: &'static [Row] = &[
        Row::choice("form", "which power", WORDS, 1),
        Row::number("factor", "factor", "1")
            .or(2.0)
            .within(0.0, 100.0)
            .fitted(1),
        Row::list("unused", "a list", "m", 3),
    ];
    const SLOPE: Option<Slope> = None;
    /// One point: the factor of the square; more: of the cube.
    const GUESS: Option<Guess> = Some(|_, points, start| {
        let (input, value) = points.iter().next()?;
        start.set(if input == 13.0 { "unlucky" } else { "factor" }, 1.0);
        let power = if points.one().is_some() { 2 } else { 3 };
        start.set("form", f64::from(power - 2));
        start.set("factor", value / input.powi(power));
        start.clear("unused");
        Some(())
    });
    /// The distance from the first node times the free terms, nothing at the last.
    const MISFIT: Option<Misfit> = Some(|_, fit, input| {
        let (first, last) = (fit.nodes.first()?, fit.nodes.last()?);
        Some((input - first).min((input - last).abs()) * fit.free as f64)
    });

    const MONOTONIC: Monotonic = Monotonic::Rising;
    const OUTPUTS: Option<Outputs> = Some(Outputs {
        list: &[
            OutputRow::new("power", "power", "W"),
            OutputRow::new("square", "area", "m2"),
        ],
        evaluate: |values, output, input| {
            assert!(input != 13.0, "invented: unlucky");
            let inside = (0.0..=20.0).contains(&input) && output == 1;
            inside.then(|| values.number("factor") * input * input)
        },
    });

    fn range(_: Values<'_>) -> Option<(f64, f64)> {
        Some((0.0, 20.0))
    }

    fn evaluate(values: Values<'_>, input: f64) -> Option<f64> {
        assert!(input != 13.0, "invented: unlucky");
        let power = if values.choice("form") == 0 { 2 } else { 3 };
        (0.0..=20.0)
            .contains(&input)
            .then(|| values.number("factor") * input.powi(power))
    }

    fn check(values: Values<'_>) -> Check {
        assert!(values.number("factor") != 13.0, "invented: unlucky");
        let listed = values.list("unused").len();
        if listed > 1 {
            Err("`unused` is to be left alone")
        } else {
            Ok(())
        }
    }
}

static TABLE: Table = Table::of::<Power>();

fn view() -> View {
    View::new(&TABLE).expect("a sound table")
}

/// A table changed in one place, in memory that is never given up.
fn refusal(change: impl FnOnce(&mut Table)) -> Flaw {
    let table = Box::leak(Box::new(Table::of::<Power>()));
    change(table);
    View::new(table).expect_err("refused")
}

/// The same with one parameter, changed.
fn parameter_refusal(row: Row) -> Flaw {
    refusal(|table| (table.parameters, table.parameter_count) = (Box::leak(Box::new(row)), 1))
}

#[test]
fn a_sound_table_is_read_as_it_was_declared() {
    let view = view();
    assert_eq!(
        (view.name(), view.summary()),
        ("power", "powers of the input")
    );
    assert_eq!((view.quantity(), view.unit()), (None, Some("W")));
    assert_eq!(view.inputs(), [Electrical::Volt, Electrical::Ratio]);
    let kinds: Vec<_> = view
        .parameters()
        .iter()
        .map(|one| (one.name, one.kind.clone()))
        .collect();
    let number = ParameterKind::Number {
        unit: "1",
        default: Some(2.0),
        bounds: (0.0, 100.0),
    };
    assert_eq!(
        kinds,
        [
            (
                "form",
                ParameterKind::Choice {
                    words: &["square", "cube"],
                    default: 1
                }
            ),
            ("factor", number),
            ("unused", ParameterKind::List { unit: "m", most: 3 }),
        ]
    );
}

#[test]
fn heads_that_do_not_fit_are_refused() {
    // SAFETY: null is what is to be refused.
    let nothing = unsafe { View::from_raw(std::ptr::null()) };
    assert_eq!(nothing.expect_err("refused"), Flaw::NoTable);
    assert_eq!(
        refusal(|table| table.major = 2),
        Flaw::Version { major: 2, minor: 1 }
    );
    let shorter = |table: &mut Table| table.size = offset_of!(Table, guess) as u32 - 1;
    assert_eq!(refusal(shorter), Flaw::Size);
    assert_eq!(refusal(|table| table.parameter_size -= 16), Flaw::Size);
    assert_eq!(refusal(|table| table.parameter_size += 1), Flaw::Size);
}

#[test]
fn another_major_version_is_read_no_further_than_its_head() {
    let head = Box::leak(Box::new(Head {
        size: 16,
        major: 9,
        minor: 1,
        parameter_size: 0,
    }));
    // SAFETY: a head alone, as every version has; nothing behind it may be read.
    let flaw = unsafe { View::from_raw(std::ptr::from_ref(head).cast()) }.expect_err("refused");
    assert_eq!(flaw, Flaw::Version { major: 9, minor: 1 });
}

#[test]
fn texts_and_counts_and_functions_that_are_missing_are_named() {
    assert_eq!(refusal(|table| table.name = Text::NONE), Flaw::Text("name"));
    assert_eq!(
        refusal(|table| table.summary = Text::new("")),
        Flaw::Text("summary")
    );
    assert_eq!(
        refusal(|table| table.unit.length = usize::MAX),
        Flaw::Text("unit")
    );
    let junk = Text {
        data: [0xff_u8].as_slice().as_ptr().cast(),
        length: 1,
    };
    assert_eq!(
        refusal(|table| table.quantity = junk),
        Flaw::Encoding("quantity")
    );
    assert_eq!(
        refusal(|table| table.inputs = std::ptr::null()),
        Flaw::Count("inputs")
    );
    assert_eq!(
        refusal(|table| table.input_count = 0),
        Flaw::Count("inputs")
    );
    assert_eq!(
        refusal(|table| table.parameter_count = usize::MAX),
        Flaw::Count("parameters")
    );
    assert_eq!(refusal(|table| table.inputs = &77), Flaw::Input(77));
    assert_eq!(
        refusal(|table| table.evaluate = None),
        Flaw::Function("evaluate")
    );
    assert_eq!(refusal(|table| table.range = None), Flaw::Function("range"));
}

#[test]
fn parameters_that_make_no_sense_are_named() {
    let number = || Row::number("x", "a number", "1");
    let flaw = Flaw::Parameter("x");
    assert_eq!(parameter_refusal(number().within(2.0, 1.0)), flaw);
    assert_eq!(parameter_refusal(number().within(f64::NAN, 1.0)), flaw);
    assert_eq!(parameter_refusal(number().or(3.0).within(0.0, 1.0)), flaw);
    assert_eq!(
        parameter_refusal(Row {
            kind: 9,
            ..number()
        }),
        flaw
    );
    assert_eq!(
        parameter_refusal(Row::choice("x", "a choice", WORDS, 2)),
        flaw
    );
    assert_eq!(
        parameter_refusal(Row::choice("x", "a choice", &[], 0)),
        Flaw::Count("words of a choice")
    );
}

fn binding(form: f64, factor: f64, list: &[f64]) -> Binding {
    Binding::new(vec![vec![form], vec![factor], list.to_vec()])
}

#[test]
fn a_batch_gives_each_value_and_refuses_each_input_alone() {
    let (view, cube) = (view(), binding(1.0, 2.0, &[]));
    let mut values = [0.0; 3];
    assert_eq!(view.evaluate(&cube, &[1.0, 2.0, 3.0], &mut values), Ok(()));
    assert_eq!(values, [2.0, 16.0, 54.0]);
    assert_eq!(
        view.evaluate(&cube, &[1.0, 21.0, 3.0], &mut values),
        Err(Status::OUT_OF_RANGE)
    );
    assert_eq!((values[0], values[2]), (2.0, 54.0));
    assert!(values[1].is_nan());
    assert_eq!(view.evaluate(&cube, &[], &mut []), Ok(()));
}

#[test]
fn a_panic_stops_at_the_border() {
    let view = view();
    let mut value = [0.0];
    assert_eq!(
        view.evaluate(&binding(0.0, 1.0, &[]), &[13.0], &mut value),
        Err(Status::PANICKED)
    );
    assert_eq!(view.check(&binding(0.0, 13.0, &[])), Err(Status::PANICKED));
    assert_eq!(view.check(&binding(0.0, 1.0, &[])), Ok(None));
}

#[test]
fn the_drivers_own_words_come_through() {
    let wrong = view().check(&binding(0.0, 1.0, &[1.0, 2.0]));
    assert_eq!(wrong, Ok(Some("`unused` is to be left alone")));
}

#[test]
fn calls_that_do_not_fit_the_table_are_answered_and_not_made() {
    let (view, short) = (view(), Binding::new(vec![vec![1.0]]));
    let mut value = [0.0];
    assert_eq!(
        view.evaluate(&short, &[1.0], &mut value),
        Err(Status::WRONG_CALL)
    );
    assert_eq!(view.range(&short), Err(Status::WRONG_CALL));
    assert_eq!(view.check(&short), Err(Status::WRONG_CALL));
    let fitting = binding(0.0, 1.0, &[]);
    assert_eq!(
        view.evaluate(&fitting, &[1.0, 2.0], &mut value),
        Err(Status::WRONG_CALL)
    );
    assert_eq!(
        view.slope(&fitting, &[1.0], &mut value),
        Err(Status::WRONG_CALL)
    );
}

#[test]
fn a_host_that_hands_over_nothing_is_told() {
    let (evaluate, range) = (TABLE.evaluate.expect("there"), TABLE.range.expect("there"));
    let (no_slices, mut value) = (std::ptr::null::<Slice>(), 0.0);
    // SAFETY: null pointers and wrong counts are what is to be refused before any use.
    let codes = unsafe {
        [
            evaluate(no_slices, 3, &1.0, &mut value, 1),
            evaluate(no_slices, 0, &1.0, &mut value, 1),
            evaluate(no_slices, 3, std::ptr::null(), &mut value, 1),
            range(no_slices, 3, std::ptr::null_mut(), &mut value),
        ]
    };
    assert_eq!(codes, [Status::WRONG_CALL.code(); 4]);
}
