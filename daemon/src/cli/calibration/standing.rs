//! `--status`: the points at hand, the calibrations made, and which point to take next.

use super::Job;
use crate::alarm::{Condition, Rule};
use crate::calibrate::history::{Made, Taken};
use crate::calibrate::plan::plan;
use crate::calibrate::reference::suggest::{self, Next};
use crate::calibrate::{Point, Reference, Role, Verdict};
use crate::cli::calibrations::page::Page;
use crate::config::{is_assumed, working_range};
use crate::control::shown;

/// What is at hand, as a page.
#[must_use]
pub fn text(job: &Job) -> String {
    let mut page = Page::default();
    let history = job.history();
    let in_use = match history.active_number() {
        Some(number) => format!("calibration {number}"),
        None => "the configured parameters".to_owned(),
    };
    page.entry(
        &format!("{} ", job.probe().name),
        &format!("in use: {in_use}"),
    );
    for taken in history.draft() {
        page.entry(&format!("  point {}", taken.number), &point(job, taken));
    }
    if history.draft().next().is_none() {
        page.entry("  points", "none at hand that is in no calibration yet");
    }
    page.entry("  next", &next(job));
    if let Some(assumed) = assumed(job) {
        page.entry("  range", &assumed);
    }
    page.text() + &job.resistors()
}

/// That the range of use is assumed, where not both ends of it are set and one is assumed.
fn assumed(job: &Job) -> Option<String> {
    let probe = job.probe();
    let (low, high) = working_range(&probe.alarms, &probe.unit)?;
    is_assumed(&probe.alarms).then(|| {
        format!(
            "{low} to {high} {} is assumed as the range of use; alarms `low` and `high` would say it",
            probe.unit
        )
    })
}

fn point(job: &Job, taken: &Taken) -> String {
    let Point {
        role,
        compared,
        captured,
    } = &taken.point;
    let kept_out = match role {
        Role::Fit => "",
        Role::Check => ", kept out to verify",
    };
    format!(
        "{}, {}, probe read {}{kept_out}",
        reference(&compared.reference),
        shown(
            compared.value,
            compared.own.hypot(compared.common),
            &job.probe().unit
        ),
        shown(
            captured.mean,
            captured.uncertainty,
            job.probe().input.unit()
        ),
    )
}

fn reference(reference: &Reference) -> String {
    match reference {
        Reference::Ice => "ice point".to_owned(),
        Reference::Boiling { .. } => "boiling water".to_owned(),
        Reference::Instrument { name } => format!("beside `{name}`"),
        Reference::Known { what } | Reference::Resistor { what } => what.clone(),
    }
}

fn next(job: &Job) -> String {
    if let Some(advice) = in_use(job) {
        return advice;
    }
    match job.next_point() {
        None => "no range of use is known: set alarms `low` and `high`, or take points at both \
                 ends of it"
            .to_owned(),
        Some(Next::Enough) => "enough points: fit them, or take one more to verify".to_owned(),
        Some(Next::Make {
            near,
            by,
            role,
            why,
        }) => {
            let kept_out = match role {
                Role::Fit => "",
                Role::Check => ", to be kept out",
            };
            let near = (near * 10.0).round() / 10.0;
            format!(
                "near {near} {} by {}{kept_out}: {why}",
                job.probe().unit,
                by.words()
            )
        }
    }
}

/// Where a calibration is in use and no point for another is at hand: as the guide says it.
fn in_use(job: &Job) -> Option<String> {
    let history = job.history();
    let in_use = history.active()?;
    if history.draft().next().is_some() {
        return None;
    }
    let number = in_use.number;
    Some(if in_use.verifications.is_empty() {
        format!(
            "a point that is kept out, best at another value than its points have: calibration \
             {number} is in use, and nothing verifies it yet"
        )
    } else {
        format!("{}; new points begin another", as_verified(in_use))
    })
}

/// A calibration that is in use and was verified: how its last verification went, and what to do.
pub fn as_verified(in_use: &Made) -> String {
    let number = in_use.number;
    let last = in_use.verifications.last();
    match last.map(|one| one.verification.verdict()) {
        Some(Verdict::Fail) => format!(
            "calibration {number} is in use, but failed its last verification: take that point \
             again, and where it fails again calibrate anew"
        ),
        Some(Verdict::Undecided) => format!(
            "calibration {number} is in use; its last verification could not be decided: a better \
             reference, or a wider `verify_within`, would decide it"
        ),
        Some(Verdict::Pass) | None => {
            format!("calibration {number} is in use and verified")
        }
    }
}

/// Share of the range by which the middle of a curve is bent, to see what a fit could follow.
const BEND: f64 = 0.005;

impl Job {
    /// The point that would help most, after those at hand; `None` where no range of use is known.
    #[must_use]
    pub fn next_point(&self) -> Option<Next> {
        let probe = self.probe();
        let range = self.range_of_use()?;
        let draft = self.history().draft();
        let values: Vec<f64> = draft.map(|taken| taken.point.compared.value).collect();
        Some(suggest::next(
            &values,
            range,
            self.most_terms(range),
            &probe.unit,
        ))
    }

    /// By its alarms. A lower end that is only assumed is one that ice can reach.
    fn range_of_use(&self) -> Option<(f64, f64)> {
        let probe = self.probe();
        let (low, high) = working_range(&probe.alarms, &probe.unit)?;
        let is_low = |rule: &Rule| matches!(rule.condition, Condition::Low { .. });
        let is_given = probe.alarms.iter().any(is_low);
        Some(match probe.unit.as_str() {
            "Cel" if !is_given => (low.max(0.0), high),
            _ => (low, high),
        })
    }

    /// Terms that a fit to three points over the range would free. Points that lie on the nominal curve
    /// itself may have no use for the last of them, so the middle one is bent a little, either way.
    fn most_terms(&self, (low, high): (f64, f64)) -> usize {
        let bend = BEND * (high - low);
        let middle = f64::midpoint(low, high);
        let places = |by: f64| {
            let values = [(low, low), (middle, middle + by), (high, high)];
            let place = |(at, value)| Some((self.nominal().invert(at).ok()?, value));
            values.into_iter().filter_map(place).collect::<Vec<_>>()
        };
        let terms =
            |places: Vec<(f64, f64)>| plan(self.nominal(), places.len(), &places).terms.len();
        let most = [bend, -bend].map(|by| terms(places(by)));
        most.into_iter().fold(1, usize::max)
    }
}
