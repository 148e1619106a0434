//! What is given up, what is not, and how soon.

use super::*;
use proptest::prelude::*;

const WINDOW: usize = 4;
const BAD: Key = Key::Reading(10);

fn dies_on(stumbles: &mut Stumbles, key: Key, topic: &str, alone: bool) -> Fate {
    stumbles.died(Death {
        parcel: key,
        key,
        topic,
        alone,
        window: WINDOW,
    })
}

fn dies(stumbles: &mut Stumbles, seq: u64, alone: bool) -> Fate {
    dies_on(stumbles, Key::Reading(seq), "t", alone)
}

fn after_three_on(seq: u64) -> Stumbles {
    let mut stumbles = Stumbles::default();
    for _ in 0..3 {
        assert!(!stumbles.alone(Key::Reading(seq), "t"));
        assert_eq!(dies(&mut stumbles, seq, false), Fate::Again);
    }
    stumbles
}

#[test]
fn the_same_message_three_times_is_sent_alone_and_then_given_up() {
    let mut stumbles = after_three_on(10);
    assert!(stumbles.alone(BAD, "t") && !stumbles.is_given_up(BAD));
    assert_eq!(dies(&mut stumbles, 10, true), Fate::GivenUp);
    assert!(stumbles.is_given_up(BAD));
    assert!(!stumbles.alone(Key::Reading(11), "elsewhere"));
}

#[test]
fn deaths_on_different_messages_are_no_messages_fault() {
    let mut stumbles = Stumbles::default();
    for seq in [10, 10, 11, 11, 10, 10, 12] {
        assert_eq!(dies(&mut stumbles, seq, true), Fate::Again);
    }
    assert!(!stumbles.alone(BAD, "t"));
}

#[test]
fn a_message_that_is_taken_in_the_end_is_forgotten() {
    let mut stumbles = after_three_on(10);
    stumbles.taken(BAD, "t");
    stumbles.delivered(BAD);
    for seq in 11..14 {
        stumbles.taken(Key::Reading(seq), "t");
    }
    assert_eq!(dies(&mut stumbles, 10, true), Fate::Again);
    assert!(!stumbles.alone(BAD, "t"));
}

#[test]
fn what_comes_before_the_suspect_goes_together() {
    let stumbles = after_three_on(10);
    assert!(!stumbles.alone(Key::Reading(9), "t"));
    assert!(stumbles.alone(Key::Reading(11), "t"));
}

#[test]
fn a_window_later_all_go_together_again() {
    let mut stumbles = after_three_on(10);
    for seq in 10..14 {
        assert!(stumbles.alone(Key::Reading(seq), "t"));
        stumbles.taken(Key::Reading(seq), "t");
    }
    assert!(!stumbles.alone(Key::Reading(14), "t"));
}

#[test]
fn the_next_message_to_a_topic_that_was_given_up_needs_one_death_only() {
    let mut stumbles = after_three_on(10);
    dies(&mut stumbles, 10, true);
    stumbles.taken(Key::Reading(11), "other");
    assert!(stumbles.alone(Key::Reading(12), "t"));
    assert!(!stumbles.alone(Key::Reading(12), "other"));
    assert_eq!(dies(&mut stumbles, 12, true), Fate::GivenUp);
    stumbles.taken(Key::Reading(13), "t");
    assert!(!stumbles.alone(Key::Reading(14), "t"));
}

#[test]
fn readings_given_up_one_after_the_other_are_for_a_person() {
    let mut stumbles = after_three_on(10);
    dies(&mut stumbles, 10, true);
    assert_eq!(dies(&mut stumbles, 11, true), Fate::ForAPerson);
    assert!(!stumbles.is_given_up(Key::Reading(11)));
    assert_eq!(dies(&mut stumbles, 11, true), Fate::ForAPerson);
    stumbles.taken(Key::Reading(12), "other");
    assert_eq!(dies(&mut stumbles, 11, true), Fate::GivenUp);
}

#[test]
fn an_alarm_never_holds_up_what_comes_after_it() {
    let mut stumbles = Stumbles::default();
    for seq in 1..5 {
        let (key, topic) = (Key::Move(seq), format!("t{seq}"));
        let fates = [(); 4].map(|()| dies_on(&mut stumbles, key, &topic, true));
        assert_eq!(fates[3], Fate::GivenUp);
    }
}

#[test]
fn what_is_remembered_is_bounded() {
    let mut stumbles = Stumbles::default();
    for seq in 0..2000 {
        stumbles.topics.insert("t".to_owned());
        dies_on(&mut stumbles, Key::Move(seq), "t", true);
    }
    assert_eq!(stumbles.given_up.len(), REMEMBERED);
    assert!(stumbles.is_given_up(Key::Move(1999)));
}

/// One connection on which a parcel is sent up to the message that the broker dies on; of the
/// messages right before it, up to `lost` lose their acknowledgement, unless they went alone.
fn connection(stumbles: &mut Stumbles, culprit: u64, window: usize, lost: u64) -> Fate {
    let alone = |stumbles: &Stumbles, seq| stumbles.alone(Key::Reading(seq), "t");
    let mut first = culprit;
    if !alone(stumbles, culprit) {
        while first > 0 && culprit - first < lost && !alone(stumbles, first - 1) {
            first -= 1;
        }
    }
    let alone = alone(stumbles, culprit) || window == 1;
    for seq in 0..first {
        stumbles.taken(Key::Reading(seq), "t");
    }
    stumbles.died(Death {
        parcel: Key::Reading(0),
        key: Key::Reading(first),
        topic: "t",
        alone,
        window,
    })
}

proptest! {
    #[test]
    fn the_culprit_is_found_in_five_connections_wherever_it_stands_and_nobody_else(
        culprit in 0_u64..400,
        window in 1_usize..100,
        lost in prop::collection::vec(0_u64..100, 5),
    ) {
        let mut stumbles = Stumbles::default();
        let fates: Vec<Fate> = lost
            .iter()
            .map(|lost| connection(&mut stumbles, culprit, window, (*lost).min(window as u64 - 1)))
            .take_while(|fate| *fate == Fate::Again)
            .collect();
        prop_assert!((3..5).contains(&fates.len()), "{fates:?}");
        let given_up: Vec<Key> = stumbles.given_up.into_iter().collect();
        prop_assert_eq!(given_up, [Key::Reading(culprit)]);
    }
}
