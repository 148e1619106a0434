//! A certificate as JSON: the calibration and its points as the log keeps them, with all digits, and
//! what was computed from them.

use super::{Budget, Certificate, Row};
use crate::calibrate::calibration::{Shape, Share};
use serde_json::{Value, json};

/// Of this form; a change that readers notice raises it.
const FORM: u32 = 1;

/// The whole object, indented.
pub(super) fn render(certificate: &Certificate<'_>) -> String {
    let points = certificate.points.iter();
    let whole = json!({
        "form": FORM,
        "accredited": false,
        "program": format!("nightbench {}", env!("CARGO_PKG_VERSION")),
        "site": certificate.site,
        "probe": certificate.probe,
        "number": certificate.number,
        "printed_ms": certificate.printed_ms,
        "calibration": certificate.calibration,
        "channel": certificate.here,
        "points": points
            .map(|(step, point)| json!({ "step": step, "point": point }))
            .collect::<Vec<Value>>(),
        "verifications": certificate.verifications,
        "range": certificate.range.iter().map(row).collect::<Vec<Value>>(),
        "budgets": certificate.budgets.iter().map(budget).collect::<Vec<Value>>(),
        "methods": ["JCGM 100:2008", "JCGM 101:2008"],
    });
    // `Value` shows itself as JSON, and cannot fail to.
    format!("{whole:#}\n")
}

fn row(row: &Row) -> Value {
    json!({
        "electrical": row.electrical,
        "value": row.value,
        "expanded_k2": row.expanded,
        "interval_95": [row.interval.0, row.interval.1],
        "extrapolated": row.extrapolated,
    })
}

fn budget(budget: &Budget) -> Value {
    json!({
        "value": budget.value,
        "shares": budget.shares.iter().map(share).collect::<Vec<Value>>(),
    })
}

fn share(share: &Share) -> Value {
    let shape: Shape = share.shape;
    json!({
        "name": share.name,
        "remedy": share.remedy,
        "shape": shape,
        "standard_uncertainty": share.uncertainty,
    })
}
