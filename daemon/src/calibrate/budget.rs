//! A budget: what the uncertainty of one value is made of, what dominates, and what to do about it.
//!
//! Only shown here; the shares come from `stated`. Shares are percent of the variance, since
//! variances add and standard uncertainties do not (JCGM 100:2008, 5.1.2).

use super::coverage::interval_95;
use super::{Shape, Share};
use std::fmt;

/// The coverage factor that people are shown: named as such, never as "95 %".
pub const COVERAGE_FACTOR: f64 = 2.0;

/// From this share of the variance on, a cause dominates: halving all others together helps less
/// than halving it.
const DOMINATES: f64 = 0.5;

/// Width of a table, columns.
const WIDTH: usize = 80;
/// Of its first column.
const NAME: usize = 44;

/// The shares of one value, the largest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// The value.
    pub value: f64,
    /// UCUM code of its unit.
    pub unit: String,
    /// Largest first.
    pub shares: Vec<Share>,
}

impl Budget {
    /// A budget of these shares.
    #[must_use]
    pub fn new(value: f64, unit: &str, mut shares: Vec<Share>) -> Self {
        shares.sort_by(|a, b| b.uncertainty.total_cmp(&a.uncertainty));
        Self {
            value,
            unit: unit.to_owned(),
            shares,
        }
    }

    /// Combined standard uncertainty, in the unit of the value.
    #[must_use]
    pub fn uncertainty(&self) -> f64 {
        let shares = self.shares.iter();
        shares.fold(0.0, |sum, share| sum.hypot(share.uncertainty))
    }

    /// Expanded uncertainty for the coverage factor k = 2 ([`COVERAGE_FACTOR`]).
    #[must_use]
    pub fn expanded(&self) -> f64 {
        COVERAGE_FACTOR * self.uncertainty()
    }

    /// Half-width of the interval that holds 95 %.
    #[must_use]
    pub fn interval_95(&self) -> f64 {
        interval_95(&self.shares)
    }

    /// Share of the variance, 0 to 1, of each of [`Budget::shares`].
    #[must_use]
    pub fn of_variance(&self) -> Vec<f64> {
        let total = self.uncertainty();
        let share = |share: &Share| match total > 0.0 {
            true => (share.uncertainty / total).powi(2),
            false => 0.0,
        };
        self.shares.iter().map(share).collect()
    }

    /// What dominates, and what to do, in one sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        let percent = |share: f64| format!("{:.0} %", 100.0 * share);
        match (&self.shares[..], &self.of_variance()[..]) {
            ([first, ..], [share, ..]) if *share >= DOMINATES => {
                let what = format!("{} is {} of it", first.name, percent(*share));
                match first.remedy.is_empty() {
                    true => what,
                    false => format!("{what}: {}", first.remedy),
                }
            }
            ([first, second, ..], [one, other, ..]) if *one > 0.0 => format!(
                "nothing dominates: {} is {} of it, {} {}",
                first.name,
                percent(*one),
                second.name,
                percent(*other)
            ),
            _ => "nothing is known to be uncertain".to_owned(),
        }
    }

    /// Decimals that show three digits of the combined uncertainty: two are what it bears, and one
    /// more keeps what is added up here from being rounding (JCGM 100:2008, 7.2.6).
    fn decimals(&self) -> usize {
        let uncertainty = self.uncertainty();
        if uncertainty <= 0.0 {
            return 3;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "clamped to 0 and 6"
        )]
        let decimals = (2.0 - uncertainty.log10().floor()).clamp(0.0, 6.0) as usize;
        decimals
    }
}

/// A table of at most 80 columns, and the sentence below it.
impl fmt::Display for Budget {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (digits, unit) = (self.decimals(), &self.unit);
        let number = |number: f64| format!("{number:.digits$} {unit}");
        writeln!(
            f,
            "{:NAME$} {:11} {:>14} {:>8}",
            "cause", "shape", "standard u.", "variance"
        )?;
        for (share, part) in self.shares.iter().zip(self.of_variance()) {
            row(f, share, &number(share.uncertainty), part)?;
        }
        for (what, half) in [
            ("standard uncertainty", self.uncertainty()),
            ("expanded uncertainty (k = 2)", self.expanded()),
            (
                "half of the interval that holds 95 % (JCGM 101)",
                self.interval_95(),
            ),
        ] {
            let width = NAME + 12;
            writeln!(f, "{what:width$} {:>14}", number(half))?;
        }
        write!(f, "{}", wrapped(&self.sentence()))
    }
}

