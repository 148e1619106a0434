//! Before a point: which reference, what has to be known of it, how to make it well.

use super::number::expanded;
use super::page::{HEADING, LOUD, Page, QUIET, SELECTED, gap, text};
use crate::calibrate::Role;
use crate::calibrate::session::{Form, Knowledge, Offer, Prepared, Session};
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
    let advised = session.knowledge().advise(session.desk()).offer;
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
        let questions = offer.questions.iter().zip(&form.answers).enumerate();
        for (index, (question, answer)) in questions {
            let (mark, cursor) = if index == form.at {
                (">", "_")
            } else {
                (" ", "")
            };
            lines.push(Line::raw(format!(
                "{mark} {:<28} {answer}{cursor}",
                question.label
            )));
            lines.push(Line::styled(
                format!("    such as {}", question.example),
                QUIET,
            ));
        }
        if let Some(complaint) = &form.complaint {
            lines.extend([gap(), Line::styled(format!("! {}", complaint.text), LOUD)]);
        }
        frame.render_widget(text(lines), area);
    });
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
        lines.push(Line::styled("How to make it well", HEADING));
        let steps = offer.steps.iter().enumerate();
        lines.extend(steps.map(|(index, step)| Line::raw(format!("{:>2}. {step}", index + 1))));
        lines.extend([gap(), Line::styled("Take care", HEADING)]);
        lines.extend(
            offer
                .cautions
                .iter()
                .map(|it| Line::raw(format!(" !  {it}"))),
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
