//! The serial source against real pseudo-terminals behind a stable name.
//!
//! The kernel hangs a pseudo-terminal up as it does a serial port whose device was pulled out:
//! reads give zero bytes. What is written here goes through the kernel, byte for byte; no wire,
//! no baud rate and no control line is tested.
#![allow(clippy::unwrap_used)]

mod bench;

use bench::{Bench, DEADLINE, PACE, discarded, wait_for_bytes, wait_for_closing};
use nightbench::config::Scene;
use nightbench::source::pty::{BANNER, PtyBoard};
use nightbench::source::serial::Pace;
use nightbench::source::simulated::{Lines, SimulatedInput};
use nightbench::source::{Discard, Event, MAX_LINE};
use serialport::{SerialPort, TTYPort};
use std::fs::File;
use std::io::Write;
use std::os::unix::fs::symlink;
use std::time::Duration;
use tokio::time::timeout;

#[tokio::test]
async fn lines_arrive_after_the_half_line_and_share_their_chunks_moment() {
    let bench = Bench::new();
    let mut board = bench.plug_in();
    let device = bench.stable_name().canonicalize().unwrap();
    let mut watch = bench.watch();
    let detail = watch.opened(&mut board).await;
    let name = bench.stable_name();
    let expected = format!(
        "`{}` (`{}`) at 115200 baud",
        name.display(),
        device.display()
    );
    assert_eq!(detail, expected);
    board.write_all(b"a0=1\r\na0=2\r\n").unwrap();
    let (first, second) = (watch.next().await, watch.next().await);
    let Event::Line { at, .. } = first else {
        panic!("{first:?}")
    };
    let bytes = b"a0=2".to_vec();
    assert_eq!(second, Event::Line { at, bytes }, "one chunk, one moment");
    assert_eq!(watch.stop().await, []);
}

#[tokio::test]
async fn banner_and_half_line_of_a_reset_are_discarded_and_counted() {
    let bench = Bench::new();
    let mut board = bench.plug_in();
    let mut watch = bench.watch();
    assert!(matches!(watch.next().await, Event::Opened { .. }));
    board.write_all(b"0=51# board bench\r\na0=1\r\n").unwrap();
    assert_eq!(watch.next().await, discarded(19, Discard::AfterOpening));
    assert_eq!(watch.line().await, "a0=1");
}

#[tokio::test]
async fn what_was_received_before_opening_is_cleared() {
    let bench = Bench::new();
    let mut board = bench.plug_in();
    // Nothing is received while nobody has the port open.
    let onlooker = File::open(bench.stable_name()).unwrap();
    board.write_all(b"old=1\r\nold=2\r\nol").unwrap();
    wait_for_bytes(&onlooker, 16);
    let mut watch = bench.watch();
    watch.opened(&mut board).await;
    board.write_all(b"a0=1\r\n").unwrap();
    assert_eq!(watch.line().await, "a0=1");
}

#[tokio::test]
async fn unplugging_closes_the_port_is_told_once_and_makes_no_busy_loop() {
    let bench = Bench::new();
    let mut board = bench.plug_in();
    let device = bench.stable_name().canonicalize().unwrap();
    let mut watch = bench.watch();
    watch.opened(&mut board).await;
    bench.unplug(board);
    let reason = watch.lost().await;
    wait_for_closing(&device).await;
    let name = bench.stable_name();
    assert_eq!(
        reason,
        format!(
            "unplugged, or without power; what came before is kept; looking for `{}`",
            name.display()
        )
    );
    // Many retries long.
    let more = timeout(10 * PACE.longest, watch.events.recv()).await;
    assert!(more.is_err(), "told again: {more:?}");
    assert_eq!(watch.stop().await, []);
}

