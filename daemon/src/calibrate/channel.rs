//! What a channel really is: its divider's resistor, from known resistors in the probe's place.
//!
//! A channel claims ohms by the resistor that is written down: claimed = true x written / real. So each
//! known resistor gives the real one, and their weighted mean is taken. What is then left at each is
//! judged against the uncertainties: a converter's offset bends both ends of its range in its own way,
//! and is told apart from a point that is wrong. Nothing is written to a configuration here.

mod words;

use super::fit::chance_of_at_least;
use super::judge::{CONTRADICTS, Taken};
use super::{Point, Reference};
use nalgebra::{DMatrix, DVector};

/// A channel, characterised.
#[derive(Clone, Debug, PartialEq)]
pub struct Characterised {
    /// The divider's resistor, ohm.
    pub resistor: f64,
    /// Its standard uncertainty, ohm.
    pub uncertainty: f64,
    /// What is left at each point, in the order in which they were given.
    pub left: Vec<Left>,
    /// What that says of the converter.
    pub finding: Finding,
}

/// A known resistor against the channel with its real resistor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Left {
    /// The point's number.
    pub number: u64,
    /// The known resistor, ohm.
    pub ohm: f64,
    /// Claimed less true, ohm, with the real resistor and without what [`Finding::Offset`] explains.
    pub error: f64,
    /// Standard uncertainty of one such comparison, ohm.
    pub uncertainty: f64,
}

/// What is left once the resistor is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Finding {
    /// One point: nothing can be said.
    OnePoint,
    /// No more than the uncertainties explain.
    Nothing,
    /// The converter is off by a constant, as a share of its full scale, with its standard
    /// uncertainty; above 0 it makes the probe's resistance look larger.
    Offset(f64, f64),
    /// More than the uncertainties and an offset explain: a converter that is not linear, or the
    /// point of this number.
    Unexplained(u64),
}

/// Why a channel cannot be characterised.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Uncharacterised {
    /// No known resistor.
    #[error(
        "there is no known resistor among the points: put one in the probe's place, and take it"
    )]
    NoPoints,
    /// A number that makes no sense.
    #[error(
        "point {0}: resistances must be above 0 Ohm, and their uncertainties known and not 0; \
         withdraw it, and take it again"
    )]
    NoNumber(u64),
}

/// The real resistor of a channel whose divider is written down with `written` ohms, from points with
/// known resistors, each with its number; others are passed over.
///
/// # Errors
/// Where there is no such point, or one that makes no sense.
pub fn characterise(
    points: &[(u64, Point)],
    written: f64,
) -> Result<Characterised, Uncharacterised> {
    let known =
        |(_, point): &&(u64, Point)| matches!(point.compared.reference, Reference::Resistor { .. });
    let taken = points.iter().filter(known).map(|(number, point)| Taken {
        number: *number,
        point,
    });
    let taken: Vec<Taken<'_>> = taken.collect();
    if taken.is_empty() {
        return Err(Uncharacterised::NoPoints);
    }
    if let Some(wrong) = taken.iter().find(|one| !makes_sense(one)) {
        return Err(Uncharacterised::NoNumber(wrong.number));
    }
    let all = Comparison::new(&taken, written);
    let plain = all
        .mean(1)
        .ok_or(Uncharacterised::NoNumber(taken[0].number))?;
    let (taken_as, finding) = all.judged(plain, &taken);
    Ok(Characterised {
        resistor: written * taken_as.terms[0],
        uncertainty: written * taken_as.covariance[(0, 0)].sqrt(),
        left: all.left(&taken, &taken_as),
        finding,
    })
}

fn makes_sense(taken: &Taken<'_>) -> bool {
    let compared = &taken.point.compared;
    let (true_ohm, claimed) = (compared.value, taken.point.captured.mean);
    let whole = compared.own.hypot(compared.common);
    let whole = whole.hypot(taken.point.captured.uncertainty);
    let positive = |x: f64| x > 0.0 && x.is_finite();
    positive(true_ohm) && positive(claimed) && positive(whole)
}

/// Real over written resistor, by each point.
struct Comparison {
    ratios: DVector<f64>,
    /// First column: the ratio itself; second: what an offset of the whole scale would do.
    slopes: DMatrix<f64>,
    covariance: DMatrix<f64>,
}

