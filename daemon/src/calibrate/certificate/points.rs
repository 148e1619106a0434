//! The points of a certificate: references, what the probe read, how it settled, what verifies.

use super::document::{Block, Column, Table};
use super::{Certificate, figures};
use crate::calibrate::Verdict;
use crate::calibrate::calibration::Verification;
use crate::calibrate::point::{Compared, Point, Reference, Role, Shape};
use crate::calibrate::reference::combined;

/// The tables of the points.
pub(super) fn blocks(certificate: &Certificate<'_>) -> Vec<Block> {
    if certificate.points.is_empty() {
        return vec![Block::Paragraph("The points are not at hand.".to_owned())];
    }
    vec![
        Block::Table(references(certificate)),
        Block::Table(captures(certificate)),
        Block::Paragraph(
            "n samples, whose noise counts as that of n eff. independent ones.".to_owned(),
        ),
        Block::Table(evidence(certificate)),
    ]
}

/// The outcomes of the points that were kept out.
pub(super) fn verifications(certificate: &Certificate<'_>) -> Vec<Block> {
    let [first, ..] = certificate.verifications else {
        return vec![Block::Paragraph(
            "Not verified: no point was kept out, and none was taken later.".to_owned(),
        )];
    };
    let unit = &certificate.calibration.unit;
    let rows = certificate.verifications.iter();
    vec![
        Block::Table(Table {
            columns: vec![
                Column::words("point"),
                Column::number(format!("error, {unit}")),
                Column::number("U (k = 2)"),
                Column::number("tolerance"),
                Column::words("outcome"),
            ],
            rows: rows.map(|one| verification(certificate, one)).collect(),
        }),
        Block::Paragraph(format!("Decision rule: {}", first.rule)),
    ]
}

fn verification(certificate: &Certificate<'_>, one: &Verification) -> Vec<String> {
    let (error, expanded) = figures::pair(one.error, one.expanded);
    vec![
        certificate.point_name(one.point),
        error,
        expanded,
        figures::digits(one.tolerance, 4),
        outcome(one).to_owned(),
    ]
}

fn outcome(one: &Verification) -> &'static str {
    match one.verdict() {
        Verdict::Pass => "pass",
        Verdict::Fail => "fail",
        Verdict::Undecided => "cannot be decided",
    }
}

fn references(certificate: &Certificate<'_>) -> Table {
    let rows = certificate.points.iter().map(|(step, point)| {
        let (value, uncertainty) = figures::pair(point.compared.value, combined(&point.compared));
        vec![
            certificate.point_name(*step),
            role(point.role).to_owned(),
            reference(&point.compared),
            format!("{value} {}", unit(certificate, point)),
            uncertainty,
        ]
    });
    Table {
        columns: vec![
            Column::number("point"),
            Column::words("role"),
            Column::words("reference"),
            Column::number("value"),
            Column::number("u (k = 1)"),
        ],
        rows: rows.collect(),
    }
}

fn captures(certificate: &Certificate<'_>) -> Table {
    let rows = certificate.points.iter().map(|(step, point)| {
        let captured = &point.captured;
        let (mean, uncertainty) = figures::pair(captured.mean, captured.uncertainty);
        vec![
            certificate.point_name(*step),
            mean,
            uncertainty,
            captured.electrical.len().to_string(),
            figures::digits(captured.effective, 3),
            certificate.moment(captured.from_ms),
            seconds(captured.from_ms, captured.until_ms),
        ]
    });
    let unit = certificate.input_unit();
    Table {
        columns: vec![
            Column::number("point"),
            Column::number(format!("probe, {unit}")),
            Column::number("u (k = 1)"),
            Column::number("n"),
            Column::number("n eff."),
            Column::number("captured from"),
            Column::number("for"),
        ],
        rows: rows.collect(),
    }
}

fn evidence(certificate: &Certificate<'_>) -> Table {
    let rows = certificate.points.iter().map(|(step, point)| {
        vec![
            certificate.point_name(*step),
            step.to_string(),
            point.captured.evidence.clone(),
        ]
    });
    Table {
        columns: vec![
            Column::number("point"),
            Column::number("log step"),
            Column::words("how it is known to have settled"),
        ],
        rows: rows.collect(),
    }
}

/// A reference in words.
pub(super) fn reference(compared: &Compared) -> String {
    let shape = match compared.common_shape {
        Shape::Normal => "",
        Shape::Rectangular => ", within a tolerance",
    };
    match &compared.reference {
        Reference::Ice => "ice point".to_owned(),
        Reference::Boiling {
            pressure,
            pressure_uncertainty,
            altitude,
        } => boiling(*pressure, *pressure_uncertainty, *altitude),
        Reference::Instrument { name } => format!("instrument {name}{shape}"),
        Reference::Known { what } => format!("known value: {what}{shape}"),
        Reference::Resistor { what } => format!("known resistor: {what}{shape}"),
    }
}

fn boiling(pascal: f64, uncertainty: f64, altitude: Option<f64>) -> String {
    let (pressure, uncertainty) = figures::pair(pascal / 1000.0, uncertainty / 1000.0);
    let from = altitude.map_or(String::new(), |metre| {
        format!(
            ", of the standard atmosphere at {} m, weather and an altitude within 20 m counted",
            figures::digits(metre, 4)
        )
    });
    format!("boiling water at {pressure} kPa (u = {uncertainty} kPa{from})")
}

fn unit<'a>(certificate: &'a Certificate<'_>, point: &Point) -> &'a str {
    match point.compared.reference {
        Reference::Resistor { .. } => "Ohm",
        _ => &certificate.calibration.unit,
    }
}

fn role(role: Role) -> &'static str {
    match role {
        Role::Fit => "fit",
        Role::Check => "check",
    }
}

fn seconds(from_ms: i64, until_ms: i64) -> String {
    format!("{} s", until_ms.saturating_sub(from_ms) / 1000)
}
