//! A serial port behind a network bridge: the bridge is a listener that writes what it likes.

use super::PACE;
use super::mosquitto::free_port;
use super::watch::{DEADLINE, Watch};
use nightbench::config::Bridge;
use nightbench::source::tcp::{Patience, TcpSource};
use nightbench::source::{Discard, Event};
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::{TcpListener, TcpStream};
use tokio::time::timeout;

fn watch(port: u16, silence: Duration) -> Watch {
    let bridge = Bridge {
        host: "localhost".to_owned(),
        port,
        silence,
    };
    let patience = Patience {
        pace: PACE,
        connecting: DEADLINE,
    };
    Watch::over(TcpSource::new("bench", bridge).with_patience(patience))
}

async fn bridge() -> (TcpListener, u16) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    (listener, port)
}

async fn accepted(listener: &TcpListener) -> TcpStream {
    let accepted = timeout(DEADLINE, listener.accept()).await;
    accepted.expect("a connection in time").unwrap().0
}

/// Ends the half line that a reader must expect.
async fn greeted(watch: &mut Watch, board: &mut TcpStream) {
    watch.opened().await;
    board.write_all(b"=51\r\n").await.unwrap();
    let why = Discard::AfterOpening;
    assert_eq!(watch.next().await, Event::Discarded { bytes: 5, why });
}

#[tokio::test]
async fn lines_arrive_after_the_half_line_and_the_place_is_told() {
    let (listener, port) = bridge().await;
    let mut watch = watch(port, DEADLINE);
    let mut board = accepted(&listener).await;
    let detail = watch.opened().await;
    assert_eq!(detail, format!("`localhost:{port}` (`127.0.0.1:{port}`)"));
    board.write_all(b"0=5\r\na0=1\r\na0=").await.unwrap();
    assert!(matches!(watch.next().await, Event::Discarded { .. }));
    assert_eq!(watch.line().await, "a0=1");
    board.write_all(b"2\r\n").await.unwrap();
    assert_eq!(watch.line().await, "a0=2");
    assert_eq!(watch.stop().await, []);
}

#[tokio::test]
async fn a_connection_closed_within_a_line_gives_no_line_and_is_made_anew() {
    let (listener, port) = bridge().await;
    let mut watch = watch(port, DEADLINE);
    for n in 0..5 {
        let mut board = accepted(&listener).await;
        greeted(&mut watch, &mut board).await;
        let bytes = format!("a0={n}\r\na0=half");
        board.write_all(bytes.as_bytes()).await.unwrap();
        assert_eq!(watch.line().await, format!("a0={n}"));
        drop(board);
        assert_eq!(
            watch.lost().await,
            format!(
                "`localhost:{port}`: the other end closed the connection; what came before is \
                 kept; connecting anew"
            )
        );
    }
}

#[tokio::test]
async fn a_silent_bridge_counts_as_dead_and_is_connected_to_anew() {
    let (listener, port) = bridge().await;
    let mut watch = watch(port, Duration::from_millis(300));
    let _dead = accepted(&listener).await;
    watch.opened().await;
    let reason = watch.lost().await;
    assert!(reason.contains("nothing came for 0.3 s"), "{reason}");
    let mut board = accepted(&listener).await;
    greeted(&mut watch, &mut board).await;
    board.write_all(b"a0=1\n").await.unwrap();
    assert_eq!(watch.line().await, "a0=1");
}

#[tokio::test]
async fn a_bridge_that_is_off_is_told_once_and_found_when_it_is_on() {
    let port = free_port();
    let mut watch = watch(port, DEADLINE);
    let reason = watch.lost().await;
    assert!(reason.contains("it refuses the connection"), "{reason}");
    assert!(reason.contains("in `[board.bench]`"), "{reason}");
    // Many retries long.
    watch.is_silent_for(10 * PACE.longest).await;
    let listener = TcpListener::bind(("127.0.0.1", port)).await.unwrap();
    let mut board = accepted(&listener).await;
    greeted(&mut watch, &mut board).await;
}

#[tokio::test]
async fn good_lines_come_out_of_a_flood_without_newlines() {
    const MEGABYTE: usize = 1_000_000;
    let (listener, port) = bridge().await;
    let mut watch = watch(port, DEADLINE);
    let mut board = accepted(&listener).await;
    greeted(&mut watch, &mut board).await;
    let writing = tokio::spawn(async move {
        board.write_all(&vec![0xff; MEGABYTE]).await.unwrap();
        board.write_all(b"\na0=1\n").await.unwrap();
        board
    });
    let thrown_away = watch.too_long_before("a0=1").await;
    assert_eq!(thrown_away, MEGABYTE as u64 + 1, "the newline included");
    writing.await.unwrap();
}

#[tokio::test]
async fn the_stop_passes_on_what_is_already_there_and_frees_the_bridge() {
    let (listener, port) = bridge().await;
    let mut watch = watch(port, DEADLINE);
    let mut board = accepted(&listener).await;
    greeted(&mut watch, &mut board).await;
    // The test's thread is the source's: it cannot read before the stop is set.
    let written = board.try_write(b"a0=1\na0=2\na0=").unwrap();
    assert_eq!(written, 13);
    let rest = watch.stop().await;
    let lines: Vec<&[u8]> = rest
        .iter()
        .map(|event| match event {
            Event::Line { bytes, .. } => bytes.as_slice(),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(lines, [b"a0=1", b"a0=2"], "whole lines only");
    let mut nothing = [0; 1];
    assert_eq!(board.try_read(&mut nothing).unwrap_or(0), 0, "closed");
}

#[tokio::test]
async fn a_flow_that_has_ended_ends_the_source() {
    let (listener, port) = bridge().await;
    let mut watch = watch(port, DEADLINE);
    let mut board = accepted(&listener).await;
    greeted(&mut watch, &mut board).await;
    drop(watch.events);
    board.write_all(b"a0=1\n").await.unwrap();
    timeout(DEADLINE, watch.running).await.unwrap().unwrap();
}
