//! A person goes through the guide.

#![allow(clippy::unwrap_used)]

use super::testing::{fault, point, reading, session, session_with, tick};
use super::*;
use crate::calibrate::Role;
use proptest::prelude::*;

type Pretending = Session<testing::Pretended>;

fn press(session: &mut Pretending, keys: &[Key]) -> Vec<Step> {
    keys.iter()
        .flat_map(|key| session.handle(Event::Key(*key)))
        .collect()
}

fn type_in(session: &mut Pretending, text: &str) {
    for letter in text.chars() {
        assert_eq!(press(session, &[Key::Letter(letter)]), []);
    }
}

/// Readings of a temperature, twice a second, until steps come or the time is over.
fn read(session: &mut Pretending, from: f64, seconds: f64, celsius: f64) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut at = from;
    while at < from + seconds && steps.is_empty() {
        // Neighbours do not know of each other: 2.4 rad is the golden section of a turn.
        steps = session.handle(reading(at, celsius + 0.005 * (at * 4.8).sin()));
        at += 0.5;
    }
    steps
}

/// From the overview to the screen that watches the ice point.
fn to_ice(session: &mut Pretending) {
    assert_eq!(press(session, &[Key::Enter, Key::Enter, Key::Enter]), []);
    assert!(matches!(session.screen(), Screen::Live(_)));
}

#[test]
fn a_point_is_captured_by_itself_and_is_a_step_at_once() {
    let mut session = session();
    to_ice(&mut session);
    let steps = read(&mut session, 0.0, 200.0, 0.1);
    let [Step::Point { point }] = steps.as_slice() else {
        panic!("{steps:?}");
    };
    assert!((point.captured.mean - 999.0).abs() < 0.1);
    assert!(point.captured.evidence.starts_with("settled: no trend in "));
    assert_eq!(session.handle(Event::Kept(7)), []);
    assert_eq!(session.points()[0].number, 7);
    let Screen::Taken(taken) = session.screen() else {
        panic!("{:?}", session.screen());
    };
    assert_eq!(taken.number, Some(7));
    assert_eq!(press(&mut session, &[Key::Enter]), []);
    assert!(matches!(session.screen(), Screen::Overview { .. }));
}

#[test]
fn a_point_that_cannot_be_true_is_questioned_before_it_is_taken() {
    let mut session = session();
    to_ice(&mut session);
    assert_eq!(read(&mut session, 0.0, 200.0, 4.0), []);
    let Screen::Doubtful(doubtful) = session.screen() else {
        panic!("{:?}", session.screen());
    };
    assert!(doubtful.doubt.causes[0].contains("4 Cel"));
    // Again is the usual answer; taking it needs a key of its own.
    let mut again = session.clone();
    assert_eq!(press(&mut again, &[Key::Enter]), []);
    assert!(matches!(again.screen(), Screen::Live(_)));
    assert!(matches!(
        press(&mut session, &[Key::Letter('t')])[..],
        [Step::Point { .. }]
    ));
    assert!(matches!(session.screen(), Screen::Taken(_)));
}

#[test]
fn a_point_that_the_log_does_not_take_is_not_lost() {
    let mut session = session();
    to_ice(&mut session);
    let step = read(&mut session, 0.0, 200.0, 0.0);
    assert_eq!(press(&mut session, &[Key::Letter('q'), Key::Enter]), []);
    assert_eq!(session.handle(Event::NotKept("disk full".to_owned())), []);
    assert!(session.trouble().unwrap().contains("disk full"));
    assert_eq!(press(&mut session, &[Key::Enter]), step);
    assert_eq!(session.handle(Event::Kept(3)), []);
    assert_eq!((session.trouble(), session.points().len()), (None, 1));
}

#[test]
fn a_session_goes_on_from_the_steps_in_the_log() {
    let steps = [
        point(0.0, Role::Fit),
        point(4.0, Role::Fit),
        Step::Withdrawn {
            point: 2,
            why: String::new(),
        },
        point(40.0, Role::Check),
    ];
    let session = session_with(steps);
    let numbers: Vec<u64> = session.points().iter().map(|taken| taken.number).collect();
    assert_eq!((numbers, session.to_fit()), (vec![1, 4], 1));
}

