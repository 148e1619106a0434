//! One probe's chain of calibrations, for people.

use super::page::{Page, day, decimals, minute, number, signed};
use crate::calibrate::history::{Conversion, Difference, Due, Made, Verified};
use crate::calibrate::history::{common_range, compare, inputs};
use crate::calibrate::{History, Verdict};
use crate::driver::Model;
use crate::words::counted;
use jiff::tz::TimeZone;

const DAY_MS: i64 = 86_400_000;
/// Places at which two calibrations are compared.
const PLACES: usize = 25;

/// A probe's history, and its model as it is configured, where there is a configuration.
pub type Chain<'a> = (&'a History, Option<&'a Model>);

/// The chain of a probe, as it stands now.
pub fn text(probe: &str, (history, configured): Chain<'_>, now_ms: i64, zone: &TimeZone) -> String {
    let mut page = Page::default();
    page.entry(&format!("{probe} "), &heading(history, zone));
    let draft = history.draft().count();
    if draft > 0 {
        let at_hand = counted(draft, "point");
        page.entry("  at hand", &format!("{at_hand}, in no calibration yet"));
    }
    for made in history.calibrations() {
        page.line("");
        calibration(&mut page, made, (history, configured), now_ms, zone);
    }
    for remark in history.remarks() {
        page.line("");
        let text = format!("step {}: {}", remark.step, remark.text);
        page.entry("remark", &text);
    }
    page.text()
}

fn heading(history: &History, zone: &TimeZone) -> String {
    let made = counted(history.calibrations().len(), "calibration");
    let Some(last) = history.activations().last() else {
        return format!("{made}; in use: the configured parameters, never anything else");
    };
    let what = match last.number {
        Some(number) => format!("calibration {number}"),
        None => "the configured parameters".to_owned(),
    };
    let why = match last.why.as_str() {
        "" => String::new(),
        why => format!(" ({why})"),
    };
    let since = minute(last.time_ms, zone);
    format!("{made}; in use: {what} since {since}{why}")
}

fn calibration(
    page: &mut Page,
    made: &Made,
    (history, configured): Chain<'_>,
    now_ms: i64,
    zone: &TimeZone,
) {
    let when = minute(made.time_ms, zone);
    let in_use = in_use(made.number, history, zone);
    page.entry(
        &format!("calibration {}", made.number),
        &format!("made {when}; {in_use}"),
    );
    let conversion = Conversion::by(made.number, &made.calibration, configured);
    match &conversion {
        Ok(conversion) => numbers(page, made, conversion),
        Err(why) => page.entry("  no values", &format!("it {why}")),
    }
    page.entry("  fit", &made.calibration.decision);
    for remark in &made.calibration.remarks {
        page.entry("  remark", remark);
    }
    withdrawn(page, made, history);
    for verified in &made.verifications {
        page.entry(
            "  verified",
            &verification(verified, &made.calibration.unit, zone),
        );
    }
    if let (Ok(conversion), Some(before)) = (&conversion, history.before(made.number)) {
        page.entry("  drift", &drift(made, conversion, (before, configured)));
    }
    page.entry("  due", &due(made, now_ms, zone));
}

fn numbers(page: &mut Page, made: &Made, conversion: &Conversion) {
    let calibration = &made.calibration;
    let unit = &calibration.unit;
    let (low, high) = calibration.range;
    let middle = inputs(calibration.range, 3)[1];
    let middle = conversion.at(middle).ok();
    let digits = decimals(2.0 * middle.map_or(0.0, |middle| middle.uncertainty()));
    let end = |input| conversion.at(input).map(|at| at.value());
    if let (Ok(one), Ok(other)) = (end(low), end(high)) {
        let points = counted(calibration.points.len(), "point");
        let [low, high] = [one.min(other), one.max(other)].map(|end| number(end, digits));
        page.entry("  range", &format!("{low} to {high} {unit} ({points})"));
    }
    if let Some(middle) = middle {
        let value = number(middle.value(), digits);
        let standard = number(middle.uncertainty(), decimals(middle.uncertainty()));
        let expanded = number(2.0 * middle.uncertainty(), digits);
        let text = format!(
            "of the fit at {value} {unit}: standard {standard} {unit}, expanded {expanded} {unit} \
             (k = 2)"
        );
        page.entry("  uncertainty", &text);
    }
}

