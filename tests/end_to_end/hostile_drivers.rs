//! Promise: whatever a loaded driver does wrong, its readings say so and why, and the other probes'
//! night goes on.

use crate::checks::QUALITIES;
use nightbench_tests::board::Board;
use nightbench_tests::drivers;
use nightbench_tests::log::Logged;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled};
use nightbench_tests::wait::{SOON, until};

/// Ways to misbehave (`tests/hostile/misbehaving.c`), as probe, channel and driver are called, with
/// what the journal is to say after the driver's name. All are started again unless they answer on.
const WAYS: &[(&str, &str, &str)] = &[
    (
        "segfault",
        "SEGFAULT",
        "crashed (segmentation fault) while it evaluated 3 inputs; AGAIN",
    ),
    (
        "abort",
        "ABORT",
        "aborted while it evaluated 3 inputs; its last words: `misbehaving.c: assertion failed`; AGAIN",
    ),
    (
        "spin",
        "SPIN",
        "did not answer within 250 ms while it evaluated 3 inputs, and was ended; AGAIN",
    ),
    (
        "sleep",
        "SLEEP",
        "did not answer within 250 ms while it evaluated 3 inputs, and was ended; AGAIN",
    ),
    (
        "no_number",
        "NO_NUMBER",
        "gave no finite number for the input 13; its readings say `driver failed`; tell its maker",
    ),
    (
        "too_many",
        "TOO_MANY",
        "wrote more numbers than it was asked for, and was ended while it evaluated 3 inputs; AGAIN",
    ),
    (
        "exit",
        "EXIT",
        "ended its process (exit code 0) while it evaluated 3 inputs; AGAIN",
    ),
    (
        "status",
        "UNKNOWN_STATUS",
        "answered with the status 77 for the input 13; its readings say `driver failed`; tell its maker",
    ),
    (
        "close_all",
        "CLOSE_ALL",
        // How it ends depends on who finds the line closed first.
        "… while it evaluated 3 inputs",
    ),
    (
        "write_to_host",
        "WRITE_TO_HOST",
        "answered with something that is no answer while it evaluated 3 inputs, and was ended; AGAIN",
    ),
    (
        "panics",
        "",
        "panicked for the input 13; its readings say `driver failed`; tell its maker",
    ),
];
const AGAIN: &str = "its readings say `driver failed`; started again in 1 s";

/// Lines that are sent before the drivers misbehave, and after.
const BEFORE: usize = 5;
const AFTER: usize = 20;

#[test]
fn no_driver_that_misbehaves_costs_another_probe_a_reading() {
    let (scene, mut board) = bench();
    let service = Service::start_with(&scene, &mut [&mut board]);
    (0..BEFORE).for_each(|_| say(&mut board, 4));
    say(&mut board, 13);
    (0..AFTER).for_each(|_| say(&mut board, 5));
    let sent = BEFORE + 1 + AFTER;
    for probe in probes() {
        service.has_logged(sent, probe);
        assert_eq!(service.log().count(probe), sent, "{probe}");
    }
    assert_complete(&service.log().of("good"), sent);
    for (name, _, text) in WAYS {
        assert_only_it_failed(&service.log().of(name), name);
        let text = text.replace("AGAIN", AGAIN);
        let whose = format!("driver `{name}` (lib{name}.so) for probe `{name}`: ");
        let wanted = text
            .strip_prefix('…')
            .map_or_else(|| whose + &text, str::to_owned);
        let _ = journalled(service.log(), name, &wanted);
    }
    assert_each_is_good_again(&service, &mut board);
    service.stop();
}

/// A board with a channel for each driver, and one whose driver is linked in.
fn bench() -> (Scene, Board) {
    let mut scene = Scene::new();
    let board = scene.board("bench");
    let folder = drivers::folder(scene.folder());
    scene.add("[drivers]\nfolders = [\"drivers\"]\n");
    scene
        .bare("bench", "good")
        .number("good", ("bench", "good"));
    for (name, how, _) in WAYS {
        if how.is_empty() {
            drivers::example(&folder, name, ("nightbench-driver", "panicking_shared"));
        } else {
            drivers::misbehaving(&folder, name, how);
        }
        scene
            .bare("bench", name)
            .loaded(name, ("bench", name), name);
    }
    (scene, board)
}

fn probes() -> impl Iterator<Item = &'static str> {
    WAYS.iter().map(|(name, ..)| *name).chain(["good"])
}

/// The same number on every channel.
fn say(board: &mut Board, number: u32) {
    let fields: Vec<String> = probes().map(|name| format!("{name}={number}")).collect();
    board.send_line(&fields.join(" "));
}

