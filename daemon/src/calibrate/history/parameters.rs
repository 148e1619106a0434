//! The curve of a stored calibration, and the curves beside it that its covariance is about.

use crate::calibrate::{Calibration, Curve, Term};
use crate::driver::{self, Driver, DriverError, Parameter};
use crate::measure::chain::Transfer;

/// Step of a numeric derivative, in standard uncertainties of the term: small against any bend of
/// the curve, large against rounding, also where terms are strongly correlated.
const STEP: f64 = 1e-3;

/// Every parameter's numbers, in the driver's order.
type Values = Vec<Vec<f64>>;

/// A curve with one term a little higher, and one with it a little lower.
#[derive(Clone, Debug)]
pub(super) struct Beside {
    above: Curve,
    below: Curve,
    distance: f64,
}

impl Beside {
    /// Change of the value with the term, at one input.
    pub(super) fn slope(&self, input: f64) -> Result<f64, DriverError> {
        Ok((self.above.evaluate(input)? - self.below.evaluate(input)?) / self.distance)
    }
}

/// The curve of a calibration.
///
/// # Errors
/// Where this version has no such driver, or the driver refuses the parameters; the end of a
/// sentence about the calibration.
pub fn curve_of(calibration: &Calibration) -> Result<Curve, String> {
    let (driver, values) = parameters(calibration)?;
    curve(driver, values, calibration)
}

/// Curves beside a calibration's own, one pair for each of its terms.
///
/// # Errors
/// As [`curve_of`], or where a term is no number of the driver's.
pub(super) fn beside(calibration: &Calibration) -> Result<Vec<Beside>, String> {
    let (driver, values) = parameters(calibration)?;
    let terms = calibration.terms.iter().enumerate();
    let pair = |(index, term): (usize, &Term)| {
        let step = deviation(calibration, index) * STEP;
        pair(step, |by| {
            moved(driver, values.clone(), calibration, *term, by)
        })
    };
    terms.map(pair).collect()
}

fn curve(driver: Driver, values: Values, of: &Calibration) -> Result<Curve, String> {
    let model = driver.bind(values);
    let model = model.map_err(|error| format!("has parameters that do not fit: {error}"))?;
    Ok(Curve {
        model,
        offset: of.offset,
        slope: of.slope,
        pivot: of.pivot,
    })
}

/// The driver, and the calibration's parameters in its order.
fn parameters(calibration: &Calibration) -> Result<(Driver, Values), String> {
    let name = &calibration.driver;
    let driver = driver::find(name);
    let driver = driver
        .ok_or_else(|| format!("needs the driver `{name}`, which this nightbench does not have"))?;
    let declared = driver.parameters();
    let given = &calibration.parameters;
    let is_unknown = |name: &str| declared.iter().all(|one| one.name != name);
    if let Some((unknown, _)) = given.iter().find(|(given, _)| is_unknown(given)) {
        return Err(format!(
            "has a parameter `{unknown}`, which the driver `{name}` does not know"
        ));
    }
    let values = |one: &Parameter| {
        let values = given.iter().find(|(given, _)| given == one.name);
        values.map_or_else(Vec::new, |(_, values)| values.clone())
    };
    Ok((driver, declared.iter().map(values).collect()))
}

fn deviation(calibration: &Calibration, index: usize) -> f64 {
    let row = calibration.covariance.get(index);
    let variance = row.and_then(|row| row.get(index)).copied();
    variance.unwrap_or(0.0).max(0.0).sqrt()
}

/// A term at its bound can only be moved one way; one that is certain not at all.
fn pair(step: f64, moved: impl Fn(f64) -> Result<Curve, String>) -> Result<Beside, String> {
    let (above, below, distance) = match (moved(step), moved(-step)) {
        _ if step == 0.0 => (moved(0.0)?, moved(0.0)?, 1.0),
        (Ok(above), Ok(below)) => (above, below, 2.0 * step),
        (Ok(above), Err(_)) => (above, moved(0.0)?, step),
        (Err(_), below) => (moved(0.0)?, below?, step),
    };
    Ok(Beside {
        above,
        below,
        distance,
    })
}

fn moved(
    driver: Driver,
    mut values: Values,
    calibration: &Calibration,
    term: Term,
    by: f64,
) -> Result<Curve, String> {
    let (mut offset, mut slope) = (calibration.offset, calibration.slope);
    match term {
        Term::Offset => offset += by,
        Term::Slope => slope += by,
        Term::Parameter(index) => match values.get_mut(index).map(Vec::as_mut_slice) {
            Some([number]) => *number += by,
            _ => return Err("has a fitted term that is no number of its driver".to_owned()),
        },
    }
    let at = curve(driver, values, calibration)?;
    Ok(Curve {
        offset,
        slope,
        ..at
    })
}