#[tokio::test]
async fn a_board_that_comes_back_under_another_number_is_found_by_its_stable_name() {
    let bench = Bench::new();
    let mut first = bench.plug_in();
    // Keeps the first number taken, so that the second board gets another.
    let _neighbour = TTYPort::pair().unwrap();
    let mut watch = bench.watch();
    let before = watch.opened(&mut first).await;
    let mut second = bench.plug_in();
    drop(first);
    watch.lost().await;
    let after = watch.opened(&mut second).await;
    assert_ne!(before, after);
    second.write_all(b"a0=2\n").unwrap();
    assert_eq!(watch.line().await, "a0=2");
}

#[tokio::test]
async fn twenty_replugs_lose_no_line() {
    let bench = Bench::new();
    let mut watch = bench.watch();
    assert!(watch.lost().await.contains("is not there"));
    for cycle in 0..20 {
        let mut board = bench.plug_in();
        watch.opened(&mut board).await;
        for n in 0..50 {
            // Cut anywhere, as a wire does.
            let line = format!("a0={cycle} a1={n}\r\n");
            let (head, tail) = line.split_at(n % line.len());
            board.write_all(head.as_bytes()).unwrap();
            board.write_all(tail.as_bytes()).unwrap();
        }
        for n in 0..50 {
            assert_eq!(watch.line().await, format!("a0={cycle} a1={n}"));
        }
        bench.unplug(board);
        watch.lost().await;
    }
    assert_eq!(watch.stop().await, []);
}

