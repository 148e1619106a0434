//! Promise: an alarm is told whatever else has broken, it is told again to a broker that has forgotten
//! it, and none stays active that nobody could ever end.

use crate::checks::{broker_holds_the_log, readings_at, sequence};
use crate::write_lock::WriteLock;
use nightbench_tests::board::Board;
use nightbench_tests::broker::{Broker, Message, Subscriber};
use nightbench_tests::gate::Gate;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled};
use nightbench_tests::wait::{SOON, eventually, until};
use serde_json::Value;

/// A thermistor on the low side, 10 bits.
const COLD: &str = "a0=512 n=1";
/// About 70 degrees Celsius.
const HOT: &str = "a0=150 n=1";

/// A scene with an alarm, and the pieces of its configuration that a test may take away.
struct Kettle {
    scene: Scene,
    board: Board,
    probe: String,
    rule: String,
}

impl Kettle {
    fn new(broker: &Broker) -> Self {
        Self::by(broker.port())
    }

    /// With another way to the broker.
    fn by(port: u16) -> Self {
        let mut scene = Scene::new();
        let board = scene.board("bench");
        scene.divider("bench", "a0", 1023).bare("bench", "n");
        scene.number("turns", ("bench", "n"));
        scene.mqtt("kitchen", port);
        let start = scene.config().len();
        scene.thermistor("kettle", ("bench", "a0"), "");
        let rule_start = scene.config().len();
        scene.add(
            "[probe.kettle.alarm.high]\nlimit = \"60 Cel\"\ndeadband = \"1 Cel\"\n\
             on_delay = \"0s\"\noff_delay = \"0s\"\naction = \"take it off\"\n",
        );
        let rule = scene.config()[rule_start..].to_owned();
        let probe = scene.config()[start..].to_owned();
        Self {
            scene,
            board,
            probe,
            rule,
        }
    }

    /// Started, with the alarm active at the broker.
    fn on_fire(&mut self, broker: &Broker) -> Service {
        let service = Service::start_with(&self.scene, &mut [&mut self.board]);
        self.board.send_line(COLD);
        self.board.send_line(HOT);
        is_retained(broker, "active");
        service.has_logged(2, "kettle");
        service
    }
}

fn is_retained(broker: &Broker, state: &str) -> Value {
    eventually(&format!("the alarm is retained as {state}"), SOON, || {
        let retained = broker.retained("cellar/kettle/alarm/high");
        let bodies = retained.iter().map(Message::json);
        bodies.into_iter().find(|body| body["state"] == state)
    })
}

fn moves(everything: &Subscriber) -> Vec<Value> {
    let messages = everything.under("/kettle/alarm/high");
    messages.iter().map(Message::json).collect()
}

#[test]
fn an_alarm_and_the_readings_go_out_although_the_log_cannot_be_written() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut kettle = Kettle::new(&broker);
    let service = Service::start_with(&kettle.scene, &mut [&mut kettle.board]);
    kettle.board.send_line(COLD);
    service.has_logged(1, "kettle");

    let lock = WriteLock::take(&kettle.scene.log());
    for line in [HOT, HOT, HOT] {
        kettle.board.send_line(line);
    }
    assert_eq!(is_retained(&broker, "active")["from"], "normal");
    until("readings go out", SOON, || {
        readings_at(&everything).len() >= 8
    });
    service.says("cannot be written");
    kettle.board.send_line(HOT);
    until("readings go on", SOON, || {
        readings_at(&everything).len() >= 10
    });
    assert_eq!(service.log().count("kettle"), 1, "the lock does not hold");
    drop(lock);

    service.has_logged(5, "kettle");
    let _ = journalled(service.log(), "", "could not be written for");
    broker_holds_the_log(&everything, service.log());
    assert_each_once(&everything, &service);
    assert_one_move_as_told(&everything, &service);
    service.stop();
}

