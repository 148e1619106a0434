//! Boards that publish: a real broker, and a publisher that is no part of this program.

use super::PACE;
use super::mosquitto::{Mosquitto, free_port};
use super::watch::Watch;
use nightbench::clock;
use nightbench::config::{BoardTime, Subscription, TimeUnit};
use nightbench::measure::decode::Format;
use nightbench::source::Event;
use nightbench::source::mqtt::{MAX_PACKET_BYTES, MqttSource};
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

fn subscription(port: u16) -> Subscription {
    Subscription {
        host: "127.0.0.1".to_owned(),
        port,
        client_id: "attic".to_owned(),
        user: None,
        password: None,
        topic: "boards/+/line".to_owned(),
        keep_alive: Duration::from_secs(15),
        time: None,
    }
}

fn watch(subscription: Subscription) -> Watch {
    Watch::over(MqttSource::new("attic", subscription).with_pace(PACE))
}

/// Publishes with quality of service 1, and returns when the broker has acknowledged.
fn publish(broker: &Mosquitto, more: &[&str]) {
    publish_from(broker, more, b"");
}

fn publish_from(broker: &Mosquitto, more: &[&str], input: &[u8]) {
    let mut publisher = Command::new("mosquitto_pub")
        .args(["-h", "127.0.0.1", "-p", &broker.port.to_string()])
        .args(["-q", "1", "-t", "boards/attic/line"])
        .args(more)
        .stdin(Stdio::piped())
        .spawn()
        .expect("the publisher `mosquitto_pub` is installed; these tests need it");
    let mut stdin = publisher.stdin.take().unwrap();
    stdin.write_all(input).unwrap();
    drop(stdin);
    assert!(publisher.wait().unwrap().success());
}

#[tokio::test]
async fn every_message_is_a_line_or_several() {
    let broker = Mosquitto::start();
    let mut watch = watch(subscription(broker.port));
    let detail = watch.opened().await;
    let expected = format!(
        "topic `boards/+/line` at broker `127.0.0.1:{}`",
        broker.port
    );
    assert_eq!(detail, expected);
    publish(&broker, &["-m", "a0=1"]);
    publish(&broker, &["-m", "a0=2\r\na0=3\n"]);
    publish(&broker, &["-t", "boards/cellar/line", "-m", "a0=4"]);
    publish(&broker, &["-t", "boards/attic/other", "-m", "a0=5"]);
    publish(&broker, &["-n"]);
    publish(&broker, &["-m", "a0=6"]);
    for n in [1, 2, 3, 4, 6] {
        assert_eq!(watch.line().await, format!("a0={n}"));
    }
    assert_eq!(watch.stop().await, []);
}

#[tokio::test]
async fn a_burst_arrives_whole_and_in_order() {
    let broker = Mosquitto::start();
    let mut watch = watch(subscription(broker.port));
    watch.opened().await;
    let lines: String = (0..2000).map(|n| format!("a0={n}\n")).collect();
    let publisher = std::thread::spawn(move || {
        publish_from(&broker, &["-l"], lines.as_bytes());
        broker
    });
    for n in 0..2000 {
        assert_eq!(watch.line().await, format!("a0={n}"));
    }
    publisher.join().unwrap();
}

#[tokio::test]
async fn what_the_broker_has_retained_is_passed_over_and_told_once() {
    let broker = Mosquitto::start();
    publish(&broker, &["-r", "-m", "a0=1"]);
    publish(&broker, &["-r", "-t", "boards/cellar/line", "-m", "a0=2"]);
    let mut watch = watch(subscription(broker.port));
    watch.opened().await;
    let told = watch.remark().await;
    assert!(
        told.starts_with("passed over what the broker has retained on `boards/"),
        "{told}"
    );
    // A retained message that is published now is a new one (MQTT 3.1.1, 3.3.1.3).
    publish(&broker, &["-r", "-m", "a0=3"]);
    assert_eq!(watch.line().await, "a0=3");
}

#[tokio::test]
async fn a_broker_that_comes_back_with_nothing_is_subscribed_to_anew() {
    let mut broker = Mosquitto::start();
    let mut watch = watch(subscription(broker.port));
    for n in 0..3 {
        watch.opened().await;
        publish(&broker, &["-m", &format!("a0={n}")]);
        assert_eq!(watch.line().await, format!("a0={n}"));
        broker = broker.restart_empty();
        let reason = watch.lost().await;
        assert!(reason.contains("what came before is kept"), "{reason}");
        // Refused until it is back: told, if it was met.
        let mut event = watch.next().await;
        while let Event::Remark { .. } = event {
            event = watch.next().await;
        }
        assert!(matches!(event, Event::Opened { .. }), "{event:?}");
        publish(&broker, &["-m", "a0=new"]);
        assert_eq!(watch.line().await, "a0=new");
        broker = broker.restart_empty();
        watch.lost().await;
        while let Ok(Some((_, Event::Remark { .. }))) =
            tokio::time::timeout(Duration::ZERO, watch.events.recv()).await
        {}
    }
}

