//! Promise: a broken lead, water in the probe or a wrong setting never looks like a number, and an
//! alarm is told once, with what to do.

use crate::checks::QUALITIES;
use nightbench_tests::board::Board;
use nightbench_tests::broker::{Broker, Message};
use nightbench_tests::scene::Scene;
use nightbench_tests::service::Service;
use nightbench_tests::wait::{SOON, eventually, until};

/// A thermistor on the low side, 10 bits: 512 is 25 degC, 150 about 70 degC.
fn kettle(scene: &mut Scene, broker: &Broker, alarm: &str) -> Board {
    let board = scene.board_with("bench", "silent_after = \"1s\"\n");
    scene
        .divider("bench", "a0", 1023)
        .thermistor("kettle", ("bench", "a0"), "")
        .mqtt("kitchen", broker.port())
        .add(&format!(
            "[probe.kettle.alarm.{alarm}\non_delay = \"0s\"\noff_delay = \"0s\"\n\
             action = \"look at the kettle\"\n"
        ));
    board
}

fn alarm(broker: &Broker, name: &str, state: &str) -> Message {
    eventually(&format!("alarm `{name}` is {state}"), SOON, || {
        let retained = broker.retained(&format!("cellar/kettle/alarm/{name}"));
        retained
            .into_iter()
            .find(|message| message.json()["state"] == state)
    })
}

#[test]
fn each_fault_of_the_wiring_has_its_quality_and_no_value() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .divider("bench", "a0", 1023)
        .thermistor("kettle", ("bench", "a0"), "");
    let service = Service::start_with(&scene, &mut [&mut board]);
    let lines = [
        ("a0=512", "good"),
        ("a0=1023", "open_circuit"),
        ("a0=0", "short_circuit"),
        ("a0=1500", "saturated"),
        ("a0=-3", "saturated"),
        ("a0=oops", "unreadable"),
        ("a0=nan", "unreadable"),
        ("a0=512", "good"),
    ];
    for (line, _) in lines {
        board.send_line(line);
    }
    service.has_logged(lines.len(), "kettle");
    for (reading, (line, expected)) in service.log().of("kettle").iter().zip(lines) {
        let quality = QUALITIES[usize::try_from(reading.quality).unwrap()];
        assert_eq!(quality, expected, "{line}");
        let is_good = expected == "good";
        assert_eq!(reading.value.is_some(), is_good, "{line}");
        assert_eq!(reading.uncertainty.is_some(), is_good, "{line}");
    }
    service.stop();
}

#[test]
fn a_fault_at_the_broker_has_no_number_and_says_what_to_check() {
    let mut broker = Broker::start();
    let mut scene = Scene::new();
    let mut board = kettle(&mut scene, &broker, "fault]");
    let everything = broker.subscribe("cellar/#");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("a0=1023");
    let message = everything.wait_for(1, "/kettle/reading")[0].json();
    assert!(
        message["value"].is_null() && message["uncertainty"].is_null(),
        "{message}"
    );
    assert_eq!(message["quality"], "open_circuit");
    assert!(
        message["advice"].as_str().unwrap().contains("plug"),
        "{message}"
    );
    let raised = alarm(&broker, "fault", "active").json();
    assert_eq!(raised["quality"], "open_circuit");
    board.send_line("a0=512");
    let _ = alarm(&broker, "fault", "normal");
    service.stop();
}

#[test]
fn a_high_alarm_is_raised_and_returns_once_each_in_journal_and_broker() {
    let mut broker = Broker::start();
    let mut scene = Scene::new();
    let mut board = kettle(
        &mut scene,
        &broker,
        "high]\nlimit = \"60 Cel\"\ndeadband = \"2 Cel\"",
    );
    let everything = broker.subscribe("cellar/+/alarm/#");
    let service = Service::start_with(&scene, &mut [&mut board]);
    for count in [512, 512, 150, 150, 150, 512, 512] {
        board.send_line(&format!("a0={count}"));
    }
    service.has_logged(7, "kettle");
    let moves = || {
        let mut bodies: Vec<_> = everything.messages().iter().map(Message::json).collect();
        bodies.retain(|body| body["from"] != body["state"]);
        bodies
    };
    until("raised and returned", SOON, || moves().len() >= 2);
    let states: Vec<_> = moves().iter().map(|body| body["state"].clone()).collect();
    assert_eq!(states, ["active", "normal"]);
    let raised = &moves()[0];
    assert_eq!(
        (&raised["limit"], &raised["unit"]),
        (&60.0.into(), &"Cel".into())
    );
    assert_eq!(raised["action"], "look at the kettle");
    assert_eq!(raised["notice"], "not a safety device");
    assert!(raised["value"].as_f64().unwrap() > 60.0);
    assert_judged_on_the_first_hot_reading(&service, raised["reading_seq"].as_i64());
    assert_eq!(alarm(&broker, "high", "normal").json()["from"], "active");
    let entries = service.log().entries("kettle", "alarm");
    assert_eq!(entries.len(), 2, "{entries:?}");
    service.stop();
}

fn assert_judged_on_the_first_hot_reading(service: &Service, seq: Option<i64>) {
    let hot = service
        .log()
        .of("kettle")
        .into_iter()
        .find(|it| it.raw == Some(150.0));
    assert_eq!(seq, hot.map(|it| it.seq));
}

#[test]
fn a_board_that_falls_silent_raises_the_stale_alarm() {
    let broker = Broker::start();
    let mut scene = Scene::new();
    let mut board = kettle(&mut scene, &broker, "stale]");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("a0=512");
    service.has_logged(1, "kettle");
    let raised = alarm(&broker, "stale", "active").json();
    assert_eq!(raised["quality"], "board_silent");
    board.send_line("a0=512");
    let _ = alarm(&broker, "stale", "normal");
    service.stop();
}

#[test]
fn a_channel_that_the_board_leaves_out_reads_stale_while_the_other_goes_on() {
    let mut scene = Scene::new();
    let mut board = scene.board_with("bench", "silent_after = \"1s\"\n");
    scene
        .bare("bench", "n")
        .bare("bench", "m")
        .number("turns", ("bench", "n"))
        .number("rest", ("bench", "m"));
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("n=1 m=1");
    until("the missing channel reads `stale`", SOON, || {
        board.send_line("n=2");
        service
            .log()
            .of("rest")
            .iter()
            .any(|it| QUALITIES[it.quality as usize] == "stale")
    });
    assert!(service.log().of("turns").iter().all(|it| it.quality == 0));
    service.stop();
}
