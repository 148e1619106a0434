//! The service from start to stop with a replayed board, and what it does where the log cannot take
//! what it brings.

#![allow(clippy::unwrap_used)]

mod calibrated;

use super::*;
use crate::alarm::State;
use crate::config::parse;
use crate::log::testing::{Bench, NEVER, alarm_move, all_after, number, open, reading};
use crate::log::{LogReader, reader::open_read_only};
use rusqlite::Connection;
use std::path::Path;
use tempfile::TempDir;
use tokio::task::JoinHandle;

/// Invented: a probe that is warm at first and then unplugged.
const LINES: &str = "a0=512\na0=500\na0=1023\na0=1023\n";

const CONFIGURATION: &str = r#"
site = "cellar"
[log]
path = "cellar.sqlite"
commit = "1m"
[board.bench]
source = "replay"
file = "night.txt"
every = "1s"
speed = "unlimited"
format = "pairs"
[board.bench.channel.a0]
front_end = "divider"
probe_side = "low"
resistor = "10 kOhm"
full_scale = 1023
[probe.vat]
board = "bench"
channel = "a0"
driver = "thermistor"
[probe.vat.parameters]
r0 = "10 kOhm"
beta = "3950 K"
[probe.vat.alarm.fault]
action = "look at the plug"
[outlet.card]
kind = "line-protocol-file"
path = "night.lp"
"#;

fn config(folder: &Path, text: &str) -> Config {
    let (config, problems) = parse(text, folder);
    config.unwrap_or_else(|| {
        let said: Vec<String> = problems.iter().map(ToString::to_string).collect();
        panic!("{}", said.join("\n"))
    })
}

/// A service under way.
struct Night {
    folder: TempDir,
    control: mpsc::Sender<Control>,
    reader: LogReader,
    task: JoinHandle<()>,
}

impl Night {
    async fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("night.txt"), LINES).unwrap();
        let config = config(folder.path(), CONFIGURATION);
        let mut service = Service::start(config, Watchdog::none()).await.unwrap();
        assert!(
            service
                .ready()
                .starts_with("ready: 1 board, 1 probe, 1 outlet")
        );
        let (control, told) = mpsc::channel(4);
        let reader = service.log().reader();
        let task = tokio::spawn(async move {
            let why = service.run(told).await;
            service.stop(&why).await.unwrap();
        });
        Self {
            folder,
            control,
            reader,
            task,
        }
    }

    async fn until_all_is_read(&mut self) {
        let lines = LINES.lines().count() as u64;
        while self.reader.newest().reading < lines {
            assert!(self.reader.changed().await);
        }
    }

    async fn stop(self) -> Stopped {
        let stop = Control::Stop("SIGTERM".to_owned());
        self.control.send(stop).await.unwrap();
        self.task.await.unwrap();
        Stopped {
            folder: self.folder,
        }
    }
}

/// What it leaves.
struct Stopped {
    folder: TempDir,
}

impl Stopped {
    fn beside(&self) -> Connection {
        open_read_only(&self.folder.path().join("cellar.sqlite")).unwrap()
    }

    /// The journal without the board's own entries, which name the folder.
    fn journal(&self) -> Vec<String> {
        let conn = self.beside();
        let sql = "SELECT text FROM journal WHERE kind <> 'board' ORDER BY seq";
        let mut statement = conn.prepare(sql).unwrap();
        let texts = statement.query_map([], |row| row.get(0)).unwrap();
        texts.collect::<Result<_, _>>().unwrap()
    }
}

