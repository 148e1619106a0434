//! What a fit asks of a driver, through the table.

use super::*;

#[test]
fn a_start_sets_what_it_names_and_leaves_the_rest() {
    let (view, present) = (view(), binding(0.0, 1.0, &[7.0, 8.0]));
    let start = view.guess(&present, &[2.0], &[20.0]);
    assert_eq!(start, Ok(vec![vec![0.0], vec![5.0], vec![7.0, 8.0]]));
    let two = view.guess(&present, &[2.0, 3.0], &[20.0, 40.0]);
    assert_eq!(two, Ok(vec![vec![1.0], vec![2.5], vec![7.0, 8.0]]));
}

#[test]
fn a_start_that_cannot_be_made_is_said() {
    let (view, present) = (view(), binding(0.0, 1.0, &[]));
    let none: [f64; 0] = [];
    assert_eq!(
        view.guess(&present, &none, &none),
        Err(Status::OUT_OF_RANGE)
    );
    assert_eq!(view.guess(&present, &[1.0], &none), Err(Status::WRONG_CALL));
    assert_eq!(
        view.guess(&present, &[13.0], &[1.0]),
        Err(Status::PANICKED),
        "a name that is not declared"
    );
    let short = Binding::new(vec![vec![1.0]]);
    assert_eq!(view.guess(&short, &[1.0], &[1.0]), Err(Status::WRONG_CALL));
}

#[test]
fn a_misfit_comes_for_each_input() {
    let (view, present) = (view(), binding(0.0, 1.0, &[]));
    let mut misfits = [0.0; 3];
    let ask = |misfits: &mut [f64], nodes: &[f64]| {
        view.misfit(&present, (nodes, 2), &[1.0, 4.0, 9.0], misfits)
    };
    assert_eq!(ask(&mut misfits, &[1.0, 8.0]), Ok(()));
    assert_eq!(misfits, [0.0, 6.0, 2.0]);
    assert_eq!(ask(&mut misfits, &[]), Err(Status::OUT_OF_RANGE));
    assert!(misfits.iter().all(|one| one.is_nan()));
    assert_eq!(ask(&mut misfits[..2], &[1.0]), Err(Status::WRONG_CALL));
}

#[test]
fn changed_parameters_give_what_a_binding_with_them_gives() {
    let (view, square) = (view(), binding(0.0, 2.0, &[]));
    let inputs = [0.5, 2.0, 21.0];
    let (mut changed, mut bound) = ([0.0; 3], [0.0; 3]);
    let answers = [
        view.evaluate_with(&square, &[(0, 1.0), (1, 3.0)], &inputs, &mut changed),
        view.evaluate(&binding(1.0, 3.0, &[]), &inputs, &mut bound),
    ];
    assert_eq!(answers, [Err(Status::OUT_OF_RANGE); 2]);
    assert_eq!(changed.map(f64::to_bits), bound.map(f64::to_bits));
    let nowhere = view.evaluate_with(&square, &[(3, 1.0)], &inputs, &mut changed);
    assert_eq!(nowhere, Err(Status::WRONG_CALL));
    let no_formula = view.slope_with(&square, &[], &inputs, &mut changed);
    assert_eq!(no_formula, Err(Status::WRONG_CALL));
}

#[test]
fn only_numbers_are_fitted() {
    assert_eq!(view().parameters()[1].fitted, 1);
    let list = Row {
        fitted: 1,
        ..Row::list("x", "a list", "1", 3)
    };
    assert_eq!(parameter_refusal(list), Flaw::Parameter("x"));
    let endless = Row {
        fitted: u64::MAX,
        ..Row::number("x", "a number", "1")
    };
    assert_eq!(parameter_refusal(endless), Flaw::Parameter("x"));
}
