//! Parameters that do not go together, and inputs that no probe gives.

use nightbench_driver::Status;
use nightbench_driver::host::{Binding, View};
use proptest::collection::vec;
use proptest::prelude::*;

fn view() -> View {
    View::new(&nightbench_divider::TABLE).expect("a sound table")
}

fn bind(view: &View, given: &[(&str, &[f64])]) -> Binding {
    Binding::named(view.parameters(), given).expect("declared names")
}

fn wrong(given: &[(&str, &[f64])]) -> Option<&'static str> {
    let view = view();
    view.check(&bind(&view, given)).expect("an answer")
}

#[test]
fn without_a_word_the_input_is_the_value() {
    let view = view();
    let mut value = [f64::NAN; 3];
    let answer = view.evaluate(&bind(&view, &[]), &[-2.5, 0.0, 512.0], &mut value);
    assert_eq!((answer, value), (Ok(()), [-2.5, 0.0, 512.0]));
}

#[test]
fn parameters_that_do_not_go_together_are_named() {
    assert_eq!(wrong(&[]), None);
    assert_eq!(
        wrong(&[("gain", &[0.0])]),
        Some("a `gain` of 0 gives the same value for every input")
    );
    assert_eq!(
        wrong(&[("form", &[1.0]), ("coefficients", &[1.0])]),
        Some("the form `polynomial` needs at least two `coefficients`")
    );
    assert_eq!(
        wrong(&[
            ("form", &[2.0]),
            ("table_x", &[0.0, 0.0]),
            ("table_y", &[1.0, 2.0])
        ]),
        Some("`table_x` must rise from row to row, or fall from row to row")
    );
    let beyond = wrong(&[("lowest", &[1.0]), ("highest", &[0.0])]).expect("refused");
    assert!(beyond.starts_with("`lowest` and `highest` leave no input"));
}

#[test]
fn limits_narrow_a_table_and_never_widen_it() {
    let view = view();
    let table: [(&str, &[f64]); 3] = [
        ("form", &[2.0]),
        ("table_x", &[0.2, 0.8]),
        ("table_y", &[1.0, 2.0]),
    ];
    let range = |limits: &[(&str, &[f64])]| view.range(&bind(&view, &[&table, limits].concat()));
    assert_eq!(range(&[]), Ok((0.2, 0.8)));
    assert_eq!(range(&[("lowest", &[0.3])]), Ok((0.3, 0.8)));
    assert_eq!(
        range(&[("lowest", &[0.0]), ("highest", &[1.0])]),
        Ok((0.2, 0.8))
    );
    assert_eq!(range(&[("lowest", &[0.9])]), Err(Status::PARAMETERS));
}

proptest! {
    #[test]
    fn no_input_gives_a_number_that_is_none(
        form in 0..3_u8,
        input in any::<f64>(),
        single in any::<[f64; 4]>(),
        lists in (vec(any::<f64>(), 0..6), vec(any::<f64>(), 0..6)),
    ) {
        let view = view();
        let form = [f64::from(form)];
        let one = |index: usize| std::slice::from_ref(&single[index]);
        let binding = bind(&view, &[
            ("form", &form), ("offset", one(0)), ("gain", one(1)), ("lowest", one(2)),
            ("highest", one(3)), ("coefficients", &lists.0), ("table_x", &lists.0),
            ("table_y", &lists.1),
        ]);
        let (mut value, mut slope) = ([f64::NAN], [f64::NAN]);
        let answer = view.evaluate(&binding, &[input], &mut value);
        prop_assert!(matches!(answer, Ok(()) | Err(Status::OUT_OF_RANGE)));
        prop_assert_eq!(answer.is_ok(), value[0].is_finite());
        let answer = view.slope(&binding, &[input], &mut slope);
        prop_assert_eq!(answer.is_ok(), slope[0].is_finite());
    }

    #[test]
    fn a_table_stays_between_the_values_of_its_rows(
        steps in vec((1e-3..10.0_f64, -100.0..100.0_f64), 2..20), part in 0.0..=1.0_f64,
    ) {
        let x: Vec<f64> = steps.iter().scan(0.0, |sum, step| { *sum += step.0; Some(*sum) }).collect();
        let y: Vec<f64> = steps.iter().map(|step| step.1).collect();
        let view = view();
        let binding = bind(&view, &[("form", &[2.0]), ("table_x", &x), ("table_y", &y)]);
        prop_assert_eq!(view.check(&binding), Ok(None));
        let (low, high) = view.range(&binding).expect("a range");
        let mut value = [f64::NAN];
        let input = (low + part * (high - low)).clamp(low, high);
        prop_assert_eq!(view.evaluate(&binding, &[input], &mut value), Ok(()));
        let least = y.iter().copied().fold(f64::MAX, f64::min);
        let most = y.iter().copied().fold(f64::MIN, f64::max);
        prop_assert!((least - 1e-9..=most + 1e-9).contains(&value[0]));
    }
}
