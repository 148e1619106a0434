//! Where a value stands on an axis, and which numbers are written at it.

/// How distances on an axis are measured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Scale {
    /// By difference.
    #[default]
    Linear,
    /// By ratio; only values above zero have a place.
    Logarithmic,
}

/// An axis: what is on it, and how.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Quantity and unit: `temperature, Cel`.
    pub label: String,
    /// How distances are measured.
    pub scale: Scale,
}

impl Axis {
    /// A linear axis.
    #[must_use]
    pub fn linear(label: impl Into<String>) -> Self {
        Self {
            label: label.into(),
            scale: Scale::Linear,
        }
    }

    /// A logarithmic axis.
    #[must_use]
    pub fn logarithmic(label: impl Into<String>) -> Self {
        Self {
            label: label.into(),
            scale: Scale::Logarithmic,
        }
    }
}

/// The part of an axis that is shown. Inside, all is in scaled numbers: the value or its logarithm.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Span {
    scale: Scale,
    low: f64,
    high: f64,
    step: f64,
}

/// Beyond it nothing is measured, and sums would overflow.
const LARGEST: f64 = 1e100;
/// Below it quotients would.
const SMALLEST: f64 = 1e-100;

/// Steps between ticks, times a power of ten.
const STEPS: [f64; 4] = [1.0, 2.0, 5.0, 10.0];

impl Span {
    /// The values that have a place, widened to whole ticks of which there are about `ticks`.
    pub(super) fn over(values: impl Iterator<Item = f64>, scale: Scale, ticks: usize) -> Self {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for place in values.filter_map(|value| scaled(value, scale)) {
            low = low.min(place);
            high = high.max(place);
        }
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        if high - low <= 1e-9 * low.abs().max(high.abs()) {
            let half = if scale == Scale::Logarithmic || low == 0.0 {
                0.5
            } else {
                low.abs() / 10.0
            };
            (low, high) = (low - half, high + half);
        }
        let step = step((high - low) / ticks.max(1) as f64);
        Self {
            scale,
            low: (low / step + 1e-6).floor() * step,
            high: (high / step - 1e-6).ceil() * step,
            step,
        }
    }

    /// Lowest and highest scaled number.
    pub(super) fn bounds(&self) -> [f64; 2] {
        [self.low, self.high]
    }

    /// The scaled number of a value; `None` where it has no place.
    pub(super) fn scaled(&self, value: f64) -> Option<f64> {
        scaled(value, self.scale)
    }

    /// A value's place, 0 at the lower end and 1 at the upper; `None` where it has none.
    pub(super) fn place(&self, value: f64) -> Option<f64> {
        Some((self.scaled(value)? - self.low) / (self.high - self.low))
    }

    /// Places from 0 to 1 and the numbers that are written there, evenly spaced from end to end.
    pub(super) fn ticks(&self) -> Vec<(f64, String)> {
        let count = ((self.high - self.low) / self.step).round().max(1.0);
        let mut ticks = Vec::new();
        let mut n = 0.0;
        while n <= count {
            ticks.push((n / count, self.written(self.low + n * self.step)));
            n += 1.0;
        }
        ticks
    }

    fn written(&self, place: f64) -> String {
        match self.scale {
            Scale::Linear => thousands(place, self.step),
            Scale::Logarithmic => {
                let value = 10_f64.powf(place);
                // Two digits tell neighbours apart, down to a tenth of a decade.
                let digit = 10_f64.powf(place.floor() - 1.0);
                thousands((value / digit).round() * digit, digit)
            }
        }
    }
}

fn scaled(value: f64, scale: Scale) -> Option<f64> {
    let size = value.abs();
    match scale {
        Scale::Linear if size < SMALLEST => Some(0.0),
        Scale::Linear => (size <= LARGEST).then_some(value),
        // False for NaN.
        Scale::Logarithmic => (SMALLEST..=LARGEST).contains(&value).then(|| value.log10()),
    }
}

/// The next round step that is at least `least`.
fn step(least: f64) -> f64 {
    let decade = 10_f64.powf(least.log10().floor());
    let round = STEPS.iter().map(|factor| factor * decade);
    round
        .into_iter()
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * decade)
}

/// A number with as many decimals as its step has; from 10000 on in thousands or millions.
fn thousands(value: f64, step: f64) -> String {
    let (factor, letter) = match value.abs() {
        v if v >= 1e6 => (1e6, "M"),
        v if v >= 1e4 => (1e3, "k"),
        _ => (1.0, ""),
    };
    let (value, step) = (value / factor, step / factor);
    let decimals = (0..9).find(|digits| {
        let power = 10_f64.powi(*digits);
        ((step * power).round() - step * power).abs() < 1e-6 * step * power
    });
    let decimals = decimals.unwrap_or(9).unsigned_abs() as usize;
    let text = format!("{value:.decimals$}");
    let text = if letter.is_empty() {
        text
    } else {
        without_zeros(&text)
    };
    // There is no minus zero on an axis.
    let zero = text.trim_start_matches(['-', '0', '.']).is_empty();
    let sign = if zero {
        text.trim_start_matches('-')
    } else {
        &text
    };
    format!("{sign}{letter}")
}

fn without_zeros(text: &str) -> String {
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn written(values: &[f64], scale: Scale) -> Vec<String> {
        let span = Span::over(values.iter().copied(), scale, 4);
        span.ticks().into_iter().map(|(_, text)| text).collect()
    }

    #[test]
    fn ticks_are_round_numbers_and_enclose_the_data() {
        assert_eq!(written(&[0.0, 100.0], Scale::Linear), ["0", "50", "100"]);
        assert_eq!(
            written(&[-0.13, 0.21], Scale::Linear),
            ["-0.2", "-0.1", "0.0", "0.1", "0.2", "0.3"]
        );
        assert_eq!(
            written(&[12_500.0, 48_000.0], Scale::Linear),
            ["10k", "20k", "30k", "40k", "50k"]
        );
        assert_eq!(
            written(&[1.0, 10_000.0], Scale::Logarithmic),
            ["1.0", "10", "100", "1000", "10k"]
        );
    }

    #[test]
    fn one_value_none_or_no_number_still_give_an_axis() {
        assert_eq!(written(&[], Scale::Linear).first().unwrap(), "0.0");
        assert_eq!(written(&[5.0], Scale::Linear), ["4.5", "5.0", "5.5"]);
        assert_eq!(written(&[0.0], Scale::Linear), ["-0.5", "0.0", "0.5"]);
        assert_eq!(
            written(&[f64::NAN, -3.0, 0.0], Scale::Logarithmic),
            written(&[], Scale::Logarithmic)
        );
    }

    proptest! {
        #[test]
        fn every_value_has_its_place_between_the_ends(
            values in prop::collection::vec(prop_oneof![-1e9..1e9f64, -1.0..1.0f64], 1..9),
            ratio in any::<bool>(),
            ticks in 1usize..12,
        ) {
            let scale = if ratio { Scale::Logarithmic } else { Scale::Linear };
            let span = Span::over(values.iter().copied(), scale, ticks);
            prop_assert!(span.ticks().len() <= ticks + 3);
            for value in values {
                if let Some(place) = span.place(value) {
                    prop_assert!((-1e-5..=1.0 + 1e-5).contains(&place), "{} {}", value, place);
                }
            }
        }
    }
}
