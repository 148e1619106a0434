//! `--status`: the points at hand, the calibrations made, and which point to take next.

use super::Job;
use crate::calibrate::history::Taken;
use crate::calibrate::plan::plan;
use crate::calibrate::reference::suggest::{self, Next};
use crate::calibrate::{Point, Reference, Role};
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

impl Job {
    /// The point that would help most, after those at hand; `None` where no range of use is known.
    #[must_use]
    pub fn next_point(&self) -> Option<Next> {
        let probe = self.probe();
        let range = working_range(&probe.alarms, &probe.unit)?;
        let draft = self.history().draft();
        let values: Vec<f64> = draft.map(|taken| taken.point.compared.value).collect();
        Some(suggest::next(
            &values,
            range,
            self.most_terms(range),
            &probe.unit,
        ))
    }

    /// Terms that a fit to three points over the range would free.
    fn most_terms(&self, (low, high): (f64, f64)) -> usize {
        let values = [low, f64::midpoint(low, high), high];
        let places = values.map(|value| Some((self.nominal().invert(value).ok()?, value)));
        let places: Vec<(f64, f64)> = places.into_iter().flatten().collect();
        plan(self.nominal(), places.len(), &places)
            .terms
            .len()
            .max(1)
    }
}
