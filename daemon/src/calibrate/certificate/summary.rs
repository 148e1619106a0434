//! What a calibration has come to, in short, for the terminal in which it was made: the points with
//! their distance from the fit, and the drawings as text.
//!
//! Points are called by their log steps here, as commands and remarks call them. Evidence, covariance
//! and method are left to the certificate.

use super::document::{Block, Column, Section, Table};
use super::{Certificate, charts, contents, figures, fit, points, range, text};
use crate::calibrate::calibration::Residual;
use crate::calibrate::point::{Point, Role};
use crate::calibrate::reference::combined;
use crate::chart::{Chart, terminal};

/// Columns and rows of a drawing.
const DRAWING: (u16, u16) = (78, 16);

/// The whole text, 80 columns wide.
pub(super) fn render(certificate: &Certificate<'_>) -> String {
    let part = |title, blocks| Section { title, blocks };
    let mut sections = vec![
        part("What was done", contents::done(certificate)),
        part("Points", vec![Block::Table(table(certificate))]),
        part("Fit", fit::residuals(certificate).split_off(1)),
        part("Remarks", contents::remarks(certificate)),
        part("Parameters", fit::parameters(certificate)),
        part("Uncertainty over the range", range::blocks(certificate)),
        part("Verification", verifications(certificate)),
    ];
    // The covariance is the certificate's.
    sections[4].blocks.truncate(1);
    sections.retain(|section| !section.blocks.is_empty());
    let words = text::render(&certificate.title(), &sections);
    let drawings = [charts::curve(certificate), charts::residuals(certificate)];
    format!("{words}\n{}", drawings.map(|chart| drawn(&chart)).concat())
}

fn drawn(chart: &Chart) -> String {
    terminal::draw(chart, DRAWING.0, DRAWING.1) + "\n\n"
}

fn table(certificate: &Certificate<'_>) -> Table {
    let unit = &certificate.calibration.unit;
    let rows = certificate.points.iter();
    Table {
        columns: vec![
            Column::number("point"),
            Column::words("reference"),
            Column::number(format!("value, {unit}")),
            Column::number("u (k = 1)"),
            Column::number(format!("probe, {}", certificate.input_unit())),
            Column::number("fit less ref."),
        ],
        rows: rows
            .map(|(step, point)| row(certificate, (*step, point)))
            .collect(),
    }
}

fn row(certificate: &Certificate<'_>, (step, point): (u64, &Point)) -> Vec<String> {
    let compared = &point.compared;
    let (value, uncertainty) = figures::pair(compared.value, combined(compared));
    let kept_out = match point.role {
        Role::Fit => "",
        Role::Check => ", kept out",
    };
    let residual = residual(certificate, step);
    vec![
        step.to_string(),
        points::reference(compared) + kept_out,
        value,
        uncertainty,
        figures::to(point.captured.mean, point.captured.uncertainty),
        residual.map_or_else(String::new, |one| figures::to(one.error, one.uncertainty)),
    ]
}

fn residual<'a>(certificate: &Certificate<'a>, step: u64) -> Option<&'a Residual> {
    let calibration = certificate.calibration;
    let at = calibration.points.iter().position(|one| *one == step)?;
    calibration.residuals.get(at)
}

fn verifications(certificate: &Certificate<'_>) -> Vec<Block> {
    let unit = &certificate.calibration.unit;
    let each = certificate.verifications.iter();
    let words: Vec<String> = each
        .map(|one| format!("point {}: {}", one.point, one.words(unit)))
        .collect();
    match words.as_slice() {
        [] => Vec::new(),
        _ => vec![Block::List(words)],
    }
}
