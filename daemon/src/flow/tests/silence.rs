//! Missing is told: a silent board, a lost one, a field that is left out.

use super::*;

/// The faults among the readings.
fn faults(batch: &Batch) -> Vec<String> {
    let fault = |text: &String| text.ends_with("board silent") || text.ends_with("stale");
    readings(batch).into_iter().filter(fault).collect()
}

#[test]
fn a_silent_board_is_logged_after_its_time_and_then_again_and_again() {
    let mut flow = flow(vec![setup("vat"), setup("tank")]);
    let mut batch = all(&mut flow, &[line(2000, "vat=512 tank=300")]);
    batch.append(ticks(&mut flow, 3, 35));
    let expected = [
        "12 vat: board silent",
        "12 tank: board silent",
        "22 vat: board silent",
        "22 tank: board silent",
        "32 vat: board silent",
        "32 tank: board silent",
    ];
    assert_eq!(faults(&batch), expected);
}

#[test]
fn a_board_that_never_spoke_is_silent_after_its_time() {
    let mut flow = flow(vec![setup("vat")]);
    assert_eq!(faults(&ticks(&mut flow, 0, 12)), ["10 vat: board silent"]);
}

#[test]
fn a_lost_board_is_silent_at_once() {
    let mut flow = flow(vec![setup("vat")]);
    let mut batch = all(&mut flow, &[line(1000, "vat=512"), lost(3500)]);
    assert_eq!(faults(&batch), ["3.5 vat: board silent"]);
    batch.append(ticks(&mut flow, 4, 15));
    assert_eq!(
        faults(&batch),
        ["3.5 vat: board silent", "14 vat: board silent"]
    );
    let again = all(&mut flow, &[lost(16_000)]);
    assert!(again.readings.is_empty(), "it is silent already");
}

#[test]
fn garbage_does_not_count_as_talking() {
    let mut flow = flow(vec![setup("vat")]);
    let mut batch = all(&mut flow, &[line(1000, "vat=512")]);
    for second in 2..=11 {
        batch.append(flow.event(BENCH, &line(second * 1000, "\u{1}%&")));
        batch.append(flow.tick(at(second * 1000)));
    }
    assert_eq!(faults(&batch), ["11 vat: board silent"]);
}

#[test]
fn a_field_that_is_left_out_goes_stale_and_the_others_do_not() {
    let mut flow = flow(vec![setup("vat"), setup("tank")]);
    let mut batch = all(&mut flow, &[line(0, "vat=512 tank=300")]);
    for second in 1..=25 {
        batch.append(flow.event(BENCH, &line(second * 1000, "tank=300")));
        batch.append(flow.tick(at(second * 1000)));
    }
    assert_eq!(faults(&batch), ["10 vat: stale", "20 vat: stale"]);
    assert_eq!(batch.readings.len(), 2 + 25 + 2);
}

#[test]
fn a_stale_alarm_is_raised_by_silence_alone_and_its_delay_passes_in_silence() {
    let mut vat = setup("vat");
    let (mut rule, state) = alarm(Condition::Stale);
    rule.on_delay_ms = 15_000;
    vat.alarms = vec![(rule, state)];
    let mut flow = flow(vec![vat]);
    let batch = ticks(&mut flow, 1, 40);
    let raised = batch.entries.iter().find_map(|e| e.alarm.as_ref()).unwrap();
    let seconds = (raised.at.boot_ns - START.boot_ns) / 1_000_000_000;
    // Silent from 10 s on, 15 s late at the soonest, seen with the reading of 30 s.
    assert_eq!((raised.to, seconds), (State::Active, 30));
}

#[test]
fn a_mean_under_way_ends_where_silence_begins() {
    let mut vat = setup("vat");
    vat.measuring.every = Some(Duration::from_secs(60));
    let mut flow = flow(vec![vat]);
    let mut batch = all(&mut flow, &[line(1000, "vat=500"), line(2000, "vat=510")]);
    batch.append(flow.event(BENCH, &lost(3000)));
    assert_eq!(readings(&batch), ["2 vat: 505", "3 vat: board silent"]);
}
