//! Causes of uncertainty by name, with what would make each smaller. Only words are made here.

use crate::calibrate::{Shape, Share, Source};

/// One cause of a value's uncertainty.
#[derive(Clone, Copy)]
pub(super) enum Cause<'s> {
    /// What a fit rests on.
    Source(&'s Source),
    /// What the model cannot follow.
    Misfit,
    /// How far the kind may be off away from the only point.
    Away,
    /// How far the kind may be off its nominal curve.
    Interchange,
    /// The resistor of a channel.
    Resistor(&'s str),
    /// The probe warms itself.
    Heating,
    /// The converter's step.
    Step,
    /// Noise of the counts.
    Noise,
    /// A supply that does not cancel.
    Supply,
}

impl Cause<'_> {
    /// The share with its words.
    pub(super) fn share(self, uncertainty: f64) -> Share {
        let (name, remedy) = self.words();
        Share {
            name,
            remedy,
            shape: self.shape(),
            uncertainty,
        }
    }

    fn shape(self) -> Shape {
        match self {
            Self::Source(source) => source.shape,
            Self::Misfit | Self::Noise | Self::Supply => Shape::Normal,
            Self::Away | Self::Interchange | Self::Resistor(_) | Self::Heating | Self::Step => {
                Shape::Rectangular
            }
        }
    }

    fn words(self) -> (String, String) {
        let (name, remedy) = match self {
            Self::Source(source) => return (source.name.clone(), source.remedy.clone()),
            Self::Resistor(channel) => {
                let remedy =
                    "a calibration on its present channel, or a resistor of 0.1 %, would pay";
                return (
                    format!("resistor of channel `{channel}`"),
                    remedy.to_owned(),
                );
            }
            Self::Misfit => (
                "model between and beyond the points",
                "a point nearer to where it is used would pay",
            ),
            Self::Away => (
                "tolerance of the probe's kind away from its point",
                "a second point, far from the first, would pay",
            ),
            Self::Interchange => (
                "tolerance of the probe's kind",
                "a calibration would pay, ice water alone for a beginning",
            ),
            Self::Heating => (
                "self-heating",
                "a larger resistor or a lower supply would heat it less",
            ),
            Self::Step => (
                "step of the converter",
                "a finer converter, or a better matched resistor, would pay",
            ),
            Self::Noise => ("noise", "a mean over a longer time (`every`) would pay"),
            Self::Supply => (
                "supply of the divider",
                "a supply that is measured (`supply_channel`) would pay",
            ),
        };
        (name.to_owned(), remedy.to_owned())
    }
}
