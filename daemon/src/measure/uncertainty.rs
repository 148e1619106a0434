//! How far a count can be trusted: the converter's step and its noise.
//!
//! Standard uncertainties as in JCGM 100:2008 (GUM). What is put together here is what differs from
//! one reading to the next. The resistor's tolerance, the fit of the driver's parameters and
//! self-heating are common to all readings of a probe: `calibrate::stated` adds them. The
//! converter's own non-linearity is in neither.
//!
//! A divider with a supply of its own adds the supply's uncertainty in the chain. Of that the noise
//! differs from line to line; the stated part (`supply_uncertainty`: of the voltage, or of the ratio
//! in front of the channel that measures it) is common to all readings of all probes on that supply,
//! does not fall with averaging, and cancels in the difference of two readings at one value. The
//! converter's reference is common too, and not in it; where the same converter measures the supply,
//! it cancels.

use std::collections::VecDeque;

/// How many successive differences the noise is estimated from, at most: some two minutes of a
/// board that talks twice a second, short enough to follow a fan that is switched on.
const MOST_DIFFERENCES: usize = 64;

/// Fewer say nothing: with 8 the estimate itself is uncertain by about 30 %.
const FEWEST_DIFFERENCES: usize = 8;

/// One difference in so many may be a jump.
const JUMPS_IN: usize = 16;
/// What a jump counts for at most, in standard deviations of the other differences: of Gaussian
/// noise one difference in 70,000 is beyond.
const MOST_SIGMA: f64 = 4.5;

/// Standard deviation of a converter that has not shown its noise yet, in steps (common practice: a
/// small board's converter wanders by a step or two).
pub const ASSUMED_NOISE: f64 = 2.0;

/// Standard deviation of single samples, from successive differences.
///
/// sigma^2 = mean of squared successive differences / 2: a slow drift, which the plain standard
/// deviation takes for noise, hardly enters. Source: J. von Neumann, R. H. Kent, H. R. Bellinson,
/// B. I. Hart, "The mean square successive difference", Annals of Mathematical Statistics 12 (1941)
/// 153-162.
#[derive(Clone, Debug, Default)]
pub struct NoiseEstimate {
    last: Option<f64>,
    squares: VecDeque<f64>,
}

impl NoiseEstimate {
    /// An estimate without samples.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the next good sample, in counts.
    pub fn push(&mut self, count: f64) {
        if let Some(last) = self.last.replace(count) {
            if self.squares.len() == MOST_DIFFERENCES {
                self.squares.pop_front();
            }
            self.squares.push_back((count - last).powi(2));
        }
    }

    /// Says that the next sample has nothing to do with the last: a fault or a silence lies
    /// between them.
    pub fn interrupt(&mut self) {
        self.last = None;
    }

    /// Standard deviation of a single sample, in counts; `None` until there are enough differences.
    ///
    /// A jump of the quantity itself is no noise: a square far beyond the others counts as much as
    /// [`MOST_SIGMA`] of them.
    #[must_use]
    pub fn deviation(&self) -> Option<f64> {
        let differences = self.squares.len();
        if differences < FEWEST_DIFFERENCES {
            return None;
        }
        let mut sorted: Vec<f64> = self.squares.iter().copied().collect();
        sorted.sort_unstable_by(f64::total_cmp);
        let others = &sorted[..differences - differences / JUMPS_IN];
        let most = MOST_SIGMA.powi(2) * mean(others);
        let capped = sorted.iter().map(|square| square.min(most)).sum::<f64>();
        Some((capped / (2.0 * differences as f64)).sqrt())
    }
}

fn mean(numbers: &[f64]) -> f64 {
    numbers.iter().sum::<f64>() / numbers.len() as f64
}

/// The step of a number that is taken as a board wrote it: one of its last decimal, `0.1` for
/// `25.3`. A number with more than nine decimals was not rounded, and counts as the finest of them.
#[must_use]
pub fn last_decimal(number: f64) -> f64 {
    const MOST: i32 = 9;
    let is_whole_at = |decimals: &i32| {
        let scale = 10.0_f64.powi(*decimals);
        (number * scale).round() / scale == number
    };
    let decimals = (0..MOST).find(is_whole_at).unwrap_or(MOST);
    10.0_f64.powi(-decimals)
}

/// Standard uncertainties of one electrical input, each in its unit (ohm, volt, ratio).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Converter {
    /// Of the converter's step; rectangular, and not reduced by averaging.
    pub step: f64,
    /// Of the noise that is left after averaging; normal.
    pub noise: f64,
    /// Of a divider's supply that does not cancel; normal, and not reduced by averaging.
    pub supply: f64,
}

impl Converter {
    /// An input of which only the whole is known.
    #[must_use]
    pub fn whole(uncertainty: f64) -> Self {
        Self {
            noise: uncertainty,
            ..Self::default()
        }
    }

    /// All of them in quadrature.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.step.hypot(self.noise).hypot(self.supply)
    }
}

