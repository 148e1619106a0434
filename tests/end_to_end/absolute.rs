//! Promise: at a converter with a reference of its own, a supply that sags is measured and leaves the
//! temperature where it is; where the supply is not known, no temperature is made up.

use nightbench_tests::board::Board;
use nightbench_tests::log::Logged;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled};
use nightbench_tests::wait::{SOON, until};
use std::fs;

/// Counts of the converter at its reference.
const FULL_SCALE: f64 = 4095.0;

/// Its reference, volt.
const REFERENCE: f64 = 4.4;

/// Stored codes of the qualities.
const SATURATED: i64 = 3;
const UNREADABLE: i64 = 5;
const STALE: i64 = 6;

/// A thermistor of 10 kOhm at 25 Cel on `mash`, its supply behind two equal resistors on `vdd`.
fn scene(silent_after: &str) -> (Scene, Board) {
    let mut scene = Scene::new();
    let board = scene.board_with("bench", &format!("silent_after = \"{silent_after}\"\n"));
    scene
        .add(
            "[board.bench.channel.a0]\nfront_end = \"divider\"\nprobe_side = \"low\"\n\
             resistor = \"10 kOhm\"\nfull_scale = 4095\nreference = \"4.4 V\"\n\
             supply_channel = \"vdd\"\n\
             [board.bench.channel.vdd]\nfront_end = \"voltage\"\nreference = \"4.4 V\"\n\
             ratio = 2\nfull_scale = 4095\n",
        )
        .add(
            "[probe.mash]\nboard = \"bench\"\nchannel = \"a0\"\ndriver = \"thermistor\"\n\
             [probe.mash.parameters]\nr0 = \"10 kOhm\"\nbeta = \"3950 K\"\n",
        );
    (scene, board)
}

/// What the board reads of 10 kOhm under 10 kOhm at a supply voltage: `a0`, `vdd`.
fn counts(volt: f64) -> (f64, f64) {
    let count = |volt: f64| (volt / REFERENCE * FULL_SCALE * 100.0).round() / 100.0;
    (count(volt / 2.0), count(volt / 2.0))
}

fn line(volt: f64) -> String {
    let (a0, vdd) = counts(volt);
    format!("a0={a0} vdd={vdd}")
}

fn last(service: &Service) -> Logged {
    service.log().of("mash").pop().unwrap()
}

#[test]
fn a_supply_that_sags_by_five_percent_leaves_the_temperature_where_it_is() {
    let (scene, mut board) = scene("60s");
    let service = Service::start_with(&scene, &mut [&mut board]);
    for (number, volt) in (1..).zip([3.3, 3.135, 3.3]) {
        board.send_line(&line(volt));
        service.has_logged(number, "mash");
        let reading = last(&service);
        assert_eq!(reading.quality, 0, "{reading:?}");
        assert!((reading.value.unwrap() - 25.0).abs() < 0.01, "{reading:?}");
        // The log keeps what the board said.
        assert_eq!(reading.raw, Some(counts(volt).0));
    }
    service.stop();
}

#[test]
fn a_supply_that_is_not_known_is_the_probes_fault_and_the_journal_names_it() {
    let (scene, mut board) = scene("60s");
    let service = Service::start_with(&scene, &mut [&mut board]);
    for (number, (line, quality)) in (1..).zip([
        (line(3.3), 0),
        ("a0=1500 vdd=4095".to_owned(), SATURATED),
        ("a0=1500 vdd=ovf".to_owned(), UNREADABLE),
        (line(3.3), 0),
    ]) {
        board.send_line(&line);
        service.has_logged(number, "mash");
        let reading = last(&service);
        assert_eq!(reading.quality, quality, "{line}: {reading:?}");
        assert!(reading.raw.is_some(), "{reading:?}");
    }
    let told = journalled(service.log(), "bench", "supply channel `vdd`: saturated");
    assert!(told.contains("read the same"), "{told}");
    service.stop();
}

#[test]
fn the_last_supply_holds_until_it_is_too_old() {
    let (scene, mut board) = scene("2s");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line(&line(3.3));
    board.send_line(&format!("a0={}", counts(3.3).0));
    service.has_logged(2, "mash");
    assert_eq!(last(&service).quality, 0);
    until("the supply is too old", SOON, || {
        board.send_line("a0=1500");
        service
            .log()
            .of("mash")
            .last()
            .is_some_and(|it| it.quality == STALE && it.raw == Some(1500.0))
    });
    service.stop();
}

#[test]
fn a_table_of_corrections_is_added_before_the_divider_and_not_to_the_log() {
    let mut scene = Scene::new();
    fs::write(
        scene.folder().join("adc.csv"),
        "count,correction\n0,12\n1023,12\n",
    )
    .unwrap();
    let mut board = scene.board_with(
        "bench",
        "silent_after = \"60s\"\ncorrections_file = \"adc.csv\"\n",
    );
    scene
        .divider("bench", "a0", 1023)
        .thermistor("mash", ("bench", "a0"), "")
        .divider("bench", "a1", 1023)
        .add("corrections = []\n")
        .thermistor("bare", ("bench", "a1"), "");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("a0=500 a1=512");
    service.has_logged(1, "bare");
    let (mash, bare) = (last(&service), service.log().of("bare").pop().unwrap());
    assert_eq!((mash.raw, bare.raw), (Some(500.0), Some(512.0)));
    // Source: exact arithmetic, `divider_adc.csv`: code 512 of 1023, 10 kOhm.
    for reading in [mash, bare] {
        let ohm = reading.electrical.unwrap();
        assert!((ohm / 10_019.569_471_6 - 1.0).abs() < 1e-9, "{ohm}");
    }
    service.stop();
}