fn row(f: &mut fmt::Formatter<'_>, share: &Share, uncertainty: &str, part: f64) -> fmt::Result {
    let shape = match share.shape {
        Shape::Normal => "normal",
        Shape::Rectangular => "rectangular",
    };
    let percent = match 100.0 * part {
        small if small < 0.5 => "< 1 %".to_owned(),
        percent => format!("{percent:.0} %"),
    };
    let name = shortened(&share.name);
    writeln!(f, "{name:NAME$} {shape:11} {uncertainty:>14} {percent:>8}")
}

/// A name that fits its column.
fn shortened(name: &str) -> String {
    if name.chars().count() <= NAME {
        return name.to_owned();
    }
    let mut short: String = name.chars().take(NAME - 1).collect();
    short.push('…');
    short
}

/// A text in lines that are no wider than the table, where its words allow it.
fn wrapped(text: &str) -> String {
    let mut lines = String::new();
    let mut column = 0;
    for word in text.split_whitespace() {
        let width = word.chars().count();
        let fits = column + 1 + width <= WIDTH;
        let between = match (column, fits) {
            (0, _) => "",
            (_, true) => " ",
            (_, false) => "\n",
        };
        column = if fits {
            column + between.len() + width
        } else {
            width
        };
        lines.push_str(between);
        lines.push_str(word);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use insta::assert_snapshot;

    fn share(name: &str, remedy: &str, shape: Shape, uncertainty: f64) -> Share {
        Share {
            name: name.to_owned(),
            remedy: remedy.to_owned(),
            shape,
            uncertainty,
        }
    }

    /// Invented.
    fn budget() -> Budget {
        let better = "a better one would pay";
        Budget::new(
            37.04,
            "Cel",
            vec![
                share("noise", "", Shape::Normal, 0.021),
                share(
                    "reference thermometer `kitchen`",
                    better,
                    Shape::Rectangular,
                    0.115,
                ),
                share("ice point", "", Shape::Normal, 0.04),
                share("step of the converter", "", Shape::Rectangular, 0.025),
            ],
        )
    }

    #[test]
    fn a_table_says_what_dominates_and_what_to_do() {
        assert_snapshot!(budget(), @r"
    cause                                        shape          standard u. variance
    reference thermometer `kitchen`              rectangular      0.115 Cel     83 %
    ice point                                    normal           0.040 Cel     10 %
    step of the converter                        rectangular      0.025 Cel      4 %
    noise                                        normal           0.021 Cel      3 %
    standard uncertainty                                          0.126 Cel
    expanded uncertainty (k = 2)                                  0.252 Cel
    half of the interval that holds 95 % (JCGM 101)               0.226 Cel
    reference thermometer `kitchen` is 83 % of it: a better one would pay
    ");
    }

    #[test]
    fn no_line_is_wider_than_a_terminal() {
        let long = share(&"a very long name ".repeat(9), "", Shape::Rectangular, 1.0);
        let budget = Budget::new(1.0, "mol/L", vec![long]);
        let widest = budget.to_string().lines().map(|l| l.chars().count()).max();
        assert!(widest <= Some(80), "{budget}");
    }

    #[test]
    fn where_nothing_dominates_the_two_largest_are_named() {
        let [a, b, c] =
            ["ice point", "noise", "step"].map(|name| share(name, "look", Shape::Normal, 1.0));
        assert_snapshot!(Budget::new(0.0, "K", vec![a, b, c]).sentence(), @"nothing dominates: ice point is 33 % of it, noise 33 %");
        assert_snapshot!(Budget::new(0.0, "K", vec![]).sentence(), @"nothing is known to be uncertain");
    }

    #[test]
    fn percentages_are_of_the_variance_and_add_up() {
        let budget = budget();
        let all: f64 = budget.of_variance().iter().sum();
        assert!((all - 1.0).abs() < 1e-12, "{all}");
        // 0.115² / (0.115² + 0.04² + 0.025² + 0.021²)
        assert!((budget.of_variance()[0] - 0.832_2).abs() < 1e-3);
    }
}
