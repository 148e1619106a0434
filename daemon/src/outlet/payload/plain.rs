//! The number alone, for displays and scripts that take nothing else.
//!
//! A fault is an **empty** payload. Retained, that deletes the last value at the broker (MQTT 3.1.1,
//! 3.3.1.3): on purpose, for a display that shows nothing is better than one that shows the number
//! from before the lead broke. Uncertainty, unit, time and reason are left out: take `json` where
//! they count.

use crate::alarm::Move;
use crate::reading::Reading;

/// The shortest decimal number that gives back the same `f64`; empty for a fault.
#[must_use]
pub fn reading(reading: &Reading) -> Vec<u8> {
    reading
        .outcome
        .estimate()
        .map_or_else(Vec::new, |estimate| {
            estimate.value().to_string().into_bytes()
        })
}

/// `active` or `normal`.
#[must_use]
pub fn alarm(alarm: &Move) -> Vec<u8> {
    super::state(alarm.to).as_bytes().to_vec()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::tests::{beyond, broken, mash, too_hot};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_value_is_its_number() {
        assert_eq!(reading(&mash(67.91)), b"67.91");
        assert_eq!(reading(&mash(-20.0)), b"-20");
    }

    #[test]
    fn a_value_outside_the_calibrated_range_is_its_number() {
        assert_eq!(reading(&beyond(104.2)), b"104.2");
    }

    #[test]
    fn a_fault_is_empty() {
        assert_eq!(reading(&broken()), b"");
    }

    #[test]
    fn an_alarm_is_its_state() {
        assert_eq!(alarm(&too_hot()), b"active");
    }

    proptest! {
        #[test]
        fn the_number_reads_back_bit_by_bit(value in proptest::num::f64::NORMAL | proptest::num::f64::SUBNORMAL) {
            let text = String::from_utf8(reading(&mash(value))).unwrap();
            prop_assert_eq!(text.parse::<f64>().unwrap().to_bits(), value.to_bits());
        }
    }
}