/// After a start, what is on the card and what waits for it are far apart: an outlet that comes up
/// then must find the way from the one to the other.
#[test]
fn an_alarm_of_a_service_that_was_started_again_goes_out_before_the_log_is_written() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut gate = Gate::to(broker.port());
    gate.shut();
    let mut kettle = Kettle::by(gate.port());
    let service = Service::start_with(&kettle.scene, &mut [&mut kettle.board]);
    kettle.board.send_line(COLD);
    service.has_logged(1, "kettle");
    service.kill();

    let service = Service::start_with(&kettle.scene, &mut [&mut kettle.board]);
    let lock = WriteLock::take(&kettle.scene.log());
    kettle.board.send_line(HOT);
    kettle.board.wait_until_read();
    gate.open();
    assert_eq!(is_retained(&broker, "active")["from"], "normal");
    until("readings of both starts go out", SOON, || {
        readings_at(&everything).len() >= 4
    });
    drop(lock);
    service.has_logged(2, "kettle");
    broker_holds_the_log(&everything, service.log());
    service.stop();
}

fn assert_each_once(everything: &Subscriber, service: &Service) {
    let logged: Vec<i64> = service.log().readings().iter().map(|it| it.seq).collect();
    let mut sent = sequence(&readings_at(everything));
    sent.sort_unstable();
    assert_eq!(sent, logged);
    assert_eq!(logged.len(), 10);
}

fn assert_one_move_as_told(everything: &Subscriber, service: &Service) {
    let mut entries = service.log().entries("kettle", "");
    entries.retain(|entry| entry.kind == "alarm");
    let moves = moves(everything);
    assert_eq!(
        (entries.len(), moves.len()),
        (1, 1),
        "{entries:?} {moves:?}"
    );
    assert_eq!(moves[0]["seq"].as_i64(), Some(entries[0].seq));
    let readings = service.log().of("kettle");
    let hot = readings.iter().find(|it| it.raw == Some(150.0)).unwrap();
    assert_eq!(moves[0]["reading_seq"].as_i64(), Some(hot.seq));
}

#[test]
fn a_broker_that_has_forgotten_everything_is_told_that_the_alarm_stands() {
    let mut broker = Broker::start();
    let mut kettle = Kettle::new(&broker);
    let service = kettle.on_fire(&broker);
    let before = is_retained(&broker, "active");
    broker.stop();
    broker.start_again();
    assert_eq!(is_retained(&broker, "active"), before, "not as it stood");
    let mut entries = service.log().entries("kettle", "");
    entries.retain(|entry| entry.kind == "alarm");
    assert_eq!(entries.len(), 1, "the alarm did not move: {entries:?}");
    service.stop();
}

#[test]
fn an_active_alarm_ends_when_a_reload_takes_its_probe_away() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut kettle = Kettle::new(&broker);
    let service = kettle.on_fire(&broker);
    kettle.scene.change(&kettle.probe, "");
    service.reload();
    assert_withdrawn(&broker, &everything, &service);
    kettle.board.send_line(COLD);
    service.has_logged(3, "turns");
    assert_eq!(service.log().count("kettle"), 2);
    service.stop();
}

#[test]
fn an_active_alarm_ends_when_a_reload_takes_its_rule_away() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut kettle = Kettle::new(&broker);
    let service = kettle.on_fire(&broker);
    kettle.scene.change(&kettle.rule, "");
    service.reload();
    assert_withdrawn(&broker, &everything, &service);
    service.stop();
}

#[test]
fn an_active_alarm_ends_when_the_service_starts_without_its_rule() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut kettle = Kettle::new(&broker);
    kettle.on_fire(&broker).stop();
    kettle.scene.change(&kettle.rule, "");
    let service = Service::start(&kettle.scene);
    assert_withdrawn(&broker, &everything, &service);
    service.stop();
    // Told once, not with every start.
    let service = Service::start(&kettle.scene);
    assert_withdrawn(&broker, &everything, &service);
    service.stop();
}

/// One move to active, one back, both at the broker and in the journal.
fn assert_withdrawn(broker: &Broker, everything: &Subscriber, service: &Service) {
    let retained = is_retained(broker, "normal");
    assert_eq!(retained["from"], "active", "{retained}");
    let mut told = moves(everything);
    told.dedup();
    let states: Vec<&str> = told.iter().filter_map(|it| it["state"].as_str()).collect();
    assert_eq!(states, ["active", "normal"]);
    let mut entries = service.log().entries("kettle", "");
    entries.retain(|entry| entry.kind == "alarm");
    assert_eq!(entries.len(), 2, "{entries:?}");
    assert!(entries[1].text.contains("no longer configured"));
}
