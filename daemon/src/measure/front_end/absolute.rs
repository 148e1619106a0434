//! A divider read by a converter with a reference of its own: the divider's supply does not cancel,
//! and must be known.
//!
//! Knows one count and one supply voltage at a time; where the voltage comes from is not its
//! business.
//!
//! With the supply known, a count times reference / supply is the count of a converter whose
//! reference *is* the supply (the ratiometric count), and everything else is as for the ratiometric
//! divider. Only the ends of the range differ, since there are three of them: ground, the supply,
//! and the converter's own full scale, which may lie below or above the supply.
//!
//! | what the count says | probe low | probe high |
//! |---|---|---|
//! | the node is at ground | short circuit | open circuit |
//! | the node is at the supply, as far as that is known | open circuit | short circuit |
//! | the converter is at its end, and the supply lies above it | saturated | saturated |
//! | the node is above the supply, the count negative or beyond full scale | saturated | saturated |
//!
//! So with a 1.1 V reference and a 3.3 V supply an unplugged low-side probe reads saturated: the
//! converter cannot tell it from a cold one.

use super::{FrontEnd, Side, rail_margin};
use crate::reading::{Estimate, Quality};

/// A divider and its converter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AbsoluteDivider {
    /// Where the probe sits.
    pub probe: Side,
    /// The fixed resistor, ohm.
    pub resistor_ohm: f64,
    /// The code of an input as high as the converter's reference.
    pub full_scale: f64,
    /// The converter's reference, volt.
    pub reference_volt: f64,
    /// What feeds the divider.
    pub supply: Supply,
}

/// What feeds an absolute divider.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Supply {
    /// It is known.
    Known {
        /// Volt, above 0.
        volt: f64,
        /// Standard uncertainty, volt.
        uncertainty_volt: f64,
    },
    /// It is measured, and comes beside each count.
    Measured {
        /// Standard uncertainty beside the measuring one (the tolerance of a divider in front of
        /// the channel that measures it), volt.
        uncertainty_volt: f64,
    },
}

/// So many standard uncertainties from the supply a node is taken to be at it: 95 % of a normal
/// distribution lie within (JCGM 100:2008, G.1.2 and table G.1).
const COVERAGE: f64 = 2.0;

impl AbsoluteDivider {
    /// The same with a measured supply; one whose supply is known stays as it is, and so does one
    /// for a voltage that is not above 0.
    #[must_use]
    pub fn fed_with(self, measured: Estimate) -> Self {
        match self.supply {
            Supply::Measured { uncertainty_volt } if measured.value() > 0.0 => Self {
                supply: Supply::Known {
                    volt: measured.value(),
                    uncertainty_volt: measured.uncertainty().hypot(uncertainty_volt),
                },
                ..self
            },
            Supply::Measured { .. } | Supply::Known { .. } => self,
        }
    }

    /// The same divider at a converter whose reference is the supply: it takes ratiometric counts.
    #[must_use]
    pub fn ratiometric(&self) -> FrontEnd {
        FrontEnd::Divider {
            probe: self.probe,
            resistor_ohm: self.resistor_ohm,
            full_scale: self.full_scale,
        }
    }

    /// What a count is multiplied by to become a ratiometric one: reference / supply. `None` where
    /// the supply is not known.
    #[must_use]
    pub fn scale(&self) -> Option<f64> {
        self.known().map(|(volt, _)| self.reference_volt / volt)
    }

    /// Relative standard uncertainty of the supply, and so of a ratiometric count: the count goes
    /// with 1 / supply (JCGM 100:2008, 5.1.2, with the sensitivity -count / supply).
    #[must_use]
    pub fn supply_share(&self) -> Option<f64> {
        self.known().map(|(volt, uncertainty)| uncertainty / volt)
    }

    /// Whether a count stands for a number; see the table above.
    pub(super) fn check_rails(&self, count: f64) -> Result<(), Quality> {
        let (Some(scale), Some(share)) = (self.scale(), self.supply_share()) else {
            return Err(Quality::Unreadable);
        };
        let (at_ground, at_supply) = match self.probe {
            Side::Low => (Quality::ShortCircuit, Quality::OpenCircuit),
            Side::High => (Quality::OpenCircuit, Quality::ShortCircuit),
        };
        let end = rail_margin(self.full_scale);
        let below_supply = self.full_scale - count * scale;
        let near = (self.full_scale * (COVERAGE * share).max(0.001)).max(scale);
        if !(0.0..=self.full_scale).contains(&count) || below_supply < -near {
            Err(Quality::Saturated)
        } else if count <= end {
            Err(at_ground)
        } else if below_supply <= near {
            Err(at_supply)
        } else if count >= self.full_scale - end {
            Err(Quality::Saturated)
        } else {
            Ok(())
        }
    }