/// Terms of a weighted mean.
struct Mean {
    terms: DVector<f64>,
    covariance: DMatrix<f64>,
    left: DVector<f64>,
    chi_square: f64,
}

impl Comparison {
    fn new(taken: &[Taken<'_>], written: f64) -> Self {
        let ratio = |one: &Taken<'_>| one.value() / one.input();
        let covariance = DMatrix::from_fn(taken.len(), taken.len(), |row, column| {
            let (one, other) = (&taken[row], &taken[column]);
            let common = |one: &Taken<'_>| one.point.compared.common / one.input();
            let shared = match one.shares_with(other) {
                true => common(one) * common(other),
                false => 0.0,
            };
            let own = (one.point.compared.own / one.input())
                .hypot(ratio(one) * one.input_uncertainty() / one.input());
            if row == column {
                shared + own * own
            } else {
                shared
            }
        });
        let slopes = DMatrix::from_fn(taken.len(), 2, |row, column| match column {
            0 => 1.0,
            // Of code over full scale, r / (1 + r): d(ln r) = (1 + r)^2 / r, r in written resistors.
            _ => {
                let r = taken[row].input() / written;
                -ratio(&taken[row]) * (1.0 + r) * (1.0 + r) / r
            }
        });
        Self {
            ratios: DVector::from_iterator(taken.len(), taken.iter().map(ratio)),
            slopes,
            covariance,
        }
    }

    /// The best values of so many terms; `None` where the points do not tell them apart.
    fn mean(&self, terms: usize) -> Option<Mean> {
        let weights = self.covariance.clone().try_inverse()?;
        let slopes = self.slopes.columns(0, terms);
        let covariance = (slopes.transpose() * &weights * slopes).try_inverse()?;
        let found = &covariance * slopes.transpose() * &weights * &self.ratios;
        let left = &self.ratios - slopes * &found;
        let chi_square = (left.transpose() * weights * &left)[(0, 0)];
        let sound = covariance[(0, 0)] > 0.0 && chi_square.is_finite();
        sound.then_some(Mean {
            terms: found,
            covariance,
            left,
            chi_square,
        })
    }

    /// Whether the resistor alone explains the points, or an offset with it, or neither.
    fn judged(&self, plain: Mean, taken: &[Taken<'_>]) -> (Mean, Finding) {
        let count = self.ratios.len();
        if count == 1 {
            return (plain, Finding::OnePoint);
        }
        if agrees(&plain, count - 1) {
            return (plain, Finding::Nothing);
        }
        let with_offset = (count > 2).then(|| self.mean(2)).flatten();
        match with_offset.filter(|mean| agrees(mean, count - 2)) {
            Some(mean) => {
                let finding = Finding::Offset(mean.terms[1], mean.covariance[(1, 1)].sqrt());
                (mean, finding)
            }
            None => self.unexplained(plain, taken),
        }
    }

    fn unexplained(&self, mut plain: Mean, taken: &[Taken<'_>]) -> (Mean, Finding) {
        let size = |at: &usize| plain.left[*at].abs() / self.covariance[(*at, *at)].sqrt();
        let worst = (0..taken.len()).max_by(|a, b| size(a).total_cmp(&size(b)));
        let worst = worst.map_or(0, |at| taken[at].number);
        // The mean is no better than the points agree (Birge's ratio).
        plain.covariance *= plain.chi_square / (taken.len() - 1) as f64;
        (plain, Finding::Unexplained(worst))
    }

    fn left(&self, taken: &[Taken<'_>], mean: &Mean) -> Vec<Left> {
        let left = |(at, one): (usize, &Taken<'_>)| Left {
            number: one.number,
            ohm: one.value(),
            error: -mean.left[at] * one.input(),
            uncertainty: self.covariance[(at, at)].sqrt() * one.input(),
        };
        taken.iter().enumerate().map(left).collect()
    }
}

fn agrees(mean: &Mean, degrees_of_freedom: usize) -> bool {
    chance_of_at_least(mean.chi_square, degrees_of_freedom) >= CONTRADICTS
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
