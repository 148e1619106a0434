//! SenML packs (RFC 8428, JSON form).
//!
//! The base name is `site:probe:` (`site:` for a whole line), the name is the quantity, the time is
//! absolute. A fault has no number to say: its record is `quality` with the reason as a string. A
//! value outside the calibrated range has both, and `advice`. A unit that the SenML registry lacks is
//! converted, or left out where nothing fits. Uncertainty, raw counts, the calibration and sequence
//! numbers are left out: take `json` where they count.
//!
//! A reading from before the clock was set is never sent: a small `t` means 'relative to now'
//! (4.5.3). An alarm from then is sent without a time, which means 'roughly now'.

use super::Unsayable;
use super::senml_unit;
use crate::alarm::{Move, State};
use crate::clock::is_plausible;
use crate::reading::{Quality, Reading};
use serde::Serialize;

/// One reading of one probe.
///
/// # Errors
/// [`Unsayable::ClockUnknown`].
pub fn reading(site: &str, reading: &Reading) -> Result<Vec<u8>, Unsayable> {
    let first = base(
        format!("{}:{}:", site, reading.series.probe),
        reading.at.wall_ms,
    )?;
    Ok(pack(first, records("", reading, reading.at.wall_ms)))
}

/// All readings of one line.
///
/// # Errors
/// [`Unsayable`] where there are none, or the clock was not set.
pub fn line(site: &str, readings: &[Reading]) -> Result<Vec<u8>, Unsayable> {
    let line_ms = readings.first().ok_or(Unsayable::EmptyLine)?.at.wall_ms;
    let first = base(format!("{site}:"), line_ms)?;
    let records = readings
        .iter()
        .flat_map(|reading| records(&format!("{}:", reading.series.probe), reading, line_ms))
        .collect();
    Ok(pack(first, records))
}

/// Where an alarm stands, as a truth value, and what to do.
#[must_use]
pub fn alarm(site: &str, alarm: &Move) -> Vec<u8> {
    let base = Record {
        bn: Some(allowed(&format!("{}:{}:", site, alarm.probe))),
        bt: is_plausible(alarm.at.wall_ms).then(|| seconds(alarm.at.wall_ms)),
        ..Record::default()
    };
    let state = Record {
        n: allowed_inside(&format!("alarm:{}", alarm.alarm)),
        vb: Some(alarm.to == State::Active),
        ..Record::default()
    };
    let action = Record {
        n: allowed_inside(&format!("alarm:{}:action", alarm.alarm)),
        vs: Some(&alarm.action),
        ..Record::default()
    };
    pack(base, vec![state, action])
}

/// RFC 8428, 4.3, table 1: the labels' JSON names.
#[derive(Default, Serialize)]
struct Record<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    bn: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bt: Option<f64>,
    n: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    t: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    u: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    v: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    vs: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    vb: Option<bool>,
}

fn base(name: String, wall_ms: i64) -> Result<Record<'static>, Unsayable> {
    if !is_plausible(wall_ms) {
        return Err(Unsayable::ClockUnknown);
    }
    Ok(Record {
        bn: Some(allowed(&name)),
        bt: Some(seconds(wall_ms)),
        ..Record::default()
    })
}

/// `prefix` stands before the name where the base name does not hold the probe.
fn records(prefix: &str, reading: &Reading, line_ms: i64) -> Vec<Record<'static>> {
    let series = &reading.series;
    let moved_ms = reading.at.wall_ms.saturating_sub(line_ms);
    let at = || Record {
        t: (moved_ms != 0).then(|| seconds(moved_ms)),
        ..Record::default()
    };
    let word = |name: &str, word: &'static str| Record {
        n: allowed_inside(&format!("{prefix}{name}")),
        vs: Some(word),
        ..at()
    };
    let quality = reading.outcome.quality();
    let value = reading.outcome.estimate().map(|estimate| {
        let unit = senml_unit::find(&series.unit, &series.quantity);
        let value = unit.map_or(estimate.value(), |unit| unit.convert(estimate.value()));
        Record {
            n: allowed_inside(&format!("{prefix}{}", series.quantity)),
            u: unit.map(|unit| unit.code),
            v: Some(value),
            ..at()
        }
    });
    let mut records = Vec::from_iter(value);
    if quality != Quality::Good {
        records.push(word("quality", quality.tag()));
    }
    if quality == Quality::Extrapolated {
        records.push(word("advice", quality.advice()));
    }
    records
}

/// The base fields go into the first record (4.1: they hold for it and all that follow).
fn pack<'a>(base: Record<'a>, mut records: Vec<Record<'a>>) -> Vec<u8> {
    if let Some(first) = records.first_mut() {
        first.bn = base.bn;
        first.bt = base.bt;
    }
    serde_json::to_vec(&records).expect("string keys and plain values always serialise")
}

