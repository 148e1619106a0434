//! A fixed table of inputs and values, with straight lines between its rows.
//!
//! In C a table of pairs can stand in the place of `evaluate`; in Rust a driver calls [`interpolate`].
//! What a user gives as a table is a parameter instead, and not meant here.

/// A row of a fixed table.
#[derive(Clone, Copy, Debug, PartialEq)]
#[repr(C)]
pub struct Pair {
    /// The input; inputs rise from row to row, or fall.
    pub input: f64,
    /// The value there.
    pub value: f64,
}

impl Pair {
    /// A row.
    #[must_use]
    pub const fn new(input: f64, value: f64) -> Self {
        Self { input, value }
    }
}

/// The value on the line between the rows around an input, those of the rows exactly; `None` outside
/// the rows.
///
/// ```
/// use nightbench_driver::pairs::{Pair, interpolate};
/// const PAIRS: &[Pair] = &[Pair::new(0.0, 10.0), Pair::new(1.0, 30.0)];
/// assert_eq!(interpolate(PAIRS, 0.25), Some(15.0));
/// assert_eq!(interpolate(PAIRS, 1.5), None);
/// ```
#[must_use]
pub fn interpolate(pairs: &[Pair], input: f64) -> Option<f64> {
    let (before, after) = segment(pairs, input)?;
    if input == after.input {
        return Some(after.value);
    }
    let part = (input - before.input) / (after.input - before.input);
    Some(before.value + (after.value - before.value) * part)
}

/// Slope of the line around an input, value over input; at a row, that of the line before it.
#[must_use]
pub fn slope(pairs: &[Pair], input: f64) -> Option<f64> {
    let (before, after) = segment(pairs, input)?;
    Some((after.value - before.value) / (after.input - before.input))
}

/// Lowest and highest input; `None` where there are no two rows.
#[must_use]
pub fn range(pairs: &[Pair]) -> Option<(f64, f64)> {
    let (first, last) = (pairs.first()?.input, pairs.last()?.input);
    (first != last).then_some((first.min(last), first.max(last)))
}

/// Whether all numbers are finite, and inputs rise from row to row, or fall.
pub(crate) fn is_sound(pairs: &[Pair]) -> bool {
    let finite = |one: &Pair| one.input.is_finite() && one.value.is_finite();
    let inputs = || pairs.iter().map(|one| one.input);
    let rising = inputs().is_sorted_by(|one, next| one < next);
    pairs.len() > 1
        && pairs.iter().all(finite)
        && (rising || inputs().is_sorted_by(|one, next| one > next))
}

fn segment(pairs: &[Pair], input: f64) -> Option<(Pair, Pair)> {
    let (low, high) = range(pairs)?;
    // False for NaN.
    if !(low..=high).contains(&input) {
        return None;
    }
    let is_rising = pairs.first()?.input < pairs.last()?.input;
    let is_before = |one: &Pair| match is_rising {
        true => one.input < input,
        false => one.input > input,
    };
    let after = pairs.partition_point(is_before).max(1);
    Some((*pairs.get(after - 1)?, *pairs.get(after)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RISING: [Pair; 3] = [
        Pair::new(1.0, 10.0),
        Pair::new(2.0, 30.0),
        Pair::new(4.0, 10.1),
    ];

    #[test]
    fn rows_are_met_exactly_and_lines_run_between_them_whichever_way_they_are_written() {
        let mut falling = RISING;
        falling.reverse();
        for pairs in [RISING, falling] {
            for row in RISING {
                assert_eq!(interpolate(&pairs, row.input), Some(row.value));
            }
            assert_eq!(interpolate(&pairs, 1.5), Some(20.0));
            assert_eq!(slope(&pairs, 1.5), Some(20.0));
            assert_eq!(range(&pairs), Some((1.0, 4.0)));
        }
    }

    #[test]
    fn there_is_nothing_beyond_the_rows() {
        for input in [0.9, 4.1, f64::NAN, f64::INFINITY] {
            assert_eq!(interpolate(&RISING, input), None, "{input}");
            assert_eq!(slope(&RISING, input), None, "{input}");
        }
        assert_eq!(interpolate(&RISING[..1], 1.0), None);
    }

    #[test]
    fn rows_that_turn_or_are_no_numbers_are_not_sound() {
        assert!(is_sound(&RISING) && !is_sound(&RISING[..1]) && !is_sound(&[]));
        let with = |pair: Pair| is_sound(&[RISING[0], RISING[1], pair]);
        assert!(!with(Pair::new(2.0, 1.0)) && !with(Pair::new(1.5, 1.0)));
        assert!(!with(Pair::new(f64::NAN, 1.0)) && !with(Pair::new(3.0, f64::INFINITY)));
    }
}
