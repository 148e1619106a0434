//! The driver against points that somebody else published, through the table that nightbench reads.

use nightbench_driver::host::{Binding, View};

use my_driver::TABLE;

/// Input and value. Source: invented, a potentiometer of 270 degrees; write here where yours are from:
/// data sheet, table, page.
const PUBLISHED: [(f64, f64); 3] = [(0.0, 0.0), (0.5, 135.0), (1.0, 270.0)];
/// How far a value may be off: half of the last digit that is printed.
const TOLERANCE: f64 = 0.5;

#[test]
fn published_points_are_met() {
    let driver = View::new(&TABLE).expect("a sound table");
    // Parameters by their names, as in the configuration; defaults for the others.
    let given = Binding::named(driver.parameters(), &[("turn", &[270.0])]).expect("declared names");
    for (input, wanted) in PUBLISHED {
        let mut value = [f64::NAN];
        driver
            .evaluate(&given, &[input], &mut value)
            .expect("in range");
        assert!(
            (value[0] - wanted).abs() <= TOLERANCE,
            "{input}: {value:?}, not {wanted}"
        );
    }
}

#[test]
fn what_no_probe_gives_has_no_value() {
    let driver = View::new(&TABLE).expect("a sound table");
    let given = Binding::named(driver.parameters(), &[]).expect("declared names");
    for input in [f64::NAN, f64::INFINITY, -0.1, 1.1] {
        let mut value = [0.0];
        let answer = driver.evaluate(&given, &[input], &mut value);
        assert!(answer.is_err(), "{input}: {value:?}");
    }
}
