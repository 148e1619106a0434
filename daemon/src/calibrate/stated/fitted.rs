//! What is known of a fit: how far each of its causes moves a value, and where its model is wrong.
//!
//! What differs from reading to reading, and what hangs on the channel, is not here.

use super::away::Away;
use super::cause::Cause;
use super::nearby::Nearby;
use crate::calibrate::{Calibration, Channel, Curve, Source};
use crate::driver::DriverError;
use crate::measure::chain::Transfer;

/// What is known of a fit.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fitted {
    nearby: Nearby,
    away: Option<Away>,
    sources: Vec<Source>,
    nodes: Vec<f64>,
    /// Lowest and highest input of its points.
    pub(super) range: (f64, f64),
    /// Where it was made.
    pub(super) channel: Channel,
}

impl Fitted {
    /// Of a calibration whose curve is this one.
    pub(super) fn of(calibration: &Calibration, curve: &Curve) -> Result<Self, DriverError> {
        let nearby = Nearby::new(calibration, &curve.model)?;
        Ok(Self {
            away: Away::of(calibration, curve, nearby.free()),
            nearby,
            sources: sources(calibration)?,
            nodes: calibration.nodes.clone(),
            range: calibration.range,
            channel: calibration.channel.clone(),
        })
    }

    /// Calls `tell` with each cause and its share, in the unit of the value; `plain` is what the
    /// curve's model gives at the input.
    pub(super) fn each<'s>(
        &'s self,
        (curve, plain): (&Curve, f64),
        input: f64,
        tell: &mut impl FnMut(Cause<'s>, f64),
    ) -> Result<(), DriverError> {
        let gradient = self.nearby.gradient((curve, plain), input)?;
        for source in &self.sources {
            let along = gradient.iter().zip(&source.loading);
            let share = along.map(|(g, l)| g * l).sum::<f64>().abs();
            tell(Cause::Source(source), share);
        }
        let free = self.nearby.free();
        let misfit = curve.model.misfit(&self.nodes, free, input)?;
        tell(Cause::Misfit, misfit * (1.0 + curve.slope).abs());
        if let Some(away) = &self.away {
            let relative = (curve.slope(input)? * input).abs();
            let share = away.uncertainty(input, curve.on_top(plain), relative);
            tell(Cause::Away, share);
        }
        Ok(())
    }
}

/// The sources, where each has a loading for each term.
fn sources(calibration: &Calibration) -> Result<Vec<Source>, DriverError> {
    let terms = calibration.terms.len();
    let mut all = calibration.sources.iter();
    match all.find(|source| source.loading.len() != terms) {
        None => Ok(calibration.sources.clone()),
        Some(source) => Err(DriverError::Parameters(format!(
            "the calibration fitted {terms} terms, but `{}` moves {}",
            source.name,
            source.loading.len()
        ))),
    }
}
