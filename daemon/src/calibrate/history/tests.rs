//! Histories of invented probes, and of any sequence of steps at all.

use super::testing::{activated, calibration, captured, chain, made, recorded, verification};
use super::*;
use crate::calibrate::Step;
use proptest::prelude::*;

const DAY_MS: i64 = 86_400_000;
/// When [`recorded`] puts the step of number 0.
const BEGIN_MS: i64 = 1_795_571_447_123;

fn withdrawn(point: u64) -> Step {
    Step::Withdrawn {
        point,
        why: "the ice had melted".to_owned(),
    }
}

fn verified(calibration: u64, point: u64) -> Step {
    Step::Verified {
        calibration,
        verification: verification(point),
    }
}

fn unreadable(made: bool) -> Step {
    Step::Unreadable {
        made,
        why: "expected value".to_owned(),
    }
}

fn numbers<'a>(points: impl Iterator<Item = &'a Taken>) -> Vec<u64> {
    points.map(|taken| taken.number).collect()
}

#[test]
fn a_chain_knows_its_calibrations_and_which_was_in_use_when() {
    let history = History::of(&chain());
    let made: Vec<_> = history.calibrations().iter().collect();
    assert_eq!(
        made.iter().map(|m| (m.number, m.step)).collect::<Vec<_>>(),
        [(1, 4), (2, 7)]
    );
    assert_eq!(made[0].verifications.len(), 1);
    assert_eq!(history.active_number(), Some(2));
    assert_eq!(history.active(), history.calibration(2));
    let in_use = [7, 8, 9].map(|day| history.active_at(BEGIN_MS + day * DAY_MS));
    assert_eq!(in_use, [None, Some(1), Some(2)]);
    assert_eq!(history.before(2), history.calibration(1));
    assert_eq!(history.before(1), None);
    assert_eq!(history.next_number(), 3);
    assert_eq!(history.remarks(), []);
}

#[test]
fn the_draft_is_what_is_neither_withdrawn_nor_used() {
    let steps = recorded([
        captured(Role::Fit),
        captured(Role::Fit),
        captured(Role::Check),
        made(&[1], 0.0),
        withdrawn(2),
        captured(Role::Fit),
    ]);
    let history = History::of(&steps);
    assert_eq!(numbers(history.draft()), [3, 6]);
    assert_eq!(numbers(history.points()), [1, 2, 3, 6]);
    let gone = history.point(2).unwrap();
    assert_eq!(gone.withdrawn.as_deref(), Some("the ice had melted"));
    let after = History::of(steps.iter().chain(&recorded_from(7, [verified(4, 3)])));
    assert_eq!(numbers(after.draft()), [6]);
}

fn recorded_from(first: u64, steps: impl IntoIterator<Item = Step>) -> Vec<Recorded> {
    let mut steps = recorded(steps);
    for step in &mut steps {
        step.number += first - 1;
    }
    steps
}

#[test]
fn a_resistor_in_the_probes_place_is_no_point_of_the_probe() {
    let mut point = testing::point(Role::Fit, 2);
    point.compared.reference = Reference::Resistor {
        what: "10 kOhm, 0.1 %".to_owned(),
    };
    let point = Box::new(point);
    let history = History::of(&recorded([Step::Point { point }]));
    assert_eq!(numbers(history.draft()), [0_u64; 0]);
    assert_eq!(numbers(history.resistors()), [1]);
}

#[test]
fn going_back_is_another_activation() {
    let mut steps = chain();
    steps.extend(recorded_from(10, [activated(Some(4)), activated(None)]));
    let history = History::of(&steps);
    let numbers: Vec<_> = history.activations().iter().map(|a| a.number).collect();
    assert_eq!(numbers, [Some(1), Some(2), Some(1), None]);
    assert_eq!(history.active_number(), None);
}

