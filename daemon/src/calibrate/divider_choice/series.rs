//! The values in which resistors are made.

/// A series of preferred values (IEC 60063:2015).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// 12 values a decade: 10 % parts.
    E12,
    /// 24 values a decade: 5 % parts, and the most common 1 % parts.
    E24,
    /// 96 values a decade: 1 % parts.
    E96,
}

/// IEC 60063, E24, from memory: rounded by hand long ago, so no formula gives all of them.
const E24: [u32; 24] = [
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
];
/// Decades in which resistors are sold: 1 ohm to 100 megohm.
const DECADES: std::ops::Range<i32> = 0..8;

impl Series {
    /// As it is printed: `E24`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::E12 => "E12",
            Self::E24 => "E24",
            Self::E96 => "E96",
        }
    }

    /// Every value from 1 ohm to below 100 megohm, ascending.
    pub fn values(self) -> impl Iterator<Item = f64> {
        let decade = self.decade();
        DECADES.flat_map(move |exponent| {
            let scale = 10_f64.powi(exponent);
            // One division of whole numbers, so that 4.7 is 4.7.
            decade
                .clone()
                .into_iter()
                .map(move |hundredths| f64::from(hundredths) * scale / 100.0)
        })
    }

    /// The values of one decade, in hundredths of its beginning.
    fn decade(self) -> Vec<u32> {
        match self {
            Self::E12 => E24.iter().step_by(2).map(|one| one * 10).collect(),
            Self::E24 => E24.iter().map(|one| one * 10).collect(),
            // Three digits of 10^(i / 96): the rule of IEC 60063, which E96 keeps throughout.
            Self::E96 => (0..96)
                .map(|step| (100.0 * 10_f64.powf(f64::from(step) / 96.0)).round() as u32)
                .collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: IEC 60063, from memory.
    #[test]
    fn a_decade_holds_its_well_known_values() {
        let from = |series: Series, low: f64| -> Vec<f64> {
            series
                .values()
                .skip_while(|one| *one < low)
                .take(5)
                .collect()
        };
        assert_eq!(
            from(Series::E12, 1e3),
            [1000.0, 1200.0, 1500.0, 1800.0, 2200.0]
        );
        assert_eq!(from(Series::E24, 4.5), [4.7, 5.1, 5.6, 6.2, 6.8]);
        assert_eq!(
            from(Series::E96, 1e4),
            [1e4, 10_200.0, 10_500.0, 10_700.0, 11_000.0]
        );
        assert_eq!(
            from(Series::E96, 9.2e3),
            [9310.0, 9530.0, 9760.0, 1e4, 10_200.0]
        );
    }

    #[test]
    fn a_series_rises_and_has_as_many_values_as_its_name_says() {
        for (series, count) in [(Series::E12, 12), (Series::E24, 24), (Series::E96, 96)] {
            let values: Vec<f64> = series.values().collect();
            assert_eq!(values.len(), count * 8);
            assert!(values.is_sorted_by(|one, next| one < next));
            assert_eq!(series.name(), format!("E{count}"));
        }
    }
}
