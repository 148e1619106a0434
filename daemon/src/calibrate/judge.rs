//! What is to be said of the points: too close, out of order, one against the others, a term at its
//! bound. Remarks for people, and the refusals.
//!
//! Nothing is fitted here but with one point left out (`leave_out`), to name the one that disagrees.

mod before;
mod leave_out;
mod taken;

use super::figure::{figure, quantity, rough, uncertainty};
use super::fit::{Family, Fitted, Unfit};
use super::{Curve, Reference};
use crate::driver::{DriverError, Electrical};

pub(super) use before::{against_the_others, in_order, places};
#[cfg(test)]
pub(super) use taken::covariance;
pub(super) use taken::{Taken, fit_to, of_difference};

/// Points that honest uncertainties put this far apart less often than this contradict each other
/// (common practice: 5 %).
pub const CONTRADICTS: f64 = 0.05;
/// Points nearer to each other than this, in uncertainties of their difference, are near: a slope
/// through them is known to some 10 %.
const NEAR: f64 = 10.0;

/// Why there is no calibration.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// No point goes into the fit.
    #[error("there is no point to fit to: take one, for example in ice water")]
    NoPoints,
    /// The driver does not take the nominal parameters.
    #[error("{0}")]
    Driver(#[from] DriverError),
    /// Two points are the wrong way round for the driver's curve.
    #[error(
        "{first} and {second} are out of order: by the probe's curve more {input} means {} {unit}; \
         look whether two points were taken for each other, or whether the probe is of another kind",
        if *.falls { "less" } else { "more" }
    )]
    OutOfOrder {
        /// A point in words.
        first: String,
        /// The other.
        second: String,
        /// The electrical quantity: `ohm`.
        input: &'static str,
        /// Unit of the value.
        unit: String,
        /// Whether the value falls as the input rises.
        falls: bool,
    },
    /// The fit has no outcome.
    #[error("{0}")]
    Unfit(#[from] Unfit),
}

/// What a person is told, and how: units.
#[derive(Clone, Copy, Debug)]
pub(super) struct Words<'a> {
    /// Unit of the value.
    pub unit: &'a str,
    /// The electrical quantity.
    pub input: Electrical,
}

impl Words<'_> {
    /// "point 3 (boiling water, 99.6 Cel)".
    pub fn point(&self, taken: &Taken<'_>) -> String {
        let (number, reference) = (taken.number, reference(&taken.point.compared.reference));
        let value = quantity(taken.value(), self.unit);
        format!("point {number} ({reference}, {value})")
    }
}

/// A reference in words: "ice point", "reference `kitchen`".
pub(super) fn reference(reference: &Reference) -> String {
    match reference {
        Reference::Ice => "ice point".to_owned(),
        Reference::Boiling { .. } => "boiling water".to_owned(),
        Reference::Instrument { name } => format!("reference `{name}`"),
        Reference::Known { what } | Reference::Resistor { what } => what.clone(),
    }
}

/// What to look at, by what the point was compared with.
pub(super) fn hint(reference: &Reference) -> &'static str {
    match reference {
        Reference::Ice => "check that ice was packed down to the tip, and stirred",
        Reference::Boiling { .. } => {
            "check that the tip was under water, and the pressure that of the place"
        }
        Reference::Instrument { .. } => "check that both were in the same place, and read together",
        Reference::Known { .. } | Reference::Resistor { .. } => "check the value that was entered",
    }
}

/// A remark on points that lie near each other for as many terms.
pub(super) fn near(
    taken: &[Taken<'_>],
    nominal: &Curve,
    terms: usize,
    words: Words<'_>,
) -> Option<String> {
    let by_value = |a: &&Taken<'_>, b: &&Taken<'_>| a.value().total_cmp(&b.value());
    let (low, high) = (
        taken.iter().min_by(by_value)?,
        taken.iter().max_by(by_value)?,
    );
    if terms < 2 {
        return None;
    }
    let gap = (high.value() - low.value()) / (terms - 1) as f64;
    let known = of_difference(low, high, nominal);
    (gap < NEAR * known).then(|| {
        format!(
            "the points lie from {} to {}, and their distance is known to {}: the curve is uncertain \
             beyond them; points further apart would pay",
            quantity(low.value(), words.unit),
            quantity(high.value(), words.unit),
            uncertainty(known, words.unit),
        )
    })
}

/// A remark for each term that was stopped at its bound.
pub(super) fn at_bounds(family: &Family, fitted: &Fitted) -> Vec<String> {
    let stopped = (0..fitted.theta.len()).filter(|term| fitted.at_bound[*term]);
    let remark = |term: usize| {
        format!(
            "`{}` was stopped at its bound, {}: the points ask for what no probe of this kind has; \
             check them, and the parameters as configured",
            family.name(term),
            figure(fitted.theta[term])
        )
    };
    stopped.map(remark).collect()
}

/// A remark where the points contradict each other; which one, where that can be told.
pub(super) fn disagreement(
    taken: &[Taken<'_>],
    family: &Family,
    fitted: &Fitted,
    words: Words<'_>,
) -> Option<String> {
    if fitted.chance() >= CONTRADICTS {
        return None;
    }
    let by_chance = by_chance(fitted);
    let widened = format!(
        "the stated uncertainty is {} times as wide for it",
        rough(fitted.birge_ratio())
    );
    Some(match leave_out::worst(taken, family, fitted) {
        Some(worst) => format!(
            "{} disagrees with the others by {}, {} times its uncertainty ({by_chance}); it is in the \
             fit, and {widened}; {}, then take it again or withdraw it",
            words.point(&taken[worst.at]),
            quantity(worst.error.abs(), words.unit),
            rough(worst.error.abs() / worst.uncertainty),
            hint(&taken[worst.at].point.compared.reference),
        ),
        None => format!(
            "the points contradict each other by more than their uncertainties ({by_chance}); which \
             is wrong cannot be told from so few; {widened}; one more point would tell"
        ),
    })
}

/// "chi-square 9.2 with 2 degrees of freedom; chance gives that in 1 % of fits".
fn by_chance(fitted: &Fitted) -> String {
    let percent = 100.0 * fitted.chance();
    let chance = match percent < 0.01 {
        true => "less than 0.01".to_owned(),
        false => rough(percent),
    };
    format!(
        "chi-square {} with {}; chance gives that in {chance} % of fits",
        rough(fitted.chi_square),
        match fitted.degrees_of_freedom {
            1 => "1 degree of freedom".to_owned(),
            more => format!("{more} degrees of freedom"),
        }
    )
}
