//! What the journal is told, in which words, and how often.

use super::*;
use crate::source::Discard;

#[test]
fn a_board_is_followed_from_opening_to_talking_again() {
    let mut flow = flow(vec![setup("vat"), setup("tank")]);
    let opened = |ms, resets_board| Event::Opened {
        at: at(ms),
        detail: "ttyUSB0 at 115200 baud".to_owned(),
        resets_board,
    };
    let remark = Event::Remark {
        at: at(1500),
        text: "is slow".to_owned(),
    };
    let mut batch = all(
        &mut flow,
        &[opened(0, true), line(1000, "vat=512 tank=300"), remark],
    );
    batch.append(ticks(&mut flow, 2, 12));
    let events = [
        line(13_000, "vat=512 tank=300"),
        lost(14_000),
        opened(19_000, false),
        line(20_500, "vat=512 tank=300"),
        Event::Ended { at: at(21_000) },
    ];
    batch.append(all(&mut flow, &events));
    insta::assert_snapshot!(journal(&batch), @"
    board `bench`: opened ttyUSB0 at 115200 baud (opening no. 1); opening resets most boards, so its first lines are passed over
    board `bench`: is slow
    board `bench`: no usable line for 10 s; nothing came; check its power and cable
    probe `vat`: board silent; check the board's power and cable, and what it sends
    probe `tank`: board silent; check the board's power and cable, and what it sends
    board `bench`: talks again after 12 s
    board `bench`: lost: unplugged; looking for it; its 2 probes read `board silent`
    board `bench`: opened ttyUSB0 at 115200 baud (opening no. 2)
    board `bench`: talks again after 7 s
    board `bench`: its recording has come to its end
    ");
}

#[test]
fn what_a_board_says_of_itself_after_opening_is_told_with_its_first_good_line() {
    let mut flow = flow(vec![setup("vat")]);
    let events = [
        Event::Opened {
            at: at(0),
            detail: "ttyUSB0 at 9600 baud".to_owned(),
            resets_board: true,
        },
        Event::Discarded {
            bytes: 9,
            why: Discard::AfterOpening,
        },
        line(1400, "bench firmware 3"),
        line(1500, "# two channels"),
        line(1600, "vat=512"),
        line(1700, "vat=512"),
    ];
    let mut batch = all(&mut flow, &events);
    batch.append(flow.tick(at(2000)));
    insta::assert_snapshot!(journal(&batch), @r"
    board `bench`: opened ttyUSB0 at 9600 baud (opening no. 1); opening resets most boards, so its first lines are passed over
    board `bench`: first good line after 1.6 s; passed over before it: a piece of 9 bytes and 2 lines
    ");
}

#[test]
fn a_board_that_only_says_what_it_is_did_not_say_nothing() {
    let mut flow = flow(vec![setup("vat")]);
    let opened = Event::Opened {
        at: at(0),
        detail: "ttyUSB0 at 9600 baud".to_owned(),
        resets_board: false,
    };
    let mut batch = all(&mut flow, &[opened, line(1400, "bench firmware 3")]);
    batch.append(ticks(&mut flow, 2, 10));
    insta::assert_snapshot!(journal(&batch), @r"
    board `bench`: opened ttyUSB0 at 9600 baud (opening no. 1)
    board `bench`: no usable line for 10 s; what comes does not fit, such as `bench firmware 3`; check `format`, the channels' `field` and the baud rate
    probe `vat`: board silent; check the board's power and cable, and what it sends
    ");
}

#[test]
fn each_fault_is_told_with_its_counts_and_with_what_to_look_at() {
    let mut narrow = setup("vat");
    let mut parameters = vec![Vec::new(); 8];
    (parameters[6], parameters[7]) = (vec![0.1], vec![0.9]);
    let model = find("divider").unwrap().bind(parameters).unwrap();
    let here = here("bench", "a0");
    narrow.measuring.transfer = Stated::nominal(model, Tolerance::Unknown, &here);
    let mut flow = flow(vec![narrow]);
    let fields = ["1023", "0", "2000", "20", "x", "512"];
    let each_20_s = (0..).step_by(20_000).zip(fields);
    let events: Vec<Event> = each_20_s
        .map(|(ms, field)| line(ms, &format!("vat={field}")))
        .collect();
    insta::assert_snapshot!(journal(&all(&mut flow, &events)), @r"
    probe `vat`: open circuit (1023 counts); check the plug and the lead for a break
    probe `vat`: short circuit (0 counts); check for touching leads or water in the probe
    probe `vat`: saturated (2000 counts); check the wiring, and `full_scale` in the configuration
    probe `vat`: out of range (20 counts); check the probe and the driver's parameters
    probe `vat`: unreadable; look at the board's lines: this field is no number
    probe `vat`: good again after 20 s
    ");
}

#[test]
fn a_quality_that_flickers_is_told_every_ten_seconds_with_a_count() {
    let mut flow = flow(vec![setup("vat")]);
    let mut batch = Batch::default();
    for ms in (0..30_000).step_by(500) {
        let count = if ms % 1000 == 0 { 1023 } else { 512 };
        batch.append(flow.event(BENCH, &line(ms, &format!("vat={count}"))));
    }
    let when: Vec<u64> = batch
        .entries
        .iter()
        .map(|entry| (entry.at.boot_ns - START.boot_ns) / 1_000_000)
        .collect();
    assert_eq!(when, [0, 10_500, 21_000]);
    insta::assert_snapshot!(journal(&batch), @r"
    probe `vat`: open circuit (1023 counts); check the plug and the lead for a break
    probe `vat`: good again after 10 s (and 20 changes in between)
    probe `vat`: open circuit (1023 counts); check the plug and the lead for a break (and 20 changes in between)
    ");
}

#[test]
fn a_short_fault_is_told_once_it_has_stayed_away_with_its_own_length() {
    let mut flow = flow(vec![setup("vat")]);
    let mut batch = all(&mut flow, &[line(0, "vat=1023"), line(2000, "vat=512")]);
    for ms in (3000..20_000).step_by(1000) {
        batch.append(flow.event(BENCH, &line(ms, "vat=512")));
    }
    insta::assert_snapshot!(journal(&batch), @r"
    probe `vat`: open circuit (1023 counts); check the plug and the lead for a break
    probe `vat`: good again after 2 s
    ");
}

#[test]
fn a_long_fault_is_told_at_its_beginning_and_its_end() {
    let mut flow = flow(vec![setup("vat")]);
    let mut batch = Batch::default();
    for second in 0..100 {
        let count = if (10..40).contains(&second) { 0 } else { 512 };
        batch.append(flow.event(BENCH, &line(second * 1000, &format!("vat={count}"))));
    }
    insta::assert_snapshot!(journal(&batch), @r"
    probe `vat`: short circuit (0 counts); check for touching leads or water in the probe
    probe `vat`: good again after 30 s
    ");
}

#[test]
fn bad_lines_are_counted_and_told_every_ten_minutes() {
    let mut flow = flow(vec![setup("vat")]);
    let mut batch = Batch::default();
    let too_long = Event::Discarded {
        bytes: 9000,
        why: Discard::TooLong,
    };
    let half_line = Event::Discarded {
        bytes: 9,
        why: Discard::AfterOpening,
    };
    for second in 0..1500 {
        let events = [
            line(second * 1000, "vat=512"),
            line(second * 1000, "# a remark is no bad line"),
            line(second * 1000, "vat=5\u{7}12"),
            line(second * 1000, "cellar=3"),
            too_long.clone(),
            half_line.clone(),
        ];
        batch.append(all(&mut flow, &events));
        batch.append(flow.tick(at(second * 1000)));
    }
    assert_eq!(batch.readings.len(), 1500);
    insta::assert_snapshot!(journal(&batch), @r"
    board `bench`: lines passed over: 1 not in the board's `format`, 1 naming none of the board's channels, 1 too long to be a line, the first one `vat=5\x0712`; good lines are not affected
    board `bench`: lines passed over: 600 not in the board's `format`, 600 naming none of the board's channels, 600 too long to be a line, the first one `vat=5\x0712`; good lines are not affected
    board `bench`: lines passed over: 600 not in the board's `format`, 600 naming none of the board's channels, 600 too long to be a line, the first one `vat=5\x0712`; good lines are not affected
    ");
}
