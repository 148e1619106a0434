//! Student's t at 95 %, for few and fractional degrees of freedom.
//!
//! A table and no distribution function: one confidence is all that settling states.

/// Two-sided 95 % quantiles for 1 to 20 degrees of freedom. Source: JCGM 100:2008, Table G.2.
const TABLE: [f64; 20] = [
    12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23, 2.20, 2.18, 2.16, 2.14, 2.13,
    2.12, 2.11, 2.10, 2.09, 2.09,
];

/// The same for infinitely many. Source: JCGM 100:2008, Table G.2.
const LIMIT: f64 = 1.960;

/// The quantile for this many degrees of freedom, between the table's lines by a straight line;
/// fewer than one (or no number) count as one.
#[must_use]
pub fn t95(degrees: f64) -> f64 {
    let last = TABLE.len();
    let degrees = if degrees >= 1.0 { degrees } else { 1.0 };
    if degrees >= last as f64 {
        return LIMIT + (TABLE[last - 1] - LIMIT) * last as f64 / degrees;
    }
    let below = degrees.floor();
    let index = below as usize - 1;
    TABLE[index] + (TABLE[index + 1] - TABLE[index]) * (degrees - below)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_those_of_the_table_and_fall_between() {
        // Source: JCGM 100:2008, Table G.2.
        let cases = [
            (1.0, 12.71),
            (2.0, 4.30),
            (10.0, 2.23),
            (19.0, 2.09),
            (20.0, 2.09),
            (30.0, 2.04),
            (50.0, 2.01),
            (100.0, 1.984),
            (f64::INFINITY, 1.960),
        ];
        for (degrees, expected) in cases {
            assert!((t95(degrees) - expected).abs() < 0.01, "{degrees}");
        }
        assert!(t95(2.5) < t95(2.0) && t95(2.5) > t95(3.0));
    }

    #[test]
    fn what_is_no_number_of_degrees_counts_as_one() {
        for degrees in [f64::NAN, -3.0, 0.0, 0.99] {
            assert!((t95(degrees) - 12.71).abs() < 1e-12);
        }
    }
}
