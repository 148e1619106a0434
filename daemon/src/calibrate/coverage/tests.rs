//! Intervals against closed forms, against published ones, and against chance.

use super::*;
use crate::measure::testing::{gaussian, near};

fn share(shape: Shape, uncertainty: f64) -> Share {
    Share {
        name: String::new(),
        remedy: String::new(),
        shape,
        uncertainty,
    }
}

fn rectangular(uncertainty: f64) -> Share {
    share(Shape::Rectangular, uncertainty)
}

fn normal(uncertainty: f64) -> Share {
    share(Shape::Normal, uncertainty)
}

#[test]
fn closed_forms_come_out() {
    let root = 3.0_f64.sqrt();
    for (shares, expected) in [
        // 1.959964: the normal quantile for 97.5 % (JCGM 100:2008, table G.2 rounds it to 1.960).
        (vec![normal(2.0)], 2.0 * 1.959_963_985),
        (vec![normal(0.6), normal(0.8)], 1.959_963_985),
        // A rectangular distribution of half-width a holds 95 % within 0.95 a.
        (vec![rectangular(1.0)], 0.95 * root),
        // Two equal ones make a triangle of half-width 2 a: 2 a (1 - sqrt(0.05)).
        (
            vec![rectangular(1.0), rectangular(1.0)],
            2.0 * root * (1.0 - 0.05_f64.sqrt()),
        ),
        (vec![], 0.0),
        (vec![rectangular(0.0), normal(0.0)], 0.0),
    ] {
        near(interval_95(&shares), expected, 1e-5);
    }
}

#[test]
fn the_additive_examples_of_jcgm_101_come_out() {
    // Source: JCGM 101:2008, 9.2.2 (four standard normal), 9.2.3 (four rectangular of standard
    // deviation 1), 9.2.4 (the fourth of standard deviation 10): from memory, to their digits.
    let ten = [1.0, 1.0, 1.0, 10.0].map(rectangular);
    for (shares, published, digits) in [
        ([1.0; 4].map(normal), 3.92, 0.005),
        ([1.0; 4].map(rectangular), 3.88, 0.005),
        (ten, 17.0, 0.05),
    ] {
        let got = interval_95(&shares);
        assert!(
            (got - published).abs() < digits,
            "{got}, published {published}"
        );
    }
}

#[test]
fn a_rectangular_share_that_dominates_makes_k_of_two_too_wide() {
    let shares = [rectangular(1.0), normal(0.2)];
    let twice = 2.0 * 1.0_f64.hypot(0.2);
    assert!(interval_95(&shares) < 0.87 * twice);
}

/// Half-width that holds 95 % of so many draws (JCGM 101:2008, 7.7), seeded.
fn drawn(shares: &[Share], draws: usize) -> f64 {
    let mut random = fastrand::Rng::with_seed(101);
    let mut draw = |share: &Share| match share.shape {
        Shape::Normal => share.uncertainty * gaussian(&mut random),
        Shape::Rectangular => share.uncertainty * 3.0_f64.sqrt() * (2.0 * random.f64() - 1.0),
    };
    let mut all: Vec<f64> = (0..draws)
        .map(|_| shares.iter().map(&mut draw).sum::<f64>().abs())
        .collect();
    all.sort_unstable_by(f64::total_cmp);
    all[draws * 95 / 100]
}

#[test]
fn mixtures_agree_with_draws() {
    // 10⁵ draws leave some 0.3 % of the interval open (binomial spread of the 95 % quantile).
    for shares in [
        vec![normal(1.0), rectangular(1.0)],
        vec![normal(0.03), rectangular(1.0)],
        vec![
            normal(0.3),
            rectangular(1.0),
            rectangular(0.2),
            rectangular(0.04),
        ],
        vec![rectangular(3.0), rectangular(1.0), rectangular(0.5)],
    ] {
        near(interval_95(&shares), drawn(&shares, 100_000), 0.01);
    }
}
