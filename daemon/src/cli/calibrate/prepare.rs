//! Before a point: which reference, what has to be known of it, how to make it well.

use super::number::expanded;
use super::page::{HEADING, LOUD, Page, QUIET, SELECTED, gap, hanging, text};
use crate::calibrate::Role;
use crate::calibrate::session::{Form, Knowledge, Offer, Prepared, ReadOff, Session};
use ratatui::Frame;
use ratatui::text::Line;

pub(super) fn draw_choice<K: Knowledge>(
    session: &Session<K>,
    selected: usize,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let hints = [
        ("up/down", "choose"),
        ("enter", "take it"),
        ("esc", "back"),
        ("q", "leave"),
    ];
    let advised = session.knowledge().advise().offer;
    page.draw("a reference", &hints, frame, |area, frame| {
        let mut lines = vec![Line::styled("Compare it with", HEADING), gap()];
        for (index, offer) in session.knowledge().offers().iter().enumerate() {
            lines.extend(offered(offer, index == selected, advised == Some(index)));
        }
        frame.render_widget(text(lines), area);
    });
}

fn offered(offer: &Offer, is_selected: bool, is_advised: bool) -> [Line<'static>; 2] {
    let mark = if is_selected { ">" } else { " " };
    let advised = if is_advised {
        "  (would help most)"
    } else {
        ""
    };
    let name = Line::raw(format!("{mark} {}{advised}", offer.name));
    let about = Line::styled(format!("    {}", offer.about), QUIET);
    [
        if is_selected {
            name.style(SELECTED)
        } else {
            name
        },
        about,
    ]
}

pub(super) fn draw_form<K: Knowledge>(
    session: &Session<K>,
    form: &Form,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let hints = [
        ("enter", "next"),
        ("up/down", "another line"),
        ("esc", "back"),
    ];
    let Some(offer) = session.knowledge().offers().get(form.offer) else {
        return;
    };
    page.draw(&offer.name, &hints, frame, |area, frame| {
        let mut lines = vec![Line::styled("What is known of it", HEADING), gap()];
        lines.extend(form_lines(offer, form));
        if offer.read_off.is_some() {
            let again = "What it shows is asked once more when the probe is captured.";
            lines.extend([gap(), Line::styled(again, QUIET)]);
        }
        frame.render_widget(text(lines), area);
    });
}

/// What the instrument shows, now that the probe has been captured.
pub(super) fn draw_read_off<K: Knowledge>(
    session: &Session<K>,
    read_off: &ReadOff,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let hints = [
        ("enter", "that is what it shows"),
        ("up/down", "another line"),
        ("esc", "watch again"),
    ];
    let form = &read_off.form;
    let Some(offer) = session.knowledge().offers().get(form.offer) else {
        return;
    };
    page.draw(&offer.name, &hints, frame, |area, frame| {
        let mut lines = vec![
            Line::styled("The probe is captured: read the instrument now", HEADING),
            gap(),
        ];
        lines.extend(form_lines(offer, form));
        frame.render_widget(text(lines), area);
    });
}

fn form_lines(offer: &Offer, form: &Form) -> Vec<Line<'static>> {
    let mut lines = Vec::new();
    let questions = offer.questions.iter().zip(&form.answers).enumerate();
    for (index, (question, answer)) in questions {
        let (mark, cursor) = if index == form.at {
            (">", "_")
        } else {
            (" ", "")
        };
        let label = &question.label;
        lines.push(Line::raw(format!("{mark} {label:<24} {answer}{cursor}")));
        let example = format!("{:27}such as {}", "", question.example);
        lines.push(Line::styled(example, QUIET));
    }
    if let Some(complaint) = &form.complaint {
        lines.extend([gap(), Line::styled(format!("! {}", complaint.text), LOUD)]);
    }
    lines
}

pub(super) fn draw_steps<K: Knowledge>(
    session: &Session<K>,
    prepared: &Prepared,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let keep = match prepared.role {
        Role::Fit => ("k", "keep it out, to verify"),
        Role::Check => ("k", "put it into the fit"),
    };
    let hints = [
        ("enter", "it is in: watch it"),
        keep,
        ("esc", "back"),
        ("q", "leave"),
    ];
    let Some(offer) = session.knowledge().offers().get(prepared.offer) else {
        return;
    };
    let unit = &session.knowledge().subject().unit;
    page.draw(&offer.name, &hints, frame, |area, frame| {
        let mut lines = vec![Line::raw(reference_line(prepared, unit)), gap()];
        // First: a small screen cuts what stands last.
        lines.push(Line::styled("Take care", HEADING));
        let cautions = offer.cautions.iter();
        lines.extend(cautions.flat_map(|it| hanging(" !  ", it, area.width)));
        lines.extend([gap(), Line::styled("How to make it well", HEADING)]);
        let steps = offer.steps.iter().enumerate();
        lines.extend(
            steps.flat_map(|(index, step)| {
                hanging(&format!("{:>2}. ", index + 1), step, area.width)
            }),
        );
        frame.render_widget(text(lines), area);
    });
}

/// The reference value, with what the point is for.
pub(super) fn reference_line(prepared: &Prepared, unit: &str) -> String {
    let compared = &prepared.compared;
    let value = expanded(compared.value, compared.own.hypot(compared.common), unit);
    match prepared.role {
        Role::Fit => format!("reference {value}"),
        Role::Check => format!("reference {value}; kept out of the fit, to verify it"),
    }
}
