//! Whether a driver keeps what it promises: values over its range, batches, slopes, a way back, what a
//! fit asks, and inputs that no probe gives.
//!
//! For a maker before the first night. Knows no clock, so it does not time; and whether the values are
//! right only a published table can say, which is for the driver's own tests.

mod asking;
mod curve;
mod fit;
mod hostile;
mod slope;

#[cfg(test)]
mod tests;

pub use asking::short;
pub use curve::Direction;

use super::Model;
use asking::{Asking, Ended};

/// What became of one check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// As promised.
    Fine,
    /// No promise broken, but a maker should know.
    Noted,
    /// A promise broken.
    Wrong,
}

/// What one check found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// What was looked at, in a word or two.
    pub what: &'static str,
    /// What became of it.
    pub verdict: Verdict,
    /// For a person.
    pub text: String,
}

/// What was found of a driver.
#[derive(Clone, Debug, PartialEq)]
pub struct Examination {
    /// Input and value, by rising input; empty where the driver gave none.
    pub curve: Vec<(f64, f64)>,
    /// Which way the values go.
    pub direction: Option<Direction>,
    /// In the order in which it was looked at.
    pub findings: Vec<Finding>,
    /// Whether the driver ended its process or did not answer, so that the rest was not looked at.
    pub is_cut_short: bool,
}

type Check = fn(&Asking<'_>, &Seen) -> Result<Finding, Ended>;

/// Looked at only where there are several.
const OUTPUTS: &str = "outputs";
/// Hostile ones last: what they break would hide the rest.
const CHECKS: [(&str, Check); 10] = [
    ("batches", curve::batches),
    ("repeats", curve::repeats),
    ("direction", curve::direction),
    (OUTPUTS, curve::outputs),
    ("slope", slope::slope),
    ("way back", slope::way_back),
    ("guess", fit::guess),
    ("misfit", fit::misfit),
    ("odd inputs", hostile::inputs),
    ("odd sizes", hostile::sizes),
];

/// What the later checks build on.
struct Seen {
    inputs: Vec<f64>,
    values: Vec<f64>,
    direction: Direction,
}

impl Seen {
    /// From the lowest value to the highest.
    fn span(&self) -> f64 {
        let ends = (f64::INFINITY, f64::NEG_INFINITY);
        let ends = self.values.iter().fold(ends, |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
        ends.1 - ends.0
    }
}

impl Finding {
    fn new(what: &'static str, verdict: Verdict, text: impl Into<String>) -> Self {
        let text = text.into();
        Self {
            what,
            verdict,
            text,
        }
    }

    fn fine(what: &'static str, text: impl Into<String>) -> Self {
        Self::new(what, Verdict::Fine, text)
    }

    fn noted(what: &'static str, text: impl Into<String>) -> Self {
        Self::new(what, Verdict::Noted, text)
    }

    fn wrong(what: &'static str, text: impl Into<String>) -> Self {
        Self::new(what, Verdict::Wrong, text)
    }
}

impl Examination {
    /// How many promises are broken.
    #[must_use]
    pub fn wrong(&self) -> usize {
        let findings = self.findings.iter();
        findings.filter(|one| one.verdict == Verdict::Wrong).count()
    }
}

/// Examines a driver with its parameters.
#[must_use]
pub fn examine(model: &Model) -> Examination {
    let asking = Asking::new(model);
    let mut examination = Examination {
        curve: Vec::new(),
        direction: None,
        findings: Vec::new(),
        is_cut_short: false,
    };
    match curve::values(&asking) {
        Ok(Ok(seen)) => examination.go_on(&asking, &seen),
        Ok(Err(finding)) => examination.findings.push(finding),
        Err(ended) => examination.cut("values", &ended),
    }
    examination
}

impl Examination {
    fn go_on(&mut self, asking: &Asking<'_>, seen: &Seen) {
        self.curve = seen
            .inputs
            .iter()
            .copied()
            .zip(seen.values.iter().copied())
            .collect();
        self.direction = Some(seen.direction);
        let count = seen.inputs.len();
        let text = format!("{count} inputs over the range give finite numbers");
        self.findings.push(Finding::fine("values", text));
        let is_single = asking.model.driver().outputs().len() < 2;
        let asked = CHECKS
            .iter()
            .filter(|(what, _)| !(is_single && *what == OUTPUTS));
        for &(what, check) in asked {
            match check(asking, seen) {
                Ok(finding) => self.findings.push(finding),
                Err(ended) => return self.cut(what, &ended),
            }
        }
    }

    fn cut(&mut self, what: &'static str, ended: &Ended) {
        self.findings.push(Finding::wrong(what, ended.0.as_ref()));
        self.is_cut_short = true;
    }
}
