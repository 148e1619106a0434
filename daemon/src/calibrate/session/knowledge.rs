//! What a session has to be told by the rest of calibration: reference values, curves, fits.
//!
//! Words come from there too: a session asks and orders, and knows no ice and no thermistor.

use crate::calibrate::settling::{Aim, Rules};
use crate::calibrate::{Calibration, Compared, History, Point, Share, Verification};

/// The probe in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Subject {
    /// Its name.
    pub probe: String,
    /// Where it is wired to, in words.
    pub place: String,
    /// The value's unit, as people read it.
    pub unit: String,
    /// The electrical quantity's unit, as people read it.
    pub electrical: String,
    /// What makes calibrating it slow or vain, where something does.
    pub note: Option<String>,
}

/// A reference that can be chosen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offer {
    /// In a few words.
    pub name: String,
    /// What it takes and how good it is, in a line.
    pub about: String,
    /// What has to be known of it.
    pub questions: Vec<Question>,
    /// How to make it well, step by step.
    pub steps: Vec<String>,
    /// What can hurt.
    pub cautions: Vec<String>,
    /// Which answer is given once more when the probe has been captured: what an instrument shows
    /// then.
    pub read_off: Option<usize>,
}

/// One thing to be known of a reference.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// What is asked.
    pub label: String,
    /// What an answer looks like.
    pub example: String,
    /// What stands there at first; may be empty.
    pub usual: String,
}

/// Which answer is none, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Complaint {
    /// Index of the question.
    pub question: usize,
    /// In words, with what to do.
    pub text: String,
}

/// What to do next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Advice {
    /// Index of the reference that would help most; `None` where there are enough points.
    pub offer: Option<usize>,
    /// Whether that point should be kept out of the fit, to verify it.
    pub is_check: bool,
    /// Why, in words.
    pub why: String,
}

/// A point that does not agree with what the probe should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// What is wrong, with numbers.
    pub what: String,
    /// The likely causes, each with what to do; the likeliest first.
    pub causes: Vec<String>,
}

/// All that a session asks for. Every answer is a function of its arguments and of what was learnt.
pub trait Knowledge {
    /// What the log has now: another calibration may be in use, another point be at hand.
    fn learn(&mut self, history: &History);

    /// The probe in words.
    fn subject(&self) -> &Subject;

    /// The references that can be chosen, in the order in which they are shown.
    fn offers(&self) -> &[Offer];

    /// What to do next with the points at hand.
    fn advise(&self) -> Advice;

    /// The reference value that follows from the answers to an offer's questions.
    ///
    /// # Errors
    /// Which answer is none.
    fn compare(&self, offer: usize, answers: &[String]) -> Result<Compared, Complaint>;

    /// What settled shall mean around this electrical quantity.
    fn aim(&self, electrical: f64) -> Aim;

    /// How long a probe is watched.
    fn rules(&self) -> Rules;

    /// Change of the electrical quantity with one count, where it is this.
    fn per_count(&self, electrical: f64) -> f64;

    /// The value by the curve in use.
    fn value(&self, electrical: f64) -> Option<f64>;

    /// Whether the value falls where the electrical quantity rises.
    fn is_falling(&self) -> bool;

    /// Whether a point disagrees with the probe's nominal curve by more than it may.
    fn doubt(&self, compared: &Compared, mean: f64) -> Option<Doubt>;

    /// A calibration from these points, made at this time (milliseconds since 1970).
    ///
    /// # Errors
    /// Why there is none, and what to do.
    fn fit(&self, points: &[(u64, Point)], now_ms: i64) -> Result<Calibration, String>;

    /// The value by a calibration.
    fn value_by(&self, calibration: &Calibration, electrical: f64) -> Option<f64>;

    /// A calibration against a point that was kept out.
    fn verify(&self, calibration: &Calibration, number: u64, point: &Point)
    -> Option<Verification>;

    /// What the uncertainty in the middle of a calibration's range is made of, the largest first.
    fn budget(&self, calibration: &Calibration) -> Vec<Share>;
}
