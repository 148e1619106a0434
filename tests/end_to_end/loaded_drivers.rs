//! Promise: a driver from a library gives what a linked-in one gives, and a changed library is taken
//! at a reload without a lost reading.

use nightbench_tests::board::Board;
use nightbench_tests::drivers;
use nightbench_tests::log::Logged;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled, run, words};
use nightbench_tests::talk::while_talking;
use nightbench_tests::wait::{SOON, until};
use std::fs;
use std::sync::Mutex;
use std::time::Duration;

/// The board's pace.
const PACE: Duration = Duration::from_millis(5);

/// Shipped drivers as libraries: package, example, name here.
const SHIPPED: [(&str, &str, &str); 2] = [
    ("nightbench-thermistor", "thermistor_shared", "warm"),
    ("nightbench-photoresistor", "photoresistor_shared", "bright"),
];

/// Drivers, which are also the probes' names: linked in, in a process, in place.
const WARM: [&str; 3] = ["thermistor", "warm", "warm_here"];
const BRIGHT: [&str; 3] = ["photoresistor", "bright", "bright_here"];
const CHANNELS: [&str; 6] = ["a0", "a1", "a2", "a3", "a4", "a5"];

#[test]
fn linked_in_or_loaded_in_a_process_or_in_place_the_bits_are_the_same() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    let folder = drivers::folder(scene.folder());
    scene.add("[drivers]\nfolders = [\"drivers\"]\n");
    for channel in CHANNELS {
        scene.divider("bench", channel, 4095);
    }
    for (package, example, name) in SHIPPED {
        drivers::example(&folder, name, (package, example));
        for (driver, keys) in [
            (name.to_owned(), ""),
            (format!("{name}_here"), "in_process = true\n"),
        ] {
            scene.add(&format!(
                "[driver.{driver}]\nlibrary = \"lib{name}.so\"\n{keys}"
            ));
        }
    }
    for (driver, channel) in WARM.into_iter().zip(CHANNELS) {
        scene.thermistor_by(driver, ("bench", channel), driver);
    }
    for (driver, channel) in BRIGHT.into_iter().zip(&CHANNELS[3..]) {
        scene.photoresistor_by(driver, ("bench", channel), driver);
    }
    let service = Service::start_with(&scene, &mut [&mut board]);
    for count in (100..4000).step_by(50) {
        let fields = CHANNELS.map(|channel| format!("{channel}={count}"));
        board.send_line(&fields.join(" "));
    }
    let sent = (100..4000).step_by(50).count();
    for group in [WARM, BRIGHT] {
        let bits = group.map(|probe| {
            service.has_logged(sent, probe);
            service.log().of(probe).iter().map(bits).collect::<Vec<_>>()
        });
        assert!(bits[0].iter().any(|(value, ..)| value.is_some()));
        assert_eq!(bits[0], bits[1], "{group:?}");
        assert_eq!(bits[0], bits[2], "{group:?}");
    }
    service.stop();
}

fn bits(reading: &Logged) -> (Option<u64>, Option<u64>, i64) {
    let bits = |number: Option<f64>| number.map(f64::to_bits);
    (
        bits(reading.value),
        bits(reading.uncertainty),
        reading.quality,
    )
}

#[test]
fn a_changed_library_is_taken_at_a_reload_without_a_lost_reading() {
    let mut scene = Scene::new();
    let board = Mutex::new(scene.board("bench"));
    let folder = drivers::folder(scene.folder());
    drivers::misbehaving(&folder, "sunny", "HEALTHY");
    scene
        .add("[drivers]\nfolders = [\"drivers\"]\n")
        .bare("bench", "n")
        .bare("bench", "m")
        .number("turns", ("bench", "n"))
        .loaded("roof", ("bench", "m"), "sunny");
    let service = Service::start(&scene);
    service.hears(&mut board.lock().unwrap());
    let say = |board: &mut Board, number| board.send_line(&format!("n={number} m={number}"));
    while_talking(&board, PACE, say, || {
        until("the first library counts", SOON, || ratio_is(&service, 2.0));
        drivers::misbehaving(&folder, "sunny", "FACTOR_3");
        service.reload();
        let taken = journalled(service.log(), "sunny", "the one before had");
        assert!(taken.contains("libsunny.so` taken, SHA-256 "), "{taken}");
        until("the changed library counts", SOON, || {
            ratio_is(&service, 3.0)
        });
    });
    let sent = board.lock().unwrap().sent().len();
    service.has_logged(sent, "turns");
    service.has_logged(sent, "roof");
    for probe in ["turns", "roof"] {
        let readings = service.log().of(probe);
        assert!(
            readings.iter().all(|reading| reading.quality == 0),
            "{probe}"
        );
        let lines = readings.iter().map(|reading| reading.raw);
        assert!(lines.eq((0..sent).map(|line| Some(line as f64))), "{probe}");
    }
    service.stop();
}