#[tokio::test]
async fn a_broker_that_is_off_is_told_once() {
    let mut watch = watch(subscription(free_port()));
    let reason = watch.lost().await;
    assert!(
        reason.contains("connection refused; see `[board.attic]`"),
        "{reason}"
    );
    watch.is_silent_for(10 * PACE.longest).await;
    assert_eq!(watch.stop().await, []);
}

#[tokio::test]
async fn a_broker_that_lets_nobody_in_says_what_to_set() {
    let broker = Mosquitto::start_closed();
    let mut watch = watch(subscription(broker.port));
    let reason = watch.lost().await;
    assert!(
        reason.contains("set `user` and `password_file`"),
        "{reason}"
    );
}

/// The broker that the other tests use grants every subscription and keeps its messages back.
#[tokio::test]
async fn a_topic_that_may_not_be_read_is_told_with_who_may_not() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let mut watch = watch(subscription(port));
    let (mut broker, _) = listener.accept().await.unwrap();
    // CONNECT is answered by CONNACK, accepted (MQTT 3.1.1, 3.2).
    assert_eq!(packet(&mut broker).await[0], 0x10);
    broker.write_all(&[0x20, 2, 0, 0]).await.unwrap();
    // SUBSCRIBE is answered by SUBACK, failure (3.8, 3.9.3).
    let subscribe = packet(&mut broker).await;
    assert_eq!(subscribe[0], 0x82);
    assert_eq!(
        subscribe.last(),
        Some(&1),
        "quality of service 1 is asked for"
    );
    let refused = [0x90, 3, subscribe[2], subscribe[3], 0x80];
    broker.write_all(&refused).await.unwrap();
    let reason = watch.lost().await;
    assert!(
        reason.contains("it refuses the subscription to `boards/+/line`; allow clients without"),
        "{reason}"
    );
}

/// A packet of under 128 bytes after its type and length.
async fn packet(stream: &mut TcpStream) -> Vec<u8> {
    let mut packet = vec![0; 2];
    stream.read_exact(&mut packet).await.unwrap();
    let mut rest = vec![0; packet[1].into()];
    stream.read_exact(&mut rest).await.unwrap();
    packet.extend(rest);
    packet
}

#[tokio::test]
async fn a_message_that_is_far_too_large_costs_the_connection_and_nothing_else() {
    let broker = Mosquitto::start();
    let mut watch = watch(subscription(broker.port));
    watch.opened().await;
    let large = vec![b'x'; MAX_PACKET_BYTES + 1];
    publish_from(&broker, &["-s"], &large);
    let reason = watch.lost().await;
    assert!(
        reason.contains("a message has more than 256 KiB"),
        "{reason}"
    );
    watch.opened().await;
    publish(&broker, &["-m", "a0=1"]);
    assert_eq!(watch.line().await, "a0=1");
}

#[tokio::test]
async fn a_believed_time_dates_the_line_and_another_is_told_once() {
    let broker = Mosquitto::start();
    let mut watch = watch(Subscription {
        time: Some(BoardTime {
            field: "t".to_owned(),
            unit: TimeUnit::Second,
            format: Format::Json,
            within: Duration::from_secs(3600),
        }),
        ..subscription(broker.port)
    });
    watch.opened().await;
    let before = clock::now();
    let measured_ms = before.wall_ms - 60_000;
    let seconds = measured_ms / 1000;
    let line = format!("{{\"a0\":1,\"t\":{seconds}.257}}");
    publish(&broker, &["-m", &line]);
    let Event::Line { at, .. } = watch.next().await else {
        panic!("no line");
    };
    assert_eq!(at.wall_ms, seconds * 1000 + 257);
    // Both clocks are a minute back, give or take what publishing took.
    let back = Duration::from_nanos(before.boot_ns.saturating_sub(at.boot_ns));
    assert!(
        back > Duration::from_secs(30) && back < Duration::from_secs(62),
        "{back:?}"
    );

    publish(&broker, &["-m", "{\"a0\":2,\"t\":12}\n{\"a0\":3,\"t\":13}"]);
    let told = watch.remark().await;
    assert!(
        told.starts_with("`t` shows a clock that was never set"),
        "{told}"
    );
    for _ in 0..2 {
        let Event::Line { at, .. } = watch.next().await else {
            panic!("no line");
        };
        assert!(at.wall_ms >= before.wall_ms, "dated by its arrival");
    }
}

#[tokio::test]
async fn a_flow_that_has_ended_ends_the_source() {
    let broker = Mosquitto::start();
    let mut watch = watch(subscription(broker.port));
    watch.opened().await;
    drop(watch.events);
    publish(&broker, &["-m", "a0=1"]);
    watch.running.await.unwrap();
}
