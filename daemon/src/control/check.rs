//! Whether a step can be taken: it fits the probe as it is configured, and what it refers to is there.
//!
//! Whether a calibration is a good one is not judged here; who made it has judged that.

use super::facts::ProbeFacts;
use crate::calibrate::history::{History, Taken};
use crate::calibrate::{Calibration, Point, Step};

/// Checks a step of a probe.
///
/// # Errors
/// What is wrong with it, for a person.
pub fn check(step: &Step, probe: &ProbeFacts, history: &History) -> Result<(), String> {
    finite(step)?;
    match step {
        Step::Point { point } => check_point(point),
        Step::Withdrawn { point, .. } => {
            let taken = known_point(*point, history)?;
            require(taken.withdrawn.is_none(), || {
                format!("point {point} is withdrawn already")
            })
        }
        Step::Made { calibration } => check_made(calibration, probe, history),
        Step::Verified {
            calibration,
            verification,
        } => {
            known_calibration(*calibration, history)?;
            known_point(verification.point, history).map(|_| ())
        }
        Step::Activated { calibration, .. } => match calibration {
            None => Ok(()),
            Some(number) => fits(known_calibration(*number, history)?, probe),
        },
        Step::Unreadable { .. } => Err("a step that cannot be read is none to be taken".to_owned()),
    }
}

/// JSON has no word for what is not finite, so such a number does not come back.
fn finite(step: &Step) -> Result<(), String> {
    let back = serde_json::to_string(step).and_then(|text| serde_json::from_str::<Step>(&text));
    require(back.is_ok_and(|back| back == *step), || {
        "a number in it is not finite".to_owned()
    })
}

fn check_point(point: &Point) -> Result<(), String> {
    let (compared, captured) = (&point.compared, &point.captured);
    let uncertainties = [compared.own, compared.common, captured.uncertainty];
    require(uncertainties.iter().all(|u| *u >= 0.0), || {
        "an uncertainty of the point is negative".to_owned()
    })?;
    require(captured.from_ms <= captured.until_ms, || {
        "the point's capture ends before it begins".to_owned()
    })
}

fn check_made(made: &Calibration, probe: &ProbeFacts, history: &History) -> Result<(), String> {
    fits(made, probe)?;
    for point in &made.points {
        known_point(*point, history)?;
    }
    let terms = made.terms.len();
    let square = made.covariance.len() == terms && made.covariance.iter().all(|r| r.len() == terms);
    let loaded = made.sources.iter().all(|s| s.loading.len() == terms);
    let points = made.points.len();
    let told = made.nodes.len() == points && made.residuals.len() == points;
    require(square && loaded && told, || {
        "its covariance, sources, nodes or residuals do not match its terms and points".to_owned()
    })?;
    require(made.range.0 <= made.range.1, || {
        "its range ends before it begins".to_owned()
    })
}

/// A calibration is in the electrical quantity, of one driver, in one unit.
fn fits(made: &Calibration, probe: &ProbeFacts) -> Result<(), String> {
    let pairs = [
        ("driver", &made.driver, &probe.driver),
        ("input", &made.input, &probe.input),
        ("unit", &made.unit, &probe.unit),
    ];
    let differs = pairs.iter().find(|(_, made, has)| made != has);
    match differs {
        None => Ok(()),
        Some((what, made, has)) => Err(format!(
            "the calibration is for {what} `{}`, the running service has probe `{}` with {what} `{has}`; \
             calibrate it as it is, or change its configuration back",
            super::protocol::shortened(made),
            probe.probe
        )),
    }
}

fn known_point(number: u64, history: &History) -> Result<&Taken, String> {
    let taken = history.point(number);
    taken.ok_or_else(|| format!("there is no point {number} of this probe in the log"))
}

fn known_calibration(number: u64, history: &History) -> Result<&Calibration, String> {
    let made = history.calibration_of_step(number);
    let made = made.map(|made| &made.calibration);
    made.ok_or_else(|| format!("there is no calibration with step number {number} of this probe"))
}

fn require(holds: bool, otherwise: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(otherwise()) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::calibrate::Verification;
    use crate::control::testing::{calibration, facts, history, point};

    fn two_steps() -> History {
        let point = Box::new(point(0.0, 31_412.3));
        let calibration = Box::new(calibration(&[3]));
        history([(3, Step::Point { point }), (5, Step::Made { calibration })])
    }

    fn refused(step: Step) -> String {
        check(&step, &facts(), &two_steps()).unwrap_err()
    }

    fn made(change: impl FnOnce(&mut Calibration)) -> Step {
        let mut calibration = Box::new(calibration(&[3]));
        change(&mut calibration);
        Step::Made { calibration }
    }

    fn activated(calibration: Option<u64>) -> Step {
        let why = String::new();
        Step::Activated { calibration, why }
    }

    #[test]
    fn what_fits_is_taken() {
        let steps = [
            made(|_| {}),
            activated(Some(5)),
            activated(None),
            Step::Withdrawn {
                point: 3,
                why: "the ice was gone".to_owned(),
            },
        ];
        for step in steps {
            assert_eq!(check(&step, &facts(), &two_steps()), Ok(()));
        }
    }

    #[test]
    fn what_does_not_fit_is_refused_with_the_reason() {
        let mut no_number = point(0.0, 31_412.3);
        no_number.captured.mean = f64::NAN;
        let mut negative = point(0.0, 31_412.3);
        negative.compared.own = -0.1;
        let verification = Verification {
            point: 4,
            error: 0.1,
            expanded: 0.1,
            tolerance: 0.3,
            pass: true,
            rule: String::new(),
        };
        let told = [
            refused(Step::Point {
                point: Box::new(no_number),
            }),
            refused(Step::Point {
                point: Box::new(negative),
            }),
            refused(made(|c| c.covariance.clear())),
            refused(made(|c| c.driver = "photoresistor".to_owned())),
            refused(made(|c| c.points = vec![4])),
            refused(made(|c| c.offset = f64::INFINITY)),
            refused(activated(Some(3))),
            refused(Step::Withdrawn {
                point: 5,
                why: String::new(),
            }),
            refused(Step::Verified {
                calibration: 5,
                verification,
            }),
        ];
        insta::assert_snapshot!(told.join("\n"), @r"
        a number in it is not finite
        an uncertainty of the point is negative
        its covariance, sources, nodes or residuals do not match its terms and points
        the calibration is for driver `photoresistor`, the running service has probe `mash` with driver `thermistor`; calibrate it as it is, or change its configuration back
        there is no point 4 of this probe in the log
        a number in it is not finite
        there is no calibration with step number 3 of this probe
        there is no point 5 of this probe in the log
        there is no point 4 of this probe in the log
        ");
    }
}
