//! Where fits start, against published points, and what the driver says of its own error.

use nightbench_driver::Status;
use nightbench_driver::host::{Binding, View};

fn view() -> View {
    View::new(&nightbench_photoresistor::TABLE).expect("a sound table")
}

fn bind(r10: f64, gamma: f64) -> Binding {
    Binding::named(view().parameters(), &[("r10", &[r10]), ("gamma", &[gamma])]).expect("declared")
}

/// r10 and gamma of the start.
fn guess(present: &Binding, points: &[(f64, f64)]) -> Result<(f64, f64), Status> {
    let (ohm, lux): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let start = view().guess(present, &ohm, &lux)?;
    Ok((start[0][0], start[1][0]))
}

/// Misfit over value.
fn share(binding: &Binding, nodes: &[f64], free: usize, ohm: f64) -> f64 {
    let (mut value, mut misfit) = ([f64::NAN], [f64::NAN]);
    let view = view();
    view.evaluate(binding, &[ohm], &mut value)
        .expect("in range");
    view.misfit(binding, (nodes, free), &[ohm], &mut misfit)
        .expect("stated");
    misfit[0] / value[0]
}

/// Source: `ldr_two_point.csv`, 1e-9 relative of gamma, 5e-8 of R10 (as many digits as it prints).
#[test]
fn two_points_start_with_the_published_parameters() {
    let mut seen = 0;
    let text = include_str!("published/ldr_two_point.csv");
    for line in text.lines().filter(|line| !line.starts_with(['#', 'E'])) {
        let n: Vec<f64> = line
            .split(',')
            .map(|one| one.parse().expect("a number"))
            .collect();
        let start = guess(&bind(1e4, 1.0), &[(n[1], n[0]), (n[3], n[2])]);
        let (r10, gamma) = start.expect("a start");
        assert!((gamma / n[4] - 1.0).abs() < 1e-9, "{line}: {gamma}");
        assert!((r10 / n[5] - 1.0).abs() < 5e-8, "{line}: {r10}");
        seen += 1;
    }
    assert_eq!(seen, 4);
}

#[test]
fn one_point_solves_r10_and_keeps_gamma() {
    let (r10, gamma) = guess(&bind(1e4, 0.7), &[(8_000.0, 100.0)]).expect("a start");
    // The definition: R10 = R (E / 10 lx)^gamma.
    assert!((r10 / (8_000.0 * 10_f64.powf(0.7)) - 1.0).abs() < 1e-12);
    assert_eq!(gamma, 0.7);
}

#[test]
fn points_that_give_no_start_are_refused() {
    for points in [
        &[][..],
        &[(1e4, 10.0), (5e3, 10.0)],
        &[(1e4, 10.0), (2e4, 100.0)],
        &[(0.0, 10.0)],
        &[(1e4, 0.0)],
        &[(f64::NAN, 10.0)],
        &[(1e4, f64::INFINITY)],
    ] {
        let answer = guess(&bind(1e4, 0.7), points);
        assert_eq!(answer, Err(Status::OUT_OF_RANGE), "{points:?}");
    }
}

/// Common practice: 10 to 20 % (k = 2) half-way between two points a decade apart.
#[test]
fn between_two_points_a_decade_apart_the_law_is_trusted_to_10_to_20_percent() {
    let cell = bind(1e4, 0.7);
    let ohm = |decade: f64| 1e4 * 10_f64.powf(-0.7 * decade);
    let nodes = [ohm(0.0), ohm(1.0)];
    let middle = 2.0 * share(&cell, &nodes, 2, ohm(0.5));
    assert!((0.10..=0.20).contains(&middle), "{middle}");
    assert!(share(&cell, &nodes, 2, ohm(1.0)) < 1e-9);
    let away = [1.5, 2.0, 3.0].map(|decade| share(&cell, &nodes, 2, ohm(decade)));
    assert!(away.is_sorted() && away[0] > middle / 2.0, "{away:?}");
}

#[test]
fn one_point_trusts_the_data_sheets_gamma_to_a_tenth() {
    let ohm = |decade: f64, gamma: f64| 1e4 * 10_f64.powf(-gamma * decade);
    let stated = share(&bind(1e4, 0.7), &[ohm(0.0, 0.7)], 1, ohm(1.0, 0.7));
    // A cell whose gamma is 0.8: at 100 lx it reads 10^(0.1 / 0.7) - 1 = 39 % high.
    let real = 10_f64.powf(0.1 / 0.7) - 1.0;
    assert!((0.5 * real..real).contains(&stated), "{stated} of {real}");
}
