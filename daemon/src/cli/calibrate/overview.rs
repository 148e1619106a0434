//! The first screen: points at hand, what would help most, calibrations made.

use super::number::expanded;
use super::page::{HEADING, Page, QUIET, SELECTED, gap, text};
use crate::calibrate::session::{Knowledge, Session};
use crate::calibrate::{Point, Reference, Role};
use ratatui::Frame;
use ratatui::text::Line;

/// Lines for points, at most: the rest is scrolled through.
const POINTS: usize = 10;

pub(super) fn draw<K: Knowledge>(
    session: &Session<K>,
    selected: usize,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let advice = session.knowledge().advise(session.desk());
    let next = match advice.offer {
        Some(_) => ("enter", "next point"),
        None => ("enter", "fit"),
    };
    let hints = [
        next,
        ("n", "a point"),
        ("f", "fit"),
        ("d", "drop the point"),
        ("q", "leave"),
    ];
    page.draw("calibration", &hints, frame, |area, frame| {
        let mut lines = points(session, selected);
        lines.extend([gap(), Line::styled("What next", HEADING)]);
        lines.extend(next_lines(session));
        lines.extend([gap(), Line::styled("Calibrations", HEADING)]);
        lines.push(Line::raw(made(session)));
        frame.render_widget(text(lines), area);
    });
}

fn points<K: Knowledge>(session: &Session<K>, selected: usize) -> Vec<Line<'static>> {
    let points = session.desk().points();
    let subject = session.knowledge().subject();
    let mut lines = vec![Line::styled("Points at hand", HEADING)];
    if points.is_empty() {
        lines.push(Line::styled("  none yet", QUIET));
    }
    let first = (selected + 1).saturating_sub(POINTS);
    let shown = points.iter().enumerate().skip(first).take(POINTS);
    lines.extend(shown.map(|(index, (number, point))| {
        let mark = if index == selected { ">" } else { " " };
        let line = Line::raw(format!(
            "{mark} {}",
            point_line(*number, point, &subject.unit)
        ));
        if index == selected {
            line.style(SELECTED)
        } else {
            line
        }
    }));
    if points.len() > POINTS {
        lines.push(Line::styled(
            format!("  {} points in all", points.len()),
            QUIET,
        ));
    }
    lines
}

fn point_line(number: u64, point: &Point, unit: &str) -> String {
    let compared = &point.compared;
    let role = match point.role {
        Role::Fit => "",
        Role::Check => "  kept out, verifies",
    };
    let value = expanded(compared.value, compared.own.hypot(compared.common), unit);
    format!(
        "{number:>3}  {:<24} {value}{role}",
        reference(&compared.reference)
    )
}

/// A reference in a few words.
pub(super) fn reference(reference: &Reference) -> String {
    match reference {
        Reference::Ice => "ice point".to_owned(),
        Reference::Boiling { .. } => "boiling water".to_owned(),
        Reference::Instrument { name } => format!("beside `{name}`"),
        Reference::Known { what } => what.clone(),
        Reference::Resistor { what } => format!("resistor {what}"),
    }
}

fn next_lines<K: Knowledge>(session: &Session<K>) -> Vec<Line<'static>> {
    let knowledge = session.knowledge();
    let advice = knowledge.advise(session.desk());
    let offer = advice.offer.and_then(|offer| knowledge.offers().get(offer));
    let what = match offer {
        Some(offer) if advice.is_check => format!("{}, kept out to verify the fit", offer.name),
        Some(offer) => offer.name.clone(),
        None => "enough points: fit".to_owned(),
    };
    vec![
        Line::raw(format!("  {what}")),
        Line::raw(format!("  {}", advice.why)),
    ]
}

fn made<K: Knowledge>(session: &Session<K>) -> String {
    let desk = session.desk();
    let in_use = desk.active().map_or(
        "the configured parameters are in use".to_owned(),
        |number| format!("number {number} is in use"),
    );
    match desk.made().len() {
        0 => format!("  none yet; {in_use}"),
        count => format!("  {count} made; {in_use}"),
    }
}
