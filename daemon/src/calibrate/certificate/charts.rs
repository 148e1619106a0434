//! The two drawings of a certificate: the curve with its points, and how far the points lie from it.

use super::Certificate;
use crate::calibrate::point::{Point, Role};
use crate::chart::{Axis, Chart, Datum, Mark, Series};

/// A resistance that changes more than this over the range is drawn by ratio.
const BY_RATIO: f64 = 5.0;

/// Value over electrical quantity: the calibrated curve, and the points.
pub(super) fn curve(certificate: &Certificate<'_>) -> Chart {
    let calibration = certificate.calibration;
    let line = certificate
        .range
        .iter()
        .map(|row| (row.electrical, row.value));
    let points = |role| {
        let places = role_points(certificate, role);
        places.map(|(_, point)| (point.captured.mean, point.compared.value))
    };
    let mut series = vec![
        Series::new("fit", Mark::Line, line),
        Series::new("points", Mark::Points, points(Role::Fit)),
    ];
    series.push(Series::new("kept out", Mark::Points, points(Role::Check)));
    series.retain(|series| !series.data.is_empty());
    let label = format!("probe, {}", certificate.input_unit());
    Chart {
        title: "Fit".to_owned(),
        x: electrical_axis(certificate, label),
        y: Axis::linear(format!("value, {}", calibration.unit)),
        series,
    }
}

/// Fit less reference over the reference, each with twice its standard uncertainty, and the expanded
/// uncertainty of a reading.
pub(super) fn residuals(certificate: &Certificate<'_>) -> Chart {
    let calibration = certificate.calibration;
    let inside = || certificate.range.iter().filter(|row| !row.extrapolated);
    let fitted = calibration.points.iter().zip(&calibration.residuals);
    let fitted = fitted.filter_map(|(step, residual)| {
        Some(Datum {
            x: certificate.point(*step)?.compared.value,
            y: residual.error,
            half: 2.0 * residual.uncertainty,
        })
    });
    let verified = certificate.verifications.iter().filter_map(|one| {
        Some(Datum {
            x: certificate.point(one.point)?.compared.value,
            y: one.error,
            half: one.expanded,
        })
    });
    let mut series = vec![
        Series::new(
            "U of a reading",
            Mark::Dashes,
            inside().map(|row| (row.value, row.expanded)),
        ),
        points("fitted", fitted),
        points("verified", verified),
    ];
    // The lower limit goes with the upper one, without a name of its own: one line, there and back.
    let lower = inside()
        .map(|row| Datum::new(row.value, -row.expanded))
        .collect::<Vec<_>>();
    let gap = Datum::new(f64::NAN, f64::NAN);
    series[0].data.extend(std::iter::once(gap).chain(lower));
    series.retain(|series| !series.data.is_empty());
    let unit = &calibration.unit;
    Chart {
        title: "Residuals, with U (k = 2)".to_owned(),
        x: Axis::linear(format!("reference, {unit}")),
        y: Axis::linear(format!("fit less reference, {unit}")),
        series,
    }
}

fn points(name: &str, data: impl Iterator<Item = Datum>) -> Series {
    Series {
        name: name.to_owned(),
        mark: Mark::Points,
        data: data.collect(),
    }
}

fn role_points<'a>(
    certificate: &'a Certificate<'_>,
    role: Role,
) -> impl Iterator<Item = &'a (u64, &'a Point)> {
    certificate
        .points
        .iter()
        .filter(move |(_, point)| point.role == role)
}

fn electrical_axis(certificate: &Certificate<'_>, label: String) -> Axis {
    let (low, high) = certificate.calibration.range;
    if certificate.calibration.input == "ohm" && low > 0.0 && high / low > BY_RATIO {
        Axis::logarithmic(label)
    } else {
        Axis::linear(label)
    }
}
