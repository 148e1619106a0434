//! Straight lines between the rows of a table. Outside the table there is no value: the last line
//! is never prolonged.

use nightbench_driver::Check;

/// Whether both columns go together.
pub(crate) fn check(x: &[f64], y: &[f64]) -> Check {
    if x.len() < 2 || x.len() != y.len() {
        return Err(
            "the form `table` needs `table_x` and `table_y` of one length, at least two rows",
        );
    }
    let rising = x.is_sorted_by(|a, b| a < b);
    let falling = x.is_sorted_by(|a, b| a > b);
    if rising || falling {
        Ok(())
    } else {
        Err("`table_x` must rise from row to row, or fall from row to row")
    }
}

/// Smallest and largest input; `None` for an empty table.
pub(crate) fn ends(x: &[f64]) -> Option<(f64, f64)> {
    let (first, last) = (*x.first()?, *x.last()?);
    Some((first.min(last), first.max(last)))
}

/// The value at `input`; `None` outside the table.
pub(crate) fn interpolate(x: &[f64], y: &[f64], input: f64) -> Option<f64> {
    let ((x0, y0), (x1, y1)) = segment(x, y, input)?;
    if input == x1 {
        // Exactly the row, free of rounding.
        return Some(y1);
    }
    Some(y0 + (y1 - y0) * ((input - x0) / (x1 - x0)))
}

/// The slope of the line that `input` lies on; of the one before it on a row between two.
pub(crate) fn slope(x: &[f64], y: &[f64], input: f64) -> Option<f64> {
    let ((x0, y0), (x1, y1)) = segment(x, y, input)?;
    Some((y1 - y0) / (x1 - x0))
}

type Row = (f64, f64);

/// The rows on both sides of `input`.
fn segment(x: &[f64], y: &[f64], input: f64) -> Option<(Row, Row)> {
    let (low, high) = ends(x)?;
    if !(low..=high).contains(&input) {
        return None;
    }
    let rising = x.first() < x.last();
    let after = x
        .partition_point(|one| if rising { *one < input } else { *one > input })
        .max(1);
    let row = |index: usize| Some((*x.get(index)?, *y.get(index)?));
    Some((row(after - 1)?, row(after)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_met_exactly_and_lines_run_between_them() {
        let (x, y) = ([1.0, 2.0, 4.0], [10.0, 30.0, 10.0]);
        for (input, value) in [
            (1.0, 10.0),
            (1.5, 20.0),
            (2.0, 30.0),
            (3.0, 20.0),
            (4.0, 10.0),
        ] {
            assert_eq!(interpolate(&x, &y, input), Some(value), "{input}");
        }
        assert_eq!(slope(&x, &y, 1.5), Some(20.0));
        assert_eq!(slope(&x, &y, 3.0), Some(-10.0));
    }

    #[test]
    fn a_falling_table_gives_what_the_rising_one_gives() {
        let (x, y) = ([1.0, 2.0, 4.0], [10.0, 30.0, 10.0]);
        let (falling_x, falling_y) = ([4.0, 2.0, 1.0], [10.0, 30.0, 10.0]);
        for input in [1.0, 1.25, 2.0, 3.5, 4.0] {
            assert_eq!(
                interpolate(&x, &y, input),
                interpolate(&falling_x, &falling_y, input),
                "{input}"
            );
        }
    }

    #[test]
    fn outside_the_table_there_is_no_value() {
        let (x, y) = ([1.0, 2.0], [10.0, 30.0]);
        for input in [
            0.999,
            2.001,
            f64::NAN,
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::MAX,
        ] {
            assert_eq!(interpolate(&x, &y, input), None, "{input}");
        }
    }

    #[test]
    fn columns_that_do_not_go_together_are_refused() {
        let two = [1.0, 2.0];
        assert!(check(&two, &two).is_ok());
        assert!(check(&[2.0, 1.0], &two).is_ok());
        assert!(check(&two, &[1.0]).is_err());
        assert!(check(&[1.0], &[1.0]).is_err());
        assert!(check(&[], &[]).is_err());
        assert!(check(&[1.0, 1.0], &two).is_err());
        assert!(check(&[1.0, 3.0, 2.0], &[1.0, 2.0, 3.0]).is_err());
        assert!(check(&[1.0, f64::NAN], &two).is_err());
    }
}
