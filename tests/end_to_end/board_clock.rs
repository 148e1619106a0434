//! Promise: a board that sends a counter of its own time has its readings dated by that, however late
//! its lines arrive.

use nightbench_tests::board::Board;
use nightbench_tests::log::Logged;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::Service;
use std::thread::sleep;
use std::time::{Duration, Instant};

/// From one line to the next.
const EVERY: Duration = Duration::from_millis(20);

/// So long lines are held back; each third one is.
const HELD: Duration = Duration::from_millis(70);

/// Lines by which the board's clock is known: what comes before is dated by its arrival.
const LEARNING: usize = 20;

/// A board that counts from `start`, and wraps at 32 bits.
struct Clocked {
    board: Board,
    began: Instant,
    start: u32,
    sent: u32,
}

impl Clocked {
    /// Sends lines; the board's time is taken where a line begins, then some are held back.
    fn sends(&mut self, lines: u32) {
        for _ in 0..lines {
            let ms = self.ms();
            self.sent += 1;
            if self.sent.is_multiple_of(3) {
                sleep(HELD);
            }
            let number = self.sent;
            self.board.send_line(&format!("ms={ms} n={number}"));
            sleep(EVERY);
        }
    }

    fn ms(&self) -> u32 {
        let passed = u32::try_from(self.began.elapsed().as_millis()).unwrap();
        self.start.wrapping_add(passed)
    }

    /// Back to zero, as a watchdog does it.
    fn resets(&mut self) {
        self.began = Instant::now();
        self.start = 0;
    }
}

fn started(scene: &mut Scene, start: u32) -> (Clocked, Service) {
    let mut board = scene.board_with("bench", "silent_after = \"60s\"\nclock = \"ms\"\n");
    for field in ["n", "ms"] {
        scene.bare("bench", field).number(field, ("bench", field));
    }
    let service = Service::start_with(scene, &mut [&mut board]);
    let clocked = Clocked {
        board,
        began: Instant::now(),
        start,
        sent: 0,
    };
    (clocked, service)
}

/// By how much the stamps of these readings wander against the board's own time, milliseconds.
fn wander(readings: &[Logged]) -> Vec<i64> {
    let first = &readings[0];
    let board_ms = |it: &Logged| it.raw.unwrap() as u32;
    let wander = |it: &Logged| {
        let board = board_ms(it).wrapping_sub(board_ms(first));
        it.time_ms - first.time_ms - i64::from(board)
    };
    readings.iter().map(wander).collect()
}

#[track_caller]
fn keeps_the_boards_time(readings: &[Logged]) {
    let wander = wander(readings);
    let (least, most) = (wander.iter().min().unwrap(), wander.iter().max().unwrap());
    // Both are whole milliseconds, and the clock is known to about one.
    assert!(most - least <= 6, "{wander:?}");
}

fn strictly_increase(readings: &[Logged]) {
    for pair in readings.windows(2) {
        assert!(pair[1].time_ms > pair[0].time_ms, "{pair:?}");
    }
}

#[test]
fn lines_that_are_held_back_are_dated_by_the_boards_clock_across_its_wrap() {
    let mut scene = Scene::new();
    let (mut board, service) = started(&mut scene, u32::MAX - 1500);
    board.sends(80);
    service.has_logged(80, "ms");
    let readings = service.log().of("ms");
    strictly_increase(&readings);
    keeps_the_boards_time(&readings[LEARNING..]);
    let wrapped = readings.windows(2).any(|pair| pair[1].raw < pair[0].raw);
    assert!(wrapped, "the counter was to wrap");
    assert!(service.log().entries("bench", "passed over: ").is_empty());
    service.stop();
}

#[test]
fn after_a_reset_arrivals_date_until_the_clock_is_known_again() {
    let mut scene = Scene::new();
    let (mut board, service) = started(&mut scene, 1_000_000);
    board.sends(40);
    board.resets();
    board.sends(60);
    service.has_logged(100, "ms");
    let readings = service.log().of("ms");
    strictly_increase(&readings);
    keeps_the_boards_time(&readings[LEARNING..40]);
    keeps_the_boards_time(&readings[40 + LEARNING..]);
    service.stop();
}

#[test]
fn without_a_clock_a_line_is_dated_when_it_arrives() {
    let mut scene = Scene::new();
    let (mut board, service) = {
        let mut board = scene.board("bench");
        scene.bare("bench", "ms").number("ms", ("bench", "ms"));
        let service = Service::start_with(&scene, &mut [&mut board]);
        let clocked = Clocked {
            board,
            began: Instant::now(),
            start: 0,
            sent: 0,
        };
        (clocked, service)
    };
    board.sends(30);
    service.has_logged(30, "ms");
    let wander = wander(&service.log().of("ms"));
    let most = wander.iter().max().unwrap() - wander.iter().min().unwrap();
    assert!(most >= 60, "{wander:?}");
    service.stop();
}