/// Standard uncertainty of a count, in counts.
///
/// Two parts in quadrature:
/// - the converter's `step`, of rectangular distribution: step / sqrt(12) (JCGM 100:2008, F.2.2.1).
///   It isn't reduced by averaging. Where the noise is smaller than a step, all samples fall on the
///   same code and are off by the same amount; that the noise is large enough to spread them over
///   several codes is nowhere promised.
/// - the `noise` of a single sample, over the square root of the `samples` averaged (4.2.3). Where
///   it is not known yet, the `spread` of the averaged samples stands for it.
///
/// Where neither is known, for the first samples, [`ASSUMED_NOISE`] steps stand for it: a first
/// reading must not look better than those that follow.
#[must_use]
pub fn count_uncertainty(
    step: Option<f64>,
    noise: Option<f64>,
    spread: Option<f64>,
    samples: u32,
) -> f64 {
    let quantisation = step.unwrap_or(0.0) / 12.0_f64.sqrt();
    let assumed = step.unwrap_or(0.0) * ASSUMED_NOISE;
    let noise = noise.or(spread).unwrap_or(assumed) / f64::from(samples.max(1)).sqrt();
    quantisation.hypot(noise)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::measure::testing::{gaussian, near, numbers};
    use proptest::prelude::*;

    fn deviation(counts: impl IntoIterator<Item = f64>) -> Option<f64> {
        let mut noise = NoiseEstimate::new();
        counts.into_iter().for_each(|count| noise.push(count));
        noise.deviation()
    }

    #[test]
    fn the_last_decimal_is_the_step_of_a_written_number() {
        let cases = [
            (25.3, 0.1),
            (25.0, 1.0),
            (-0.05, 0.01),
            (1.0 / 3.0, 1e-9),
            (1e20, 1.0),
        ];
        for (number, step) in cases {
            near(last_decimal(number), step, 1e-12);
        }
    }

    #[test]
    fn few_samples_say_nothing() {
        assert_eq!(deviation([]), None);
        assert_eq!(deviation([5.0; FEWEST_DIFFERENCES]), None);
        assert_eq!(deviation([5.0; FEWEST_DIFFERENCES + 1]), Some(0.0));
    }

    #[test]
    fn alternating_counts_have_the_deviation_of_their_differences() {
        let counts = (0..20).map(|i| f64::from(i % 2));
        near(deviation(counts).unwrap(), 0.5_f64.sqrt(), 1e-15);
    }

    #[test]
    fn a_drifting_instrument_is_not_taken_for_a_noisy_one() {
        // Source: NIST Statistical Reference Datasets, Mavro: a filter's transmittance, drifting;
        // certified standard deviation 0.000429123454003053, lag-1 autocorrelation 0.938. The mean
        // square successive difference leaves about the share (1 - 0.938) of the variance, a
        // quarter of the deviation.
        let table = include_str!("../../tests/published/mavro.csv");
        let share = deviation(numbers(table, "y")).unwrap() / 0.000_429_123_454_003_053;
        assert!((0.2..0.3).contains(&share), "{share}");
    }

    #[test]
    fn a_gap_is_no_noise() {
        let mut noise = NoiseEstimate::new();
        for level in [100.0, 900.0] {
            (0..10).for_each(|_| noise.push(level));
            noise.interrupt();
        }
        assert_eq!(noise.deviation(), Some(0.0));
    }

    #[test]
    fn parts_add_in_quadrature() {
        // 12^-1/2 = 0.288675..., JCGM 100:2008, F.2.2.1: 0.29 of the step.
        let step = Some(1.0);
        for (step, noise, spread, samples, expected) in [
            (step, Some(0.0), None, 1, 0.288_675_134_594_812_9),
            (step, None, None, 1, (4.0_f64 + 1.0 / 12.0).sqrt()),
            (step, Some(0.0), Some(5.0), 100, 0.288_675_134_594_812_9),
            (None, Some(3.0), None, 9, 1.0),
            (None, None, Some(3.0), 9, 1.0),
            (None, None, None, 1, 0.0),
            (Some(12.0_f64.sqrt() * 3.0), Some(8.0), None, 4, 5.0),
        ] {
            let uncertainty = count_uncertainty(step, noise, spread, samples);
            near(uncertainty, expected, 1e-14);
        }
    }

    #[test]
    fn a_jump_of_the_quantity_is_no_noise() {
        let quiet = (0..40).map(|i| f64::from(i % 2));
        let jumped = quiet
            .clone()
            .chain((0..20).map(|i| 110.0 + f64::from(i % 2)));
        let before = deviation(quiet).unwrap();
        let after = deviation(jumped).unwrap();
        assert!(after < 1.3 * before, "{before} before, {after} after");
    }

    proptest! {
        #[test]
        fn noise_on_a_slow_drift_is_found(
            seed in any::<u64>(),
            sigma in 0.5..20.0_f64,
            drift in -0.2..0.2_f64,
        ) {
            // Of 64 differences the estimate's own relative deviation is sqrt(3 / (4 x 64)), some
            // 11 %; five of those are asked for here, and the drift is at most 0.2 sigma a sample.
            let mut random = fastrand::Rng::with_seed(seed);
            let counts = (0..65).map(|i| 500.0 + sigma * (drift * f64::from(i) + gaussian(&mut random)));
            let share = deviation(counts).unwrap() / sigma;
            prop_assert!((0.45..1.55).contains(&share), "{share}");
        }
    }

    #[test]
    fn the_estimate_is_right_on_average() {
        let mut random = fastrand::Rng::with_seed(1941);
        let variances = (0..500).map(|_| {
            let counts: Vec<f64> = (0..65).map(|_| 3.0 * gaussian(&mut random)).collect();
            deviation(counts).unwrap().powi(2)
        });
        near(variances.sum::<f64>() / 500.0, 9.0, 0.03);
    }
}
