//! How to make a point well, and what to beware of: short lines for a narrow screen.
//!
//! Words only, no line longer than [`WIDTH`]. The advice is common practice unless a source stands beside it.

use crate::calibrate::point::Reference;
use crate::config::unit::{Dimension, Unit};

/// Longest line, characters: a terminal of 80 columns with a frame.
pub const WIDTH: usize = 76;

/// A way to make a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Melting ice.
    Ice,
    /// Boiling water.
    Boiling,
    /// A reference thermometer beside the probe, in stirred water.
    Thermometer,
    /// A light meter beside the probe.
    LightMeter,
    /// Any other value that is known, or another instrument.
    Known,
    /// A known resistor in the probe's place.
    Resistor,
}

impl Kind {
    /// The way to make a point with this reference, for a probe with this unit (UCUM code).
    #[must_use]
    pub fn of(reference: &Reference, unit: &str) -> Self {
        match reference {
            Reference::Ice => Self::Ice,
            Reference::Boiling { .. } => Self::Boiling,
            Reference::Instrument { .. } => Self::instrument(unit),
            Reference::Known { .. } => Self::Known,
            Reference::Resistor { .. } => Self::Resistor,
        }
    }

    /// The instrument that goes with a probe's unit (UCUM code).
    #[must_use]
    pub fn instrument(unit: &str) -> Self {
        match Unit::of(unit).dimension() {
            Some(Dimension::Temperature) => Self::Thermometer,
            Some(Dimension::Illuminance) => Self::LightMeter,
            _ => Self::Known,
        }
    }

    /// In a few words: `ice point`.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Ice => "ice point",
            Self::Boiling => "boiling water",
            Self::Thermometer => "reference thermometer",
            Self::LightMeter => "light meter",
            Self::Known => "known value",
            Self::Resistor => "known resistor",
        }
    }

    /// What to do, step by step.
    #[must_use]
    pub fn steps(self) -> &'static [&'static str] {
        match self {
            // ASTM E563 (from memory): an intimate mixture without voids.
            Self::Ice => &[
                "Crush ice of distilled water; fill an insulated cup with it, to the bottom.",
                "Fill the gaps with cold distilled water, and pour off what floats the ice.",
                "Ice must reach below the tip: water under floating ice is at 4 Cel.",
                "Put the probe in the middle, off the glass, with its bag or sleeve on.",
                "Immerse at least 10 times the sleeve's diameter.",
                "Stir gently for a minute, and again now and then; then wait.",
            ],
            Self::Boiling => &[
                "Boil distilled water in a deep pan, at a rolling boil, lid half on.",
                "Give the pressure of the air here and now; sea-level pressure is another.",
                "Hold the tip under water, off the bottom and the sides, not in the steam.",
                "Immerse at least 10 times the sleeve's diameter; clamp it, do not hold it.",
                "Check that bead, sleeve and lead are made for 100 Cel; many are not.",
                "Wait: the water boils long before the sleeve is as hot.",
            ],
            Self::Thermometer => &[
                "Fill a large insulated vessel with water near the wanted temperature.",
                "Bind probe and thermometer together, tip beside tip, bag or sleeve on.",
                "Immerse both at least 10 times the sleeve's diameter, off the walls.",
                "Stir all the time: still water lies in layers.",
                "Wait until both stand still, then read the thermometer, to its last digit.",
            ],
            Self::LightMeter => &[
                "Leave the cell in the light it is to be measured in for ten minutes first.",
                "Put meter and cell side by side, facing the same way, in the same plane.",
                "Use one steady lamp, far away; change the distance for another level.",
                "Step back: a hand, a sleeve or a head makes a shadow.",
                "Read the meter while the capture runs.",
            ],
            Self::Known => &[
                "Bring the probe to the known value, and keep it there.",
                "Say what makes it known, and how well: a tolerance or an uncertainty.",
                "Wait until the probe stands still.",
            ],
            Self::Resistor => &[
                "Unplug the probe, and put the known resistor in its place.",
                "Use one near the middle of the probe's range, of 0.1 % or measured.",
                "Keep fingers off it: skin is some hundred kilohm, and warm.",
                "Two resistors, near both ends of the range, show slope and offset.",
            ],
        }
    }

    /// What to beware of, before the steps.
    #[must_use]
    pub fn cautions(self) -> &'static [&'static str] {
        match self {
            Self::Ice => &[
                "Never touch water that a bare probe hangs in from a mains-powered host.",
                "Glass breaks at a thermal shock: no ice into a hot glass.",
            ],
            Self::Boiling => &[
                "Boiling water and steam scald: keep hands and face away, children out.",
                "Glass breaks at a thermal shock: boil in a metal pan.",
                "No probe in a mains kettle: it is live, and its switch needs the lid.",
                "Never touch water that a bare probe hangs in from a mains-powered host.",
                "Keep board, computer and cables out of the steam.",
            ],
            Self::Thermometer => &[
                "Never touch water that a bare probe hangs in from a mains-powered host.",
                "Water from 50 Cel on scalds within minutes, from 60 Cel within seconds.",
                "Glass breaks at a thermal shock: warm or cool it slowly.",
            ],
            Self::LightMeter => &[
                "Do not look into lamps, nor into the sun.",
                "Lamps get hot; let them cool before you move them.",
                "No claim is made below 1 lx.",
            ],
            Self::Known => &["Stay inside what probe, sleeve and lead are made for."],
            Self::Resistor => &["Switch off what feeds the divider before you change parts."],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Kind; 6] = [
        Kind::Ice,
        Kind::Boiling,
        Kind::Thermometer,
        Kind::LightMeter,
        Kind::Known,
        Kind::Resistor,
    ];

    #[test]
    fn every_line_fits_the_screen() {
        for kind in ALL {
            assert!(kind.steps().len() >= 3 && !kind.cautions().is_empty());
            for line in kind.steps().iter().chain(kind.cautions()) {
                assert!(line.chars().count() <= WIDTH, "{line}");
            }
        }
    }

    #[test]
    fn whatever_hangs_in_water_comes_with_the_caution_against_mains() {
        for kind in [Kind::Ice, Kind::Boiling, Kind::Thermometer] {
            let warned = kind
                .cautions()
                .iter()
                .any(|line| line.contains("mains-powered"));
            assert!(warned, "{}", kind.words());
        }
    }

    #[test]
    fn the_instrument_follows_the_unit() {
        let by = Reference::Instrument {
            name: "k".to_owned(),
        };
        assert_eq!(Kind::of(&by, "Cel"), Kind::Thermometer);
        assert_eq!(Kind::of(&by, "[degF]"), Kind::Thermometer);
        assert_eq!(Kind::of(&by, "lx"), Kind::LightMeter);
        assert_eq!(Kind::of(&by, "kPa"), Kind::Known);
    }
}
