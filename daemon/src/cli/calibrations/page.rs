//! Lines of 80 columns, with a label on their left; dates and numbers as they stand there.

use crate::cli::when;
use jiff::tz::TimeZone;

/// Columns of a page.
const WIDTH: usize = 80;
/// Columns before the text.
const LABEL: usize = 16;

/// Text under construction.
#[derive(Debug, Default)]
pub struct Page(String);

impl Page {
    /// A line as it is.
    pub fn line(&mut self, text: &str) {
        self.0.push_str(text);
        self.0.push('\n');
    }

    /// A label and its text, which goes on below itself where it is long.
    pub fn entry(&mut self, label: &str, text: &str) {
        let mut line = format!("{label:<LABEL$}");
        let mut filled = LABEL;
        for word in text.split_whitespace() {
            let length = word.chars().count();
            if filled > LABEL && filled + 1 + length > WIDTH {
                self.line(line.trim_end());
                line = " ".repeat(LABEL);
                filled = LABEL;
            }
            if filled > LABEL {
                line.push(' ');
                filled += 1;
            }
            line.push_str(word);
            filled += length;
        }
        self.line(line.trim_end());
    }

    /// A text from the first column on.
    pub fn paragraph(&mut self, text: &str) {
        let mut line = String::new();
        for word in text.split_whitespace() {
            let length = line.chars().count() + 1 + word.chars().count();
            if !line.is_empty() && length > WIDTH {
                self.line(&line);
                line.clear();
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        self.line(&line);
    }

    /// All of it.
    pub fn text(self) -> String {
        self.0
    }
}

/// `2026-11-25 02:14`, in the zone.
pub fn minute(ms: i64, zone: &TimeZone) -> String {
    let time = when::rfc3339(ms, zone);
    let seconds = time.split('.').next().unwrap_or_default();
    let minute = seconds
        .rsplit_once(':')
        .map_or(seconds, |(minute, _)| minute);
    minute.replace('T', " ")
}

/// `2026-11-25`, in the zone.
pub fn day(ms: i64, zone: &TimeZone) -> String {
    let minute = minute(ms, zone);
    minute.split(' ').next().unwrap_or_default().to_owned()
}

/// Decimals at which an uncertainty has two significant digits. Source: JCGM 100:2008, 7.2.6.
pub fn decimals(uncertainty: f64) -> usize {
    if !uncertainty.is_finite() || uncertainty <= 0.0 {
        return 3;
    }
    let magnitude = uncertainty.log10().floor();
    (1.0 - magnitude).clamp(0.0, 9.0) as usize
}

/// A number with so many decimals, and never `-0`.
pub fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let is_zero = text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.'));
    text.strip_prefix('-')
        .filter(|_| is_zero)
        .map_or(text.clone(), str::to_owned)
}

/// As [`number`], with its sign.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    if text.starts_with('-') {
        text
    } else {
        format!("+{text}")
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_long_text_goes_on_below_itself() {
        let mut page = Page::default();
        page.entry("fit", &"four terms ".repeat(9));
        let text = page.text();
        assert_eq!(text.lines().count(), 2);
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
        assert!(text.lines().nth(1).unwrap().starts_with(&" ".repeat(LABEL)));
    }

    #[test]
    fn an_uncertainty_has_two_digits() {
        for (uncertainty, expected) in [
            (0.05, "0.050"),
            (0.123, "0.12"),
            (1.26, "1.3"),
            (14.2, "14"),
            (0.0, "0.000"),
        ] {
            assert_eq!(number(uncertainty, decimals(uncertainty)), expected);
        }
        assert_eq!(decimals(f64::NAN), 3);
        assert_eq!(decimals(1e-300), 9);
    }

    #[test]
    fn nothing_has_no_minus() {
        assert_eq!(signed(-0.0001, 2), "+0.00");
        assert_eq!(signed(-0.01, 2), "-0.01");
    }

    #[test]
    fn dates_are_of_the_zone() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        assert_eq!(minute(1_795_571_447_123, &zone), "2026-11-25 02:50");
        assert_eq!(day(1_795_571_447_123, &TimeZone::UTC), "2026-11-25");
        let begin = minute(i64::MIN, &TimeZone::UTC);
        assert_eq!(begin, "-9999-01-02 01:59");
    }
}
