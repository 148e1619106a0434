//! Promise: where an outlet sends one message a line, a line is a message, whole, also where two
//! lines came in one read, and also when they are sent late.

use nightbench_tests::broker::{Broker, Message};
use nightbench_tests::gate::Gate;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::Service;
use std::collections::BTreeMap;

/// Two lines that a slow reader finds at once.
const TWO_LINES: &[u8] = b"n=1 m=10\nn=2 m=20\n";

fn two_probes(scene: &mut Scene, port: u16) {
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    scene.bare("bench", "m").number("rest", ("bench", "m"));
    scene.mqtt("kitchen", port).add("message_per = \"line\"\n");
}

/// The values of a message by probe; a probe that is there twice fails the test.
fn values(message: &Message) -> Vec<(String, f64)> {
    let body = message.json();
    assert_eq!(body["board"], "bench", "{body}");
    let mut values = BTreeMap::new();
    for reading in body["readings"].as_array().unwrap() {
        let probe = reading["probe"].as_str().unwrap().to_owned();
        let before = values.insert(probe, reading["value"].as_f64().unwrap());
        assert_eq!(before, None, "twice in one message: {body}");
    }
    values.into_iter().collect()
}

fn line(n: f64, m: f64) -> Vec<(String, f64)> {
    vec![("rest".to_owned(), m), ("turns".to_owned(), n)]
}

#[test]
fn two_lines_written_in_one_go_are_two_messages() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    two_probes(&mut scene, broker.port());
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_bytes(b"n=0 m=0\n");
    let _ = everything.wait_for(1, "/bench/line");
    board.send_bytes(TWO_LINES);
    board.send_line("n=3 m=30");
    let came = everything.wait_for(4, "/bench/line");
    let came: Vec<_> = came.iter().map(values).collect();
    let expected = [(0.0, 0.0), (1.0, 10.0), (2.0, 20.0), (3.0, 30.0)];
    assert_eq!(came, expected.map(|(n, m)| line(n, m)));
    service.stop();
}

#[test]
fn two_lines_written_in_one_go_are_two_messages_when_they_are_sent_late() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut gate = Gate::to(broker.port());
    gate.shut();
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    two_probes(&mut scene, gate.port());
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_bytes(TWO_LINES);
    service.has_logged(2, "rest");
    service.stop();
    // From the file, no longer from memory.
    gate.open();
    let service = Service::start(&scene);
    let came = everything.wait_for(2, "/bench/late");
    let came: Vec<_> = came.iter().map(values).collect();
    assert_eq!(came, [line(1.0, 10.0), line(2.0, 20.0)]);
    service.stop();
    assert_eq!(everything.under("/bench/line"), []);
}
