//! The cubic in the logarithm of resistance that all forms share, and where it is to be trusted.
//!
//! Knows no parameter names. Logarithm and exponential come from `libm`, so that every host computes
//! the same bits.

use crate::ICE_POINT_K;

/// Coldest and hottest temperature given out, kelvin: beyond -100 and 300 °C no NTC data sheet goes.
const COLDEST_K: f64 = ICE_POINT_K - 100.0;
const HOTTEST_K: f64 = ICE_POINT_K + 300.0;
/// Where to look: beyond what any NTC thermistor has at the two limits above, ohm.
const LEAST_OHM: f64 = 1e-3;
const MOST_OHM: f64 = 1e13;
/// So much (relative) may rounding carry the end of the range over the limits above.
const HAIR: f64 = 1e-9;
/// Halvings that bring any interval of logarithms down to the last bit.
const HALVINGS: usize = 64;

/// 1/T = c0 + c1 x + c2 x² + c3 x³ with x = ln(R / reference); T in kelvin.
pub(crate) struct Curve {
    reference_ohm: f64,
    coefficients: [f64; 4],
    /// Whether there are no higher terms: their zeros change no bit of a finite sum, but take time.
    is_line: bool,
}

impl Curve {
    pub(crate) fn new(reference_ohm: f64, coefficients: [f64; 4]) -> Self {
        Self {
            reference_ohm,
            coefficients,
            is_line: coefficients[2] == 0.0 && coefficients[3] == 0.0,
        }
    }

    /// Degrees Celsius; `None` beyond the limits or where resistance does not fall with temperature.
    pub(crate) fn temperature(&self, ohm: f64) -> Option<f64> {
        let x = self.logarithm(ohm)?;
        let kelvin = 1.0 / self.inverse_kelvin(x);
        let limits = COLDEST_K * (1.0 - HAIR)..=HOTTEST_K * (1.0 + HAIR);
        // Both are false for NaN. Both are looked at, as a branch between them costs more.
        let holds = limits.contains(&kelvin) & (self.steepness(x) > 0.0);
        holds.then_some(kelvin - ICE_POINT_K)
    }

    /// Kelvin per ohm: dT/dR = -T² (d(1/T)/dx) / R.
    pub(crate) fn slope(&self, ohm: f64) -> Option<f64> {
        let kelvin = self.temperature(ohm)? + ICE_POINT_K;
        Some(-kelvin * kelvin * self.steepness(self.logarithm(ohm)?) / ohm)
    }

