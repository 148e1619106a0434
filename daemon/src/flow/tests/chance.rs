//! Any sequence of events: no panic, stamps that increase, and the same again when replayed.

use super::*;
use crate::source::Discard;
use proptest::prelude::*;
use std::collections::BTreeMap;

#[derive(Clone, Debug)]
enum Step {
    Event(Event),
    Tick(Moment),
    Flush,
    Reload { every: bool, alarms: bool },
}

/// Mostly a clock that goes on; now and then one that is set to anything.
fn moment() -> impl Strategy<Value = Moment> {
    let life = (0_u64..3_600_000).prop_map(at);
    let wall = prop_oneof![any::<i64>(), Just(i64::MIN), Just(i64::MAX)];
    let boot = prop_oneof![any::<u64>(), Just(0), Just(u64::MAX)];
    let anything = (wall, boot).prop_map(|(wall_ms, boot_ns)| Moment { wall_ms, boot_ns });
    prop_oneof![6 => life, 1 => anything]
}

fn bytes() -> impl Strategy<Value = Vec<u8>> {
    let fields = ("(0|1|1022|1023|5[0-9]{2}|-0|x|nan|1e400)", 0..1500_u32)
        .prop_map(|(vat, tank)| format!("vat={vat} tank={tank}").into_bytes());
    prop_oneof![6 => fields, 1 => any::<Vec<u8>>(), 1 => Just(b"tank=7".to_vec())]
}

fn event() -> impl Strategy<Value = Event> {
    let line = (moment(), bytes()).prop_map(|(at, bytes)| Event::Line { at, bytes });
    let other = (moment(), 0..5_u8).prop_map(|(at, kind)| match kind {
        0 => Event::Opened {
            at,
            detail: String::new(),
            resets_board: true,
        },
        1 => Event::Lost {
            at,
            reason: String::new(),
        },
        2 => Event::Ended { at },
        3 => Event::Remark {
            at,
            text: String::new(),
        },
        _ => Event::Discarded {
            bytes: 1,
            why: Discard::TooLong,
        },
    });
    prop_oneof![5 => line, 1 => other]
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        10 => event().prop_map(Step::Event),
        4 => moment().prop_map(Step::Tick),
        1 => Just(Step::Flush),
        1 => any::<(bool, bool)>().prop_map(|(every, alarms)| Step::Reload { every, alarms }),
    ]
}

fn configured(every: bool, alarms: bool) -> Flow {
    let mut vat = setup("vat");
    if every {
        vat.measuring.every = Some(Duration::from_secs(10));
    }
    if alarms {
        vat.alarms = vec![
            high(540.0),
            alarm(Condition::Fault),
            alarm(Condition::Stale),
        ];
    }
    flow(vec![vat, setup("tank")])
}

fn batches(steps: &[Step]) -> Vec<Batch> {
    let mut flow = configured(false, true);
    let mut batches: Vec<Batch> = steps
        .iter()
        .map(|step| match step {
            Step::Event(event) => flow.event(BENCH, event),
            Step::Tick(now) => flow.tick(*now),
            Step::Flush => flow.flush(),
            Step::Reload { every, alarms } => {
                let new = configured(*every, *alarms);
                let old = std::mem::replace(&mut flow, new);
                flow.take_over(START, old)
            }
        })
        .collect();
    batches.push(flow.flush());
    batches
}

/// The bits of every number in these batches: `==` takes -0.0 for 0.0.
fn bits(batches: &[Batch]) -> Vec<[Option<u64>; 5]> {
    let bits = |number: Option<f64>| number.map(f64::to_bits);
    let of_reading = |reading: &crate::reading::Reading| {
        let estimate = reading.outcome.estimate();
        [
            bits(reading.raw),
            bits(reading.electrical),
            bits(reading.spread),
            bits(estimate.map(|e| e.value())),
            bits(estimate.map(|e| e.uncertainty())),
        ]
    };
    let readings = batches.iter().flat_map(|batch| &batch.readings);
    readings.map(of_reading).collect()
}

proptest! {
    #[test]
    fn any_events_give_stamps_that_increase_and_moves_that_name_their_reading(
        steps in proptest::collection::vec(step(), 1..80),
    ) {
        let mut last = BTreeMap::new();
        for batch in batches(&steps) {
            for reading in &batch.readings {
                let before = last.insert(reading.series.probe.clone(), reading.at.wall_ms);
                prop_assert!(before.is_none_or(|before| reading.at.wall_ms > before));
            }
            for alarm in batch.entries.iter().filter_map(|e| e.alarm.as_ref()) {
                prop_assert!(alarm.from != alarm.to);
                let place = usize::try_from(alarm.reading_seq).unwrap();
                prop_assert!(place <= batch.readings.len());
                if place > 0 {
                    prop_assert_eq!(&batch.readings[place - 1].series.probe, &alarm.probe);
                }
            }
        }
    }

    #[test]
    fn a_night_that_is_replayed_gives_the_same_bits(
        steps in proptest::collection::vec(step(), 1..80),
    ) {
        let (night, replayed) = (batches(&steps), batches(&steps));
        prop_assert_eq!(&night, &replayed);
        prop_assert_eq!(bits(&night), bits(&replayed));
    }
}
