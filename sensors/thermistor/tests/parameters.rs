//! Parameters that do not go together, and inputs that no probe gives.

use nightbench_driver::Status;
use nightbench_driver::host::{Binding, View};
use proptest::prelude::*;

fn view() -> View {
    View::new(&nightbench_thermistor::TABLE).expect("a sound table")
}

fn bind(view: &View, given: &[(&str, &[f64])]) -> Binding {
    Binding::named(view.parameters(), given).expect("declared names")
}

#[test]
fn each_form_names_what_it_needs() {
    let view = view();
    let check = |given: &[(&str, &[f64])]| view.check(&bind(&view, given));
    assert_eq!(
        check(&[("r0", &[1e4])]),
        Ok(Some("the form `beta` needs `r0` and `beta`"))
    );
    assert_eq!(
        check(&[("form", &[1.0]), ("a", &[1e-3]), ("b", &[2e-4])]),
        Ok(Some("the form `steinhart-hart` needs `a`, `b` and `c`"))
    );
    assert_eq!(
        check(&[("form", &[2.0]), ("r0", &[1e4])]),
        Ok(Some(
            "the form `four-term` needs `r25`, `a1`, `b1`, `c1` and `d1`"
        ))
    );
}

#[test]
fn coefficients_in_the_wrong_places_are_refused() {
    let view = view();
    let wrong = |a: f64, b: f64, c: f64| {
        let given: &[(&str, &[f64])] = &[("form", &[1.0]), ("a", &[a]), ("b", &[b]), ("c", &[c])];
        view.check(&bind(&view, given))
            .expect("an answer")
            .unwrap_or_default()
    };
    assert_eq!(wrong(1.129e-3, 2.341e-4, 8.775e-8), "");
    assert!(wrong(1.129e-3, 8.775e-8, 2.341e-4).contains("a material constant outside"));
    assert!(wrong(1.129e-3, -2.341e-4, 8.775e-8).contains("no resistance falls steadily"));
    assert!(wrong(1.129, 2.341e-1, 8.775e-5).contains("a material constant outside"));
}

#[test]
fn beta_takes_25_degrees_where_nothing_is_said() {
    let view = view();
    let binding = bind(&view, &[("r0", &[1e4]), ("beta", &[3950.0])]);
    let mut value = [f64::NAN];
    assert_eq!(view.evaluate(&binding, &[1e4], &mut value), Ok(()));
    assert!((value[0] - 25.0).abs() < 1e-12);
}

proptest! {
    #[test]
    fn no_input_gives_a_number_that_is_none(ohm in any::<f64>(), form in 0..3_u8, wild in any::<[f64; 9]>()) {
        let view = view();
        let form = [f64::from(form)];
        let names = ["r0", "beta", "a", "b", "c", "r25", "a1", "b1", "c1"];
        let mut given: Vec<(&str, &[f64])> = vec![("form", &form)];
        given.extend(names.iter().zip(&wild).map(|(name, one)| (*name, std::slice::from_ref(one))));
        let mut values = [f64::NAN; 2];
        let answer = view.evaluate(&bind(&view, &given), &[ohm, 1e4], &mut values);
        prop_assert!(matches!(answer, Ok(()) | Err(Status::OUT_OF_RANGE)));
        prop_assert_eq!(answer.is_ok(), values.iter().all(|one| one.is_finite()));
    }

    #[test]
    fn every_input_in_the_range_has_a_value_and_a_falling_slope(
        r0 in 100.0..1e6_f64, beta in 2500.0..5000.0_f64, part in 0.0..=1.0_f64,
    ) {
        let view = view();
        let binding = bind(&view, &[("r0", &[r0]), ("beta", &[beta])]);
        let (low, high) = view.range(&binding).expect("a range");
        let ohm = (low * (high / low).powf(part)).clamp(low, high);
        let (mut value, mut slope) = ([f64::NAN], [f64::NAN]);
        prop_assert_eq!(view.evaluate(&binding, &[ohm], &mut value), Ok(()));
        prop_assert_eq!(view.slope(&binding, &[ohm], &mut slope), Ok(()));
        prop_assert!(slope[0] < 0.0 && (-100.1..=300.1).contains(&value[0]));
        // Source: the beta equation solved for R.
        let back = r0 * (beta * (1.0 / (value[0] + 273.15) - 1.0 / 298.15)).exp();
        prop_assert!((back / ohm - 1.0).abs() < 1e-9);
    }
}
