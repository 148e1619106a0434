//! How far a divider warms the probe that it measures.
//!
//! The probe turns P = V² R / (R + Rs)² into heat, and is warmer than what it touches by P over its
//! dissipation constant. That constant is a property of probe *and* medium, and so never known well:
//! what is corrected for it and what is left is decided in `calibrate::stated`.

/// A probe in a divider whose supply and dissipation constant are known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SelfHeating {
    /// What feeds the divider, volt.
    pub supply_volt: f64,
    /// The fixed resistor, ohm.
    pub resistor_ohm: f64,
    /// Dissipation constant, watt for one unit of the probe's value (W/K where that is Cel or K).
    pub dissipation: f64,
}

impl SelfHeating {
    /// Heat in a probe of this resistance, watt.
    #[must_use]
    pub fn power(&self, ohm: f64) -> f64 {
        let ampere = self.supply_volt / (ohm + self.resistor_ohm);
        ampere * ampere * ohm
    }

    /// How much warmer it is than what it touches, in the unit of its value.
    #[must_use]
    pub fn rise(&self, ohm: f64) -> f64 {
        self.power(ohm) / self.dissipation
    }

    /// Change of the rise with the resistance, in the unit of the value per ohm; 0 where probe and
    /// resistor are equal, and the power is largest.
    #[must_use]
    pub fn slope(&self, ohm: f64) -> f64 {
        let whole = ohm + self.resistor_ohm;
        self.rise(ohm) * (self.resistor_ohm - ohm) / (ohm * whole)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::near;

    fn equal(supply_volt: f64, dissipation: f64) -> f64 {
        let heating = SelfHeating {
            supply_volt,
            resistor_ohm: 10_000.0,
            dissipation,
        };
        heating.rise(10_000.0)
    }

    #[test]
    fn equal_arms_share_the_power_of_a_quarter() {
        // V² / (4 R): 25 / 40000 = 0.625 mW at 5 V. Dissipation constants of a bead in air
        // (1.5 mW/K) and in stirred water (8 mW/K): common practice, from memory.
        for (volt, dissipation, expected) in [
            (5.0, 1.5e-3, 0.416_667),
            (5.0, 8e-3, 0.078_125),
            (3.3, 1.5e-3, 0.1815),
            (3.3, 8e-3, 0.034_031),
        ] {
            near(equal(volt, dissipation), expected, 1e-4);
        }
    }

    #[test]
    fn the_slope_is_the_derivative() {
        let heating = SelfHeating {
            supply_volt: 5.0,
            resistor_ohm: 10_000.0,
            dissipation: 2e-3,
        };
        for ohm in [300.0, 5_000.0, 33_000.0] {
            let step = ohm * 1e-5;
            let rise = heating.rise(ohm + step) - heating.rise(ohm - step);
            near(heating.slope(ohm), rise / (2.0 * step), 1e-6);
        }
        assert!(heating.slope(10_000.0).abs() < 1e-12);
    }
}
