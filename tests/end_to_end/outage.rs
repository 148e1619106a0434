//! Promise: an outage of a receiver loses nothing. A broker that comes back with nothing in it gets
//! what it missed, in order, apart from what is new, and never as if it were new.

use crate::checks::{
    assert_rising, influx_holds_the_log, readings_at, sequence, victoria_holds_the_log,
};
use nightbench_tests::board::Board;
use nightbench_tests::broker::{Broker, Subscriber};
use nightbench_tests::database::Database;
use nightbench_tests::gate::Gate;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::Service;
use nightbench_tests::wait::{SOON, until};
use std::collections::BTreeSet;
use std::ops::Range;

#[test]
fn an_outage_of_the_broker_is_sent_late_in_order_and_not_retained() {
    let mut broker = Broker::start();
    let mut gate = Gate::to(broker.port());
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .bare("bench", "n")
        .number("turns", ("bench", "n"))
        .mqtt("kitchen", gate.port());
    let before = broker.subscribe("cellar/#");
    let service = Service::start_with(&scene, &mut [&mut board]);

    send(&mut board, 0..50);
    let _ = before.wait_for(50, "/turns/reading");
    gate.shut();
    broker.stop();
    send(&mut board, 50..300);
    service.has_logged(300, "turns");
    broker.start_again();
    let after = broker.subscribe("cellar/#");
    gate.open();
    let _ = after.wait_for(1, "/turns/late");
    send(&mut board, 300..350);
    service.has_logged(350, "turns");

    let logged: BTreeSet<i64> = service.log().readings().iter().map(|it| it.seq).collect();
    until("nothing is missing", SOON, || {
        union(&before, &after) == logged
    });
    assert_rising(&sequence(&after.under("/turns/reading")));
    assert_rising(&sequence(&after.under("/turns/late")));
    assert_eq!(broker.retained("cellar/+/late"), []);
    assert_eq!(newest_retained(&broker), 349.0);
    assert_eq!(broker.retained("cellar/status")[0].payload, "online");
    service.stop();
}

#[test]
fn an_outage_of_the_databases_is_filled_in() {
    let (mut influx, mut victoria) = (Database::influx(), Database::victoria());
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .bare("bench", "n")
        .number("turns", ("bench", "n"))
        .influx("house", &influx)
        .victoria("metrics", &victoria);
    let service = Service::start_with(&scene, &mut [&mut board]);

    send(&mut board, 0..50);
    service.has_logged(50, "turns");
    influx_holds_the_log(&influx, service.log());
    influx.stop();
    victoria.stop();
    send(&mut board, 50..300);
    service.has_logged(300, "turns");
    influx.start_again();
    victoria.start_again();
    send(&mut board, 300..350);
    service.has_logged(350, "turns");
    influx_holds_the_log(&influx, service.log());
    victoria_holds_the_log(&victoria, service.log());
    service.stop();
}

#[test]
fn readings_from_before_the_receiver_first_came_up_arrive_too() {
    let mut broker = Broker::start();
    let mut gate = Gate::to(broker.port());
    gate.shut();
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .bare("bench", "n")
        .number("turns", ("bench", "n"))
        .mqtt("kitchen", gate.port());
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 0..100);
    service.has_logged(100, "turns");
    service.stop();

    let reader = broker.subscribe("cellar/#");
    gate.open();
    let service = Service::start(&scene);
    until("all 100 arrive after a restart", SOON, || {
        let seqs: BTreeSet<i64> = sequence(&readings_at(&reader)).into_iter().collect();
        service
            .log()
            .readings()
            .iter()
            .all(|reading| seqs.contains(&reading.seq))
    });
    service.stop();
}

fn send(board: &mut Board, numbers: Range<u32>) {
    for number in numbers {
        board.send_line(&format!("n={number}"));
    }
}

fn union(before: &Subscriber, after: &Subscriber) -> BTreeSet<i64> {
    let mut seqs = sequence(&readings_at(before));
    seqs.extend(sequence(&readings_at(after)));
    seqs.into_iter().collect()
}

fn newest_retained(broker: &Broker) -> f64 {
    broker.retained("cellar/turns/reading")[0].json()["value"]
        .as_f64()
        .unwrap()
}
