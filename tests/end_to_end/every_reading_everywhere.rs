//! Promise: what the log holds, the broker and both databases hold, faults included, and nothing else.

use crate::checks::{
    assert_rising, broker_holds_the_log, influx_holds_the_log, readings_at, sequence,
    victoria_holds_the_log,
};
use nightbench_tests::broker::Broker;
use nightbench_tests::database::Database;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::Service;

const LINES: usize = 200;

#[test]
fn two_boards_and_three_drivers_arrive_whole_at_a_broker_and_two_databases() {
    let mut broker = Broker::start();
    let (influx, victoria) = (Database::influx(), Database::victoria());
    let mut scene = Scene::new();
    let mut bench = scene.board("bench");
    let mut attic = scene.board("attic");
    scene
        .divider("bench", "a0", 1023)
        .divider("bench", "a1", 1023)
        .bare("attic", "n")
        .thermistor("mash", ("bench", "a0"), "")
        .photoresistor("window", ("bench", "a1"))
        .number("turns", ("attic", "n"))
        .mqtt("kitchen", broker.port())
        .influx("house", &influx)
        .victoria("metrics", &victoria);
    let everything = broker.subscribe("cellar/#");
    let service = Service::start_with(&scene, &mut [&mut bench, &mut attic]);

    for line in 0..LINES {
        bench.send_line(&bench_line(line));
        attic.send_line(&format!("n={line}"));
    }

    for probe in ["mash", "window", "turns"] {
        service.has_logged(LINES, probe);
        let logged = service.log().of(probe);
        assert_eq!(logged.len(), LINES, "{probe}");
        assert_rising(&logged.iter().map(|it| it.seq).collect::<Vec<_>>());
        assert_rising(&logged.iter().map(|it| it.time_ms).collect::<Vec<_>>());
    }
    broker_holds_the_log(&everything, service.log());
    assert_eq!(readings_at(&everything).len(), 3 * LINES);
    assert_rising(&sequence(&everything.under("/mash/reading")));
    influx_holds_the_log(&influx, service.log());
    victoria_holds_the_log(&victoria, service.log());
    service.stop();
}

/// Every tenth line has the first probe open.
fn bench_line(line: usize) -> String {
    let mash = if line % 10 == 9 { 1023 } else { 300 + line };
    format!("a0={mash},a1={}", 200 + line)
}

#[test]
fn the_newest_reading_and_the_status_are_retained() {
    let broker = Broker::start();
    let mut scene = Scene::new();
    let mut bench = scene.board("bench");
    scene
        .bare("bench", "n")
        .number("turns", ("bench", "n"))
        .mqtt("kitchen", broker.port());
    let service = Service::start_with(&scene, &mut [&mut bench]);
    for line in 0..20 {
        bench.send_line(&format!("n={line}"));
    }
    service.has_logged(20, "turns");
    nightbench_tests::wait::until(
        "the newest is retained",
        nightbench_tests::wait::SOON,
        || {
            let retained = broker.retained("cellar/turns/reading");
            retained
                .first()
                .is_some_and(|message| message.json()["value"] == 19.0)
        },
    );
    assert_eq!(broker.retained("cellar/status")[0].payload, "online");
    service.stop();
    assert_eq!(broker.retained("cellar/status")[0].payload, "offline");
}
