//! A characterised channel in words, and the lines of the configuration that say it.
//!
//! Nothing is computed here but roundings.

use super::{Characterised, Finding};
use crate::calibrate::figure::{figure, rough};

impl Characterised {
    /// The two lines for the channel's table. The tolerance is the half-width of a rectangular
    /// distribution with the same standard uncertainty (JCGM 100:2008, 4.3.7), rounded up.
    #[must_use]
    pub fn lines(&self) -> [String; 2] {
        let percent = 100.0 * 3.0_f64.sqrt() * self.uncertainty / self.resistor;
        [
            format!("resistor = \"{} Ohm\"", self.rounded()),
            format!("resistor_tolerance = \"{} %\"", up(percent)),
        ]
    }

    /// What was found, for a person, with what to do.
    #[must_use]
    pub fn words(&self) -> String {
        let [resistor, tolerance] = self.lines();
        format!(
            "the divider's resistor is {} Ohm, expanded uncertainty {} Ohm (k = 2); {}; write `{resistor}` \
             and `{tolerance}` in the channel's table, and calibrate again what was calibrated on it",
            self.rounded(),
            rough(2.0 * self.uncertainty),
            self.finding.words()
        )
    }

    /// To a tenth of its uncertainty at the finest.
    fn rounded(&self) -> String {
        let decimals = (1.0 - self.uncertainty.log10().floor()).clamp(0.0, 6.0) as usize;
        format!("{:.decimals$}", self.resistor)
    }
}

impl Finding {
    /// The end of a sentence.
    fn words(self) -> String {
        match self {
            Self::OnePoint => {
                "one point says nothing of the converter: a second, of another value, would"
                    .to_owned()
            }
            Self::Nothing => {
                "what is left at each point is no more than the uncertainties explain".to_owned()
            }
            Self::Offset(share, uncertainty) => format!(
                "the converter is off by {} % of its full scale (standard uncertainty {} %), towards {} \
                 resistance: correct it with `corrections`",
                figure(100.0 * share.abs()),
                rough(100.0 * uncertainty),
                if share > 0.0 { "more" } else { "less" }
            ),
            Self::Unexplained(number) => format!(
                "more is left than the uncertainties explain, most at point {number}: take that one \
                 again; where it stays, the converter is not linear"
            ),
        }
    }
}

/// Two digits, never less than the number.
fn up(number: f64) -> String {
    // Saturates.
    let decimals = (1.0 - number.log10().floor()).clamp(0.0, 6.0);
    let scale = 10.0_f64.powf(decimals);
    // What is a hair above two digits by rounding stays.
    let number = (number * scale - 1e-9).ceil() / scale;
    rough(number)
}
