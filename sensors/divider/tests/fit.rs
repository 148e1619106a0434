//! Where fits start.

use nightbench_driver::Status;
use nightbench_driver::host::{Binding, View};

fn view() -> View {
    View::new(&nightbench_divider::TABLE).expect("a sound table")
}

/// Offset and gain of the start.
fn guess(given: &[(&str, &[f64])], inputs: &[f64], values: &[f64]) -> Result<[f64; 2], Status> {
    let view = view();
    let present = Binding::named(view.parameters(), given).expect("declared names");
    let start = view.guess(&present, inputs, values)?;
    Ok([start[1][0], start[2][0]])
}

#[test]
fn one_point_solves_the_offset_two_the_gain_too() {
    let given: &[(&str, &[f64])] = &[("gain", &[100.0])];
    assert_eq!(guess(given, &[0.5], &[60.0]), Ok([10.0, 100.0]));
    assert_eq!(
        guess(given, &[0.25, 0.75], &[0.0, 100.0]),
        Ok([-50.0, 200.0])
    );
    // Worked by hand: the least-squares line of 0, 1, 5 at 0, 1, 2 is -0.5 + 2.5 x.
    assert_eq!(
        guess(given, &[0.0, 1.0, 2.0], &[0.0, 1.0, 5.0]),
        Ok([-0.5, 2.5])
    );
}

#[test]
fn what_is_given_as_a_whole_is_not_fitted() {
    let polynomial: &[(&str, &[f64])] = &[("form", &[1.0]), ("coefficients", &[1.0, 2.0])];
    assert_eq!(guess(polynomial, &[1.0, 2.0], &[5.0, 9.0]), Ok([0.0, 1.0]));
    let view = view();
    assert!(!view.has_misfit());
    let fitted = view.parameters().iter().filter(|one| one.fitted > 0);
    let names: Vec<_> = fitted.map(|one| one.name).collect();
    assert_eq!(names, ["offset", "gain"]);
}

#[test]
fn points_that_give_no_start_are_refused() {
    for (inputs, values) in [
        (&[][..], &[][..]),
        (&[1.0, 1.0], &[2.0, 3.0]),
        (&[1.0, 2.0], &[3.0, 3.0]),
        (&[f64::NAN], &[3.0]),
        (&[f64::MAX, f64::MAX], &[1.0, 2.0]),
    ] {
        assert_eq!(guess(&[], inputs, values), Err(Status::OUT_OF_RANGE));
    }
}
