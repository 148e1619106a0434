//! Promise: a recording is read once, from its first line to its last; when it has ended the service
//! lives on, and its hours are not taken for the host's.

use nightbench_tests::board::Board;
use nightbench_tests::log::Log;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled};
use std::fmt::Write as _;
use std::fs;

/// Lines of a day and more, one a second.
const A_DAY: u32 = 20_000;

/// A recording of so many numbered lines on board `tape`, and a live board `bench` beside it.
fn scene_with_tape(lines: u32, keys: &str) -> (Scene, Board) {
    let mut scene = Scene::new();
    let mut text = String::new();
    for number in 0..lines {
        writeln!(text, "m={number}").unwrap();
    }
    fs::write(scene.folder().join("tape.txt"), text).unwrap();
    let board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    scene
        .add(&format!(
            "[board.tape]\nsource = \"replay\"\nfile = \"tape.txt\"\nformat = \"pairs\"\n\
             every = \"1s\"\nsilent_after = \"60s\"\n{keys}\n"
        ))
        .bare("tape", "m")
        .number("marks", ("tape", "m"));
    (scene, board)
}

/// Makes the service show that its clock has ticked: bad lines are told on a tick.
fn ticks(service: &Service, board: &mut Board) {
    board.send_line("no reading at all");
    let _ = journalled(service.log(), "bench", "lines passed over");
}

/// What lines brought; silence after the end is another matter.
fn marks(log: &Log) -> Vec<u32> {
    let raw = log.of("marks").into_iter().filter_map(|it| it.raw);
    raw.map(|number| number as u32).collect()
}

#[test]
fn a_recording_that_has_ended_is_not_read_again_and_the_service_lives_on() {
    let (mut scene, mut board) = scene_with_tape(40, "speed = 50");
    let service = Service::start_with(&scene, &mut [&mut board]);
    let _ = journalled(service.log(), "tape", "come to its end");
    board.send_line("n=1");
    service.has_logged(1, "turns");
    // Nor when another part of the configuration changes.
    scene.change("[board.bench]\n", "[board.bench]\nbaud = 57600\n");
    service.forgets_openings();
    service.reload();
    let _ = journalled(service.log(), "", "taken");
    service.hears(&mut board);
    board.send_line("n=2");
    service.has_logged(2, "turns");
    ticks(&service, &mut board);
    assert_eq!(marks(service.log()), (0..40).collect::<Vec<_>>());
    assert_eq!(service.log().entries("tape", "opened").len(), 1);
    assert_eq!(service.log().entries("tape", "come to its end").len(), 1);
    service.stop();
}

#[test]
fn as_fast_as_it_goes_no_line_is_lost_and_no_clock_is_said_to_have_been_set() {
    let (scene, mut board) = scene_with_tape(A_DAY, "speed = \"unlimited\"");
    let service = Service::start_with(&scene, &mut [&mut board]);
    let _ = journalled(service.log(), "tape", "come to its end");
    board.send_line("n=1");
    service.has_logged(1, "turns");
    service.has_logged(A_DAY as usize, "marks");
    ticks(&service, &mut board);
    assert_eq!(marks(service.log()), (0..A_DAY).collect::<Vec<_>>());
    assert_a_second_apart(service.log());
    let told: Vec<_> = service.log().journal();
    let false_ones = told
        .iter()
        .filter(|it| ["clock", "log"].contains(&&*it.kind));
    assert_eq!(false_ones.collect::<Vec<_>>(), Vec::<&_>::new());
    service.stop();
}

fn assert_a_second_apart(log: &Log) {
    let times: Vec<i64> = log.of("marks").iter().map(|it| it.time_ms).collect();
    let odd = times.windows(2).find(|pair| pair[1] - pair[0] != 1000);
    assert_eq!(odd, None);
}
