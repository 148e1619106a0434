//! Promise: whatever a broker does (speaks version 5 over TLS only, starts again with nothing, hangs,
//! closes the connection on a message that it does not like), every reading arrives and every alarm
//! stands.

use crate::checks::{assert_rising, readings_at, sequence};
use nightbench_tests::board::Board;
use nightbench_tests::broker::{Broker, Message, Subscriber, free_port};
use nightbench_tests::certificates::Certificates;
use nightbench_tests::gate::Gate;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled};
use nightbench_tests::wait::{SOON, eventually, until};
use std::collections::BTreeSet;
use std::ops::Range;

fn turns(scene: &mut Scene) -> Board {
    let board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    board
}

fn send(board: &mut Board, numbers: Range<u32>) {
    for number in numbers {
        board.send_line(&format!("n={number}"));
    }
}

fn all_arrive(service: &Service, readers: &[&Subscriber]) {
    until("every logged reading arrives", SOON, || {
        let come = readers.iter().flat_map(|it| sequence(&readings_at(it)));
        let come: BTreeSet<i64> = come.collect();
        let logged = service.log().readings();
        logged.iter().all(|reading| come.contains(&reading.seq))
    });
}

fn retained_alarm(broker: &Broker, name: &str, state: &str) -> Message {
    eventually(&format!("alarm `{name}` stands as {state}"), SOON, || {
        let found = broker.retained(&format!("cellar/turns/alarm/{name}"));
        found.into_iter().find(|it| it.json()["state"] == state)
    })
}

#[test]
fn version_five_over_tls_survives_a_broker_that_forgets_everything() {
    let mut scene = Scene::new();
    let certificates = Certificates::made_in(scene.folder());
    let port = free_port();
    let mut broker = Broker::start_with(&certificates.listener(port));
    let mut gate = Gate::to(port);
    let mut board = turns(&mut scene);
    let keys = "version = \"5\"\nexpiry = \"1h\"\n".to_owned() + &certificates.outlet_keys();
    scene.mqtt("kitchen", gate.port()).add(&keys);
    let before = broker.subscribe("cellar/#");
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 0..50);
    let _ = before.wait_for(50, "/turns/reading");

    gate.shut();
    broker.stop();
    send(&mut board, 50..200);
    service.has_logged(200, "turns");
    broker.start_again();
    let after = broker.subscribe("cellar/#");
    gate.open();
    let _ = after.wait_for(1, "/turns/late");
    send(&mut board, 200..250);
    service.has_logged(250, "turns");
    all_arrive(&service, &[&before, &after]);
    assert_rising(&sequence(&after.under("/turns/reading")));
    assert_rising(&sequence(&after.under("/turns/late")));
    assert_eq!(broker.retained("cellar/+/late"), []);
    service.stop();
    assert_eq!(broker.retained("cellar/status")[0].payload, "offline");
}

#[test]
fn a_broker_that_hangs_is_noticed_and_gets_everything_when_it_goes_on() {
    let mut broker = Broker::start();
    let mut scene = Scene::new();
    let mut board = turns(&mut scene);
    scene
        .mqtt("kitchen", broker.port())
        .add("keep_alive = \"1s\"\n");
    let reader = broker.subscribe("cellar/#");
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 0..20);
    let _ = reader.wait_for(20, "/turns/reading");
    broker.hang();
    send(&mut board, 20..100);
    let told = journalled(service.log(), "kitchen", "readings are kept");
    assert!(told.contains("no longer answers pings"), "{told}");
    broker.go_on();
    send(&mut board, 100..120);
    service.has_logged(120, "turns");
    all_arrive(&service, &[&reader]);
    service.stop();
}

/// The limit is the broker's own secret in version 3.1.1: it just closes the connection.
#[test]
fn a_message_that_the_broker_closes_the_connection_on_does_not_hold_up_the_night() {
    let mut broker = Broker::start_with("max_packet_size 2000\n");
    let mut scene = Scene::new();
    let mut board = turns(&mut scene);
    let action = "x".repeat(4000);
    scene.mqtt("kitchen", broker.port()).add(&format!(
        "[probe.turns.alarm.high]\nlimit = 10\naction = \"{action}\"\n\
         [probe.turns.alarm.low]\nlimit = 1\naction = \"turn it\"\n"
    ));
    let reader = broker.subscribe("cellar/#");
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 5..15);
    let told = journalled(service.log(), "kitchen", "refused for good");
    let words = "the broker closes the connection on this message; read its log";
    assert!(told.ends_with(words), "{told}");
    send(&mut board, 0..1);
    service.has_logged(11, "turns");
    all_arrive(&service, &[&reader]);
    assert_eq!(
        retained_alarm(&broker, "low", "active").json()["value"],
        0.0
    );
    service.stop();
}

#[test]
fn a_standing_alarm_is_there_again_after_the_broker_lost_everything() {
    let mut broker = Broker::start();
    let mut scene = Scene::new();
    let mut board = turns(&mut scene);
    scene
        .mqtt("kitchen", broker.port())
        .add("[probe.turns.alarm.high]\nlimit = 10\naction = \"stop it\"\n");
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 5..15);
    let before = retained_alarm(&broker, "high", "active");
    broker.stop();
    broker.start_again();
    let after = retained_alarm(&broker, "high", "active");
    assert_eq!(before.payload, after.payload);
    service.stop();
}
