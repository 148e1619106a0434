//! What a reading costs: the whole service beside the shortest program that does the same, with the
//! same broker, board and sink, in one run. Prints ratios; asserts nothing.
//!
//! `cargo bench -p nightbench --bench cost` (about three minutes), `… -- quick` (one).

#![expect(
    clippy::disallowed_methods,
    reason = "a bench of durations within one run; the shortest program is written as anybody would"
)]

mod board;
mod broker;
mod floor;
mod program;
mod sink;
mod usage;

use board::Board;
use broker::{Broker, Subscriber};
use program::{Program, Task};
use sink::Sink;
use std::time::{Duration, Instant};
use usage::{Usage, percentile};

/// Probes on the board.
const PROBES: usize = 8;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if arguments.first().is_some_and(|a| a == "floor") {
        return floor::run(&arguments[1..]);
    }
    // `cargo test --benches` runs this too: there is nothing to test.
    if arguments.iter().any(|a| a == "--test") {
        return;
    }
    let quick = arguments.iter().any(|a| a == "quick");
    let seconds = if quick { 5 } else { 20 };
    let lines = if quick { 20_000 } else { 100_000 };
    println!("{PROBES} probes; each figure: floor, nightbench, ratio\n");
    for qos in [0, 1] {
        paced(qos, 10, seconds);
        paced(qos, 1, seconds);
        flat_out(qos, lines);
    }
}

/// One line every so often; latency from the line written to the message at a subscriber.
fn paced(qos: u8, lines_a_second: u32, seconds: u64) {
    let task = Task {
        qos,
        with_database: true,
    };
    let figures = Program::BOTH.map(|program| paced_run(program, task, lines_a_second, seconds));
    println!("QoS {qos}, {lines_a_second} lines a second:");
    row(
        "CPU, ms a second",
        figures.each_ref().map(|f| f.usage.cpu_ms),
    );
    row(
        "wake-ups a second",
        figures.each_ref().map(|f| f.usage.wake_ups),
    );
    row("memory, MB", figures.each_ref().map(|f| f.usage.memory_mb));
    row(
        "latency p50, ms",
        figures
            .each_ref()
            .map(|f| percentile(&f.latencies_ms, 50.0)),
    );
    row(
        "latency p99, ms",
        figures
            .each_ref()
            .map(|f| percentile(&f.latencies_ms, 99.0)),
    );
    row(
        "latency worst, ms",
        figures
            .each_ref()
            .map(|f| percentile(&f.latencies_ms, 100.0)),
    );
    println!();
}

struct Paced {
    usage: Usage,
    latencies_ms: Vec<f64>,
}

fn paced_run(program: Program, task: Task, lines_a_second: u32, seconds: u64) -> Paced {
    let (broker, sink, mut board) = (Broker::start(), Sink::start(), Board::new());
    let subscriber = Subscriber::listen(&broker);
    let running = program.start(task, &board, &broker, &sink);
    board.settle(&subscriber);
    let interval = Duration::from_secs(1) / lines_a_second;
    let lines = seconds * u64::from(lines_a_second);
    let mut meter = usage::Meter::of(running.id());
    let begin = Instant::now();
    let mut written = Vec::new();
    for line in 0..lines {
        let due = begin + interval * u32::try_from(line).unwrap_or(u32::MAX);
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
        written.push(board.write_line(line));
        meter.look();
    }
    let usage = meter.finish(begin.elapsed());
    let arrivals = subscriber.take(lines as usize * PROBES, Duration::from_secs(10));
    let latency = |(line, at): &(u64, Instant)| {
        at.saturating_duration_since(written[*line as usize])
            .as_secs_f64()
            * 1000.0
    };
    let latencies_ms = arrivals.iter().map(latency).collect();
    running.end();
    Paced {
        usage,
        latencies_ms,
    }
}

/// As many lines as the terminal takes.
fn flat_out(qos: u8, lines: u64) {
    let task = Task {
        qos,
        with_database: false,
    };
    let figures = Program::BOTH.map(|program| flat_out_run(program, task, lines));
    println!("QoS {qos}, flat out:");
    row("readings a second", figures.each_ref().map(|f| f.rate));
    row(
        "CPU s a million",
        figures.each_ref().map(|f| f.cpu_s_a_million),
    );
    row("memory, MB", figures.each_ref().map(|f| f.memory_mb));
    println!();
}

struct FlatOut {
    rate: f64,
    cpu_s_a_million: f64,
    memory_mb: f64,
}

fn flat_out_run(program: Program, task: Task, lines: u64) -> FlatOut {
    let (broker, sink, mut board) = (Broker::start(), Sink::start(), Board::new());
    let subscriber = Subscriber::listen(&broker);
    let running = program.start(task, &board, &broker, &sink);
    board.settle(&subscriber);
    let mut meter = usage::Meter::of(running.id());
    let begin = Instant::now();
    let writer = std::thread::spawn(move || {
        for line in 0..lines {
            board.write_line(line);
        }
        board
    });
    let expected = lines as usize * PROBES;
    let arrived = subscriber.count(expected, Duration::from_secs(120), || meter.look());
    let elapsed = begin.elapsed();
    let usage = meter.finish(elapsed);
    if arrived < expected {
        println!("  ({} of {expected} messages arrived)", arrived);
    }
    let _board = writer.join();
    running.end();
    FlatOut {
        rate: arrived as f64 / elapsed.as_secs_f64(),
        cpu_s_a_million: usage.cpu_ms * elapsed.as_secs_f64() / 1000.0 / arrived as f64 * 1e6,
        memory_mb: usage.memory_mb,
    }
}

fn row(what: &str, [floor, ours]: [f64; 2]) {
    println!(
        "  {what:<20} {floor:>10.2} {ours:>10.2} {:>8.2} x",
        ours / floor
    );
}