/// Whether the last value is so many times its count.
fn ratio_is(service: &Service, factor: f64) -> bool {
    let last = service.log().of("roof").pop();
    last.is_some_and(|last| last.raw > Some(0.0) && last.value == last.raw.map(|raw| raw * factor))
}

#[test]
fn a_library_that_is_written_over_in_place_takes_nobody_down() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    let folder = drivers::folder(scene.folder());
    drivers::misbehaving(&folder, "sunny", "HEALTHY");
    scene
        .add("[drivers]\nfolders = [\"drivers\"]\n[driver.here]\nlibrary = \"libsunny.so\"\nin_process = true\n")
        .bare("bench", "n")
        .bare("bench", "m")
        .loaded("roof", ("bench", "n"), "sunny")
        .loaded("wall", ("bench", "m"), "here");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("n=1 m=1");
    let library = folder.join("libsunny.so");
    let length = fs::metadata(&library).unwrap().len();
    fs::write(&library, vec![0; usize::try_from(length).unwrap()]).unwrap();
    for number in 2..20 {
        board.send_line(&format!("n={number} m={number}"));
    }
    for probe in ["roof", "wall"] {
        service.has_logged(19, probe);
        let readings = service.log().of(probe);
        assert!(
            readings
                .iter()
                .all(|it| it.value == it.raw.map(|raw| 2.0 * raw)),
            "{probe}"
        );
    }
    service.stop();
}

#[test]
fn a_driver_for_interface_1_0_is_taken_as_it_is() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    let folder = drivers::folder(scene.folder());
    drivers::vane_1_0(&folder, "vane");
    scene
        .add("[drivers]\nfolders = [\"drivers\"]\n")
        .bare("bench", "n")
        .add("[probe.mast]\nboard = \"bench\"\nchannel = \"n\"\ndriver = \"vane\"\ninput = \"number\"\nunit = \"deg\"\n[probe.mast.parameters]\nturn = 300\n");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("n=0.5");
    service.has_logged(1, "mast");
    assert_eq!(service.log().of("mast")[0].value, Some(150.0));
    service.stop();
}

#[test]
fn a_probe_takes_one_of_the_outputs_and_a_fixed_table_is_a_driver() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    let folder = drivers::folder(scene.folder());
    drivers::in_c(&folder, "vane");
    drivers::in_c(&folder, "ramp");
    scene.add("[drivers]\nfolders = [\"drivers\"]\n");
    for channel in &CHANNELS[..3] {
        scene.divider("bench", channel, 1000);
    }
    scene
        .loaded("angle", ("bench", "a0"), "vane")
        .add("unit = \"deg\"\n")
        .loaded("part", ("bench", "a1"), "vane")
        .add("output = \"part\"\n")
        .loaded("line", ("bench", "a2"), "ramp");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("a0=500 a1=500 a2=700");
    for (probe, value, unit) in [
        ("angle", 135.0, "deg"),
        ("part", 50.0, "%"),
        ("line", 7.0, "bar"),
    ] {
        service.has_logged(1, probe);
        let reading = service.log().of(probe).remove(0);
        let given = reading.value.expect("a value");
        assert!((given - value).abs() < 1e-9, "{probe}: {given}");
        assert_eq!(reading.unit, unit);
        assert!(reading.uncertainty.is_some_and(|one| one > 0.0), "{probe}");
    }
    service.stop();
}

#[test]
fn an_output_that_is_not_there_is_refused_and_another_than_the_first_is_not_calibrated() {
    let mut scene = Scene::new();
    let folder = drivers::folder(scene.folder());
    drivers::in_c(&folder, "vane");
    let _board = scene.board("bench");
    scene
        .divider("bench", "a0", 1000)
        .add("[drivers]\nfolders = [\"drivers\"]\n")
        .loaded("part", ("bench", "a0"), "vane")
        .add("output = \"part\"\n")
        .write();
    let config = scene.file().to_str().unwrap().to_owned();
    let refused = words(&run(&["calibrate", "part", "--config", &config]));
    assert!(
        refused.contains("of which only the output `angle` is calibrated"),
        "{refused}"
    );
    let text = fs::read_to_string(scene.file()).unwrap();
    fs::write(scene.file(), text.replace("\"part\"\n", "\"prat\"\n")).unwrap();
    let refused = words(&run(&["check", &config]));
    assert!(
        refused.contains("unknown `output`: `prat`; there is a similar one: `part`"),
        "{refused}"
    );
}
