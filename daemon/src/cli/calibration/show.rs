//! What is said of a calibration in the terminal in which it was made or put in use.

use super::arguments::is_fitted;
use super::{Job, Sheet};
use crate::calibrate::Point;
use crate::calibrate::reference::likely_cause;
use crate::cli::Failure;
use crate::cli::calibrations::page::{Page, decimals, number};

/// A calibration as it was made: points, fit, uncertainty, what dominates it.
///
/// # Errors
/// Where it cannot be computed with.
pub fn made(job: &Job, calibration: u32) -> Result<String, Failure> {
    let made = job.usable(calibration)?;
    let sheet = Sheet::of(job, made)?;
    let mut text = sheet.certificate().summary();
    if let Some(budget) = sheet.budgets.get(sheet.budgets.len() / 2) {
        let at = number(budget.value, decimals(budget.expanded()));
        text += &format!("Of a reading at {at} {}:\n{budget}\n\n", budget.unit);
    }
    if !made.verifications.is_empty() && job.probe().trust.verify_within.is_none() {
        text += &line(
            "the tolerance of the verification is assumed; set `verify_within` in the probe's table",
        );
    }
    Ok(text)
}

/// Points that cannot be true by the nominal curve, with the likely causes; empty where none is.
#[must_use]
pub fn questioned(job: &Job, points: &[(u64, Point)]) -> String {
    let mut text = String::new();
    for (number, point) in points {
        let Some(doubt) = job.doubt(&point.compared, point.captured.mean) else {
            continue;
        };
        text += &entry(&format!("questioned {number}"), &doubt.what);
        for cause in &doubt.causes {
            text += &entry("", &format!("- {cause}"));
        }
    }
    if let Some(cause) = together(job, points) {
        text += &entry("", &format!("- {cause}"));
    }
    text
}

/// What is behind it where all points are off the same way.
fn together(job: &Job, points: &[(u64, Point)]) -> Option<&'static str> {
    let pair = |(_, point): &(u64, Point)| {
        let mean = point.captured.mean;
        let value = job.nominal().evaluate(mean).ok()?;
        Some((point.compared.value, value, job.allowed(mean)?))
    };
    let fitted = points.iter().filter(|(_, point)| is_fitted(point));
    let all: Vec<_> = fitted.filter_map(pair).collect();
    let allowed = all.iter().map(|(.., allowed)| *allowed).fold(0.0, f64::max);
    let pairs: Vec<(f64, f64)> = all.iter().map(|(a, b, _)| (*a, *b)).collect();
    likely_cause::all_the_same_way(&pairs, allowed)
}

/// What is in use from here on.
#[must_use]
pub fn in_use(job: &Job) -> String {
    let probe = &job.probe().name;
    let what = match job.history().active_number() {
        Some(number) => format!("calibration {number} of probe `{probe}` is in use"),
        None => format!("the configured parameters of probe `{probe}` are in use"),
    };
    let since = match job.is_served() {
        true => "from the next reading of the running service on",
        false => "from the next start of the service on: none runs now",
    };
    let back = match job.history().active_number() {
        Some(_) => "; `--use configured` goes back",
        None => "",
    };
    line(&format!("{what}, {since}{back}"))
}

/// Where points are kept out and there is no calibration that they could verify.
#[must_use]
pub fn nothing_to_verify(job: &Job) -> String {
    line(&format!(
        "the points are kept; probe `{}` is on its configured parameters, so they verify no \
         calibration: put one in use, then run the same command again",
        job.probe().name
    ))
}

/// How a calibration is put in use.
#[must_use]
pub fn how_to_activate(job: &Job, number: u32) -> String {
    let probe = &job.probe().name;
    if job.history().active_number() == Some(number) {
        return line(&format!(
            "calibration {number} of probe `{probe}` is in use already"
        ));
    }
    line(&format!(
        "calibration {number} is kept and not in use; put it in use with \
         `nightbench calibrate {probe} --config FILE --use {number}`"
    ))
}

/// Why it was not put in use although that was asked for.
#[must_use]
pub fn not_activated(job: &Job, number: u32) -> String {
    let probe = &job.probe().name;
    line(&format!(
        "calibration {number} is kept and not in use, because a point is questioned; take the point \
         again, or, where it is right and the probe is another, put it in use with \
         `nightbench calibrate {probe} --config FILE --use {number} --why TEXT`"
    ))
}

/// What a withdrawal means for the calibrations that were made with the point.
#[must_use]
pub fn withdrawn(job: &Job, point: u64) -> String {
    let with = job.history().calibrations().iter();
    let with = with.filter(|made| made.calibration.points.contains(&point));
    let numbers: Vec<String> = with.map(|made| made.number.to_string()).collect();
    line(&match numbers.as_slice() {
        [] => format!("point {point} does not count any more"),
        numbers => format!(
            "point {point} does not count any more; calibration {} was fitted to it and stays as it \
             is: make a new one",
            numbers.join(", ")
        ),
    })
}

fn line(text: &str) -> String {
    entry("", text)
}

fn entry(label: &str, text: &str) -> String {
    let mut page = Page::default();
    match label {
        "" => page.paragraph(text),
        label => page.entry(label, text),
    }
    page.text()
}
