//! Verification: a point that was kept out, against the calibration, by a stated decision rule.
//!
//! Simple acceptance within the tolerance less a guard band as wide as the expanded uncertainty
//! (ILAC-G8:09/2019, 4.2, from memory). The uncertainty is that of the error found: of the reference
//! and of what the probe read. That of the calibration is what is put to the test, and not in it.

use super::figure::{as_known, quantity};
use super::{Curve, Point, Verification};
use crate::driver::DriverError;
use crate::measure::chain::Transfer;

/// Coverage factor of the expanded uncertainty.
const COVERAGE: f64 = 2.0;

/// What a verification says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within the tolerance, by more than the uncertainty.
    Pass,
    /// Beyond the tolerance, by more than the uncertainty.
    Fail,
    /// The uncertainty reaches over the tolerance: it cannot be decided.
    Undecided,
}

/// Verifies a curve at a point, whose number goes into the record; `tolerance` is the largest error
/// that is tolerated, in `unit`.
///
/// # Errors
/// Where the curve has no value at the point's input.
pub fn verify(
    curve: &Curve,
    (number, point): (u64, &Point),
    tolerance: f64,
    unit: &str,
) -> Result<Verification, DriverError> {
    let (input, compared) = (point.captured.mean, &point.compared);
    let read = curve.slope(input)? * point.captured.uncertainty;
    let expanded = COVERAGE * compared.own.hypot(compared.common).hypot(read);
    let mut verification = Verification {
        point: number,
        error: curve.evaluate(input)? - compared.value,
        expanded,
        tolerance,
        pass: false,
        rule: rule(tolerance, expanded, unit),
    };
    verification.pass = verification.verdict() == Verdict::Pass;
    Ok(verification)
}

fn rule(tolerance: f64, expanded: f64, unit: &str) -> String {
    let shown = |number| as_known(number, expanded, unit);
    let least = tolerance - expanded;
    let pass = if least >= 0.0 {
        format!("pass where the error is at most {}", shown(least))
    } else {
        "no error can pass".to_owned()
    };
    format!(
        "tolerance {} less a guard band of the expanded uncertainty (k = 2), {}: {pass}; fail where \
         it is more than {}; between, it cannot be decided",
        quantity(tolerance, unit),
        shown(expanded),
        shown(tolerance + expanded)
    )
}

impl Verification {
    /// What it says; what is no number decides nothing.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let error = self.error.abs();
        if error <= self.tolerance - self.expanded {
            Verdict::Pass
        } else if error > self.tolerance + self.expanded {
            Verdict::Fail
        } else {
            Verdict::Undecided
        }
    }

    /// The outcome in words, with what to do.
    #[must_use]
    pub fn words(&self, unit: &str) -> String {
        let shown = |number| as_known(number, self.expanded, unit);
        let found = format!(
            "error {}, known to {} (k = 2), tolerance {}",
            shown(self.error),
            shown(self.expanded),
            quantity(self.tolerance, unit)
        );
        match self.verdict() {
            Verdict::Pass => format!("pass: {found}"),
            Verdict::Fail => format!("fail: {found}; take new points and calibrate again"),
            Verdict::Undecided if self.tolerance < self.expanded => format!(
                "cannot be decided at this uncertainty: {found}; take a reference that is known \
                 better, or a wider tolerance"
            ),
            Verdict::Undecided => format!(
                "cannot be decided at this uncertainty: {found}; take the point again with a \
                 reference that is known better"
            ),
        }
    }
}

#[cfg(test)]
#[path = "verify_tests.rs"]
#[allow(clippy::unwrap_used)]
mod tests;
