//! The first screen: points at hand, what would help most, calibrations made.

use super::fit::outcome;
use super::number::expanded;
use super::page::{HEADING, Hint, LOUD, Page, QUIET, SELECTED, gap, hanging, text};
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
    page.draw("calibration", &hints(session), frame, |area, frame| {
        let mut lines = points(session, selected);
        lines.extend([gap(), Line::styled("What next", HEADING)]);
        lines.extend(next_lines(session, area.width));
        if let Some(note) = &session.knowledge().subject().note {
            lines.push(Line::styled(format!("! {note}"), LOUD));
        }
        lines.extend([gap(), Line::styled("Calibrations", HEADING)]);
        lines.push(Line::raw(made(session)));
        lines.extend(verified(session, area.width));
        frame.render_widget(text(lines), area);
    });
}

/// Only what does something now.
fn hints<K: Knowledge>(session: &Session<K>) -> Vec<Hint> {
    let is_to_fit = session.to_fit() > 0;
    let is_enough = session.knowledge().advise().offer.is_none() && is_to_fit;
    let is_to_verify = session.to_verify().is_some();
    let mut hints = vec![if is_to_verify {
        ("enter", "verify")
    } else if is_enough {
        ("enter", "fit")
    } else {
        ("enter", "next point")
    }];
    if is_enough || is_to_verify {
        hints.push(("n", "one more point"));
    }
    if is_to_fit && !is_enough {
        hints.push(("f", "fit"));
    }
    if !session.points().is_empty() {
        hints.push(("d", "drop the point"));
    }
    hints.push(("q", "leave"));
    hints
}

fn points<K: Knowledge>(session: &Session<K>, selected: usize) -> Vec<Line<'static>> {
    let points = session.points();
    let subject = session.knowledge().subject();
    let mut lines = vec![Line::styled("Points at hand", HEADING)];
    if points.is_empty() {
        lines.push(Line::styled("  none yet", QUIET));
    }
    let first = (selected + 1).saturating_sub(POINTS);
    let shown = points.iter().enumerate().skip(first).take(POINTS);
    lines.extend(shown.map(|(index, taken)| {
        let mark = if index == selected { ">" } else { " " };
        let line = Line::raw(format!(
            "{mark} {}",
            point_line(taken.number, &taken.point, &subject.unit)
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
    let what = shortened(&reference(&compared.reference), 24);
    format!("{number:>3}  {what:<24} {value}{role}")
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

/// At most so many characters.
pub(super) fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let head: String = text.chars().take(most - 1).collect();
    head + "…"
}

fn next_lines<K: Knowledge>(session: &Session<K>, width: u16) -> Vec<Line<'static>> {
    let knowledge = session.knowledge();
    let advice = knowledge.advise();
    let offer = advice.offer.and_then(|offer| knowledge.offers().get(offer));
    let what = match offer {
        Some(offer) if advice.is_check => format!("{}, kept out to verify the fit", offer.name),
        Some(offer) => offer.name.clone(),
        None if session.to_verify().is_some() => "verify what is in use".to_owned(),
        None if session.to_fit() > 0 => "enough points: fit".to_owned(),
        None => "no further point for it".to_owned(),
    };
    let mut lines = vec![Line::raw(format!("  {what}"))];
    lines.extend(hanging("  ", &advice.why, width));
    lines
}

fn made<K: Knowledge>(session: &Session<K>) -> String {
    let history = session.history();
    let in_use = history.active_number().map_or(
        "the configured parameters are in use".to_owned(),
        |number| format!("calibration {number} is in use"),
    );
    match history.calibrations().len() {
        0 => format!("  none yet; {in_use}"),
        count => format!("  {count} made; {in_use}"),
    }
}

/// What the last verification of the calibration in use came to.
fn verified<K: Knowledge>(session: &Session<K>, width: u16) -> Vec<Line<'static>> {
    let in_use = session.history().active();
    let Some(last) = in_use.and_then(|made| made.verifications.last()) else {
        return Vec::new();
    };
    let unit = &session.knowledge().subject().unit;
    let point = last.verification.point;
    let words = format!(
        "verified by point {point}: {}",
        outcome(&last.verification, unit)
    );
    let is_loud = !last.verification.pass;
    let lines = hanging("  ", &words, width).into_iter();
    lines
        .map(|line| if is_loud { line.style(LOUD) } else { line })
        .collect()
}
