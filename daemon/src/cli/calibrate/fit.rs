//! A fit to look at, and the calibration that was made of it.

use super::number::{decimals, expanded, half, signed, with_unit};
use super::overview::{reference, shortened};
use super::page::{HEADING, LOUD, Page, QUIET, gap, hanging, text};
use crate::calibrate::session::{Finished, Fitting, Knowledge, Session};
use crate::calibrate::{Calibration, Point, Verdict, Verification};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::symbols::Marker;
use ratatui::text::Line;
use ratatui::widgets::{Axis, Chart, Dataset, GraphType};

/// Lines of the curve, and of text that it must leave.
const CHART: u16 = 8;
const LEAST_TEXT: u16 = 10;

/// Places at which the curve is drawn.
const PLACES: u32 = 120;

/// Causes of uncertainty that are shown: the first ones matter.
const CAUSES: usize = 3;

pub(super) fn draw_fit<K: Knowledge>(
    session: &Session<K>,
    fitting: &Fitting,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let hints: &[_] = match &fitting.result {
        Ok(_) => &[
            ("enter", "keep this calibration"),
            ("esc", "back"),
            ("q", "leave"),
        ],
        Err(_) => &[("enter", "back"), ("q", "leave")],
    };
    page.draw("a fit", hints, frame, |area, frame| match &fitting.result {
        Ok(calibration) => draw_calibration(session, fitting, calibration, area, frame),
        Err(why) => {
            let line = Line::styled(format!("! no calibration: {why}"), LOUD);
            frame.render_widget(text(vec![line]), area);
        }
    });
}

fn draw_calibration<K: Knowledge>(
    session: &Session<K>,
    fitting: &Fitting,
    calibration: &Calibration,
    area: Rect,
    frame: &mut Frame<'_>,
) {
    let has_room = area.height >= CHART + LEAST_TEXT;
    let rows = [
        Constraint::Min(0),
        Constraint::Length(if has_room { CHART } else { 0 }),
    ];
    let [words, chart] = Layout::vertical(rows).areas(area);
    let unit = &session.knowledge().subject().unit;
    let decision = hanging("", &calibration.decision, area.width);
    let mut lines: Vec<_> = decision.into_iter().map(|it| it.style(HEADING)).collect();
    lines.extend(remarks(calibration, area.width));
    lines.push(Line::styled(
        format!(
            "{:>5}  {:<24} {:<26} {}",
            "point", "reference", "value", "fit less reference"
        ),
        QUIET,
    ));
    let rows = fitting.points.iter();
    lines.extend(rows.map(|(number, point)| fitted_line(*number, point, calibration, unit)));
    lines.extend(verified(&fitting.verifications, unit));
    lines.extend(causes(session, calibration, area.width));
    frame.render_widget(text(lines), words);
    if has_room {
        draw_curve(session, fitting, calibration, chart, frame);
    }
}

fn fitted_line(number: u64, point: &Point, calibration: &Calibration, unit: &str) -> Line<'static> {
    let compared = &point.compared;
    let value = expanded(compared.value, compared.own.hypot(compared.common), unit);
    let what = shortened(&reference(&compared.reference), 24);
    let place = calibration.points.iter().position(|it| *it == number);
    let residual = place.and_then(|place| calibration.residuals.get(place));
    let error = residual.map_or("left out".to_owned(), |it| {
        format!("{} {unit}", signed(it.error, it.uncertainty))
    });
    Line::raw(format!("{number:>5}  {what:<24} {value:<26} {error}"))
}

fn remarks(calibration: &Calibration, width: u16) -> impl Iterator<Item = Line<'static>> + '_ {
    let remarks = calibration.remarks.iter();
    let lines = remarks.flat_map(move |remark| hanging("! ", remark, width));
    lines.map(|line| line.style(LOUD))
}

fn verified<'a>(
    verifications: &'a [Verification],
    unit: &'a str,
) -> impl Iterator<Item = Line<'static>> + 'a {
    verifications.iter().map(move |it| {
        let line = Line::raw(format!("{:>5}  kept out: {}", it.point, outcome(it, unit)));
        if it.pass { line } else { line.style(LOUD) }
    })
}

/// What a verification came to, in a line.
pub(super) fn outcome(it: &Verification, unit: &str) -> String {
    let error = signed(it.error, it.expanded);
    let outcome = match it.verdict() {
        Verdict::Pass => "pass",
        Verdict::Fail => "FAIL",
        Verdict::Undecided => "cannot be decided",
    };
    let half = half(it.expanded);
    let tolerance = it.tolerance;
    format!("off by {error} {half} (k = 2), tolerance {tolerance} {unit}: {outcome}")
}

