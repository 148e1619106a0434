//! After a capture: a point that was taken, or one that cannot be true.

use super::number::{expanded, signed};
use super::page::{HEADING, LOUD, Page, gap, hanging, text};
use super::prepare::reference_line;
use crate::calibrate::Captured;
use crate::calibrate::capture::Drift;
use crate::calibrate::session::{Doubtful, Knowledge, Session, TakenPoint};
use ratatui::Frame;
use ratatui::text::Line;

pub(super) fn draw_doubt<K: Knowledge>(
    session: &Session<K>,
    doubtful: &Doubtful,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let hints = [
        ("enter", "again"),
        ("t", "take it all the same"),
        ("d", "drop it"),
        ("q", "leave"),
    ];
    let unit = &session.knowledge().subject().unit;
    page.draw("a point in doubt", &hints, frame, |area, frame| {
        let mut lines = vec![
            Line::styled(format!("! {}", doubtful.doubt.what), LOUD),
            gap(),
            Line::styled("What is likely behind it", HEADING),
        ];
        let causes = doubtful.doubt.causes.iter();
        lines.extend(causes.flat_map(|cause| hanging(" - ", cause, area.width)));
        lines.extend([gap(), Line::raw(reference_line(&doubtful.prepared, unit))]);
        let (captured, drift) = (&doubtful.captured, doubtful.drift);
        lines.extend(captured_lines(session, captured, drift, area.width));
        lines.push(gap());
        lines.push(Line::raw(
            "It stood still, but settled is not yet right. It is not kept yet.",
        ));
        frame.render_widget(text(lines), area);
    });
}

pub(super) fn draw_taken<K: Knowledge>(
    session: &Session<K>,
    taken: &TakenPoint,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let hints = [
        ("enter", "go on"),
        ("a", "again"),
        ("d", "drop it"),
        ("q", "leave"),
    ];
    let unit = &session.knowledge().subject().unit;
    page.draw("a point", &hints, frame, |area, frame| {
        let kept = match taken.number {
            Some(number) => format!("Point {number} is kept in the log."),
            None => {
                "On its way into the log; enter tries again if it does not get there.".to_owned()
            }
        };
        let mut lines = vec![Line::styled(kept, HEADING), gap()];
        lines.push(Line::raw(reference_line(&taken.prepared, unit)));
        let (captured, drift) = (&taken.captured, taken.drift);
        lines.extend(captured_lines(session, captured, drift, area.width));
        if let Some(value) = session.knowledge().value(taken.captured.mean) {
            let compared = &taken.prepared.compared;
            let difference = signed(value - compared.value, compared.own.hypot(compared.common));
            lines.push(Line::raw(format!(
                "by the curve in use it is off by {difference} {unit}"
            )));
        }
        frame.render_widget(text(lines), area);
    });
}

fn captured_lines<K: Knowledge>(
    session: &Session<K>,
    captured: &Captured,
    drift: Drift,
    width: u16,
) -> Vec<Line<'static>> {
    let unit = &session.knowledge().subject().electrical;
    let mut lines = vec![
        Line::raw(format!(
            "probe     {}",
            expanded(captured.mean, captured.uncertainty, unit)
        )),
        gap(),
        Line::styled("How it is known", HEADING),
    ];
    let evidence = captured.evidence.split("; ");
    lines.extend(evidence.flat_map(|part| hanging(" - ", part, width)));
    if drift == Drift::Counted {
        lines.push(Line::styled(
            "! it drifted meanwhile: a stiller bath gives a better point",
            LOUD,
        ));
    }
    lines
}