    /// The resistances of the hottest and the coldest temperature on the widest stretch where
    /// resistance falls as it gets warmer.
    pub(crate) fn range(&self) -> Option<(f64, f64)> {
        let ends = self
            .stretches()
            .into_iter()
            .filter_map(|stretch| self.clip(stretch));
        let (low, high) = ends.max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))?;
        let ohm = |x| self.reference_ohm * libm::exp(x);
        Some((ohm(low), ohm(high)))
    }

    /// Material constant over the whole range, kelvin: what beta would be on a line between its ends.
    pub(crate) fn beta(&self) -> Option<f64> {
        let (low, high) = self.range()?;
        let (low, high) = (self.logarithm(low)?, self.logarithm(high)?);
        Some((high - low) / (self.inverse_kelvin(high) - self.inverse_kelvin(low)))
    }

    fn logarithm(&self, ohm: f64) -> Option<f64> {
        (ohm.is_finite() && ohm > 0.0).then(|| libm::log(ohm / self.reference_ohm))
    }

    fn inverse_kelvin(&self, x: f64) -> f64 {
        let [c0, c1, c2, c3] = self.coefficients;
        if self.is_line {
            return c0 + x * c1;
        }
        c0 + x * (c1 + x * (c2 + x * c3))
    }

    /// d(1/T)/dx: positive where resistance falls as it gets warmer.
    fn steepness(&self, x: f64) -> f64 {
        let [_, c1, c2, c3] = self.coefficients;
        if self.is_line {
            return c1;
        }
        c1 + x * (2.0 * c2 + x * 3.0 * c3)
    }

    /// Stretches of x on which 1/T rises, between the turning points of the cubic.
    fn stretches(&self) -> Vec<(f64, f64)> {
        let x = |ohm: f64| libm::log(ohm / self.reference_ohm);
        let (least, most) = (x(LEAST_OHM), x(MOST_OHM));
        let mut ends = vec![least];
        ends.extend(
            self.turns()
                .into_iter()
                .filter(|turn| *turn > least && *turn < most),
        );
        ends.push(most);
        let rises = |pair: &(f64, f64)| self.steepness((pair.0 + pair.1) / 2.0) > 0.0;
        ends.windows(2)
            .map(|pair| (pair[0], pair[1]))
            .filter(rises)
            .collect()
    }

    /// Real roots of the steepness, ascending.
    fn turns(&self) -> Vec<f64> {
        let [_, c, b, a] = self.coefficients;
        let (a, b) = (3.0 * a, 2.0 * b);
        let root = libm::sqrt(b * b - 4.0 * a * c);
        // The form that loses no digits; where a is 0 one of the two is no number and drops out.
        let q = -0.5 * (b + libm::copysign(root, b));
        let mut turns: Vec<f64> = [q / a, c / q]
            .into_iter()
            .filter(|x| x.is_finite())
            .collect();
        turns.sort_by(f64::total_cmp);
        turns
    }

    /// The part of a rising stretch whose temperatures are within the limits; `None` for none.
    fn clip(&self, (low, high): (f64, f64)) -> Option<(f64, f64)> {
        // A turning point itself has no slope: keep off it by more than rounding.
        let margin = 1e-6 * (high - low);
        let (low, high) = (low + margin, high - margin);
        let (hottest, coldest) = (1.0 / HOTTEST_K, 1.0 / COLDEST_K);
        let outside = self.inverse_kelvin(high) < hottest || self.inverse_kelvin(low) > coldest;
        let ends = (
            self.reach(low, high, hottest),
            self.reach(low, high, coldest),
        );
        (!outside && ends.0 < ends.1).then_some(ends)
    }

    /// Where 1/T reaches `target` on a rising stretch; its nearer end where it does not.
    fn reach(&self, mut low: f64, mut high: f64, target: f64) -> f64 {
        if self.inverse_kelvin(low) >= target {
            return low;
        }
        if self.inverse_kelvin(high) <= target {
            return high;
        }
        for _ in 0..HALVINGS {
            let middle = (low + high) / 2.0;
            if self.inverse_kelvin(middle) < target {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Typical 10 kohm coefficients, as in the published examples beside the integration tests.
    const A: f64 = 1.129241e-3;
    const B: f64 = 2.341077e-4;
    const C: f64 = 8.775468e-8;

    #[test]
    fn the_range_goes_from_the_hottest_to_the_coldest_temperature() {
        let curve = Curve::new(1.0, [A, B, 0.0, C]);
        let (low, high) = curve.range().expect("a range");
        let hot = curve.temperature(low).expect("in range");
        let cold = curve.temperature(high).expect("in range");
        assert!((hot - 300.0).abs() < 1e-6, "{hot}");
        assert!((cold + 100.0).abs() < 1e-6, "{cold}");
    }

    #[test]
    fn a_curve_that_turns_is_cut_at_the_turn() {
        // A fit over a narrow span may give a negative cubic term: 1/T falls again beyond the turn.
        // Invented coefficients.
        let curve = Curve::new(10_000.0, [1.0 / 298.15, 2.5e-4, 0.0, -2e-5]);
        let turn = 10_000.0 * libm::exp(libm::sqrt(2.5e-4 / 6e-5));
        let (_, high) = curve.range().expect("a range");
        assert!(high < turn && high > 0.99 * turn, "{high} and {turn}");
        assert!(curve.temperature(high).is_some());
        assert_eq!(curve.temperature(turn * 1.01), None);
    }

    #[test]
    fn a_curve_that_never_falls_has_no_range() {
        assert_eq!(Curve::new(1.0, [A, -B, 0.0, 0.0]).range(), None);
        assert_eq!(Curve::new(1.0, [0.0; 4]).range(), None);
        assert_eq!(Curve::new(1.0, [1.0, B, 0.0, 0.0]).range(), None);
        assert_eq!(Curve::new(1.0, [f64::NAN; 4]).range(), None);
    }

    #[test]
    fn a_line_has_the_bits_that_its_zeros_would_give() {
        let line = Curve::new(10_000.0, [1.0 / 298.15, 1.0 / 3950.0, 0.0, 0.0]);
        let cubic = Curve {
            is_line: false,
            ..Curve::new(10_000.0, line.coefficients)
        };
        let ohms = (-50..120).map(|step| libm::exp(f64::from(step) / 4.0));
        for ohm in ohms.chain([0.0, -1.0, f64::MAX, f64::MIN_POSITIVE, f64::NAN]) {
            let bits = |curve: &Curve| {
                let both = [curve.temperature(ohm), curve.slope(ohm)];
                both.map(|one| one.map(f64::to_bits))
            };
            assert_eq!(bits(&line), bits(&cubic), "{ohm}");
        }
        assert_eq!(line.range(), cubic.range());
    }

    #[test]
    fn a_beta_curve_has_its_own_beta() {
        let curve = Curve::new(10_000.0, [1.0 / 298.15, 1.0 / 3950.0, 0.0, 0.0]);
        let beta = curve.beta().expect("a range");
        assert!((beta - 3950.0).abs() < 1e-6, "{beta}");
    }

    #[test]
    fn the_slope_is_the_derivative() {
        let curve = Curve::new(1.0, [A, B, 0.0, C]);
        for ohm in [100.0, 3_601.0, 10_000.0, 336_049.7] {
            let step = ohm * 1e-5;
            let rise = curve
                .temperature(ohm + step)
                .zip(curve.temperature(ohm - step));
            let (up, down) = rise.expect("in range");
            let difference = (up - down) / (2.0 * step);
            let slope = curve.slope(ohm).expect("in range");
            assert!(
                (slope / difference - 1.0).abs() < 1e-6,
                "{ohm}: {slope}, {difference}"
            );
        }
    }
}