/// Since when, or from when to when.
fn in_use(calibration: u32, history: &History, zone: &TimeZone) -> String {
    let activations = history.activations();
    let ends = activations.iter().skip(1).map(|next| Some(next.time_ms));
    let ends = ends.chain([None]);
    let spans = activations.iter().zip(ends);
    let spans = spans.filter(|(begin, _)| begin.number == Some(calibration));
    let said = spans.map(|(begin, end)| match end {
        None => format!("since {}", day(begin.time_ms, zone)),
        Some(end) => format!("from {} to {}", day(begin.time_ms, zone), day(end, zone)),
    });
    match said.collect::<Vec<_>>().as_slice() {
        [] => "never in use".to_owned(),
        spans => format!("in use {}", spans.join(", ")),
    }
}

fn withdrawn(page: &mut Page, made: &Made, history: &History) {
    for number in &made.calibration.points {
        let why = history
            .point(*number)
            .and_then(|taken| taken.withdrawn.as_deref());
        if let Some(why) = why {
            let text = format!("its point {number} was withdrawn: {why}");
            page.entry("  remark", &text);
        }
    }
}

fn verification(verified: &Verified, unit: &str, zone: &TimeZone) -> String {
    let outcome = &verified.verification;
    let digits = decimals(outcome.expanded);
    format!(
        "{}: {}, error {} {unit}; {}",
        day(verified.time_ms, zone),
        match outcome.verdict() {
            Verdict::Pass => "passed",
            Verdict::Fail => "failed",
            Verdict::Undecided => "could not be decided",
        },
        signed(outcome.error, digits),
        outcome.rule,
    )
}

fn drift(
    made: &Made,
    conversion: &Conversion,
    (before, configured): (&Made, Option<&Model>),
) -> String {
    let against = format!("against calibration {}", before.number);
    let earlier = Conversion::by(before.number, &before.calibration, configured);
    let range = common_range(&before.calibration, &made.calibration);
    let (Ok(earlier), Some(range)) = (earlier, range) else {
        return format!("{against}: their ranges have nothing in common");
    };
    let at = |conversion: &Conversion, input| conversion.at(input).ok();
    let found = compare(
        &inputs(range, PLACES),
        |input| at(&earlier, input),
        |input| at(conversion, input),
    );
    let size = |difference: &Difference| difference.change().0.abs();
    let largest = found.iter().max_by(|a, b| size(a).total_cmp(&size(b)));
    let Some(largest) = largest else {
        return format!("{against}: neither gives values where their ranges meet");
    };
    let unit = &made.calibration.unit;
    let (change, uncertainty) = largest.change();
    let digits = decimals(2.0 * uncertainty);
    let judged = match found.iter().filter(|one| one.is_significant()).count() {
        0 => "nowhere more than their uncertainties explain",
        _ => "more than their uncertainties explain",
    };
    format!(
        "{against}: at most {} {unit} (U = {} {unit}, k = 2), at {} {unit}; {judged}",
        signed(change, digits),
        number(2.0 * uncertainty, digits),
        number(largest.one.value(), digits),
    )
}

fn due(made: &Made, now_ms: i64, zone: &TimeZone) -> String {
    match made.due(now_ms) {
        Due::Never => "no date given".to_owned(),
        Due::At(due_ms) => day(due_ms, zone),
        Due::Passed(due_ms) => {
            let days = now_ms.saturating_sub(due_ms) / DAY_MS;
            let ago = match days {
                0 => "today".to_owned(),
                days => format!("{} ago", counted(days, "day")),
            };
            format!("{}, passed {ago}; calibrate it again", day(due_ms, zone))
        }
    }
}
