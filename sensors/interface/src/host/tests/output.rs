//! What a driver gives beside its own value, through the table.

use super::*;

#[test]
fn an_output_is_asked_by_its_place_and_the_first_is_the_value() {
    let (view, cube) = (view(), binding(1.0, 2.0, &[]));
    let named: Vec<_> = view.outputs().iter().map(|one| one.name).collect();
    assert_eq!(named, ["power", "square"]);
    let ask = |output: usize, changes: &[(usize, f64)]| {
        let mut values = [0.0; 2];
        let answer = view.evaluate_output((&cube, changes), output, &[1.0, 3.0], &mut values);
        answer.map(|()| values)
    };
    assert_eq!(ask(0, &[]), Ok([2.0, 54.0]));
    assert_eq!(ask(1, &[]), Ok([2.0, 18.0]));
    assert_eq!(ask(1, &[(1, 3.0)]), Ok([3.0, 27.0]));
    assert_eq!(ask(1, &[(9, 3.0)]), Err(Status::WRONG_CALL));
    assert_eq!(ask(2, &[]), Err(Status::WRONG_CALL));
}

#[test]
fn an_output_out_of_range_or_in_panic_is_told_as_the_value_is() {
    let (view, cube) = (view(), binding(1.0, 2.0, &[]));
    let ask = |input: f64| view.evaluate_output((&cube, &[]), 1, &[input], &mut [0.0]);
    assert_eq!(ask(21.0), Err(Status::OUT_OF_RANGE));
    assert_eq!(ask(13.0), Err(Status::PANICKED));
    let none = view.evaluate_output((&cube, &[]), 1, &[1.0], &mut []);
    assert_eq!(none, Err(Status::WRONG_CALL));
}

#[test]
fn outputs_that_cannot_be_asked_are_refused() {
    assert_eq!(
        refusal(|table| table.evaluate_output = None),
        Flaw::Function("evaluate_output")
    );
    assert_eq!(
        refusal(|table| table.output_count = 1_000_000),
        Flaw::Count("outputs")
    );
    assert_eq!(
        refusal(|table| table.outputs = std::ptr::null()),
        Flaw::Count("outputs")
    );
    assert_eq!(refusal(|table| table.monotonic = 3), Flaw::Monotonic(3));
}