#[test]
fn what_contradicts_is_left_out_and_reported() {
    let history = History::of(&recorded([
        withdrawn(9),
        activated(Some(9)),
        verified(9, 9),
        captured(Role::Fit),
        withdrawn(4),
        withdrawn(4),
        made(&[4, 12], 0.0),
        verified(7, 13),
    ]));
    let texts: Vec<_> = history
        .remarks()
        .iter()
        .map(|remark| format!("{}: {}", remark.step, remark.text))
        .collect();
    insta::assert_snapshot!(texts.join("\n"), @"
    1: withdraws point 9, which this probe does not have; left out
    2: activates a calibration of step 9, which is not there; left out
    3: verifies a calibration of step 9, which is not there; left out
    6: withdraws point 4, which was withdrawn before; left out
    7: calibration 1 names points that this probe does not have (12); it stands all the same
    8: verifies with point 13, which is not there; its outcome stands
    ");
    assert_eq!(history.activations(), []);
    assert_eq!(history.calibration(1).unwrap().verifications.len(), 1);
}

#[test]
fn a_calibration_that_cannot_be_read_keeps_its_number() {
    let history = History::of(&recorded([
        made(&[], 0.0),
        unreadable(true),
        unreadable(false),
        made(&[], 0.2),
        activated(Some(2)),
    ]));
    let numbers: Vec<_> = history.calibrations().iter().map(|m| m.number).collect();
    assert_eq!(numbers, [1, 3]);
    assert_eq!(history.active_number(), Some(2), "not the parameters");
    assert_eq!(history.active(), None);
    assert_eq!(history.remarks().len(), 2);
    assert!(
        history.remarks()[0]
            .text
            .starts_with("calibration 2 cannot be read")
    );
}

#[test]
fn a_calibration_is_due_from_its_date_on() {
    let history = History::of(&chain());
    let due = calibration(&[], 0.0).due_ms.unwrap();
    assert_eq!(history.due(due - 1), Due::At(due));
    assert_eq!(history.due(due), Due::Passed(due));
    assert_eq!(History::default().due(due), Due::Never);
}

#[test]
fn each_probe_of_a_mixture_has_its_own_history() {
    let mut steps = chain();
    let mut other = recorded_from(10, [activated(None)]);
    other[0].probe = "tank".to_owned();
    steps.extend(other);
    let histories = History::by_probe(&steps);
    assert_eq!(histories["vat"], History::of(&chain()));
    assert_eq!(histories["tank"].activations().len(), 1);
}

#[test]
fn a_step_reads_back_from_its_export() {
    for step in chain() {
        let text = serde_json::to_string(&step).unwrap();
        assert_eq!(serde_json::from_str::<Recorded>(&text).unwrap(), step);
    }
}

#[test]
fn a_damaged_or_later_step_is_told_apart_from_one_that_made_a_calibration() {
    let read = |text: &str| match Recorded::read(text.as_bytes()) {
        Step::Unreadable { made, .. } => made,
        other => panic!("read as {other:?}"),
    };
    let whole = serde_json::to_string(&made(&[1], 0.0)).unwrap();
    assert!(read(&whole[..whole.len() / 2]), "cut off");
    assert!(read(
        &whole.replace("\"offset\":0.0", "\"offset\":\"none\"")
    ));
    assert!(!read(r#"{"step":"blessed","by":"nobody"}"#));
    assert!(!read("\u{0}"));
    assert!(!read(r#"{"step":"unreadable","made":true,"why":""}"#));
}

fn any_step() -> impl Strategy<Value = Step> {
    let number = 0..12_u64;
    prop_oneof![
        any::<bool>().prop_map(|fit| captured(if fit { Role::Fit } else { Role::Check })),
        number.clone().prop_map(withdrawn),
        prop::collection::vec(number.clone(), 0..4).prop_map(|points| made(&points, 0.1)),
        (number.clone(), number.clone()).prop_map(|(step, point)| verified(step, point)),
        prop::option::of(number).prop_map(activated),
        any::<bool>().prop_map(unreadable),
    ]
}

/// Steps with any numbers and times: as no log gives them.
fn any_steps() -> impl Strategy<Value = Vec<Recorded>> {
    let one = (any_step(), 0..12_u64, any::<i64>());
    let one = one.prop_map(|(step, number, time_ms)| Recorded {
        number,
        probe: "vat".to_owned(),
        time_ms,
        step,
    });
    prop::collection::vec(one, 0..24)
}

#[test]
fn a_point_that_a_calibration_left_out_is_not_at_hand_any_more() {
    let mut resistor = testing::captured(Role::Fit);
    if let Step::Point { point } = &mut resistor {
        point.compared.reference = Reference::Resistor {
            what: "10 kOhm".to_owned(),
        };
    }
    let steps = recorded([
        captured(Role::Fit),
        captured(Role::Fit),
        captured(Role::Check),
        resistor,
        made(&[1], 0.0),
        captured(Role::Fit),
    ]);
    let history = History::of(&steps);
    let numbers = |taken: &Taken| taken.number;
    // The one left out is gone; what may still verify, and what came later, is there.
    assert_eq!(history.draft().map(numbers).collect::<Vec<_>>(), [3, 6]);
    assert_eq!(history.resistors().map(numbers).collect::<Vec<_>>(), [4]);
    assert!(history.point(2).unwrap().passed_over);
}

proptest! {
    #[test]
    fn what_is_appended_changes_nothing_before_it_but_how_it_stands(
        steps in any_steps(), cut in any::<prop::sample::Index>(),
    ) {
        let whole = History::of(&steps);
        let part = History::of(&steps[..cut.index(steps.len() + 1)]);
        for taken in part.points() {
            let later = whole.point(taken.number).unwrap();
            prop_assert_eq!((&taken.point, taken.time_ms), (&later.point, later.time_ms));
            prop_assert!(taken.withdrawn.is_none() || taken.withdrawn == later.withdrawn);
            prop_assert!(!taken.used || later.used);
        }
        for (made, later) in part.calibrations().iter().zip(whole.calibrations()) {
            prop_assert_eq!((made.number, made.step), (later.number, later.step));
            prop_assert_eq!(&made.calibration, &later.calibration);
            prop_assert!(later.verifications.starts_with(&made.verifications));
        }
        prop_assert!(whole.calibrations().len() >= part.calibrations().len());
        prop_assert!(whole.activations().starts_with(part.activations()));
        prop_assert!(whole.remarks().starts_with(part.remarks()));
    }

    #[test]
    fn numbers_count_up_and_name_one_calibration_each(steps in any_steps()) {
        let history = History::of(&steps);
        let numbers: Vec<u32> = history.calibrations().iter().map(|m| m.number).collect();
        prop_assert!(numbers.windows(2).all(|pair| pair[0] < pair[1]));
        for made in history.calibrations() {
            prop_assert!(made.number < history.next_number());
            prop_assert_eq!(history.calibration_of_step(made.step), Some(made));
        }
        for at in history.activations().iter().filter_map(|a| a.number) {
            prop_assert!(at < history.next_number());
        }
    }
}
