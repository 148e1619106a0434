//! What the command prints, on invented chains.

use super::{Chosen, chain, table};
use crate::calibrate::history::testing::{activated, calibration, captured, chain, made, recorded};
use crate::calibrate::history::{Conversion, History};
use crate::calibrate::{Role, Step};
use jiff::tz::TimeZone;

/// When the fixture's calibrations are due.
const DUE_MS: i64 = 1_827_107_447_123;

fn shown(history: &History, now_ms: i64) -> String {
    let text = chain::text("vat", (history, None), now_ms, &TimeZone::UTC);
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    text
}

#[test]
fn a_chain_is_told_with_dates_uncertainty_and_drift() {
    insta::assert_snapshot!(shown(&History::of(&chain()), DUE_MS - 1), @r"
    vat             2 calibrations; in use: calibration 2 since 2026-12-04 01:50

    calibration 1   made 2026-11-29 01:50; in use from 2026-12-03 to 2026-12-04
      range         0.00 to 50.00 Cel (3 points)
      uncertainty   of the fit at 23.49 Cel: standard 0.050 Cel, expanded 0.10 Cel
                    (k = 2)
      fit           three points: Steinhart-Hart
      verified      2026-12-01: passed, error +0.08 Cel; the error and its expanded
                    uncertainty are within the tolerance
      due           2027-11-25

    calibration 2   made 2026-12-02 01:50; in use since 2026-12-04
      range         0.20 to 50.28 Cel (3 points)
      uncertainty   of the fit at 23.72 Cel: standard 0.050 Cel, expanded 0.10 Cel
                    (k = 2)
      fit           three points: Steinhart-Hart
      drift         against calibration 1: at most +0.28 Cel (U = 0.14 Cel, k = 2),
                    at 50.00 Cel; more than their uncertainties explain
      due           2027-11-25
    ");
}

#[test]
fn what_is_overdue_withdrawn_or_not_whole_is_said() {
    let mut other = calibration(&[1], 0.0);
    other.driver = "bolometer".to_owned();
    other.remarks = vec!["the points lie 4 Cel apart: the slope is hardly known".to_owned()];
    let steps = recorded([
        captured(Role::Fit),
        Step::Made {
            calibration: Box::new(other),
        },
        Step::Withdrawn {
            point: 1,
            why: "the ice had melted".to_owned(),
        },
        activated(Some(9)),
        captured(Role::Fit),
    ]);
    insta::assert_snapshot!(shown(&History::of(&steps), DUE_MS + 5 * 86_400_000), @r"
    vat             1 calibration; in use: the configured parameters, never anything
                    else
      at hand       1 point, in no calibration yet

    calibration 1   made 2026-11-27 01:50; never in use
      no values     it needs the driver `bolometer`, which is not linked in; name a
                    configuration whose probe has it (`--config FILE`)
      fit           three points: Steinhart-Hart
      remark        the points lie 4 Cel apart: the slope is hardly known
      remark        its point 1 was withdrawn: the ice had melted
      due           2027-11-25, passed 5 days ago; calibrate it again

    remark          step 4: activates a calibration of step 9, which is not there;
                    left out
    ");
}

#[test]
fn a_probe_that_was_never_calibrated_says_so() {
    insta::assert_snapshot!(shown(&History::default(), 0), @r"
    vat             0 calibrations; in use: the configured parameters, never
                    anything else
    ");
}

#[test]
fn going_back_shows_as_spans() {
    let steps = recorded([
        made(&[], 0.0),
        made(&[], 0.2),
        activated(Some(1)),
        activated(Some(2)),
        activated(Some(1)),
        activated(None),
    ]);
    let text = shown(&History::of(&steps), 0);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let spans = "in use from 2026-11-28 to 2026-11-29, from 2026-11-30 to 2026-12-01";
    assert!(text.contains(spans), "{text}");
    assert!(
        text.contains("in use: the configured parameters since 2026-12-01"),
        "{text}"
    );
}

fn by(number: u32, range: (f64, f64), shift: f64) -> Conversion {
    let mut calibration = calibration(&[], shift);
    calibration.range = range;
    Conversion::by(number, &calibration, None).unwrap()
}

#[test]
fn two_calibrations_stand_side_by_side_over_all_that_one_of_them_covers() {
    let one = by(1, (3_592.0, 31_770.0), 0.0);
    let other = by(2, (1_000.0, 10_000.0), 0.12);
    let text = table::compared("vat", &one, &other).unwrap();
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    insta::assert_snapshot!(text, @r"
    vat: calibration 2 less calibration 1, in Cel

             Ohm      by 1         U      by 2         U    change         U
         1000.00     85.94*     0.10     86.15      0.10     +0.21!     0.14
         1413.19     75.63*     0.10     75.82      0.10     +0.20!     0.14
         1997.12     65.77*     0.10     65.96      0.10     +0.18!     0.14
         2822.31     56.34*     0.10     56.52      0.10     +0.17!     0.14
         3988.48     47.30      0.10     47.47      0.10     +0.17!     0.14
         5636.49     38.63      0.10     38.79      0.10     +0.16!     0.14
         7965.45     30.30      0.10     30.45      0.10     +0.15!     0.14
         11256.7     22.29      0.10     22.43*     0.10     +0.14      0.14
         15907.9     14.59      0.10     14.72*     0.10     +0.13      0.14
         22481.0      7.16      0.10      7.29*     0.10     +0.13      0.14
         31770.0      0.00      0.10      0.12*     0.10     +0.12      0.14

    U               expanded uncertainty (k = 2) of the curves: points and model.
                    Both are taken as independent: made with one and the same
                    reference, the change is surer than this.
    !               more than the uncertainties explain (|change| > U)
    *               outside the points of that calibration
    ");
}

#[test]
fn what_cannot_be_compared_says_why() {
    let one = by(1, (3_592.0, 31_770.0), 0.0);
    let mut volts = by(2, (3_592.0, 31_770.0), 0.0);
    volts.electrical_unit = "V".to_owned();
    let refused = table::compared("vat", &one, &volts).unwrap_err();
    insta::assert_snapshot!(refused, @"probe `vat`: calibration 1 is from Ohm to Cel, calibration 2 from V to Cel; there is nothing to compare");
}

#[test]
fn a_calibration_is_named_by_its_number_or_as_configured() {
    assert_eq!(Chosen::parse("3"), Ok(Chosen::Number(3)));
    assert_eq!(Chosen::parse("configured"), Ok(Chosen::Configured));
    assert_eq!(Chosen::parse("0"), Ok(Chosen::Configured));
    insta::assert_snapshot!(Chosen::parse("newest").unwrap_err(), @"`newest` is no calibration; write its number, or `configured`");
    let history = History::of(&chain());
    let asked = |chosen: Chosen| chosen.conversion("vat", &history, None).map(|_| ());
    insta::assert_snapshot!(asked(Chosen::Number(3)).unwrap_err(), @"no calibration 3 of probe `vat` that can be read; there is 1, 2");
    insta::assert_snapshot!(asked(Chosen::Configured).unwrap_err(), @"`configured` means the configuration's parameters; give `--config FILE` instead of `--log`");
    assert_eq!(asked(Chosen::Number(2)), Ok(()));
}
