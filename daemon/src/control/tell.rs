//! What the journal says of a step, for a person.

use super::facts::ProbeFacts;
use super::protocol;
use crate::calibrate::history::History;
use crate::calibrate::{Point, Reference, Role, Step, Verdict, Verification};
use crate::log::{Entry, Kind, Loudness};
use crate::reading::Moment;

/// Coverage factor of what people see (JCGM 100:2008, 6.2).
const COVERAGE: f64 = 2.0;

/// The journal entry of a step that is about to be appended.
#[must_use]
pub fn entry(at: Moment, step: &Step, probe: &ProbeFacts, history: &History) -> Entry {
    let loudness = match step {
        Step::Verified { verification, .. } if verification.verdict() == Verdict::Fail => {
            Loudness::Warning
        }
        _ => Loudness::Info,
    };
    // Reasons and names come from whoever may write to the socket.
    let text = protocol::printable(&text(step, probe, history));
    Entry::new(at, Kind::Calibration, probe.probe.as_str(), text).loud(loudness)
}

fn text(step: &Step, probe: &ProbeFacts, history: &History) -> String {
    let name = &probe.probe;
    let number = |step: u64| {
        let made = history.calibration_of_step(step);
        made.map_or(0, |made| made.number)
    };
    match step {
        Step::Point { point } => format!("probe `{name}`: point taken{}", told(point, probe)),
        Step::Withdrawn { point, why } => {
            let what = history.point(*point).map(|taken| told(&taken.point, probe));
            let what = what.unwrap_or_default();
            format!("probe `{name}`: a point does not count any more{what}; {why}")
        }
        Step::Made { calibration } => format!(
            "calibration {} of probe `{name}` made, not in use yet ({})",
            history.next_number(),
            calibration.decision
        ),
        Step::Verified {
            calibration,
            verification,
        } => format!(
            "calibration {} of probe `{name}` {}",
            number(*calibration),
            verified(verification, &probe.unit)
        ),
        Step::Activated { calibration, why } => {
            let made = calibration.and_then(|step| history.calibration_of_step(step));
            let what = match made {
                Some(made) => format!(
                    "calibration {} of probe `{name}` in use ({})",
                    made.number, made.calibration.decision
                ),
                None => format!("probe `{name}`: the configured parameters are in use"),
            };
            with_reason(what, why)
        }
        Step::Unreadable { why, .. } => {
            format!("probe `{name}`: a step that cannot be read: {why}")
        }
    }
}

fn with_reason(what: String, why: &str) -> String {
    if why.is_empty() {
        what
    } else {
        format!("{what}; {why}")
    }
}

/// `: ice point, 0.00 ± 0.10 Cel (k = 2), probe read 31412.3 ± 1.2 Ohm`.
fn told(point: &Point, probe: &ProbeFacts) -> String {
    let (compared, captured) = (&point.compared, &point.captured);
    let is_resistor = matches!(compared.reference, Reference::Resistor { .. });
    let unit = if is_resistor { "Ohm" } else { &probe.unit };
    let known = compared.own.hypot(compared.common);
    let role = match point.role {
        Role::Fit => "",
        Role::Check => ", kept out to verify",
    };
    format!(
        ": {}, {} (k = 2), probe read {}{role}",
        reference(&compared.reference),
        shown(compared.value, known, unit),
        shown(captured.mean, captured.uncertainty, &probe.electrical_unit),
    )
}

fn reference(reference: &Reference) -> String {
    match reference {
        Reference::Ice => "ice point".to_owned(),
        Reference::Boiling { pressure, .. } => {
            format!("boiling water at {:.1} hPa", pressure / 100.0)
        }
        Reference::Instrument { name } => format!("beside `{name}`"),
        Reference::Known { what } => what.clone(),
        Reference::Resistor { what } => format!("resistor {what} in the probe's place"),
    }
}

fn verified(verification: &Verification, unit: &str) -> String {
    let outcome = match verification.verdict() {
        Verdict::Pass => "passed its verification",
        Verdict::Fail => "failed its verification",
        Verdict::Undecided => "has a verification that could not be decided",
    };
    let standard = verification.expanded / COVERAGE;
    let error = shown(verification.error, standard, unit);
    let tolerance = shown(verification.tolerance, 0.0, unit);
    format!("{outcome}: error {error} (k = 2), tolerance {tolerance}")
}