fn quality(reading: &Logged) -> &'static str {
    QUALITIES[usize::try_from(reading.quality).unwrap()]
}

/// Every line's reading is there, good and in order.
#[track_caller]
fn assert_complete(readings: &[Logged], sent: usize) {
    assert_eq!(readings.len(), sent);
    assert!(readings.iter().all(|reading| quality(reading) == "good"));
    assert_eq!(readings[BEFORE].raw, Some(13.0));
}

/// Good before, failed at 13, and never anything but good or failed.
#[track_caller]
fn assert_only_it_failed(readings: &[Logged], name: &str) {
    for reading in &readings[..BEFORE] {
        assert_eq!(
            (quality(reading), reading.value),
            ("good", Some(8.0)),
            "{name}"
        );
    }
    assert_eq!(quality(&readings[BEFORE]), "driver_failed", "{name}");
    for reading in readings {
        let failed = quality(reading) == "driver_failed" && reading.value.is_none();
        assert!(failed || quality(reading) == "good", "{name}: {reading:?}");
    }
}

fn assert_each_is_good_again(service: &Service, board: &mut Board) {
    until("every driver answers again", SOON, || {
        say(board, 6);
        service.has_logged(board.sent().len(), WAYS[0].0);
        WAYS.iter().all(|(name, ..)| {
            let last = service.log().of(name).pop();
            last.is_some_and(|last| last.value == Some(12.0))
        })
    });
}

#[test]
fn a_driver_that_leaks_is_ended_in_words_before_its_memory_is_used_up() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    let folder = drivers::folder(scene.folder());
    drivers::misbehaving(&folder, "leak", "LEAK");
    scene
        .add("[drivers]\nfolders = [\"drivers\"]\n[driver.leak]\nmemory = \"8 MiB\"\n")
        .bare("bench", "n")
        .loaded("leak", ("bench", "n"), "leak");
    let service = Service::start_with(&scene, &mut [&mut board]);
    for number in 0..400 {
        board.send_line(&format!("n={}", number + 20));
    }
    let text = journalled(service.log(), "leak", "memory");
    let wanted = "driver `leak` (libleak.so) for probe `leak`: used up its memory (8 MiB, `memory`), \
                  and was ended";
    assert!(text.starts_with(wanted), "{text}");
    service.has_logged(400, "leak");
    service.stop();
}

#[test]
fn what_a_driver_prints_is_told_once_and_disturbs_nothing() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    let folder = drivers::folder(scene.folder());
    drivers::misbehaving(&folder, "chatty", "PRINT");
    scene
        .add("[drivers]\nfolders = [\"drivers\"]\n")
        .bare("bench", "n")
        .loaded("chatty", ("bench", "n"), "chatty");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("n=13");
    // More of it comes once the first is told: how much a busy machine reads in one go is open.
    let text = journalled(service.log(), "chatty", "printed");
    board.send_line("n=13");
    board.send_line("n=13");
    assert_eq!(
        text,
        "driver `chatty` (libchatty.so) for probe `chatty`: printed `hello from the driver`; a \
         driver has nothing to print, more of it is not told"
    );
    service.has_logged(3, "chatty");
    assert!(
        service
            .log()
            .of("chatty")
            .iter()
            .all(|it| it.value == Some(26.0))
    );
    assert_eq!(service.log().entries("chatty", "printed").len(), 1);
    service.stop();
}

#[test]
fn a_driver_opens_no_file_and_no_socket_starts_nothing_and_dies_with_the_service() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    let folder = drivers::folder(scene.folder());
    drivers::misbehaving(&folder, "spy", "SPY");
    scene
        .add("[drivers]\nfolders = [\"drivers\"]\n")
        .bare("bench", "n")
        .loaded("spy", ("bench", "n"), "spy");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("n=13");
    service.has_logged(1, "spy");
    // A kernel without the means says so instead.
    if service
        .log()
        .entries("spy", "does not keep it in")
        .is_empty()
    {
        assert_eq!(service.log().of("spy")[0].value, Some(0.0));
    }
    let children = service.children();
    assert_eq!(children.len(), 1, "one process for each probe");
    service.kill();
    until("the driver's process is gone", SOON, || {
        children.iter().all(|child| !is_alive(child))
    });
}

/// Whether there is a process of this number that has not ended.
fn is_alive(process: &str) -> bool {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat"));
    stat.is_ok_and(|stat| !stat.contains(") Z ") && !stat.contains(") X "))
}
