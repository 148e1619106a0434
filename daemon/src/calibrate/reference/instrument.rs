//! What an instrument shows, what is known otherwise, and known resistors.

use super::{Refused, uncertain};
use crate::calibrate::point::{Compared, Reference, Shape};

/// What a maker, or a calibration laboratory, states of an instrument or a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stated {
    /// Expanded uncertainty with its coverage factor, as a certificate has it: `0.1 Cel, k = 2`.
    Expanded {
        /// In the unit of the value.
        uncertainty: f64,
        /// k.
        coverage: f64,
    },
    /// Limits of error, as a data sheet has them: `± 0.5 Cel`; every error within is as likely.
    Tolerance(f64),
}

impl Stated {
    /// Standard uncertainty and its distribution (JCGM 100:2008, 4.3.3 and 4.3.7).
    ///
    /// # Errors
    /// `Uncertainty` where the number or the coverage factor is not finite and above 0.
    pub fn standard(self) -> Result<(f64, Shape), Refused> {
        match self {
            Self::Expanded {
                uncertainty,
                coverage,
            } => Ok((
                uncertain(uncertainty)? / uncertain(coverage)?,
                Shape::Normal,
            )),
            Self::Tolerance(half) => Ok((uncertain(half)? / 3_f64.sqrt(), Shape::Rectangular)),
        }
    }
}

/// An instrument beside the probe, and what it showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// Its own name: points by the same one share its error.
    pub name: String,
    /// What it showed, with its corrections, in the probe's unit.
    pub reading: f64,
    /// Of its calibration or its data sheet; common to all its points.
    pub stated: Stated,
    /// Smallest step of its display, in the probe's unit; 0 where that is finer than all else.
    pub resolution: f64,
    /// Standard uncertainty of reading it: how much it wandered meanwhile, a scale between two lines.
    pub reading_uncertainty: f64,
}

/// A point by an instrument.
///
/// # Errors
/// `Value` where the reading is no finite number, `Uncertainty` where one of the others is none.
pub fn instrument(instrument: Instrument) -> Result<Compared, Refused> {
    let resolution = at_least_zero(instrument.resolution)?;
    let reading = at_least_zero(instrument.reading_uncertainty)?;
    // The true value lies anywhere within a step: rectangular, of half a step (JCGM 100, F.2.2.1).
    let own = (resolution / 12_f64.sqrt()).hypot(reading);
    let reference = Reference::Instrument {
        name: instrument.name,
    };
    stated(reference, instrument.reading, instrument.stated, own)
}

/// A value that is known otherwise, in words.
///
/// # Errors
/// As [`instrument`].
pub fn known(what: String, value: f64, of: Stated) -> Result<Compared, Refused> {
    stated(Reference::Known { what }, value, of, 0.0)
}

/// A known resistor in the place of the probe; value and what is stated of it in ohm.
///
/// # Errors
/// As [`instrument`].
pub fn resistor(what: String, ohm: f64, of: Stated) -> Result<Compared, Refused> {
    if ohm <= 0.0 {
        return Err(Refused::Value);
    }
    stated(Reference::Resistor { what }, ohm, of, 0.0)
}

fn stated(reference: Reference, value: f64, of: Stated, own: f64) -> Result<Compared, Refused> {
    if !value.is_finite() {
        return Err(Refused::Value);
    }
    let (common, common_shape) = of.standard()?;
    Ok(Compared {
        reference,
        value,
        own,
        common,
        common_shape,
    })
}

fn at_least_zero(uncertainty: f64) -> Result<f64, Refused> {
    if uncertainty == 0.0 {
        Ok(0.0)
    } else {
        uncertain(uncertainty)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn kitchen(of: Stated) -> Instrument {
        Instrument {
            name: "kitchen".to_owned(),
            reading: 40.1,
            stated: of,
            resolution: 0.1,
            reading_uncertainty: 0.0,
        }
    }

    #[test]
    fn certificates_are_normal_and_tolerances_rectangular() {
        let certified = instrument(kitchen(Stated::Expanded {
            uncertainty: 0.1,
            coverage: 2.0,
        }))
        .unwrap();
        assert!((certified.common - 0.05).abs() < 1e-12);
        assert_eq!(certified.common_shape, Shape::Normal);
        let bought = instrument(kitchen(Stated::Tolerance(0.5))).unwrap();
        // Source: JCGM 100:2008, 4.3.7: a / sqrt(3).
        assert!((bought.common - 0.288_675).abs() < 1e-6);
        assert_eq!(bought.common_shape, Shape::Rectangular);
        // Source: JCGM 100:2008, F.2.2.1: 0.29 of a step.
        assert!((bought.own - 0.029).abs() < 2e-4, "{}", bought.own);
    }

    #[test]
    fn what_is_no_number_is_refused() {
        let good = Stated::Tolerance(0.5);
        for stated in [
            Stated::Tolerance(0.0),
            Stated::Tolerance(f64::NAN),
            Stated::Expanded {
                uncertainty: 0.1,
                coverage: 0.0,
            },
        ] {
            assert!(known("x".to_owned(), 1.0, stated).is_err());
        }
        assert_eq!(
            known("x".to_owned(), f64::INFINITY, good),
            Err(Refused::Value)
        );
        assert_eq!(resistor("r".to_owned(), -1.0, good), Err(Refused::Value));
        let wandering = Instrument {
            reading_uncertainty: -0.1,
            ..kitchen(good)
        };
        assert!(instrument(wandering).is_err());
    }
}