/// A value with its expanded uncertainty (k = 2), which gets two digits; the number as it is where
/// there is none: `66.51 ± 0.24 Cel`. `1` is UCUM's word for no unit.
#[must_use]
pub fn shown(value: f64, standard: f64, unit: &str) -> String {
    let unit = match unit {
        "1" => String::new(),
        unit => format!(" {unit}"),
    };
    let expanded = COVERAGE * standard;
    if expanded <= 0.0 {
        return format!("{value}{unit}");
    }
    // Between 0 and 12 by the clamp.
    let decimals = (1.0 - expanded.log10().floor()).clamp(0.0, 12.0) as usize;
    format!("{value:.decimals$} ± {expanded:.decimals$}{unit}")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::control::testing::{calibration, facts, history, point};

    fn verification(error: f64, pass: bool) -> Step {
        Step::Verified {
            calibration: 5,
            verification: Verification {
                point: 3,
                error,
                expanded: 0.12,
                tolerance: 0.3,
                pass,
                rule: String::new(),
            },
        }
    }

    #[test]
    fn each_step_is_told_as_a_person_would() {
        let taken = Step::Point {
            point: Box::new(point(0.0, 31_412.345)),
        };
        let made = Step::Made {
            calibration: Box::new(calibration(&[3])),
        };
        let history = history([(3, taken.clone()), (5, made.clone())]);
        let mut held_out = point(99.63, 973.2);
        held_out.role = Role::Check;
        held_out.compared.reference = Reference::Boiling {
            pressure: 100_000.0,
            pressure_uncertainty: 50.0,
            altitude: None,
        };
        let steps = [
            taken,
            Step::Point {
                point: Box::new(held_out),
            },
            Step::Withdrawn {
                point: 3,
                why: "the ice was gone".to_owned(),
            },
            made,
            verification(-0.034, true),
            verification(0.28, false),
            verification(0.43, false),
            Step::Activated {
                calibration: Some(5),
                why: String::new(),
            },
            Step::Activated {
                calibration: None,
                why: "another sleeve".to_owned(),
            },
        ];
        let told = steps.map(|step| text(&step, &facts(), &history));
        insta::assert_snapshot!(told.join("\n"), @"
        probe `mash`: point taken: ice point, 0.00 ± 0.10 Cel (k = 2), probe read 31412.3 ± 2.4 Ohm
        probe `mash`: point taken: boiling water at 1000.0 hPa, 99.63 ± 0.10 Cel (k = 2), probe read 973.2 ± 2.4 Ohm, kept out to verify
        probe `mash`: a point does not count any more: ice point, 0.00 ± 0.10 Cel (k = 2), probe read 31412.3 ± 2.4 Ohm; the ice was gone
        calibration 2 of probe `mash` made, not in use yet (one point: offset)
        calibration 1 of probe `mash` passed its verification: error -0.03 ± 0.12 Cel (k = 2), tolerance 0.3 Cel
        calibration 1 of probe `mash` has a verification that could not be decided: error 0.28 ± 0.12 Cel (k = 2), tolerance 0.3 Cel
        calibration 1 of probe `mash` failed its verification: error 0.43 ± 0.12 Cel (k = 2), tolerance 0.3 Cel
        calibration 1 of probe `mash` in use (one point: offset)
        probe `mash`: the configured parameters are in use; another sleeve
        ");
    }

    #[test]
    fn nothing_from_the_socket_moves_a_cursor() {
        let why = "red\u{1b}[31m\nprobe `vat`: in use\u{202e}".to_owned();
        let step = Step::Activated {
            calibration: None,
            why,
        };
        let entry = entry(crate::clock::now(), &step, &facts(), &History::default());
        assert!(
            entry.text.ends_with("; red?[31m?probe `vat`: in use?"),
            "{}",
            entry.text
        );
    }

    #[test]
    fn only_a_failed_verification_is_loud() {
        let loudness = |error, pass| {
            let now = crate::clock::now();
            entry(
                now,
                &verification(error, pass),
                &facts(),
                &History::default(),
            )
            .loudness
        };
        assert_eq!(loudness(0.1, true), Loudness::Info);
        assert_eq!(loudness(0.28, false), Loudness::Info);
        assert_eq!(loudness(0.43, false), Loudness::Warning);
    }

    #[test]
    fn a_number_without_an_uncertainty_is_shown_as_it_is() {
        assert_eq!(shown(4.7, 0.0, "Ohm"), "4.7 Ohm");
        assert_eq!(shown(0.5123, 0.0001, "1"), "0.51230 ± 0.00020");
        assert_eq!(shown(31_412.0, 60.0, "Ohm"), "31412 ± 120 Ohm");
    }
}
