//! The chi-square distribution's upper tail: how likely it is that honest points lie this far apart.
//!
//! By the series and the continued fraction of the incomplete gamma function (NIST Digital Library
//! of Mathematical Functions, 8.7.1 and 8.9.2, from memory). No quantiles.

/// Terms after which either expansion is taken as it is; both need about the root of their argument.
const TERMS: usize = 10_000;
/// Stands for zero in a denominator.
const TINY: f64 = 1e-300;

/// The chance of a chi-square of at least this with so many degrees of freedom; 1 for none, and for
/// what is no number.
#[must_use]
pub fn at_least(chi_square: f64, degrees_of_freedom: usize) -> f64 {
    let (a, x) = (degrees_of_freedom as f64 / 2.0, chi_square / 2.0);
    // False for NaN, too.
    let some = a > 0.0 && x > 0.0;
    if !some {
        return 1.0;
    }
    if x.is_infinite() {
        return 0.0;
    }
    let chance = if x < a + 1.0 {
        1.0 - weight(a, x) * series(a, x)
    } else {
        weight(a, x) * fraction(a, x)
    };
    chance.clamp(0.0, 1.0)
}

/// x^a exp(-x) / gamma(a), for a in halves.
fn weight(a: f64, x: f64) -> f64 {
    (a * x.ln() - x - ln_gamma(a)).exp()
}

/// ln of gamma at a whole or half number, by its recurrence from gamma(1) and gamma(1/2).
fn ln_gamma(a: f64) -> f64 {
    let half = a.fract() != 0.0;
    let (first, start) = if half {
        (0.5, std::f64::consts::PI.sqrt().ln())
    } else {
        (1.0, 0.0)
    };
    let steps = (a - first) as usize;
    (0..steps).fold(start, |sum, step| sum + (first + step as f64).ln())
}

fn series(a: f64, x: f64) -> f64 {
    let mut term = 1.0 / a;
    let mut sum = term;
    for n in 1..TERMS {
        term *= x / (a + n as f64);
        sum += term;
        if term < sum * f64::EPSILON {
            break;
        }
    }
    sum
}

/// By Lentz's method as changed by Thompson and Barnett.
fn fraction(a: f64, x: f64) -> f64 {
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut whole = d;
    for n in 1..TERMS {
        let n = n as f64;
        let numerator = -n * (n - a);
        b += 2.0;
        d = 1.0 / nonzero(numerator * d + b);
        c = nonzero(b + numerator / c);
        whole *= d * c;
        if (d * c - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    whole
}

fn nonzero(number: f64) -> f64 {
    if number.abs() < TINY { TINY } else { number }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tail_is_that_of_the_printed_tables() {
        // Source: upper critical values of the chi-square distribution, NIST/SEMATECH e-Handbook of
        // Statistical Methods, 1.3.6.7.4, from memory; three decimals are printed.
        for (freedom, chi_square, chance) in [
            (1, 3.841, 0.05),
            (1, 6.635, 0.01),
            (2, 5.991, 0.05),
            (5, 11.070, 0.05),
            (10, 18.307, 0.05),
            (10, 29.588, 0.001),
            (100, 124.342, 0.05),
        ] {
            let got = at_least(chi_square, freedom);
            assert!((got / chance - 1.0).abs() < 2e-3, "{freedom}: {got}");
        }
    }

    #[test]
    fn with_two_degrees_of_freedom_it_is_an_exponential() {
        for chi_square in [1e-9, 0.1, 1.0, 3.9, 4.1, 30.0, 700.0] {
            let (got, wanted) = (at_least(chi_square, 2), f64::exp(-chi_square / 2.0));
            assert!((got / wanted - 1.0).abs() < 1e-12, "{chi_square}: {got}");
        }
    }

    #[test]
    fn what_tells_nothing_is_certain_to_happen() {
        for (chi_square, freedom) in [(5.0, 0), (0.0, 3), (f64::NAN, 3), (-1.0, 3)] {
            assert_eq!(at_least(chi_square, freedom), 1.0);
        }
        assert_eq!(at_least(f64::INFINITY, 3), 0.0);
    }
}