#[test]
fn a_point_is_dropped_or_made_again() {
    let mut session = session_with([point(0.0, Role::Fit), point(40.0, Role::Fit)]);
    let steps = press(&mut session, &[Key::Down, Key::Letter('d')]);
    assert!(matches!(steps[..], [Step::Withdrawn { point: 2, .. }]));
    assert_eq!(session.handle(Event::Kept(3)), []);
    assert_eq!(session.points().len(), 1);
    assert_eq!(
        press(&mut session, &[Key::Enter, Key::Up, Key::Enter, Key::Enter]),
        []
    );
    assert_eq!(read(&mut session, 0.0, 200.0, 0.0).len(), 1);
    assert_eq!(session.handle(Event::Kept(4)), []);
    let steps = press(&mut session, &[Key::Letter('a')]);
    assert!(matches!(steps[..], [Step::Withdrawn { point: 4, .. }]));
    assert!(matches!(session.screen(), Screen::Live(_)));
}

#[test]
fn details_are_asked_until_they_are_right() {
    let mut session = session_with([point(0.0, Role::Fit)]);
    press(&mut session, &[Key::Letter('n'), Key::Enter]);
    type_in(&mut session, "warmq");
    press(&mut session, &[Key::Enter]);
    type_in(&mut session, "0.1 Cel");
    press(&mut session, &[Key::Enter]);
    let Screen::Details(form) = session.screen() else {
        panic!("{:?}", session.screen());
    };
    assert_eq!((form.at, form.answers[0].as_str()), (0, "warmq"));
    assert!(
        form.complaint
            .as_ref()
            .unwrap()
            .text
            .contains("no temperature")
    );
    press(&mut session, &[Key::Erase; 5]);
    type_in(&mut session, "40 Cel");
    press(&mut session, &[Key::Down, Key::Enter, Key::Letter('k')]);
    let Screen::HowTo(prepared) = session.screen() else {
        panic!("{:?}", session.screen());
    };
    assert_eq!(
        (prepared.compared.value, prepared.role),
        (40.0, Role::Check)
    );
}

#[test]
fn a_fit_is_looked_at_kept_verified_and_used() {
    let steps = [
        point(0.0, Role::Fit),
        point(40.0, Role::Fit),
        point(20.0, Role::Check),
    ];
    let mut session = session_with(steps);
    assert_eq!(press(&mut session, &[Key::Letter('f')]), []);
    let Screen::Fit(fitting) = session.screen() else {
        panic!("{:?}", session.screen());
    };
    assert_eq!((fitting.points.len(), fitting.verifications.len()), (2, 1));
    assert!(matches!(
        press(&mut session, &[Key::Enter])[..],
        [Step::Made { .. }]
    ));
    let verified = session.handle(Event::Kept(4));
    assert!(matches!(
        verified[..],
        [Step::Verified { calibration: 4, .. }]
    ));
    assert_eq!(session.handle(Event::Kept(5)), []);
    assert!(session.points().is_empty());
    let used = press(&mut session, &[Key::Enter]);
    assert!(matches!(
        used[..],
        [Step::Activated {
            calibration: Some(4),
            ..
        }]
    ));
    assert_eq!(session.handle(Event::Kept(6)), []);
    assert_eq!(session.history().active_number(), Some(1));
    press(&mut session, &[Key::Letter('q')]);
    assert!(session.is_over());
}

#[test]
fn a_fault_interrupts_and_silence_is_told() {
    let mut session = session();
    to_ice(&mut session);
    assert_eq!(read(&mut session, 0.0, 60.0, 0.0), []);
    let note = |session: &Pretending| match session.screen() {
        Screen::Live(live) => live.note(),
        other => panic!("{other:?}"),
    };
    let capturing = |session: &Pretending| match session.screen() {
        Screen::Live(live) => live.captured().is_some(),
        _ => false,
    };
    assert!(capturing(&session));
    assert_eq!(session.handle(fault(60.5)), []);
    assert!(!capturing(&session));
    assert_eq!(
        note(&session).unwrap(),
        "no point: open circuit; check the plug and the lead for a break"
    );
    assert_eq!(session.handle(reading(61.0, 0.0)), []);
    assert_eq!(note(&session), None);
    assert_eq!(session.handle(tick(80.0)), []);
    assert!(note(&session).unwrap().starts_with("no reading for 19 s"));
}

