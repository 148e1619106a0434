//! The server against real connections, on a log of its own and a main loop of the test's.

#![allow(clippy::unwrap_used)]

use super::client::{Client, ClientError};
use super::place::Place;
use super::testing::{calibration, facts, point};
use super::*;
use crate::calibrate::Step;
use crate::calibrate::history::History;
use crate::log::Kind;
use crate::log::testing::Bench;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::Shutdown;
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::time::Duration;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt};
use tokio::sync::mpsc;
use tokio::task::{JoinHandle, spawn_blocking};

/// Long enough for a busy machine.
const SOON: Duration = Duration::from_secs(20);

/// A log that is not committed on its own, with a server beside it.
struct Desk {
    bench: Bench,
    server: Server,
    main_loop: JoinHandle<u32>,
}

impl Desk {
    async fn open() -> Self {
        let bench = Bench::new().await;
        let (ask, asked) = mpsc::channel(MOST_CLIENTS);
        let server = Server::start(&bench.log, ask).unwrap();
        let main_loop = tokio::spawn(main_loop(asked));
        Self {
            bench,
            server,
            main_loop,
        }
    }

    fn log(&self) -> PathBuf {
        self.bench.log.path().to_owned()
    }

    /// Does what blocks beside the server.
    async fn with<T: Send + 'static>(&self, act: impl FnOnce(PathBuf) -> T + Send + 'static) -> T {
        let log = self.log();
        spawn_blocking(move || act(log)).await.unwrap()
    }

    /// Closes; gives how often a calibration was to be put in force.
    async fn close(self) -> u32 {
        let socket = self.server.path().to_owned();
        assert!(socket.exists());
        self.server.stop().await;
        assert!(!socket.exists());
        self.main_loop.await.unwrap()
    }
}

/// Knows one probe, `vat`, as the log's test readings name it.
async fn main_loop(mut asked: mpsc::Receiver<Asked>) -> u32 {
    let mut recalibrated = 0;
    while let Some(asked) = asked.recv().await {
        match asked {
            Asked::Probe(probe, reply) => {
                let facts = ProbeFacts {
                    probe: probe.clone(),
                    ..facts()
                };
                let known = (probe == "vat").then_some(facts);
                let _ = reply.send(known.ok_or("no such probe".to_owned()));
            }
            Asked::Status(_) => {}
            Asked::Recalibrated(_, reply) => {
                recalibrated += 1;
                let _ = reply.send(Ok(()));
            }
        }
    }
    recalibrated
}

fn taken() -> Step {
    Step::Point {
        point: Box::new(point(0.0, 31_412.3)),
    }
}

#[tokio::test]
async fn a_watched_probes_readings_come_before_their_commit() {
    let desk = Desk::open().await;
    desk.bench.readings(3).await;
    let mut watch = desk
        .with(|log| Client::connect(&log).unwrap().watch("vat").unwrap())
        .await;
    assert_eq!(watch.facts().driver, "thermistor");
    desk.bench.readings(600).await;
    let seqs = spawn_blocking(move || {
        let next = |_| watch.next_within(SOON).unwrap().unwrap().seq;
        (0..600).map(next).collect::<Vec<_>>()
    });
    assert_eq!(seqs.await.unwrap(), Vec::from_iter(4..=603));
    let committed =
        crate::log::testing::number(&desk.bench.beside(), "SELECT count(*) FROM reading");
    assert_eq!(committed, 0);
    desk.close().await;
}

