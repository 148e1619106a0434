//! The ice point: melting ice at 0 °C.
//!
//! A laboratory reaches 0.002 °C (ASTM E563, from memory); a kitchen does not, and nothing here
//! promises that it does, however often the point is repeated.

use super::{Refused, Water};
use crate::calibrate::point::{Compared, Reference, Shape};

/// Standard uncertainty, °C, of a careful kitchen's ice point: crushed ice of distilled water without
/// voids, stirred (common practice: 0.05 to 0.1 °C). Shared by all ice points, as the same kitchen makes
/// the same mistake again.
pub const BEST_ICE: f64 = 0.05;

/// The same with tap water (common practice: its salts lower the melting point by up to 0.1 °C).
const TAP_ICE: f64 = 0.1;

/// What differs from one filling of the glass to the next, °C, one standard deviation (common
/// practice).
const FILLING: f64 = 0.02;

/// An ice point as a kitchen makes it, in °C.
#[must_use]
pub fn ice(water: Water) -> Compared {
    melting(match water {
        Water::Distilled => BEST_ICE,
        Water::Tap => TAP_ICE,
    })
}

/// An ice point with a standard uncertainty of one's own, °C.
///
/// # Errors
/// `TooGood` below [`BEST_ICE`], `Uncertainty` where it is no finite number.
pub fn ice_within(uncertainty: f64) -> Result<Compared, Refused> {
    if super::uncertain(uncertainty)? < BEST_ICE {
        return Err(Refused::TooGood);
    }
    Ok(melting(uncertainty))
}

fn melting(common: f64) -> Compared {
    Compared {
        reference: Reference::Ice,
        value: 0.0,
        own: FILLING,
        common,
        common_shape: Shape::Normal,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibrate::reference::combined;

    #[test]
    fn an_ice_point_is_never_better_than_a_kitchen_makes_it() {
        assert!((0.05..0.06).contains(&combined(&ice(Water::Distilled))));
        assert!((0.1..0.11).contains(&combined(&ice(Water::Tap))));
        // What all ice points share does not average out.
        assert!(ice(Water::Distilled).common >= BEST_ICE);
        assert_eq!(ice_within(0.02), Err(Refused::TooGood));
        assert!(ice_within(f64::NAN).is_err() && ice_within(-1.0).is_err());
        assert_eq!(ice_within(0.3).map(|point| point.common), Ok(0.3));
    }
}
