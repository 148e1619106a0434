//! Two calibrations at the same electrical inputs: what a probe drifted by, or what another choice
//! would have said.

use crate::calibrate::Calibration;
use crate::reading::Estimate;

/// Two conversions at one input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// Electrical input.
    pub input: f64,
    /// Value by the one, with its standard uncertainty.
    pub one: Estimate,
    /// Value by the other.
    pub other: Estimate,
}

impl Difference {
    /// Other less one, with its standard uncertainty, in the unit of the value.
    ///
    /// The two are taken as independent. Where both were made with the same reference instrument,
    /// what they share cancels, and the difference is surer than this says.
    #[must_use]
    pub fn change(&self) -> (f64, f64) {
        let change = self.other.value() - self.one.value();
        (
            change,
            self.one.uncertainty().hypot(self.other.uncertainty()),
        )
    }

    /// Whether it is larger than its expanded uncertainty, k = 2: |E_n| > 1.
    /// Source: ISO 13528:2022, 9.7 (E_n score).
    #[must_use]
    pub fn is_significant(&self) -> bool {
        let (change, uncertainty) = self.change();
        change.abs() > 2.0 * uncertainty
    }
}

/// Both conversions at each of the inputs at which both have a value.
pub fn compare(
    inputs: &[f64],
    one: impl Fn(f64) -> Option<Estimate>,
    other: impl Fn(f64) -> Option<Estimate>,
) -> Vec<Difference> {
    let at = |input: &f64| {
        Some(Difference {
            input: *input,
            one: one(*input)?,
            other: other(*input)?,
        })
    };
    inputs.iter().filter_map(at).collect()
}

/// Inputs over a range, both ends with them: evenly spaced in the logarithm where it is wide and
/// positive (a probe's ohms), else evenly.
#[must_use]
pub fn inputs((low, high): (f64, f64), count: usize) -> Vec<f64> {
    let last = count.saturating_sub(1).max(1) as f64;
    let logarithmic = low > 0.0 && high > 2.0 * low;
    let at = |index: usize| match index as f64 / last {
        0.0 => low,
        1.0 => high,
        share if logarithmic => low * (high / low).powf(share),
        share => low + (high - low) * share,
    };
    (0..count).map(at).collect()
}

/// The inputs that both calibrations cover; `None` where there are none, or they are not in the same
/// electrical quantity and unit.
#[must_use]
pub fn common_range(one: &Calibration, other: &Calibration) -> Option<(f64, f64)> {
    if one.input != other.input || one.unit != other.unit {
        return None;
    }
    let low = one.range.0.max(other.range.0);
    let high = one.range.1.min(other.range.1);
    (low <= high).then_some((low, high))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::calibrate::history::Conversion;
    use crate::calibrate::history::testing::calibration;

    #[test]
    fn two_calibrations_differ_by_what_one_was_shifted() {
        let (one, two) = (calibration(&[], 0.0), calibration(&[], 0.5));
        let range = common_range(&one, &two).unwrap();
        let [one, two] = [one, two].map(|made| Conversion::by(1, &made, None).unwrap());
        let at = |conversion: &Conversion, input| conversion.at(input).ok();
        let found = compare(&inputs(range, 3), |x| at(&one, x), |x| at(&two, x));
        let changes: Vec<_> = found.iter().map(|d| d.change().0).collect();
        // Shifted in 1/T: 0.5 K at the ice point, by (T / 273.15 K)^2 more where it is warmer.
        let warm = 0.5 * (323.15_f64 / 273.15).powi(2);
        assert!((changes[0] - warm).abs() < 0.003, "{changes:?}");
        assert!((changes[2] - 0.5).abs() < 0.003, "{changes:?}");
        assert!(found.iter().all(Difference::is_significant));
        assert!((found[0].change().1 - 0.05_f64.hypot(0.05)).abs() < 1e-9);
    }

    #[test]
    fn a_change_within_its_expanded_uncertainty_is_not_significant() {
        let estimate = |value| Estimate::new(value, 0.3).unwrap();
        let difference = |other| Difference {
            input: 1.0,
            one: estimate(20.0),
            other: estimate(other),
        };
        // 2 * hypot(0.3, 0.3) = 0.849
        assert!(!difference(20.84).is_significant());
        assert!(difference(20.86).is_significant());
        assert!(difference(19.14).is_significant());
    }

    #[test]
    fn inputs_hold_both_ends_and_are_spaced_as_the_range_is_wide() {
        assert_eq!(inputs((1_000.0, 100_000.0), 3)[1].round(), 10_000.0);
        assert_eq!(inputs((0.0, 10.0), 3), [0.0, 5.0, 10.0]);
        assert_eq!(inputs((7.0, 7.0), 2), [7.0, 7.0]);
        assert_eq!(inputs((1.0, 2.0), 1), [1.0]);
        assert!(inputs((1.0, 2.0), 0).is_empty());
    }

    #[test]
    fn what_is_not_comparable_has_no_common_range() {
        let one = calibration(&[], 0.0);
        let with = |change: fn(&mut Calibration)| {
            let mut other = one.clone();
            change(&mut other);
            common_range(&one, &other)
        };
        assert_eq!(with(|_| {}), Some((3_592.0, 31_770.0)));
        assert_eq!(with(|c| c.range.1 = 10_000.0), Some((3_592.0, 10_000.0)));
        assert_eq!(with(|c| c.range = (40_000.0, 50_000.0)), None);
        assert_eq!(with(|c| c.input = "volt".to_owned()), None);
        assert_eq!(with(|c| c.unit = "K".to_owned()), None);
    }
}