#[tokio::test]
async fn everything_that_was_read_is_in_log_and_outlet_after_a_stop() {
    let mut night = Night::start().await;
    night.until_all_is_read().await;
    let stopped = night.stop().await;
    let conn = stopped.beside();
    assert_eq!(number(&conn, "SELECT count(*) FROM reading"), 4);
    let sent = std::fs::read_to_string(stopped.folder.path().join("night.lp")).unwrap();
    assert_eq!(
        sent.lines()
            .filter(|line| line.starts_with("reading,"))
            .count(),
        4
    );
    // The outlet may have delivered before the stop, or with it.
    let delivered = "outlet `card`: working, the first delivery is acknowledged";
    let journal = stopped.journal();
    let (outlet, others): (Vec<String>, Vec<String>) =
        journal.into_iter().partition(|text| text == delivered);
    assert_eq!(outlet.len(), 1);
    let journal = others.join("\n");
    let journal = journal.replace(env!("CARGO_PKG_VERSION"), "of this version");
    insta::assert_snapshot!(journal, @"
    nightbench of this version started: 1 board, 1 probe, 1 outlet
    probe `vat`: open circuit (1023 counts); check the plug and the lead for a break
    probe `vat`: alarm `fault` active (open circuit); look at the plug
    stopped: SIGTERM
    ");
}

#[tokio::test]
async fn a_configuration_that_needs_a_restart_is_refused_and_the_old_one_goes_on() {
    let mut night = Night::start().await;
    let text = CONFIGURATION.replace("cellar.sqlite", "other.sqlite");
    let other = Box::new(config(night.folder.path(), &text));
    let reload = Control::Reload(other, "`bench.toml`".to_owned());
    night.control.send(reload).await.unwrap();
    let refused = Control::Refused("bench.toml:3:1: no".to_owned());
    night.control.send(refused).await.unwrap();
    night.until_all_is_read().await;
    let journal = night.stop().await.journal();
    let told: Vec<&str> = journal
        .iter()
        .map(String::as_str)
        .filter(|text| text.contains("configuration"))
        .collect();
    insta::assert_snapshot!(told.join("\n"), @r"
    the configuration in force goes on: configuration `bench.toml`: `path` in `[log]` cannot change while the service runs; restart it
    the configuration in force goes on: bench.toml:3:1: no
    ");
}

#[tokio::test]
async fn a_service_that_was_killed_is_told_of_by_the_next() {
    let bench = Bench::new().await;
    assert_eq!(build::unclean_end(&bench.log).await, None, "a new log");
    bench.readings(3).await;
    let started = Entry::new(clock::now(), Kind::Start, "", "started");
    bench.append(Vec::new(), vec![started]).await;
    bench.log.commit().await.unwrap();
    let left = open(&bench.killed("left.sqlite"), NEVER).await;
    insta::assert_snapshot!(build::unclean_end(&left).await.unwrap(), @"the one before ended without stopping (power cut, or killed); its last reading is of 2026-05-28T20:26:40Z, nothing was watched since");
    let stopped = Entry::new(clock::now(), Kind::Stop, "", "stopped: SIGTERM");
    bench.append(Vec::new(), vec![stopped]).await;
    bench.log.commit().await.unwrap();
    let left = open(&bench.killed("stopped.sqlite"), NEVER).await;
    assert_eq!(build::unclean_end(&left).await, None);
}

#[tokio::test]
async fn what_the_log_cannot_take_is_dropped_by_rule_counted_and_told() {
    let (full, bench) = (Bench::new().await, Bench::new().await);
    full.log.close().await.unwrap();
    let mut drops = Drops::default();
    for _ in 0..3 {
        let batch = Batch {
            readings: vec![reading(0, 1), reading(0, 2)],
            entries: vec![alarm_move("vat", State::Active, 2)],
            at_once: true,
        };
        hand_over(&full.log, &mut drops, batch, PATIENCE).await;
    }
    assert_eq!((drops.readings, drops.held.entries.len()), (6, 3));
    let next = Batch {
        readings: vec![reading(0, 3)],
        ..Batch::default()
    };
    hand_over(&bench.log, &mut drops, next, PATIENCE).await;
    insta::assert_snapshot!(bench.journal(Kind::Log).await.join("\n"), @"the log could not keep up, dropped: 6 readings; check the disk");
    let mut reader = bench.log.reader();
    assert_eq!(all_after(&mut reader, 0).await.len(), 1);
    let moves = reader.moves_after(0, 9).await.unwrap();
    assert_eq!(moves.len(), 3, "a move is never dropped");
    assert!(
        moves.iter().all(|m| m.reading_seq == 0),
        "its reading is gone"
    );
    assert_eq!(drops.readings, 0);
    assert_eq!(number(&bench.beside(), "SELECT count(*) FROM reading"), 1);
}
