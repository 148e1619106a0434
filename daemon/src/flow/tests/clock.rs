//! Whatever the wall clock does, stamps increase and a step is told once.

use super::*;

fn stamps(batch: &Batch) -> Vec<i64> {
    let since_start = |r: &crate::reading::Reading| r.at.wall_ms - START.wall_ms;
    batch.readings.iter().map(since_start).collect()
}

#[test]
fn two_lines_in_one_millisecond_get_increasing_stamps() {
    let mut flow = flow(vec![setup("vat")]);
    let batch = all(
        &mut flow,
        &[line(5, "vat=1"), line(5, "vat=2"), line(6, "vat=3")],
    );
    assert_eq!(stamps(&batch), [5, 6, 7]);
}

#[test]
fn a_restart_goes_on_behind_the_last_logged_stamp() {
    let mut vat = setup("vat");
    vat.last_ms = Some(START.wall_ms + 60_000);
    let mut flow = flow(vec![vat]);
    let batch = all(&mut flow, &[line(0, "vat=512"), line(1000, "vat=512")]);
    assert_eq!(stamps(&batch), [60_001, 60_501]);
}

#[test]
fn a_step_is_told_once_however_many_lines_and_ticks_come_after_it() {
    let set = |moment: Moment, by_ms: i64| Moment {
        wall_ms: moment.wall_ms + by_ms,
        ..moment
    };
    let mut flow = flow(vec![setup("vat")]);
    let mut batch = all(&mut flow, &[line(0, "vat=512")]);
    batch.append(flow.tick(at(0)));
    for second in 1..5 {
        batch.append(flow.tick(set(at(second * 1000), 3_600_000)));
        let late = set(at(second * 1000 + 1), 3_600_000);
        batch.append(flow.event(BENCH, &line_at(late, "vat=512")));
    }
    batch.append(flow.tick(set(at(6000), -2500)));
    insta::assert_snapshot!(journal(&batch), @r"
    the host's clock was set forward by 3600.0 s; readings keep their order, and their stamps go on increasing
    the host's clock was set back by 3602.5 s; readings keep their order, and their stamps go on increasing
    ");
    assert!(stamps(&batch).is_sorted_by(|a, b| a < b));
}

#[test]
fn a_line_that_is_dated_by_its_boards_own_clock_is_no_step() {
    let mut flow = flow(vec![setup("vat")]);
    let mut batch = Batch::default();
    for second in 0..5 {
        let mut of_board = at(second * 1000 + 500);
        of_board.wall_ms -= 7_200_000;
        batch.append(flow.tick(at(second * 1000)));
        batch.append(flow.event(BENCH, &line_at(of_board, "vat=512")));
    }
    assert_eq!(journal(&batch), "");
    assert_eq!(stamps(&batch)[0], 500 - 7_200_000);
}
