//! How many independent samples a series is worth: neighbours that know of each other say less.
//!
//! Takes residuals as they are; what is drawn out of them first (a mean, a line) is told, because it
//! takes some of the autocorrelation with it.

/// Beyond this the estimate says nothing but "very strong".
const STRONGEST: f64 = 0.99;

/// Autocorrelation of neighbours about the mean, with the full denominator; 0 for a constant.
///
/// Source: as the certified values of NIST StRD's univariate data sets are defined.
#[must_use]
pub fn lag_one(values: &[f64]) -> f64 {
    let centred = centred(values);
    ratio(covariance(&centred, 1), covariance(&centred, 0))
}

/// Effective number of `samples` whose neighbours correlate by `lag_one`: n (1 - r) / (1 + r), a
/// negative r taken as 0.
///
/// Source: G. V. Bayley, J. M. Hammersley, "The effective number of independent observations in an
/// autocorrelated time series", Supplement to the J. Royal Statistical Society 8 (1946) 184-197.
#[must_use]
pub fn effective(samples: usize, lag_one: f64) -> f64 {
    let lag_one = lag_one.clamp(0.0, STRONGEST);
    samples as f64 * (1.0 - lag_one) / (1.0 + lag_one)
}

/// By how much the variance of a mean (or of a slow line) is larger than without autocorrelation: at
/// least 1, at most the number of samples.
///
/// The larger of two estimates, both from residuals about a line of `fitted` terms:
/// - neighbours only, as [`effective`], with the lag-one autocorrelation corrected for what the fit
///   took out of it: r + (1 + 3 r) / n for a mean, r + (2 + 4 r) / n for a line (M. G. Kendall,
///   Biometrika 41 (1954) 403-404, for the mean; the line's from memory of G. H. Orcutt, H. S.
///   Winokur, Econometrica 37 (1969) 1-14);
/// - all lags, by the initial positive sequence: pairs of autocovariances are summed while they are
///   positive (C. J. Geyer, "Practical Markov chain Monte Carlo", Statistical Science 7 (1992)
///   473-483), which sees a slow wander under white noise.
#[must_use]
pub fn inflation(residuals: &[f64], fitted: usize) -> f64 {
    let samples = residuals.len();
    let centred = centred(residuals);
    let variance = covariance(&centred, 0);
    if samples < 3 || variance <= 0.0 || !variance.is_finite() {
        return 1.0;
    }
    let terms = fitted as f64;
    let lag_one = ratio(covariance(&centred, 1), variance);
    let unbiased = lag_one + (terms + (terms + 2.0) * lag_one) / samples as f64;
    let neighbours = samples as f64 / effective(samples, unbiased);
    neighbours
        .max(positive_sequence(&centred, variance))
        .clamp(1.0, samples as f64)
}

fn positive_sequence(centred: &[f64], variance: f64) -> f64 {
    let pairs = (0..centred.len() / 4)
        .map(|pair| (covariance(centred, 2 * pair) + covariance(centred, 2 * pair + 1)) / variance);
    2.0 * pairs.take_while(|sum| *sum > 0.0).sum::<f64>() - 1.0
}

fn centred(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    values.iter().map(|value| value - mean).collect()
}

fn covariance(centred: &[f64], lag: usize) -> f64 {
    let later = centred.iter().skip(lag);
    centred.iter().zip(later).map(|(a, b)| a * b).sum()
}

fn ratio(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { part / whole } else { 0.0 }
}
