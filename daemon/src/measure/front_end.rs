//! How a probe is wired to a channel, and so what counts mean in ohms, ratio or volts.
//!
//! A count at an end of the converter's range is never a number: it is what a broken or a touching
//! lead gives. What the ohms mean is the driver's; how far a count can be trusted is judged in
//! `uncertainty`.

mod absolute;

pub use absolute::{AbsoluteDivider, Supply};

use crate::reading::{Estimate, Quality};

/// The electrical quantity a driver takes.
pub use nightbench_driver::Electrical;

/// Where the probe sits in a divider.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Probe between the node and ground, resistor above it.
    Low,
    /// Probe between the supply and the node, resistor below it.
    High,
}

/// Front ends of one channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FrontEnd {
    /// Ratiometric divider: the supply cancels.
    Divider {
        /// Where the probe sits.
        probe: Side,
        /// The fixed resistor, ohm.
        resistor_ohm: f64,
        /// The code of a full-scale input (1023 or 1024 for 10 bits, as the board's maker says).
        full_scale: f64,
    },
    /// Divider whose supply is not the converter's reference.
    AbsoluteDivider(AbsoluteDivider),
    /// Resistance timed by charging a capacitor: count = offset + slope x R.
    ChargeTime {
        /// Counts at zero ohm.
        offset_count: f64,
        /// Counts per ohm.
        count_per_ohm: f64,
        /// The count at which the board gives up waiting: an open circuit.
        overflow_count: f64,
    },
    /// Plain voltage against a known reference.
    Voltage {
        /// Volts at full scale.
        reference_volt: f64,
        /// The code of a full-scale input.
        full_scale: f64,
    },
    /// The board's number is taken as it is.
    None,
}

/// A count in the electrical quantity that was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Converted {
    /// Ohm, volt, or a plain number; finite.
    pub value: f64,
    /// Change of the value with one count, at this count; finite.
    pub slope: f64,
}

/// How near to an end of its range a converter's count is taken for the end itself, in counts:
/// 0.1 % of full scale, and no less than one count.
///
/// With 10 bits the codes 0, 1, 1022 and 1023 of 1023 are ends. For a divider that is a probe of
/// less than a thousandth, or more than a thousand times its resistor: leads and leakage, no probe,
/// while a light cell in the sun (code 8 of 1023) still gives a number. Common practice is to leave
/// out the end codes; the share of full scale makes it hold for finer converters, whose noise and
/// offset near the ends are many codes, and the one count where full scale is given as 256 and the
/// highest code is 255.
#[must_use]
pub fn rail_margin(full_scale: f64) -> f64 {
    (full_scale * 0.001).max(1.0)
}

impl FrontEnd {
    /// The electrical quantity of a count, or why there is none.
    ///
    /// # Errors
    /// `OpenCircuit` and `ShortCircuit` at the ends of a divider's range and of a timed charge;
    /// `Saturated` at the ends of a plain voltage's range, and for counts that the converter
    /// cannot give (negative, beyond full scale) or a quantity that is not among
    /// [`FrontEnd::gives`]; `Unreadable` for a count that is not finite, and where an absolute
    /// divider's supply is not known. The ends of an absolute divider: see [`AbsoluteDivider`].
    pub fn convert(&self, count: f64, take: Electrical) -> Result<Converted, Quality> {
        if !count.is_finite() {
            return Err(Quality::Unreadable);
        }
        self.check_rails(count)?;
        self.between_rails(count, take)
    }

    /// As [`FrontEnd::convert`], for a count that is known to lie between the ends of the range: the
    /// mean of counts that do.
    ///
    /// # Errors
    /// `Saturated` where there is no finite number, or no such quantity.
    pub fn between_rails(&self, count: f64, take: Electrical) -> Result<Converted, Quality> {
        let (value, slope) = self.formula(count, take).ok_or(Quality::Saturated)?;
        if value.is_finite() && slope.is_finite() {
            Ok(Converted { value, slope })
        } else {
            Err(Quality::Saturated)
        }
    }

    /// The same with this supply voltage, where it is a divider whose supply is measured.
    #[must_use]
    pub fn fed_with(self, supply: Estimate) -> Self {
        match self {
            Self::AbsoluteDivider(divider) => Self::AbsoluteDivider(divider.fed_with(supply)),
            other => other,
        }
    }

