//! Numbers for people: as many decimals as their uncertainty is worth, and the unit.

/// Decimals for a number that is known to about this much: its first digit that is in doubt is the
/// last shown. Three where nothing is known.
pub(super) fn decimals(uncertainty: f64) -> usize {
    let places = -uncertainty.abs().log10().floor();
    if places.is_finite() {
        places.clamp(0.0, 6.0) as usize
    } else {
        3
    }
}

/// A value with its expanded uncertainty, named as such: `0.00 ± 0.10 Cel (k = 2)`. Two digits of
/// the uncertainty (JCGM 100:2008, 7.2.6).
pub(super) fn expanded(value: f64, standard: f64, unit: &str) -> String {
    let expanded = 2.0 * standard;
    let places = match expanded {
        expanded if expanded > 0.0 => (decimals(expanded) + 1).min(6),
        _ => 3,
    };
    let places = if expanded >= 10.0 { 0 } else { places };
    let interval = with_unit(format!("{value:.places$} ± {expanded:.places$}"), unit);
    format!("{interval} (k = 2)")
}

/// A number with its unit; a plain one, such as a divider's ratio, has none to show.
pub(super) fn with_unit(number: String, unit: &str) -> String {
    match unit {
        "1" | "" => number,
        unit => format!("{number} {unit}"),
    }
}

/// Half the width of an interval: two digits.
pub(super) fn half(width: f64) -> String {
    let places = if width >= 10.0 {
        0
    } else {
        (decimals(width) + 1).min(6)
    };
    format!("± {width:.places$}")
}

/// A difference with its sign.
pub(super) fn signed(value: f64, uncertainty: f64) -> String {
    let places = (decimals(uncertainty) + 1).min(6);
    format!("{:+.places$}", value + 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_are_worth_their_uncertainty() {
        for (uncertainty, expected) in [(0.3, 1), (0.03, 2), (0.01, 2), (1.0, 0), (25.0, 0)] {
            assert_eq!(decimals(uncertainty), expected, "{uncertainty}");
        }
        assert_eq!(
            (decimals(0.0), decimals(f64::NAN), decimals(1e-30)),
            (3, 3, 6)
        );
    }

    #[test]
    fn an_interval_is_named_by_its_factor() {
        assert_eq!(expanded(0.0, 0.05, "Cel"), "0.00 ± 0.10 Cel (k = 2)");
        assert_eq!(expanded(9_998.43, 6.2, "ohm"), "9998 ± 12 ohm (k = 2)");
        assert_eq!(expanded(0.2657, 0.0005, "1"), "0.2657 ± 0.0010 (k = 2)");
        assert_eq!(expanded(40.123_4, 0.61, "Cel"), "40.1 ± 1.2 Cel (k = 2)");
        assert_eq!(signed(0.012, 0.05), "+0.012");
    }
}