#[tokio::test]
async fn a_step_is_committed_told_and_in_force_before_its_answer() {
    let desk = Desk::open().await;
    let numbers = desk.with(|log| {
        let mut client = Client::connect(&log).unwrap();
        let mut append = |step| client.append("vat", step);
        let (point, _) = append(taken()).unwrap();
        let calibration = Box::new(calibration(&[point]));
        let (made, _) = append(Step::Made { calibration }).unwrap();
        let why = String::new();
        let activated = Step::Activated {
            calibration: Some(made),
            why,
        };
        let (activated, remark) = append(activated).unwrap();
        assert_eq!(remark, None);
        (point, made, activated)
    });
    let (point, made, activated) = numbers.await;
    // What a kill would leave, without anything more being committed.
    let left = crate::log::reader::open_read_only(&desk.bench.killed("left.sqlite")).unwrap();
    let stored: Vec<i64> = left
        .prepare("SELECT seq FROM calibration_step ORDER BY seq")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let answered = [point, made, activated].map(|n| i64::try_from(n).unwrap());
    assert_eq!(stored, answered);
    insta::assert_snapshot!(desk.bench.journal(Kind::Calibration).await.join("\n"), @"
    probe `vat`: point taken: ice point, 0.00 ± 0.10 Cel (k = 2), probe read 31412.3 ± 2.4 Ohm
    calibration 1 of probe `vat` made, not in use yet (one point: offset)
    calibration 1 of probe `vat` in use (one point: offset)
    ");
    let history = History::of(&desk.bench.log.reader().steps("vat").await.unwrap());
    assert_eq!(history.active().map(|it| it.step), Some(made));
    assert_eq!(desk.close().await, 1);
}

#[tokio::test]
async fn what_does_not_fit_is_refused_and_the_connection_goes_on() {
    let desk = Desk::open().await;
    let told = desk.with(|log| {
        let mut client = Client::connect(&log).unwrap();
        let why = String::new();
        let step = Step::Activated {
            calibration: Some(99),
            why,
        };
        let refused = client.append("vat", step).unwrap_err();
        let unknown = client.probe("vet").unwrap_err();
        client.probe("vat").unwrap();
        [refused, unknown].map(|error| error.to_string())
    });
    insta::assert_snapshot!(told.await.join("\n"), @"
    there is no calibration with step number 99 of this probe
    no such probe
    ");
    desk.close().await;
}

#[tokio::test]
async fn the_seventeenth_client_is_turned_away_and_a_place_that_is_left_is_taken() {
    let desk = Desk::open().await;
    desk.with(|log| {
        let connect = || Client::connect(&log).unwrap();
        let mut clients: Vec<Client> = (0..MOST_CLIENTS).map(|_| connect()).collect();
        let refused = connect().probe("vat").unwrap_err();
        assert!(matches!(refused, ClientError::Refused(why) if why.starts_with("16 commands")));
        assert!(clients[0].probe("vat").is_ok());
        clients.pop();
        // The server hears of the end in its own time.
        while connect().probe("vat").is_err() {
            std::thread::yield_now();
        }
    })
    .await;
    desk.close().await;
}

#[tokio::test]
async fn a_client_that_asks_nothing_makes_room_and_one_that_watches_does_not() {
    let bench = Bench::new().await;
    let (ask, asked) = mpsc::channel(MOST_CLIENTS);
    tokio::spawn(main_loop(asked));
    let office = session::Office {
        log: bench.log.clone(),
        asked: ask,
        stop: tokio_util::sync::CancellationToken::new(),
        taking: std::sync::Arc::new(tokio::sync::Mutex::new(())),
        idle: Duration::from_millis(20),
    };
    let connect = || {
        let (client, server) = tokio::net::UnixStream::pair().unwrap();
        tokio::spawn(session::Session::new(office.clone(), server).run());
        client
    };
    let mut watching = connect();
    let ask = b"{\"ask\":\"watch\",\"probe\":\"vat\"}\n";
    watching.write_all(ask).await.unwrap();
    let mut said = String::new();
    connect().read_to_string(&mut said).await.unwrap();
    assert!(said.contains("nothing was asked for 0 s"), "{said}");
    bench.readings(1).await;
    let mut lines = tokio::io::BufReader::new(watching).lines();
    let reading = |line: &str| line.starts_with("{\"reading\"");
    while !reading(&lines.next_line().await.unwrap().unwrap()) {}
}

#[tokio::test]
async fn a_client_that_never_reads_delays_nobody_and_is_dropped() {
    let desk = Desk::open().await;
    let stuck = desk.with(|log| {
        let mut stream = Place::beside(&log).unwrap().connect().unwrap();
        stream
            .write_all(b"{\"ask\":\"watch\",\"probe\":\"vat\"}\n")
            .unwrap();
        let mut lines = BufReader::new(stream);
        let mut line = String::new();
        while !line.contains("watching") {
            line.clear();
            lines.read_line(&mut line).unwrap();
        }
        lines.into_inner()
    });
    let mut stuck = stuck.await;
    let mut watch = desk
        .with(|log| Client::connect(&log).unwrap().watch("vat").unwrap())
        .await;
    let counted = spawn_blocking(move || {
        let next = |_| watch.next_within(SOON).unwrap().unwrap().seq;
        (0..20_000).map(next).collect::<Vec<_>>()
    });
    for _ in 0..20 {
        desk.bench.readings(1000).await;
    }
    assert_eq!(counted.await.unwrap(), Vec::from_iter(1..=20_000));
    // Nobody reads what it writes either, until it is dropped.
    let got = spawn_blocking(move || {
        assert!(stuck.write_all(&vec![b' '; 4 * LONGEST_LINE]).is_err());
        let mut got = Vec::new();
        // The end may be told as a reset.
        let _ = stuck.read_to_end(&mut got);
        got.len()
    });
    assert!(got.await.unwrap() < 2_000_000, "less than all readings");
    desk.close().await;
}

#[tokio::test]
async fn hostile_bytes_are_refused_in_words_and_an_endless_line_ends_the_connection() {
    let desk = Desk::open().await;
    let told = desk.with(|log| {
        let say = |bytes: &[u8]| {
            let mut stream: UnixStream = Place::beside(&log).unwrap().connect().unwrap();
            stream.set_read_timeout(Some(SOON)).unwrap();
            // An endless line is cut off while it is written.
            let _ = stream.write_all(bytes);
            let _ = stream.shutdown(Shutdown::Write);
            let lines = BufReader::new(stream).lines().map_while(Result::ok);
            lines.skip(1).collect::<Vec<_>>().join("\n")
        };
        let endless = vec![b'['; LONGEST_LINE + 200_000];
        let deep = [vec![b'['; 10_000], vec![b'\n']].concat();
        [
            say(b"\xff\xfe\0\n{\"ask\":\"probe\",\"probe\":\"\\u0000\"}\n"),
            say(&deep),
            say(&endless),
            say(b"half a line"),
        ]
        .join("\n")
    });
    insta::assert_snapshot!(told.await, @r#"
    {"refused":"the line is no JSON (expected value at line 1 column 1); what may be asked: `watch`, `step`, `probe`, `status`"}
    {"refused":"no such probe"}
    {"refused":"the line is no JSON (recursion limit exceeded at line 1 column 128); what may be asked: `watch`, `step`, `probe`, `status`"}
    {"refused":"a line has at most 1048576 bytes; the connection ends"}
    "#);
    assert!(desk.with(|log| Client::connect(&log).is_ok()).await);
    desk.close().await;
}

#[tokio::test]
async fn a_stop_ends_those_who_watch_and_the_log_takes_no_more() {
    let desk = Desk::open().await;
    let mut watch = desk
        .with(|log| Client::connect(&log).unwrap().watch("vat").unwrap())
        .await;
    let log = desk.log();
    desk.close().await;
    let ended = spawn_blocking(move || watch.next_within(SOON))
        .await
        .unwrap();
    assert_eq!(ended, Err(ClientError::Ended));
    let gone = Client::connect(&log).unwrap_err();
    assert_eq!(gone, ClientError::NoService(log));
}
