//! Which point to make next, and why.
//!
//! Spreads points over the range of use, both ends first, then the widest gap, and one more than the
//! curve has terms, kept out, so that an error can show. Where on the scale, not how: the person decides.

use super::guide::Kind;
use crate::calibrate::point::Role;
use crate::config::unit::{Dimension, Unit};

/// What to do next.
#[derive(Clone, Debug, PartialEq)]
pub enum Next {
    /// Make a point.
    Make {
        /// About here, in the probe's unit.
        near: f64,
        /// With this reference.
        by: Kind,
        /// For this.
        role: Role,
        /// In words.
        why: String,
    },
    /// There are enough points.
    Enough,
}

/// As far from an end of the range as this share of it, a point still stands for the end.
const AT_END: f64 = 0.15;

/// Ice and boiling water are proposed for an end of the range that is no farther from them, °C.
const FIXED_POINT_REACH: f64 = 12.0;

/// Where water boils in most kitchens, °C: 0 to 1000 m.
const BOILING: f64 = 98.5;

/// The next point, after points at these reference values, for a range of use (lowest, highest; both
/// in the probe's `unit`, a UCUM code) and a curve with `terms` terms.
#[must_use]
pub fn next(points: &[f64], range: (f64, f64), terms: usize, unit: &str) -> Next {
    let scale = Scale::of(unit, range);
    let (low, high) = (scale.place(range.0), scale.place(range.1));
    let reach = AT_END * (high - low);
    let mut places: Vec<f64> = points.iter().map(|value| scale.place(*value)).collect();
    places.retain(|place| place.is_finite());
    places.sort_unstable_by(f64::total_cmp);
    let make = |place: f64, role, why: &str| make(scale.value(place), role, why, unit);
    // What lies beyond an end encloses it as well.
    if !places.iter().any(|place| *place <= low + reach) {
        return make(
            low,
            Role::Fit,
            "the lower end of the range of use has no point yet",
        );
    }
    if terms > 1 && !places.iter().any(|place| *place >= high - reach) {
        return make(
            high,
            Role::Fit,
            "the upper end of the range of use has no point yet",
        );
    }
    let gap = widest_gap(&places, low, high);
    if places.len() < terms {
        let why = "between the ends the curve is held by no point; this is the widest gap";
        return make(gap, Role::Fit, why);
    }
    if places.len() == terms {
        let why =
            "as many points as terms fit whatever they say; one more, kept out, shows an error";
        return make(gap, Role::Check, why);
    }
    Next::Enough
}

fn make(near: f64, role: Role, why: &str, unit: &str) -> Next {
    let by = reference(near, unit);
    let near = match fixed(by, unit) {
        Some(value) => value,
        None => near,
    };
    Next::Make {
        near,
        by,
        role,
        why: why.to_owned(),
    }
}

/// The reference for a value: a fixed point where one is near.
fn reference(near: f64, unit: &str) -> Kind {
    let celsius = Unit::of(unit).value_in(near, &Unit::of("Cel"));
    match celsius {
        Some(celsius) if celsius.abs() <= FIXED_POINT_REACH => Kind::Ice,
        Some(celsius) if (celsius - BOILING).abs() <= FIXED_POINT_REACH => Kind::Boiling,
        _ => Kind::instrument(unit),
    }
}

fn fixed(by: Kind, unit: &str) -> Option<f64> {
    let celsius = match by {
        Kind::Ice => 0.0,
        Kind::Boiling => BOILING,
        _ => return None,
    };
    Unit::of("Cel").value_in(celsius, &Unit::of(unit))
}

/// The middle of the widest gap between neighbours, and the ends of the range.
fn widest_gap(places: &[f64], low: f64, high: f64) -> f64 {
    let inside = places
        .iter()
        .copied()
        .filter(|place| (low..=high).contains(place));
    let edges: Vec<f64> = std::iter::once(low).chain(inside).chain([high]).collect();
    let gaps = edges
        .windows(2)
        .map(|pair| (pair[1] - pair[0], (pair[0] + pair[1]) / 2.0));
    let widest = gaps.max_by(|one, other| one.0.total_cmp(&other.0));
    widest.map_or(low, |(_, middle)| middle)
}

/// How distances are measured: light by ratio, all else by difference.
struct Scale {
    by_ratio: bool,
}

impl Scale {
    fn of(unit: &str, range: (f64, f64)) -> Self {
        let light = Unit::of(unit).dimension() == Some(Dimension::Illuminance);
        Self {
            by_ratio: light && range.0 > 0.0,
        }
    }

    fn place(&self, value: f64) -> f64 {
        if self.by_ratio { value.log10() } else { value }
    }

    fn value(&self, place: f64) -> f64 {
        if self.by_ratio {
            10_f64.powf(place)
        } else {
            place
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Makes what is proposed until there is enough.
    fn course(range: (f64, f64), terms: usize, unit: &str) -> Vec<(f64, Kind, Role)> {
        let (mut points, mut made) = (Vec::new(), Vec::new());
        while let Next::Make { near, by, role, .. } = next(&points, range, terms, unit) {
            points.push(near);
            made.push(((near * 10.0).round() / 10.0, by, role));
            assert!(made.len() <= terms + 1, "never ends");
        }
        made
    }

    #[test]
    fn ends_come_first_then_the_gap_then_a_check() {
        assert_eq!(
            course((0.0, 40.0), 3, "Cel"),
            [
                (0.0, Kind::Ice, Role::Fit),
                (40.0, Kind::Thermometer, Role::Fit),
                (20.0, Kind::Thermometer, Role::Fit),
                (30.0, Kind::Thermometer, Role::Check),
            ]
        );
        assert_eq!(
            course((5.0, 95.0), 2, "Cel"),
            [
                (0.0, Kind::Ice, Role::Fit),
                (98.5, Kind::Boiling, Role::Fit),
                (50.0, Kind::Thermometer, Role::Check),
            ]
        );
    }

    #[test]
    fn light_is_spread_by_ratio_and_fahrenheit_finds_the_ice() {
        assert_eq!(
            course((10.0, 1000.0), 2, "lx"),
            [
                (10.0, Kind::LightMeter, Role::Fit),
                (1000.0, Kind::LightMeter, Role::Fit),
                (100.0, Kind::LightMeter, Role::Check),
            ]
        );
        let first = next(&[], (36.0, 100.0), 3, "[degF]");
        assert!(
            matches!(first, Next::Make { by: Kind::Ice, near, .. } if (near - 32.0).abs() < 1e-9)
        );
    }

    #[test]
    fn odd_ranges_and_points_find_an_answer() {
        for range in [(20.0, 20.0), (40.0, 0.0), (0.0, 0.0), (f64::NAN, 1.0)] {
            let _ = next(&[f64::NAN, 3.0], range, 3, "Cel");
        }
        assert_eq!(
            next(&[1.0, 39.0, 20.0, 30.0], (0.0, 40.0), 3, "Cel"),
            Next::Enough
        );
    }
}