    fn known(&self) -> Option<(f64, f64)> {
        match self.supply {
            Supply::Known {
                volt,
                uncertainty_volt,
            } => Some((volt, uncertainty_volt)),
            Supply::Measured { .. } => None,
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::measure::front_end::Electrical::{Ohm, Ratio};
    use crate::measure::testing::{column, near, numbers};
    use proptest::prelude::*;

    fn divider(probe: Side, full_scale: f64, reference_volt: f64, volt: f64) -> AbsoluteDivider {
        AbsoluteDivider {
            probe,
            resistor_ohm: 10_000.0,
            full_scale,
            reference_volt,
            supply: Supply::Known {
                volt,
                uncertainty_volt: 0.0,
            },
        }
    }

    #[test]
    fn with_the_supply_as_reference_the_published_table_comes_out() {
        let table = include_str!("../../../tests/published/divider_adc.csv");
        let (sides, ohms) = (column(table, "topology"), column(table, "R_from_code_ohm"));
        let parts = numbers(table, "R_fixed_ohm")
            .into_iter()
            .zip(numbers(table, "full_scale"))
            .zip(numbers(table, "code"));
        assert_eq!(sides.len(), 29);
        for ((side, ohm), ((resistor_ohm, full_scale), code)) in sides.iter().zip(ohms).zip(parts) {
            let probe = if *side == "low" {
                Side::Low
            } else {
                Side::High
            };
            let plain = FrontEnd::Divider {
                probe,
                resistor_ohm,
                full_scale,
            };
            for volt in [3.3, 5.0] {
                let front_end = FrontEnd::AbsoluteDivider(AbsoluteDivider {
                    resistor_ohm,
                    ..divider(probe, full_scale, volt, volt)
                });
                let converted = front_end.convert(code, Ohm);
                assert_eq!(converted, plain.convert(code, Ohm));
                match converted {
                    Ok(converted) => near(converted.value, ohm.parse().unwrap(), 1e-9),
                    Err(_) => assert_eq!(ohm, "", "code {code}"),
                }
            }
        }
    }

    #[test]
    fn with_another_reference_the_published_resistances_come_out() {
        // The table's codes, seen by a converter of 2.2 V on a supply of 3.3 V: 1.5 times as many
        // counts, where it does not end.
        let table = include_str!("../../../tests/published/divider_adc.csv");
        let (sides, ohms) = (column(table, "topology"), column(table, "R_from_code_ohm"));
        let parts = numbers(table, "R_fixed_ohm")
            .into_iter()
            .zip(numbers(table, "full_scale"))
            .zip(numbers(table, "code"));
        let mut compared = 0;
        for ((side, ohm), ((resistor_ohm, full_scale), code)) in sides.iter().zip(ohms).zip(parts) {
            let probe = if *side == "low" {
                Side::Low
            } else {
                Side::High
            };
            let front_end = FrontEnd::AbsoluteDivider(AbsoluteDivider {
                resistor_ohm,
                ..divider(probe, full_scale, 2.2, 3.3)
            });
            if let Ok(converted) = front_end.convert(code * 1.5, Ohm) {
                near(converted.value, ohm.parse().unwrap(), 1e-9);
                compared += 1;
            } else {
                assert!(code == 0.0 || code * 1.5 > full_scale * 0.999, "{code}");
            }
        }
        assert!(compared >= 15, "{compared}");
    }

    #[test]
    fn each_end_says_what_it_can_know() {
        use Quality::{OpenCircuit, Saturated, ShortCircuit};
        let (low, high) = (Side::Low, Side::High);
        // Reference, supply, count, and what it means for a probe on the low and the high side.
        for (reference, supply, count, at_low, at_high) in [
            (1.1, 3.3, 0.0, Some(ShortCircuit), Some(OpenCircuit)),
            (1.1, 3.3, 4.0, Some(ShortCircuit), Some(OpenCircuit)),
            (1.1, 3.3, 2000.0, None, None),
            (1.1, 3.3, 4095.0, Some(Saturated), Some(Saturated)),
            (1.1, 3.3, 4091.0, Some(Saturated), Some(Saturated)),
            (3.3, 3.3, 4095.0, Some(OpenCircuit), Some(ShortCircuit)),
            (3.3, 3.3, 4090.0, None, None),
            // 3.3 V of 4.4 V are 3071.25 counts.
            (4.4, 3.3, 3071.0, Some(OpenCircuit), Some(ShortCircuit)),
            (4.4, 3.3, 3073.0, Some(OpenCircuit), Some(ShortCircuit)),
            (4.4, 3.3, 3060.0, None, None),
            (4.4, 3.3, 3200.0, Some(Saturated), Some(Saturated)),
            (4.4, 3.3, 0.0, Some(ShortCircuit), Some(OpenCircuit)),
            (1.1, 3.3, -1.0, Some(Saturated), Some(Saturated)),
            (1.1, 3.3, 4096.0, Some(Saturated), Some(Saturated)),
        ] {
            for (side, fault) in [(low, at_low), (high, at_high)] {
                let front_end = divider(side, 4095.0, reference, supply);
                let got = front_end.check_rails(count).err();
                assert_eq!(got, fault, "{front_end:?} at {count}");
            }
        }
    }

    #[test]
    fn what_cannot_be_told_from_the_supply_is_open() {
        // A supply of 3.3 V +- 1 %: 3 % below it is a number, 1.5 % is not.
        let mut front_end = divider(Side::Low, 4095.0, 4.4, 3.3);
        front_end.supply = Supply::Known {
            volt: 3.3,
            uncertainty_volt: 0.033,
        };
        let top = 4095.0 * 0.75;
        assert_eq!(front_end.check_rails(top * 0.97), Ok(()));
        let open = Err(Quality::OpenCircuit);
        assert_eq!(front_end.check_rails(top * 0.985), open);
        assert_eq!(front_end.check_rails(top * 1.015), open);
        let beyond = front_end.check_rails(top * 1.03);
        assert_eq!(beyond, Err(Quality::Saturated));
    }

    #[test]
    fn without_a_supply_there_is_no_number() {
        let mut front_end = divider(Side::Low, 4095.0, 1.1, 3.3);
        front_end.supply = Supply::Measured {
            uncertainty_volt: 0.03,
        };
        let unknown = FrontEnd::AbsoluteDivider(front_end).convert(2000.0, Ohm);
        assert_eq!(unknown, Err(Quality::Unreadable));
        let none = front_end.fed_with(Estimate::new(0.0, 0.0).unwrap());
        assert_eq!(none, front_end);
        let fed = front_end.fed_with(Estimate::new(3.3, 0.04).unwrap());
        near(fed.supply_share().unwrap(), 0.05 / 3.3, 1e-12);
        assert!(
            FrontEnd::AbsoluteDivider(fed)
                .convert(2000.0, Ratio)
                .is_ok()
        );
        // What is known is not overruled.
        assert_eq!(fed.fed_with(Estimate::new(9.0, 0.0).unwrap()), fed);
    }

    proptest! {
        #[test]
        fn a_supply_that_sags_leaves_the_resistance_alone(
            ohm in 300.0..300_000.0_f64,
            sag in 0.8..1.2_f64,
            low in any::<bool>(),
        ) {
            let probe = if low { Side::Low } else { Side::High };
            let front_end = FrontEnd::AbsoluteDivider(divider(probe, 4095.0, 4.4, 3.3 * sag));
            let count = front_end.count_for(ohm, Ohm).unwrap();
            prop_assert!((count / (4095.0 * 0.75 * sag)) < 1.0);
            if let Ok(converted) = front_end.convert(count, Ohm) {
                near(converted.value, ohm, 1e-9);
            }
        }

        #[test]
        fn the_supplys_sensitivity_is_that_of_the_resistance(
            count in 100.0..2800.0_f64,
            low in any::<bool>(),
        ) {
            let probe = if low { Side::Low } else { Side::High };
            let at = |volt| {
                let front_end = FrontEnd::AbsoluteDivider(divider(probe, 4095.0, 4.4, volt));
                front_end.convert(count, Ohm).unwrap()
            };
            let by_difference = (at(3.301).value - at(3.299).value) / 0.002;
            near(-count / 3.3 * at(3.3).slope, by_difference, 1e-3);
        }
    }
}
