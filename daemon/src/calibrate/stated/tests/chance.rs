//! The linear law against drawing by chance (JCGM 101:2008, 8: validation of the law of propagation).

use super::*;

const DRAWS: usize = 100_000;

fn draw(shape: Shape, random: &mut fastrand::Rng) -> f64 {
    match shape {
        Shape::Normal => gaussian(random),
        Shape::Rectangular => 3.0_f64.sqrt() * (2.0 * random.f64() - 1.0),
    }
}

/// Standard deviation and half-width of the symmetric 95 % interval of what was drawn.
fn spread(values: &mut [f64], about: f64) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count;
    values
        .iter_mut()
        .for_each(|value| *value = (*value - about).abs());
    values.sort_unstable_by(f64::total_cmp);
    (variance.sqrt(), values[values.len() * 95 / 100])
}

/// Steinhart-Hart written out here: 1/T = a + b ln R + c (ln R)³.
fn celsius(terms: [f64; 3], ohm: f64) -> f64 {
    let log = ohm.ln();
    1.0 / (terms[0] + terms[1] * log + terms[2] * log.powi(3)) - 273.15
}

#[test]
fn the_linear_law_agrees_with_draws_at_every_point_of_the_range() {
    let here = channel("a1", 10_000.0);
    let made = calibrate();
    let stated = calibrated(&here);
    let terms = ["a", "b", "c"].map(|name| {
        let mut named = made.parameters.iter();
        named.find(|(own, _)| own == name).unwrap().1[0]
    });
    let mut random = fastrand::Rng::with_seed(101);
    for ohm in [32_650.0, 20_000.0, 10_000.0, 6_000.0, 3_602.0] {
        let noise = 2e-3 * ohm;
        let model = &stated.curve().model;
        let misfit = model.misfit(&made.nodes, 3, ohm).unwrap();
        let mut values: Vec<f64> = (0..DRAWS)
            .map(|_| {
                let mut moved = terms;
                for source in &made.sources {
                    let off = draw(source.shape, &mut random);
                    let along = moved.iter_mut().zip(&source.loading);
                    along.for_each(|(term, loading)| *term += off * loading);
                }
                let mut scale = || here.scale_uncertainty * draw(Shape::Rectangular, &mut random);
                let resistors = (1.0 + scale()) * (1.0 + scale());
                let read = ohm * resistors + noise * gaussian(&mut random);
                celsius(moved, read) + misfit * gaussian(&mut random)
            })
            .collect();
        let (deviation, half) = spread(&mut values, stated.evaluate(ohm).unwrap());
        near(stated.uncertainty(ohm, noise).unwrap(), deviation, 0.05);
        let shares = stated.shares(ohm, Converter::whole(noise)).unwrap();
        near(interval_95(&shares), half, 0.05);
    }
}

#[test]
fn light_over_decades_is_where_the_linear_law_ends() {
    let values = vec![vec![10_000.0], vec![0.7]];
    let model = find("photoresistor").unwrap().bind(values).unwrap();
    let here = channel("a0", 10_000.0);
    let at = |tolerance| {
        let stated = Stated::nominal(model.clone(), tolerance, &here);
        let shares = stated.shares(10_000.0, Converter::default()).unwrap();
        named(&shares, "tolerance").unwrap().uncertainty
    };
    let mut random = fastrand::Rng::with_seed(7);
    let mut drawn = |decades: f64| {
        let mut values: Vec<f64> = (0..DRAWS)
            .map(|_| 10.0 * 10.0_f64.powf(decades * (2.0 * random.f64() - 1.0)))
            .collect();
        spread(&mut values, 10.0).0
    };
    // A tenth of a decade is 23 % of the resistance of a gamma of 0.7: still linear to 5 %.
    near(at(Tolerance::Decades(0.1)), drawn(0.1), 0.05);
    // Half a decade is not: the mean of what may be lies above the value, and spreads further.
    let share = at(Tolerance::Decades(0.5)) / drawn(0.5);
    assert!((0.70..0.90).contains(&share), "{share}");
}
