//! Promise: the journal is for people: a loose plug and a talkative board do not fill it, and every
//! reading is in the log all the same.

use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled, run, words};
use nightbench_tests::wait::{SOON, until};
use std::thread;
use std::time::{Duration, Instant};

/// How long the plug is loose.
const LOOSE: Duration = Duration::from_secs(5);

/// The board's pace.
const PACE: Duration = Duration::from_millis(20);

#[test]
fn a_probe_that_flickers_is_two_entries_at_most_and_every_reading_is_kept() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .divider("bench", "a0", 1023)
        .thermistor("kettle", ("bench", "a0"), "");
    let service = Service::start_with(&scene, &mut [&mut board]);
    let since = Instant::now();
    while since.elapsed() < LOOSE {
        board.send_line("a0=512");
        board.send_line("a0=1023");
        thread::sleep(PACE);
    }
    let sent = board.sent().len();
    service.has_logged(sent, "kettle");
    let entries = service.log().entries("kettle", "");
    assert!((1..=2).contains(&entries.len()), "{entries:#?}");
    assert_eq!(qualities(&scene), ["good", "open_circuit"].repeat(sent / 2));
    service.stop();
}

/// As the command gives them, beside the running service.
fn qualities(scene: &Scene) -> Vec<String> {
    let file = scene.file();
    let output = run(&["readings", "kettle", "--config", file.to_str().unwrap()]);
    assert!(output.status.success(), "{}", words(&output));
    let csv = String::from_utf8(output.stdout).unwrap();
    let rows = csv.lines().skip(1);
    rows.map(|row| row.split(',').nth(6).unwrap().to_owned())
        .collect()
}

#[test]
fn a_boards_banner_is_one_entry_and_no_bad_lines() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let service = Service::start(&scene);
    until("the board is open", SOON, || {
        !service.log().entries("bench", "opened").is_empty()
    });
    board.send_bytes(b"ll a line\nBench board 1.2\nprobes: 1\nready\n");
    board.send_line("n=1");
    let told = journalled(service.log(), "bench", "first good line");
    assert!(told.contains("3 lines"), "{told}");
    // One bad line afterwards: the count shows that the banner is not in it.
    board.send_line("not a reading");
    let bad = journalled(service.log(), "bench", "lines passed over");
    assert!(bad.contains("1 not in the board's `format`"), "{bad}");
    assert!(bad.contains("`not a reading`"), "{bad}");
    let entries = service.log().entries("bench", "");
    assert_eq!(entries.len(), 3, "opened, greeted, bad: {entries:#?}");
    service.stop();
}