fn seconds(ms: i64) -> f64 {
    ms as f64 / 1000.0
}

/// Names hold letters, digits and `-:./_`, and start with a letter or digit (RFC 8428, 4.5.1);
/// what else a site's or quantity's name holds is replaced.
fn allowed(name: &str) -> String {
    let name = allowed_inside(name);
    name.trim_start_matches(|letter: char| !letter.is_ascii_alphanumeric())
        .to_owned()
}

fn allowed_inside(name: &str) -> String {
    let fits = |letter: char| letter.is_ascii_alphanumeric() || "-:./_".contains(letter);
    name.chars()
        .map(|letter| if fits(letter) { letter } else { '_' })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::tests::{NIGHT_MS, beyond, broken, mash, too_hot};
    use super::*;
    use crate::reading::Series;
    use std::sync::Arc;

    fn text(bytes: Vec<u8>) -> String {
        String::from_utf8(bytes).unwrap()
    }

    fn with(change: impl FnOnce(&mut Series)) -> Reading {
        let mut reading = mash(55.0);
        change(Arc::make_mut(&mut reading.series));
        reading
    }

    #[test]
    fn a_reading_is_a_pack_of_one_record() {
        assert_eq!(
            text(reading("cellar", &mash(67.91)).unwrap()),
            r#"[{"bn":"cellar:mash:","bt":1795571447.123,"n":"temperature","u":"Cel","v":67.91}]"#
        );
    }

    #[test]
    fn a_fault_says_its_quality_instead_of_a_number() {
        assert_eq!(
            text(reading("cellar", &broken()).unwrap()),
            r#"[{"bn":"cellar:mash:","bt":1795571447.123,"n":"quality","vs":"open_circuit"}]"#
        );
    }

    #[test]
    fn a_value_outside_the_calibrated_range_says_that_too() {
        assert_eq!(
            text(reading("cellar", &beyond(104.2)).unwrap()),
            r#"[{"bn":"cellar:mash:","bt":1795571447.123,"n":"temperature","u":"Cel","v":104.2},{"n":"quality","vs":"extrapolated"},{"n":"advice","vs":"add a reference point out here, or trust it only within its uncertainty"}]"#
        );
    }

    #[test]
    fn a_line_is_one_pack_and_a_moved_stamp_says_by_how_much() {
        let mut moved = with(|series| series.probe = "air".into());
        moved.at.wall_ms += 250;
        assert_eq!(
            text(line("cellar", &[mash(67.91), moved]).unwrap()),
            r#"[{"bn":"cellar:","bt":1795571447.123,"n":"mash:temperature","u":"Cel","v":67.91},{"n":"air:temperature","t":0.25,"u":"Cel","v":55.0}]"#
        );
    }

    #[test]
    fn an_alarm_is_a_truth_value_and_an_action() {
        assert_eq!(
            text(alarm("cellar", &too_hot())),
            r#"[{"bn":"cellar:mash:","bt":1795571447.123,"n":"alarm:high","vb":true},{"n":"alarm:high:action","vs":"turn the burner off and stir"}]"#
        );
    }

    #[test]
    fn before_the_clock_is_known_no_reading_is_said() {
        let mut early = mash(20.0);
        early.at.wall_ms = NIGHT_MS - 365 * 86_400_000;
        assert_eq!(reading("cellar", &early), Err(Unsayable::ClockUnknown));
        assert_eq!(line("cellar", &[early]), Err(Unsayable::ClockUnknown));
    }

    #[test]
    fn before_the_clock_is_known_an_alarm_is_said_without_a_time() {
        let mut early = too_hot();
        early.at.wall_ms = 12_000;
        assert!(!text(alarm("cellar", &early)).contains("bt"));
    }

    #[test]
    fn percent_is_humidity_or_a_ratio() {
        let humid = with(|series| {
            series.unit = "%".into();
            series.quantity = "relative humidity".into();
        });
        let full = with(|series| {
            series.unit = "%".into();
            series.quantity = "level".into();
        });
        assert!(
            text(reading("s", &humid).unwrap())
                .contains(r#""n":"relative_humidity","u":"%RH","v":55.0"#)
        );
        assert!(text(reading("s", &full).unwrap()).contains(r#""n":"level","u":"/","v":0.55"#));
    }

    #[test]
    fn names_keep_to_the_allowed_letters() {
        assert_eq!(allowed("_cellar 2:größe:"), "cellar_2:gr__e:");
        assert_eq!(allowed("a-b.c/d_e:"), "a-b.c/d_e:");
    }
}
