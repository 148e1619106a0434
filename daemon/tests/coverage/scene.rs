//! What is simulated: which points are taken, and what is known of the probe before.
//!
//! Invented, as a careful kitchen would do it.

/// One kind of calibration.
pub struct Scene {
    /// In words.
    #[allow(dead_code, reason = "the bench shows it")]
    pub name: &'static str,
    /// Whether the maker's curve is configured; else the label alone.
    pub makers_curve: bool,
    /// In the order in which they are taken.
    pub points: &'static [Kind],
}

/// A reference point.
#[derive(Clone, Copy)]
pub enum Kind {
    /// Ice, stirred.
    Ice,
    /// A bath beside the kitchen's thermometer, about here, Cel.
    Bath(f64),
    /// Boiling water at a station pressure.
    Boiling,
}

use Kind::{Bath, Boiling, Ice};

/// All of them.
pub const SCENES: &[Scene] = &[
    Scene {
        name: "ice, 32, boiling",
        makers_curve: false,
        points: &[Ice, Bath(32.0), Boiling],
    },
    Scene {
        name: "ice, 22, 45",
        makers_curve: false,
        points: &[Ice, Bath(22.0), Bath(45.0)],
    },
    Scene {
        name: "ice, 20, 40, 60, boiling",
        makers_curve: false,
        points: &[Ice, Bath(20.0), Bath(40.0), Bath(60.0), Boiling],
    },
    Scene {
        name: "ice, 40 on the maker's curve",
        makers_curve: true,
        points: &[Ice, Bath(40.0)],
    },
    Scene {
        name: "ice, 40 on the label",
        makers_curve: false,
        points: &[Ice, Bath(40.0)],
    },
];

impl Kind {
    /// Highest temperature at which a reading is tried, Cel.
    pub fn top(self) -> f64 {
        match self {
            Ice => 0.0,
            Bath(about) => about,
            Boiling => 100.0,
        }
    }
}
