//! A point under way: the value, large; how it settles; how far the capture has come.

use super::number::{decimals, with_unit};
use super::page::{LOUD, Page, QUIET, gap};
use super::prepare::reference_line;
use super::{bar, digits, page};
use crate::calibrate::session::{Knowledge, Live, Session};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::symbols::Marker;
use ratatui::text::Line;
use ratatui::widgets::{Axis, Chart, Dataset, GraphType};

/// Lines below which there is no room for a chart.
const CHART: u16 = 4;

pub(super) fn draw<K: Knowledge>(
    session: &Session<K>,
    live: &Live,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let hints = [
        ("c", "capture now"),
        ("r", "begin anew"),
        ("esc", "back"),
        ("q", "leave"),
    ];
    let offers = session.knowledge().offers();
    let name = offers
        .get(live.prepared.offer)
        .map_or("", |offer| &offer.name);
    page.draw(name, &hints, frame, |area, frame| {
        let rows = [
            Constraint::Length(9),
            Constraint::Min(0),
            Constraint::Length(5),
        ];
        let [value, trace, progress] = Layout::vertical(rows).areas(area);
        frame.render_widget(page::text(value_lines(session, live)), value);
        if trace.height >= CHART {
            draw_trace(session, live, trace, frame);
        }
        frame.render_widget(page::text(progress_lines(session, live)), progress);
    });
}

fn value_lines<K: Knowledge>(session: &Session<K>, live: &Live) -> Vec<Line<'static>> {
    let subject = session.knowledge().subject();
    let mut lines = vec![
        Line::raw(reference_line(&live.prepared, &subject.unit)),
        gap(),
    ];
    let electrical = live.heard().and_then(|heard| heard.electrical);
    let value = electrical.and_then(|it| session.knowledge().value(it));
    let number = match (value, electrical) {
        (Some(value), Some(electrical)) => {
            format!("{value:.*}", decimals(aim_of_value(session, electrical)))
        }
        _ => "--".to_owned(),
    };
    let mut big = digits::big(&number).map(|line| format!("  {line}"));
    big[digits::HEIGHT - 1].push_str(&subject.unit);
    lines.extend(big.map(Line::raw));
    lines.extend([gap(), Line::styled(quantity(session, live), QUIET)]);
    lines
}

fn quantity<K: Knowledge>(session: &Session<K>, live: &Live) -> String {
    let Some(heard) = live.heard() else {
        return "no reading yet".to_owned();
    };
    let Some(electrical) = heard.electrical else {
        return format!("no value: {}", heard.quality);
    };
    let places = decimals(session.knowledge().aim(electrical).reachable());
    let unit = &session.knowledge().subject().electrical;
    let electrical = with_unit(format!("{electrical:.places$}"), unit);
    format!("{electrical}; the value is by the curve in use")
}

/// What the aim is in the unit of the value.
fn aim_of_value<K: Knowledge>(session: &Session<K>, electrical: f64) -> f64 {
    let aim = session.knowledge().aim(electrical).reachable();
    let here = session.knowledge().value(electrical);
    let there = session.knowledge().value(electrical + aim);
    here.zip(there)
        .map_or(f64::NAN, |(here, there)| there - here)
}

fn progress_lines<K: Knowledge>(session: &Session<K>, live: &Live) -> Vec<Line<'static>> {
    let verdict = live.verdict(session.knowledge().is_falling());
    let settled = verdict.as_ref().is_some_and(|it| it.is_settled());
    let words = verdict.map_or("waits for a reading".to_owned(), |it| it.to_string());
    let (share, state) = match live.captured() {
        Some(share) if reads_off(session, live) => (Some(share), "read the instrument"),
        Some(share) => (Some(share), "keep it still"),
        None => (None, "begins by itself once it has settled"),
    };
    let settling = if settled { Some(1.0) } else { live.settled() };
    let mut lines = vec![
        bar::line("settling", settling, if settled { "settled" } else { "" }),
        Line::raw(format!("         {words}")),
        bar::line("capture", share, state),
    ];
    if let Some(note) = live.note() {
        lines.push(Line::styled(format!("! {note}"), LOUD));
    }
    lines
}

fn reads_off<K: Knowledge>(session: &Session<K>, live: &Live) -> bool {
    let offer = session.knowledge().offers().get(live.prepared.offer);
    offer.is_some_and(|offer| offer.read_off.is_some())
}

/// The latest values, by the curve in use.
fn draw_trace<K: Knowledge>(session: &Session<K>, live: &Live, area: Rect, frame: &mut Frame<'_>) {
    let values = live.trace().filter_map(|it| session.knowledge().value(it));
    let points: Vec<(f64, f64)> = (0..).map(f64::from).zip(values).collect();
    let lowest = points
        .iter()
        .map(|(_, value)| *value)
        .fold(f64::INFINITY, f64::min);
    let highest = points
        .iter()
        .map(|(_, value)| *value)
        .fold(f64::NEG_INFINITY, f64::max);
    if points.len() < 2 || !(highest - lowest).is_finite() {
        return;
    }
    let places = (decimals(highest - lowest) + 1).min(6);
    let room = (0.05 * (highest - lowest)).max(1e-9);
    let labels = [lowest, highest].map(|value| format!("{value:.places$}"));
    let line = Dataset::default()
        .marker(Marker::Braille)
        .graph_type(GraphType::Line)
        .data(&points);
    let chart = Chart::new(vec![line])
        .x_axis(Axis::default().bounds([0.0, points.len() as f64 - 1.0]))
        .y_axis(
            Axis::default()
                .bounds([lowest - room, highest + room])
                .labels(labels),
        )
        .style(QUIET);
    frame.render_widget(chart, area);
}