#[tokio::test]
async fn good_lines_come_out_of_garbage_and_memory_stays_bounded() {
    const MEGABYTE: usize = 1_000_000;
    let bench = Bench::new();
    let mut board = bench.plug_in();
    let mut watch = bench.watch();
    watch.opened(&mut board).await;
    let writer = tokio::task::spawn_blocking(move || {
        board.set_timeout(DEADLINE).unwrap();
        board.write_all(b"\xff\xfe\0\0\x80\n\0\0a0=1\r\n").unwrap();
        board.write_all(&vec![0xf0; MEGABYTE]).unwrap();
        board.write_all(b"\na0=2\n").unwrap();
        board
    });
    let (mut lines, mut thrown_away) = (Vec::new(), 0);
    while lines.last().map(Vec::as_slice) != Some(b"a0=2") {
        match watch.next().await {
            Event::Line { bytes, .. } => lines.push(bytes),
            Event::Discarded { bytes, why } => {
                assert_eq!(why, Discard::TooLong);
                thrown_away += bytes;
            }
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(lines.len(), 3, "{lines:?}");
    assert_eq!(lines[1], b"a0=1");
    assert!(lines.iter().all(|line| line.len() <= MAX_LINE));
    assert_eq!(thrown_away, MEGABYTE as u64 + 1, "the newline included");
    writer.await.unwrap();
}

#[tokio::test]
async fn bytes_without_a_readable_line_doubt_the_baud_rate_once() {
    let bench = Bench::new();
    let mut board = bench.plug_in();
    let mut watch = bench.watch();
    assert!(matches!(watch.next().await, Event::Opened { .. }));
    board.write_all(b"\xf0\x80\xfe\x80\xf0").unwrap();
    let Event::Remark { text, .. } = watch.next().await else {
        panic!("no remark");
    };
    assert!(
        text.starts_with("5 bytes, no line: wrong baud rate?"),
        "{text}"
    );
    board.write_all(b"\xf0\x80").unwrap();
    let more = timeout(3 * PACE.baud_patience, watch.events.recv()).await;
    assert!(more.is_err(), "told again: {more:?}");
}

#[tokio::test]
async fn a_port_that_is_missing_at_first_is_told_once_and_found_later() {
    let bench = Bench::new();
    let mut watch = bench.watch();
    let reason = watch.lost().await;
    assert!(reason.contains("usb-board-if00` is not there"), "{reason}");
    assert!(
        reason.contains("correct `port` in `[board.bench]`"),
        "{reason}"
    );
    let mut board = bench.plug_in();
    watch.opened(&mut board).await;
    board.write_all(b"a0=1\n").unwrap();
    assert_eq!(watch.line().await, "a0=1");
}

#[tokio::test]
async fn a_busy_port_is_told_with_its_holder_and_taken_when_it_is_free() {
    let bench = Bench::new();
    let mut board = bench.plug_in();
    let device = bench.stable_name().canonicalize().unwrap();
    let device = device.to_str().unwrap();
    let other = TTYPort::open(&serialport::new(device, 9600)).unwrap();
    let mut watch = bench.watch();
    let reason = watch.lost().await;
    assert!(reason.contains("is held by this program"), "{reason}");
    drop(other);
    watch.opened(&mut board).await;
    board.write_all(b"a0=1\n").unwrap();
    assert_eq!(watch.line().await, "a0=1");
}

#[tokio::test]
async fn a_port_that_is_busy_for_a_moment_only_is_no_news() {
    let bench = Bench::new();
    let mut board = bench.plug_in();
    let device = bench.stable_name().canonicalize().unwrap();
    let other = TTYPort::open(&serialport::new(device.to_str().unwrap(), 9600)).unwrap();
    let patient = Pace {
        busy_patience: DEADLINE,
        ..PACE
    };
    let mut watch = bench.watch_at(patient);
    let told = timeout(3 * PACE.longest, watch.events.recv()).await;
    assert!(told.is_err(), "told too early: {told:?}");
    drop(other);
    watch.opened(&mut board).await;
}

#[tokio::test]
async fn the_stop_passes_on_what_is_already_there_and_frees_the_port() {
    let bench = Bench::new();
    let mut board = bench.plug_in();
    let onlooker = File::open(bench.stable_name()).unwrap();
    let mut watch = bench.watch();
    watch.opened(&mut board).await;
    // The test's thread is the source's: it cannot read before the stop is set.
    board.write_all(b"a0=1\na0=2\na0=").unwrap();
    wait_for_bytes(&onlooker, 13);
    watch.stop.cancel();
    let rest = watch.stop().await;
    let lines: Vec<&[u8]> = rest
        .iter()
        .map(|event| match event {
            Event::Line { bytes, .. } => bytes.as_slice(),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(lines, [b"a0=1", b"a0=2"], "whole lines only");
    let device = bench.stable_name().canonicalize().unwrap();
    TTYPort::open(&serialport::new(device.to_str().unwrap(), 9600)).unwrap();
}

#[tokio::test]
async fn a_flow_that_has_ended_ends_the_source() {
    let bench = Bench::new();
    let mut board = bench.plug_in();
    let mut watch = bench.watch();
    watch.opened(&mut board).await;
    drop(watch.events);
    board.write_all(b"a0=1\n").unwrap();
    timeout(DEADLINE, watch.running).await.unwrap().unwrap();
}

#[tokio::test]
async fn a_simulated_board_on_a_pseudo_terminal_is_read_like_a_real_one() {
    let bench = Bench::new();
    let input = SimulatedInput {
        field: "a0".to_owned(),
        scene: Scene::Ice,
        noise_count: 0.0,
        full_scale: 1023.0,
        to_counts: Box::new(|kelvin| 512.0 + kelvin),
    };
    let lines = Lines::new(vec![input], Duration::from_secs(1), 1);
    let board = PtyBoard::plug_in(lines, Duration::from_millis(5)).unwrap();
    symlink(board.path(), bench.stable_name()).unwrap();
    let mut watch = bench.watch();
    assert!(matches!(watch.next().await, Event::Opened { .. }));
    let banner = discarded(BANNER.len() as u64, Discard::AfterOpening);
    assert_eq!(watch.next().await, banner);
    assert_eq!(watch.line().await, "a0=512");
    assert_eq!(watch.line().await, "a0=512");
    std::fs::remove_file(bench.stable_name()).unwrap();
    tokio::task::spawn_blocking(|| board.unplug());
    while !matches!(watch.next().await, Event::Lost { .. }) {}
}
