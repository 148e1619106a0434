//! From points to a calibration: chosen, planned, fitted, judged, and put down with its causes.
//!
//! Pure: numbers of steps and times are arguments. What a reading's uncertainty is made of is not
//! here, only what moves the fitted terms.

mod sources;
mod whose_channel;

#[cfg(test)]
pub(super) mod testing;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

use super::fit::{Family, Fitted};
use super::judge::{self, Refusal, Taken, Words};
use super::plan::{Plan, plan};
use super::{Calibration, Channel, Curve, Point, Reference, Role, Term, Tolerance};
use crate::driver::{DriverError, Electrical, Model};

/// What is calibrated, and where.
pub struct Subject<'a> {
    /// The probe as configured.
    pub nominal: &'a Model,
    /// UCUM code of the value's unit.
    pub unit: &'a str,
    /// The electrical quantity that the driver takes.
    pub input: Electrical,
    /// The probe's channel, on which points were taken that were not measured elsewhere.
    pub channel: &'a Channel,
    /// How far a probe of this kind may be off its nominal curve at an input (half-width, in the unit
    /// of the value); `None` where nothing is known.
    pub allowed: &'a dyn Fn(f64) -> Option<f64>,
    /// The part of it that is the kind's, without the channel's.
    pub tolerance: Tolerance,
    /// When it is made, milliseconds since 1970.
    pub made_ms: i64,
    /// When it should be made again.
    pub due_ms: Option<i64>,
}

/// Makes a calibration of the points that are for a fit, each with its number; known resistors and
/// points kept out are passed over.
///
/// # Errors
/// Why there is none, with what to do.
pub fn make(points: &[(u64, Point)], subject: &Subject<'_>) -> Result<Calibration, Refusal> {
    let words = subject.words();
    let nominal = Curve::plain(subject.nominal.clone());
    let mut taken = to_fit(points);
    let mut remarks = Vec::new();
    if let Some((wrong, remark)) =
        judge::against_the_others(&taken, &nominal, subject.allowed, words)
    {
        taken.remove(wrong);
        remarks.push(remark);
    }
    if taken.is_empty() {
        return Err(Refusal::NoPoints);
    }
    let places = judge::places(&taken, &nominal);
    let plan = plan(subject.nominal, taken.len(), &places);
    if has_a_direction(subject.nominal, &plan) {
        judge::in_order(&taken, &nominal, words)?;
    }
    let family = family(&plan, &taken);
    let fitted = judge::fit_to(&taken, &family, family.start())?;
    remarks.extend(judge::at_bounds(&family, &fitted));
    remarks.extend(judge::disagreement(&taken, &family, &fitted, words));
    remarks.extend(judge::near(&taken, &nominal, plan.terms.len(), words));
    remarks.extend(whose_channel::remark(&taken, subject));
    let made = Made {
        taken,
        plan,
        family,
        fitted,
        remarks,
    };
    Ok(made.put_down(subject)?)
}

impl<'a> Subject<'a> {
    fn words(&self) -> Words<'a> {
        Words {
            unit: self.unit,
            input: self.input,
        }
    }
}

fn to_fit(points: &[(u64, Point)]) -> Vec<Taken<'_>> {
    let fits = |point: &Point| {
        let resistor = matches!(point.compared.reference, Reference::Resistor { .. });
        point.role == Role::Fit && !resistor
    };
    let fit = points.iter().filter(|(_, point)| fits(point));
    fit.map(|(number, point)| Taken {
        number: *number,
        point,
    })
    .collect()
}

/// Whether the nominal curve says which way round points are: a driver that names its quantity has a
/// law, and a curve that gets a line on top was given. A bare line may run either way.
fn has_a_direction(nominal: &Model, plan: &Plan) -> bool {
    let line_on_top = plan.terms.contains(&Term::Offset);
    nominal.driver().quantity().is_some() || line_on_top
}

fn family(plan: &Plan, taken: &[Taken<'_>]) -> Family {
    // A line that turns amid the points has a slope that hardly depends on its offset.
    let pivot = taken.iter().map(|one| one.value()).sum::<f64>() / taken.len() as f64;
    Family::new(plan.start.clone(), pivot, plan.terms.clone())
}

/// All that goes into a calibration.
struct Made<'a> {
    taken: Vec<Taken<'a>>,
    plan: Plan,
    family: Family,
    fitted: Fitted,
    remarks: Vec<String>,
}

impl Made<'_> {
    fn put_down(self, subject: &Subject<'_>) -> Result<Calibration, DriverError> {
        let sources = sources::sources(&self.taken, &self.fitted);
        let channel = whose_channel::channel(&self.taken, subject);
        let inputs: Vec<f64> = self.taken.iter().map(|taken| taken.input()).collect();
        let line = |term: Term| {
            let at = self.plan.terms.iter().position(|one| *one == term);
            at.map_or(0.0, |at| self.fitted.theta[at])
        };
        Ok(Calibration {
            driver: subject.nominal.driver().name().to_owned(),
            unit: subject.unit.to_owned(),
            input: subject.input.word().to_owned(),
            parameters: self.parameters()?,
            offset: line(Term::Offset),
            slope: line(Term::Slope),
            pivot: self.family.pivot(),
            covariance: sources::covariance(&sources, self.plan.terms.len()),
            sources,
            points: self.taken.iter().map(|taken| taken.number).collect(),
            range: (
                inputs.iter().copied().fold(f64::INFINITY, f64::min),
                inputs.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            ),
            nodes: inputs,
            residuals: self.fitted.residuals,
            chi_square: self.fitted.chi_square,
            degrees_of_freedom: self.fitted.degrees_of_freedom,
            terms: self.plan.terms,
            decision: self.plan.decision,
            channel,
            tolerance: subject.tolerance,
            remarks: self.remarks,
            made_ms: subject.made_ms,
            due_ms: subject.due_ms,
        })
    }

    fn parameters(&self) -> Result<Vec<(String, Vec<f64>)>, DriverError> {
        let fitted = self.family.at(&self.fitted.theta)?.model.parameters();
        let owned = fitted.into_iter();
        Ok(owned
            .map(|(name, values)| (name.to_owned(), values))
            .collect())
    }
}
