//! What was fitted: parameters with their covariance, and how far the points lie from the fit.

use super::document::{Block, Column, Table};
use super::{Certificate, figures};
use crate::calibrate::calibration::Calibration;
use crate::calibrate::curve::Term;
use crate::driver::{Driver, ParameterKind};
use crate::words;

/// Parameters, and the covariance of the fitted ones.
pub(super) fn parameters(certificate: &Certificate<'_>) -> Vec<Block> {
    let calibration = certificate.calibration;
    let mut blocks = vec![Block::Table(table(calibration, certificate.driver))];
    if calibration.terms.len() > 1 {
        // Rounded each to its own uncertainty, correlated parameters give another curve.
        blocks.push(Block::Paragraph(
            "Fitted parameters are correlated: compute with all their digits. Their covariance, in \
             the products of their units:"
                .to_owned(),
        ));
        blocks.push(Block::Table(covariance(calibration)));
    }
    blocks
}

/// Residuals and chi-square.
pub(super) fn residuals(certificate: &Certificate<'_>) -> Vec<Block> {
    let calibration = certificate.calibration;
    vec![
        Block::Table(residual_table(certificate)),
        Block::Paragraph(chi_square(calibration)),
    ]
}

fn chi_square(calibration: &Calibration) -> String {
    match calibration.degrees_of_freedom {
        0 => {
            "As many parameters as points: the fit goes through all of them, and the residuals say \
              nothing about its error."
                .to_owned()
        }
        freedom => format!(
            "Chi-square is {} with {} of freedom; about that many is expected.",
            figures::digits(calibration.chi_square, 3),
            words::counted(freedom, "degree"),
        ),
    }
}

fn table(calibration: &Calibration, driver: Driver) -> Table {
    let declared = driver.parameters();
    let numbers = calibration.parameters.iter().enumerate();
    let mut rows: Vec<Vec<String>> = numbers
        .filter(|(_, (_, values))| values.iter().any(|value| value.is_finite()))
        .map(|(index, (name, values))| {
            let kind = declared
                .iter()
                .find(|parameter| parameter.name == name)
                .map(|parameter| &parameter.kind);
            parameter(
                name,
                values,
                kind,
                deviation(calibration, Term::Parameter(index)),
            )
        })
        .collect();
    rows.extend(line(calibration));
    Table {
        columns: vec![
            Column::words("parameter"),
            Column::number("value"),
            Column::number("u (k = 1)"),
            Column::words("unit"),
        ],
        rows,
    }
}

fn parameter(
    name: &str,
    values: &[f64],
    kind: Option<&ParameterKind>,
    deviation: Option<f64>,
) -> Vec<String> {
    let unit = match kind {
        Some(ParameterKind::Number { unit, .. } | ParameterKind::List { unit, .. }) => unit,
        _ => "",
    };
    let value = match (kind, values) {
        (Some(ParameterKind::Choice { words, .. }), [index]) => word(words, *index),
        _ => list(values),
    };
    let deviation = deviation.map_or("given".to_owned(), figures::alone);
    vec![name.to_owned(), value, deviation, unit.to_owned()]
}

/// Offset and slope on top of the driver's curve, where they say something.
fn line(calibration: &Calibration) -> Vec<Vec<String>> {
    let unit = calibration.unit.as_str();
    let terms = [
        ("offset", calibration.offset, Term::Offset, unit),
        ("slope", calibration.slope, Term::Slope, "1"),
    ];
    let mut rows: Vec<Vec<String>> = terms
        .into_iter()
        .filter(|(_, value, term, _)| *value != 0.0 || calibration.terms.contains(term))
        .map(|(name, value, term, unit)| {
            let deviation = deviation(calibration, term);
            let shown = deviation.map_or("given".to_owned(), figures::alone);
            let value = figures::to(value, deviation.unwrap_or(f64::NAN));
            vec![name.to_owned(), value, shown, unit.to_owned()]
        })
        .collect();
    if calibration.terms.contains(&Term::Slope) || calibration.slope != 0.0 {
        let value = figures::digits(calibration.pivot, 6);
        rows.push(vec![
            "pivot".to_owned(),
            value,
            "given".to_owned(),
            unit.to_owned(),
        ]);
    }
    rows
}

/// Standard uncertainty of a fitted term.
fn deviation(calibration: &Calibration, term: Term) -> Option<f64> {
    let index = calibration.terms.iter().position(|one| *one == term)?;
    let variance = calibration.covariance.get(index)?.get(index)?;
    Some(variance.max(0.0).sqrt())
}

fn word(words: &[&str], index: f64) -> String {
    let at = words.iter().enumerate().find(|(n, _)| *n as f64 == index);
    at.map_or_else(|| figures::digits(index, 3), |(_, word)| (*word).to_owned())
}

fn list(values: &[f64]) -> String {
    let shown: Vec<String> = values
        .iter()
        .map(|value| figures::digits(*value, 9))
        .collect();
    shown.join(" ")
}

fn covariance(calibration: &Calibration) -> Table {
    let names: Vec<String> = calibration
        .terms
        .iter()
        .map(|term| name(calibration, *term))
        .collect();
    let rows = names
        .iter()
        .zip(&calibration.covariance)
        .map(|(name, row)| {
            let cells = row.iter().map(|cell| format!("{cell:.3e}"));
            std::iter::once(name.clone()).chain(cells).collect()
        });
    let first = std::iter::once(Column::words(""));
    Table {
        rows: rows.collect(),
        columns: first.chain(names.iter().map(Column::number)).collect(),
    }
}

fn name(calibration: &Calibration, term: Term) -> String {
    match term {
        Term::Parameter(index) => calibration
            .parameters
            .get(index)
            .map_or_else(|| format!("parameter {index}"), |(name, _)| name.clone()),
        Term::Offset => "offset".to_owned(),
        Term::Slope => "slope".to_owned(),
    }
}

fn residual_table(certificate: &Certificate<'_>) -> Table {
    let calibration = certificate.calibration;
    let rows = calibration.points.iter().zip(&calibration.residuals);
    Table {
        columns: vec![
            Column::number("point"),
            Column::number(format!("fit less reference, {}", calibration.unit)),
            Column::number("u (k = 1)"),
            Column::number("ratio"),
        ],
        rows: rows
            .map(|(step, residual)| {
                let (error, uncertainty) = figures::pair(residual.error, residual.uncertainty);
                let ratio = figures::tenths(residual.error / residual.uncertainty);
                vec![certificate.point_name(*step), error, uncertainty, ratio]
            })
            .collect(),
    }
}