#[test]
fn what_an_instrument_shows_is_read_off_when_the_probe_is_captured() {
    let mut session = session_with([point(0.0, Role::Fit)]);
    press(&mut session, &[Key::Enter, Key::Enter]);
    type_in(&mut session, "40 Cel");
    press(&mut session, &[Key::Enter, Key::Enter, Key::Enter]);
    assert_eq!(read(&mut session, 0.0, 200.0, 39.0), []);
    let Screen::ReadOff(read_off) = session.screen() else {
        panic!("{:?}", session.screen());
    };
    assert_eq!(
        (read_off.form.at, read_off.form.answers[0].as_str()),
        (0, "40 Cel")
    );
    press(&mut session, &[Key::Erase; 6]);
    type_in(&mut session, "quick");
    assert_eq!(press(&mut session, &[Key::Enter]), []);
    press(&mut session, &[Key::Erase; 5]);
    type_in(&mut session, "39 Cel");
    let steps = press(&mut session, &[Key::Enter]);
    let [Step::Point { point }] = steps.as_slice() else {
        panic!("{steps:?}");
    };
    assert_eq!(point.compared.value, 39.0);
}

#[test]
fn a_service_that_goes_away_cuts_the_capture_off_and_is_told_until_it_is_back() {
    let mut session = session();
    to_ice(&mut session);
    assert_eq!(read(&mut session, 0.0, 60.0, 0.0), []);
    assert_eq!(
        session.handle(Event::Deaf("no service runs".to_owned())),
        []
    );
    assert_eq!(session.trouble(), Some("no service runs"));
    let Screen::Live(live) = session.screen() else {
        panic!("{:?}", session.screen());
    };
    assert!(live.captured().is_none() && live.heard().is_none());
    assert!(live.note().unwrap().contains("cut off"));
    assert_eq!(session.handle(reading(90.0, 0.0)), []);
    assert_eq!(session.trouble(), None);
}

#[test]
fn a_point_that_was_kept_out_later_verifies_what_is_in_use() {
    let mut session = session_with([point(0.0, Role::Fit), point(40.0, Role::Fit)]);
    press(&mut session, &[Key::Letter('f'), Key::Enter]);
    let _ = session.handle(Event::Kept(3));
    press(&mut session, &[Key::Enter]);
    let _ = session.handle(Event::Kept(4));
    assert!(session.to_verify().is_none());
    let Step::Point { point } = point(20.0, Role::Check) else {
        panic!("a point");
    };
    let recorded = Recorded {
        number: 5,
        probe: "mash".to_owned(),
        time_ms: 0,
        step: Step::Point { point },
    };
    let mut history = session.history().clone();
    history.take(&recorded);
    let mut session = Session::new(session.knowledge().clone(), history);
    assert!(matches!(
        press(&mut session, &[Key::Enter])[..],
        [Step::Verified { calibration: 3, .. }]
    ));
    assert_eq!(session.handle(Event::Kept(6)), []);
    assert!(session.points().is_empty());
}

#[test]
fn a_capture_can_be_begun_by_hand_and_says_so() {
    let mut session = session();
    to_ice(&mut session);
    assert_eq!(read(&mut session, 0.0, 5.0, 0.0), []);
    assert_eq!(press(&mut session, &[Key::Letter('c')]), []);
    let steps = read(&mut session, 5.0, 32.0, 0.0);
    let [Step::Point { point }] = steps.as_slice() else {
        panic!("{steps:?}");
    };
    assert!(point.captured.evidence.starts_with("begun by hand"));
}

fn any_event() -> impl Strategy<Value = Event> {
    let key = prop_oneof![
        Just(Key::Enter),
        Just(Key::Back),
        Just(Key::Up),
        Just(Key::Down),
        Just(Key::Erase),
        proptest::char::any().prop_map(Key::Letter),
        "[acdfknrtu]".prop_map(|text| Key::Letter(text.chars().next().unwrap_or('n'))),
    ];
    prop_oneof![
        4 => key.prop_map(Event::Key),
        4 => (0.0..1e4_f64, -5.0..5.0_f64).prop_map(|(at, value)| reading(at, value)),
        1 => (0.0..1e4_f64).prop_map(fault),
        1 => (-1e12..1e12_f64).prop_map(tick),
        2 => (0..20_u64).prop_map(Event::Kept),
        1 => Just(Event::NotKept("no room".to_owned())),
        1 => Just(Event::Deaf("the service has gone".to_owned())),
        1 => Just(Event::Told("in use from the next start on".to_owned())),
    ]
}

proptest! {
    #[test]
    fn any_events_in_any_order_are_survived(
        events in proptest::collection::vec(any_event(), 0..120),
    ) {
        let mut session = session_with([point(0.0, Role::Fit), point(40.0, Role::Fit)]);
        for event in events {
            let _ = session.handle(event);
        }
    }
}
