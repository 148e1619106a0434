//! What one step of the converter, and its noise, are in the probe's electrical quantity; and so what
//! settled shall mean.

use super::{Job, log};
use crate::calibrate::Captured;
use crate::calibrate::history::Made;
use crate::calibrate::settling::Aim;
use crate::config::unit::{Dimension, Unit};
use crate::measure::front_end::FrontEnd;
use crate::measure::uncertainty::{ASSUMED_NOISE, Converter, NoiseEstimate};
use crate::reading::Estimate;

/// Standard uncertainty that a capture aims at for temperatures, kelvin: half of what a careful
/// kitchen's ice point is known to.
const AIM_KELVIN: f64 = 0.03;
/// Over so long before the last reading noise is looked for, milliseconds.
const LATE_MS: i64 = 300_000;
/// For everything else, relative to the value.
const AIM_SHARE: f64 = 0.01;

impl Job {
    /// Change of the electrical quantity with one count, where the electrical quantity is this; 0
    /// where the front end has no counts.
    #[must_use]
    pub fn per_count(&self, electrical: f64) -> f64 {
        let front_end = fed(self.channel.front_end);
        let input = self.probe.input;
        let count = front_end.count_for(electrical, input);
        let converted = count.and_then(|count| front_end.between_rails(count, input).ok());
        converted.map_or(0.0, |converted| converted.slope.abs())
    }

    /// The converter's step in the electrical quantity; 0 where its step is not known.
    #[must_use]
    pub fn step(&self, electrical: f64) -> f64 {
        let step = self.channel.front_end.step();
        step.map_or(0.0, |step| step * self.per_count(electrical))
    }

    /// What settled shall mean around this electrical quantity.
    #[must_use]
    pub fn aim(&self, electrical: f64) -> Aim {
        let unit = Unit::of(&self.probe.unit);
        let kelvin = match unit.dimension() {
            Some(Dimension::Temperature) => Unit::of("K").difference_in(AIM_KELVIN, &unit),
            _ => None,
        };
        let value = self.nominal.evaluate(electrical).unwrap_or(0.0);
        let wanted = kelvin.unwrap_or(AIM_SHARE * value.abs());
        let slope = self.nominal.slope(electrical).unwrap_or(0.0).abs();
        let wanted = if slope > 0.0 { wanted / slope } else { 0.0 };
        Aim {
            uncertainty: wanted,
            step: self.step(electrical),
        }
    }

    /// Step and noise of one reading at this electrical quantity. The noise is that of a calibration's
    /// points, where their readings are kept; else of the probe's latest readings.
    #[must_use]
    pub fn converter(&self, made: &Made, electrical: f64) -> Converter {
        let step = self.step(electrical);
        let noise = match self.noise(made).or_else(|| self.noise_of_late()) {
            Some(counts) => counts * self.per_count(electrical),
            None => ASSUMED_NOISE * step,
        };
        Converter {
            step: step / 12.0_f64.sqrt(),
            noise,
            supply: 0.0,
        }
    }

    /// Standard deviation of single readings over the points of a calibration, counts.
    fn noise(&self, made: &Made) -> Option<f64> {
        let points = made.calibration.points.iter();
        let taken = points.filter_map(|number| self.history.point(*number));
        let squares: Vec<f64> = taken
            .filter_map(|taken| deviation(&taken.point.captured))
            .map(|deviation| deviation * deviation)
            .collect();
        let count = squares.len();
        (count > 0).then(|| (squares.iter().sum::<f64>() / count as f64).sqrt())
    }
}

impl Job {
    /// The same over the last minutes that the log has, where it has any.
    fn noise_of_late(&self) -> Option<f64> {
        if !self.config.log.path.exists() {
            return None;
        }
        let query = log(&self.config).ok()?;
        let (_, last_ms) = query.extent(&self.probe.name).ok()??;
        let mut noise = NoiseEstimate::new();
        let span = (last_ms - LATE_MS, last_ms + 1);
        let asked = query.readings(&self.probe.name, span, |reading| {
            match reading.outcome.estimate().and(reading.raw) {
                Some(count) => noise.push(count),
                None => noise.interrupt(),
            }
            true
        });
        asked.ok()?;
        noise.deviation()
    }
}

fn deviation(captured: &Captured) -> Option<f64> {
    let mut noise = NoiseEstimate::new();
    captured
        .raw
        .iter()
        .for_each(|(_, count)| noise.push(*count));
    noise.deviation()
}

/// A measured supply is not at hand; for the size of a step it is near enough to the reference.
fn fed(front_end: FrontEnd) -> FrontEnd {
    match front_end {
        FrontEnd::AbsoluteDivider(divider) => Estimate::new(divider.reference_volt, 0.0)
            .map_or(front_end, |reference| front_end.fed_with(reference)),
        other => other,
    }
}