    /// The electrical quantities that a count can be turned into, the natural one first. Where the
    /// board's number is taken as it is, it may be any: a board can send finished ohms or volts.
    #[must_use]
    pub fn gives(&self) -> &'static [Electrical] {
        use Electrical::{Number, Ohm, Ratio, Volt};
        match self {
            Self::Divider { .. } | Self::AbsoluteDivider(_) => &[Ohm, Ratio],
            Self::ChargeTime { .. } => &[Ohm],
            Self::Voltage { .. } => &[Volt, Ratio],
            Self::None => &[Number, Ohm, Volt, Ratio],
        }
    }

    /// The fixed resistor of a divider, ohm.
    #[must_use]
    pub fn resistor_ohm(&self) -> Option<f64> {
        match self {
            Self::Divider { resistor_ohm, .. } => Some(*resistor_ohm),
            Self::AbsoluteDivider(divider) => Some(divider.resistor_ohm),
            Self::ChargeTime { .. } | Self::Voltage { .. } | Self::None => None,
        }
    }

    /// The highest count that the converter gives: full scale, or the count at which a timed charge
    /// is given up; without end where the board's number is taken as it is.
    #[must_use]
    pub fn highest_count(&self) -> f64 {
        self.counts().1
    }

    /// The converter's step, in counts; `None` where the board's number is taken as it is, since
    /// its resolution is not known.
    #[must_use]
    pub fn step(&self) -> Option<f64> {
        match self {
            Self::Divider { .. }
            | Self::AbsoluteDivider(_)
            | Self::ChargeTime { .. }
            | Self::Voltage { .. } => Some(1.0),
            Self::None => None,
        }
    }

    /// The count, not rounded, at which the converter sees `value`: what simulation and checks
    /// need. An infinite resistance is an open circuit, zero ohm a short one; beyond the reference
    /// an absolute divider's count is full scale.
    ///
    /// `None` where no count gives it (negative ohms, volts beyond the reference), or for a
    /// quantity that is not among [`FrontEnd::gives`].
    #[must_use]
    pub fn count_for(&self, value: f64, take: Electrical) -> Option<f64> {
        let (lowest, highest) = self.counts();
        let count = self.inverse(value, take)?;
        (count.is_finite() && (lowest..=highest).contains(&count)).then_some(count)
    }

    /// The counts that the converter can give, lowest and highest.
    fn counts(&self) -> (f64, f64) {
        match *self {
            Self::Divider { full_scale, .. }
            | Self::AbsoluteDivider(AbsoluteDivider { full_scale, .. })
            | Self::Voltage { full_scale, .. } => (0.0, full_scale),
            Self::ChargeTime { overflow_count, .. } => (0.0, overflow_count),
            Self::None => (f64::NEG_INFINITY, f64::INFINITY),
        }
    }

    /// The counts at and beyond which there is no number, with what each end stands for; `None`
    /// where the board's number is taken as it is, or where they depend on more than the count.
    fn rails(&self) -> Option<[(f64, Quality); 2]> {
        use Quality::{OpenCircuit, Saturated, ShortCircuit};
        let (low, high) = match *self {
            Self::None | Self::AbsoluteDivider(_) => return None,
            Self::ChargeTime {
                offset_count,
                overflow_count,
                ..
            } => {
                let short = (offset_count + CHARGE_MARGIN_COUNT, ShortCircuit);
                return Some([short, (overflow_count, OpenCircuit)]);
            }
            Self::Voltage { .. } => (Saturated, Saturated),
            Self::Divider { probe, .. } => match probe {
                Side::Low => (ShortCircuit, OpenCircuit),
                Side::High => (OpenCircuit, ShortCircuit),
            },
        };
        let (lowest, highest) = self.counts();
        let margin = rail_margin(highest);
        Some([(lowest + margin, low), (highest - margin, high)])
    }

    /// Whether a count stands for a number at all.
    fn check_rails(&self, count: f64) -> Result<(), Quality> {
        if let Self::AbsoluteDivider(divider) = self {
            return divider.check_rails(count);
        }
        let Some([(low, at_low), (high, at_high)]) = self.rails() else {
            return Ok(());
        };
        let (lowest, highest) = self.counts();
        let timed = matches!(self, Self::ChargeTime { .. });
        if count < lowest || (count > highest && !timed) {
            Err(Quality::Saturated)
        } else if count <= low {
            Err(at_low)
        } else if count >= high {
            Err(at_high)
        } else {
            Ok(())
        }
    }

    /// The value and its slope over the count; `None` for a quantity that it does not give.
    fn formula(&self, count: f64, take: Electrical) -> Option<(f64, f64)> {
        match *self {
            Self::Divider {
                probe,
                resistor_ohm,
                full_scale,
            } => match take {
                Electrical::Ohm => Some(divider_ohm(probe, resistor_ohm, full_scale, count)),
                Electrical::Ratio => Some((count / full_scale, 1.0 / full_scale)),
                _ => None,
            },
            Self::AbsoluteDivider(divider) => {
                let scale = divider.scale()?;
                let (value, slope) = divider.ratiometric().formula(count * scale, take)?;
                Some((value, slope * scale))
            }
            Self::ChargeTime {
                offset_count,
                count_per_ohm,
                ..
            } => (take == Electrical::Ohm)
                .then(|| ((count - offset_count) / count_per_ohm, 1.0 / count_per_ohm)),
            Self::Voltage {
                reference_volt,
                full_scale,
            } => match take {
                Electrical::Volt => Some((
                    count / full_scale * reference_volt,
                    reference_volt / full_scale,
                )),
                Electrical::Ratio => Some((count / full_scale, 1.0 / full_scale)),
                _ => None,
            },
            Self::None => Some((count, 1.0)),
        }
    }

    /// The count of a value; `None` for a quantity that it does not give, or negative ohms.
    fn inverse(&self, value: f64, take: Electrical) -> Option<f64> {
        let ohm = (take == Electrical::Ohm && value >= 0.0).then_some(value);
        match *self {
            Self::Divider {
                probe,
                resistor_ohm,
                full_scale,
            } => match take {
                Electrical::Ratio => Some(value * full_scale),
                _ => ohm.map(|ohm| divider_ratio(probe, resistor_ohm, ohm) * full_scale),
            },
            Self::AbsoluteDivider(divider) => {
                let count = divider.ratiometric().inverse(value, take)? / divider.scale()?;
                Some(count.min(divider.full_scale))
            }
            Self::ChargeTime {
                offset_count,
                count_per_ohm,
                overflow_count,
            } => ohm.map(|ohm| (offset_count + count_per_ohm * ohm).min(overflow_count)),
            Self::Voltage {
                reference_volt,
                full_scale,
            } => match take {
                Electrical::Volt => Some(value / reference_volt * full_scale),
                Electrical::Ratio => Some(value * full_scale),
                _ => None,
            },
            Self::None => Some(value),
        }
    }
}

/// How far above the count of zero ohm a timed charge still counts as a short circuit: half a
/// count, the rounding of the timer. A share of the range, as for a converter's rails, would be
/// hundreds of ohms: no lead has that.
const CHARGE_MARGIN_COUNT: f64 = 0.5;

/// Resistance of the probe and its slope over the count. Low side: count / full scale =
/// R / (R + resistor); high side: resistor / (R + resistor). Ohm's law; the reference cancels.
fn divider_ohm(probe: Side, resistor_ohm: f64, full_scale: f64, count: f64) -> (f64, f64) {
    let rest = full_scale - count;
    match probe {
        Side::Low => (
            resistor_ohm * count / rest,
            resistor_ohm * full_scale / (rest * rest),
        ),
        Side::High => (
            resistor_ohm * rest / count,
            -resistor_ohm * full_scale / (count * count),
        ),
    }
}

/// Share of the reference at the node, written so that zero and infinite ohms come out too.
fn divider_ratio(probe: Side, resistor_ohm: f64, ohm: f64) -> f64 {
    match probe {
        Side::Low => 1.0 / (1.0 + resistor_ohm / ohm),
        Side::High => 1.0 / (1.0 + ohm / resistor_ohm),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
