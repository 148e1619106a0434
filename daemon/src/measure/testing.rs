//! What the tests of these steps share: published tables, a comparison, noise. The data stand in
//! `tests/published`, each file with its source. Nothing here is compiled into the program.

/// One column of a comma-separated table with `#` remarks and a header.
pub(crate) fn column<'a>(table: &'a str, name: &str) -> Vec<&'a str> {
    let mut rows = table.lines().filter(|line| !line.starts_with('#'));
    let header = rows.next().expect("a header");
    let place = header.split(',').position(|cell| cell == name);
    let place = place.expect("a column of that name");
    rows.map(|row| row.split(',').nth(place).expect("a whole row"))
        .collect()
}

/// The same as numbers.
pub(crate) fn numbers(table: &str, name: &str) -> Vec<f64> {
    let parse = |cell: &str| cell.parse().expect("a number");
    column(table, name).into_iter().map(parse).collect()
}

/// Fails where `value` is off by more than this share of `expected`.
pub(crate) fn near(value: f64, expected: f64, relative: f64) {
    let off = (value - expected).abs();
    assert!(
        off <= relative * expected.abs(),
        "{value} is not {expected} within {relative}"
    );
}

/// A standard normal number by the Box-Muller transform (1958).
pub(crate) fn gaussian(random: &mut fastrand::Rng) -> f64 {
    let radius = (-2.0 * (1.0 - random.f64()).ln()).sqrt();
    radius * (std::f64::consts::TAU * random.f64()).cos()
}
