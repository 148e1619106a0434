//! Whether a divider's resistor fits its probe: advice, no error.
//!
//! The probe's working range should move the converter over as many codes as it can; for two ends
//! Rmin and Rmax of the range that is so with a resistor of sqrt(Rmin x Rmax).

use super::probe::Chain;
use super::problem::Fault;
use crate::alarm::{Condition, Rule};
use crate::measure::front_end::{Electrical, FrontEnd};

/// A resistor is spoken of where the working range takes less of the codes than this.
const FEW_CODES: f64 = 0.1;

/// … and where the best one would at least double them: a narrow range never takes many.
const WORTH_A_CHANGE: f64 = 2.0;

/// The steps of the E24 series (IEC 60063, table 1).
const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6,
    6.2, 6.8, 7.5, 8.2, 9.1,
];

/// What to say about the resistor of this chain, if anything.
///
/// The working range is from the low to the high limit where both are set; else what a probe of
/// this unit usually sees (-20 to 60 Cel, 1 to 10000 lx), stretched to the one limit there is.
pub(super) fn advice(chain: &Chain, rules: &[Rule], unit: &str) -> Option<Fault> {
    let FrontEnd::Divider { resistor_ohm, .. } = chain.front_end else {
        return None;
    };
    let (low, high) = working_range(rules, unit)?;
    let (one, other) = (ohms(chain, low)?, ohms(chain, high)?);
    let best = (one * other).sqrt();
    let (share, most) = (share(resistor_ohm, one, other), share(best, one, other));
    if share >= FEW_CODES || most < WORTH_A_CHANGE * share {
        return None;
    }
    Some(Fault::new(
        format!(
            "with a resistor of {} the range from {low} to {high} {unit} moves the converter over \
             {:.1} % of its codes",
            shown(resistor_ohm),
            share * 100.0
        ),
        format!("{} would give {:.0} %", shown(next_e24(best)), most * 100.0),
    ))
}

/// The range in which a probe with these alarms works, as far as it can be told.
#[must_use]
pub fn working_range(rules: &[Rule], unit: &str) -> Option<(f64, f64)> {
    let high = rules.iter().find_map(|rule| match rule.condition {
        Condition::High { limit, .. } => Some(limit),
        Condition::Low { .. } | Condition::Fault | Condition::Stale | Condition::Due => None,
    });
    let low = rules.iter().find_map(|rule| match rule.condition {
        Condition::Low { limit, .. } => Some(limit),
        Condition::High { .. } | Condition::Fault | Condition::Stale | Condition::Due => None,
    });
    if let (Some(low), Some(high)) = (low, high) {
        return Some((low, high));
    }
    let (least, most) = usual_range(unit)?;
    let limit = low.or(high).unwrap_or(least);
    Some((least.min(limit), most.max(limit)))
}

/// Whether an end of [`working_range`] is assumed: not both limits are set.
#[must_use]
pub fn is_assumed(rules: &[Rule]) -> bool {
    let has = |is: fn(&Condition) -> bool| rules.iter().any(|rule| is(&rule.condition));
    let low = has(|one| matches!(one, Condition::Low { .. }));
    let high = has(|one| matches!(one, Condition::High { .. }));
    !(low && high)
}

/// What a probe is usually put into. Common practice: from a freezer to a hot bath; from a dim
/// room to an overcast day.
fn usual_range(unit: &str) -> Option<(f64, f64)> {
    match unit {
        "Cel" => Some((-20.0, 60.0)),
        "lx" => Some((1.0, 10_000.0)),
        _ => None,
    }
}

/// The probe's resistance at a value.
fn ohms(chain: &Chain, value: f64) -> Option<f64> {
    if chain.input != Electrical::Ohm {
        return None;
    }
    let ohms = chain.model.invert(value).ok()?;
    (ohms.is_finite() && ohms > 0.0).then_some(ohms)
}

/// Share of the converter's codes between two resistances; the same on either side of the divider.
fn share(resistor: f64, one: f64, other: f64) -> f64 {
    (one / (one + resistor) - other / (other + resistor)).abs()
}

/// The nearest value of the E24 series, by ratio.
fn next_e24(ohms: f64) -> f64 {
    let decade = ohms.log10().floor();
    let far = |candidate: f64| (candidate / ohms).ln().abs();
    [decade - 1.0, decade, decade + 1.0]
        .into_iter()
        .flat_map(|decade| E24.map(|step| step * 10f64.powf(decade)))
        .min_by(|a, b| far(*a).total_cmp(&far(*b)))
        .unwrap_or(ohms)
}

/// Two digits and a prefix, as resistors are marked: `4.7 kOhm`.
fn shown(ohms: f64) -> String {
    let (scaled, unit) = match ohms {
        ohms if ohms >= 1e6 => (ohms / 1e6, "MOhm"),
        ohms if ohms >= 1e3 => (ohms / 1e3, "kOhm"),
        ohms => (ohms, "Ohm"),
    };
    format!("{} {unit}", (scaled * 1000.0).round() / 1000.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_of_the_series_is_found_across_decades() {
        for (ohms, expected) in [
            (4690.0, "4.7 kOhm"),
            (13_200.0, "13 kOhm"),
            (9_900.0, "10 kOhm"),
            (0.96, "1 Ohm"),
            (2_170_000.0, "2.2 MOhm"),
        ] {
            assert_eq!(shown(next_e24(ohms)), expected);
        }
    }

    /// Source: divider algebra; with the best resistor both ends are the same way from the middle.
    #[test]
    fn the_geometric_mean_takes_most_codes() {
        let (one, other) = (32_650.0_f64, 680.0_f64);
        let best = (one * other).sqrt();
        for factor in [0.5, 0.9, 1.1, 2.0] {
            assert!(share(best * factor, one, other) < share(best, one, other));
        }
        let middle = one / (one + best) + other / (other + best);
        assert!((middle - 1.0).abs() < 1e-12);
    }
}
