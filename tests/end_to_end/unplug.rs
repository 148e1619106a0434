//! Promise: a board that is unplugged, comes back under another number, or talks nonsense costs nothing
//! but what it did not say.

use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled};
use nightbench_tests::wait::{SOON, until};

/// Stored code of `board silent`.
const BOARD_SILENT: i64 = 7;

#[test]
fn an_unplugged_board_reads_silent_and_is_found_again_by_its_stable_name() {
    let mut scene = Scene::new();
    let mut board = scene.board_with("bench", "silent_after = \"1s\"\n");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("n=1");
    service.has_logged(1, "turns");

    service.forgets_openings();
    board.unplug();
    let lost = journalled(service.log(), "bench", "lost");
    assert!(!lost.is_empty());
    until("the probe reads `board silent`", SOON, || {
        service
            .log()
            .of("turns")
            .iter()
            .any(|it| it.quality == BOARD_SILENT)
    });
    let silent = service
        .log()
        .of("turns")
        .into_iter()
        .find(|it| it.quality == BOARD_SILENT);
    let silent = silent.unwrap();
    assert_eq!((silent.value, silent.raw, silent.samples), (None, None, 0));

    board.replug();
    service.hears(&mut board);
    board.send_line("n=2");
    until("readings go on", SOON, || {
        let last = service.log().of("turns").pop().unwrap();
        (last.quality, last.value) == (0, Some(2.0))
    });
    service.stop();
}

#[test]
fn ten_unplugs_in_a_row_are_ten_entries_and_no_lost_line() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let service = Service::start_with(&scene, &mut [&mut board]);
    let heard = || -> Vec<f64> {
        let readings = service.log().of("turns");
        readings.iter().filter_map(|reading| reading.raw).collect()
    };
    for number in 0..10_usize {
        board.send_line(&format!("n={number}"));
        until("the line is logged", SOON, || heard().len() > number);
        service.forgets_openings();
        board.unplug();
        let lost = || service.log().entries("bench", "lost").len();
        until("the loss is journalled", SOON, || lost() == number + 1);
        board.replug();
        service.hears(&mut board);
    }
    assert_eq!(heard(), (0..10).map(f64::from).collect::<Vec<_>>());
    service.stop();
}

#[test]
fn garbage_between_good_lines_costs_no_good_line() {
    const ROUNDS: usize = 50;
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let service = Service::start_with(&scene, &mut [&mut board]);
    let over_long = [b'x'; 10_000];
    let garbage: [&[u8]; 6] = [
        b"\0\0\0\n",
        b"\xff\xfe\x80 no text\n",
        b"\r\n\r\n\n",
        b"=\n==;;=,\n",
        b"# boot v1.2\n",
        b"m=7\n",
    ];
    for round in 0..ROUNDS {
        board.send_bytes(garbage[round % garbage.len()]);
        if round % 10 == 0 {
            board.send_bytes(&over_long);
            board.send_bytes(b"\n");
        }
        board.send_line(&format!("n={round}"));
    }
    service.has_logged(ROUNDS, "turns");
    let numbers: Vec<f64> = service
        .log()
        .of("turns")
        .iter()
        .filter_map(|it| it.raw)
        .collect();
    assert_eq!(numbers, (0..ROUNDS).map(|n| n as f64).collect::<Vec<_>>());
    service.stop();
}