/// The largest causes of uncertainty, in per cent of the variance, with what would help.
fn causes<K: Knowledge>(
    session: &Session<K>,
    calibration: &Calibration,
    width: u16,
) -> Vec<Line<'static>> {
    let budget = session.knowledge().budget(calibration);
    let whole: f64 = budget.iter().map(|share| share.uncertainty.powi(2)).sum();
    let shares = budget.iter().take(CAUSES).filter(|_| whole > 0.0);
    let lines = shares.flat_map(|share| {
        let percent = 100.0 * share.uncertainty.powi(2) / whole;
        let words = format!("{}: {}", share.name, share.remedy);
        hanging(&format!("{percent:>4.0} %  "), &words, width)
    });
    let unit = &session.knowledge().subject().unit;
    let heading = format!(
        "A reading amid its points is good to {} {unit} (k = 2); that comes from",
        half(2.0 * whole.sqrt())
    );
    let heading = Line::styled(heading, QUIET);
    std::iter::once(heading).chain(lines).collect()
}

/// The curve over the points' range, and the points on it.
fn draw_curve<K: Knowledge>(
    session: &Session<K>,
    fitting: &Fitting,
    calibration: &Calibration,
    area: Rect,
    frame: &mut Frame<'_>,
) {
    let (low, high) = calibration.range;
    let place = |index: u32| low + (high - low) * f64::from(index) / f64::from(PLACES);
    let at = |input: f64| {
        session
            .knowledge()
            .value_by(calibration, input)
            .map(|it| (input, it))
    };
    let curve: Vec<(f64, f64)> = (0..=PLACES).filter_map(|index| at(place(index))).collect();
    let points = fitting
        .points
        .iter()
        .map(|(_, it)| (it.captured.mean, it.compared.value));
    let points: Vec<(f64, f64)> = points.collect();
    let values = || curve.iter().chain(&points).map(|(_, value)| *value);
    let (bottom, top) = (
        values().fold(f64::INFINITY, f64::min),
        values().fold(f64::NEG_INFINITY, f64::max),
    );
    if curve.len() < 2 || !(top - bottom).is_finite() || high <= low {
        return;
    }
    let room = (0.05 * (top - bottom)).max(1e-9);
    let subject = session.knowledge().subject();
    // A ratio's ends differ in their decimals, ohms do not.
    let places = decimals(0.1 * (high - low));
    let inputs =
        [low, high].map(|input| with_unit(format!("{input:.places$}"), &subject.electrical));
    let outputs = [bottom, top].map(|value| format!("{value:.1} {}", subject.unit));
    let line = Dataset::default()
        .marker(Marker::Braille)
        .graph_type(GraphType::Line)
        .data(&curve);
    let dots = Dataset::default().marker(Marker::Custom('o')).data(&points);
    let chart = Chart::new(vec![line, dots])
        .x_axis(Axis::default().bounds([low, high]).labels(inputs))
        .y_axis(
            Axis::default()
                .bounds([bottom - room, top + room])
                .labels(outputs),
        );
    frame.render_widget(chart, area);
}

pub(super) fn draw_finished<K: Knowledge>(
    session: &Session<K>,
    finished: &Finished,
    page: &Page<'_>,
    frame: &mut Frame<'_>,
) {
    let hints: &[_] = match (finished.number, finished.is_active) {
        (None, _) => &[
            ("enter", "try again to keep it"),
            ("esc", "back"),
            ("q", "leave"),
        ],
        (Some(_), false) => &[
            ("enter", "use it from now on"),
            ("esc", "not yet"),
            ("q", "leave"),
        ],
        (Some(_), true) => &[("enter", "go on"), ("q", "leave")],
    };
    let step = finished.number;
    let made = step.and_then(|step| session.history().calibration_of_step(step));
    let kept = made.map_or("It is on its way into the log.".to_owned(), |made| {
        format!("Calibration {} is kept in the log.", made.number)
    });
    let used = match finished.is_active {
        true => "It is in use: each reading from now on is by it.",
        false => "It is not in use yet; what is in use stays so until then.",
    };
    let unit = &session.knowledge().subject().unit;
    page.draw("a calibration", hints, frame, |area, frame| {
        let mut lines = vec![Line::styled(kept, HEADING), Line::raw(used), gap()];
        lines.extend(hanging("", &finished.calibration.decision, area.width));
        lines.extend(remarks(&finished.calibration, area.width));
        lines.push(gap());
        if finished.verifications.is_empty() {
            lines.push(Line::raw(
                "Nothing verifies it yet: make one more point, kept out of the fit.",
            ));
        }
        lines.extend(verified(&finished.verifications, unit));
        frame.render_widget(text(lines), area);
    });
}
