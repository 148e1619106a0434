//! Settling against published data, and against made-up probes whose truth is known.

#![allow(clippy::unwrap_used)]

mod made_up;
mod published;
mod refusals;
mod words;

use super::*;

/// One column of a comma-separated table with `#` remarks and a header, where the row's first cell
/// begins with `case`.
fn rows(table: &str, case: &str, column: usize) -> Vec<f64> {
    let rows = table.lines().filter(|line| !line.starts_with('#')).skip(1);
    rows.filter(|row| row.starts_with(case))
        .map(|row| row.split(',').nth(column).unwrap().parse().unwrap())
        .collect()
}

fn samples(times: impl IntoIterator<Item = f64>, values: &[f64]) -> Vec<Sample> {
    let pairs = times.into_iter().zip(values);
    pairs
        .map(|(at, value)| Sample { at, value: *value })
        .collect()
}

fn each(interval: f64) -> impl Iterator<Item = f64> {
    (0..).map(move |index| f64::from(index) * interval)
}

#[track_caller]
fn near(value: f64, expected: f64, relative: f64) {
    let off = (value - expected).abs();
    assert!(
        off <= relative * expected.abs(),
        "{value} is not {expected} within {relative}"
    );
}
