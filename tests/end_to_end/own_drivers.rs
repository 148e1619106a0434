//! Promise to a maker: a driver begins whole, is told what is wrong with it before the first night,
//! and then gives readings as any other.

use nightbench_tests::binary::nightbench;
use nightbench_tests::drivers;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, run, words};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Makes a driver named `vane` in `folder`; the folder of it.
fn new(folder: &Path, keys: &[&str]) -> PathBuf {
    let mut arguments = vec![
        "driver",
        "new",
        "vane",
        "--folder",
        folder.to_str().unwrap(),
    ];
    arguments.extend(keys);
    let output = run(&arguments);
    assert!(output.status.success(), "{}", words(&output));
    folder.join("vane")
}

/// Runs a command of the maker's in the driver's folder.
fn done(folder: &Path, program: &str, arguments: &[&str]) {
    let mut command = Command::new(program);
    // What the maker has is no part of this workspace, and is built where it lies.
    command.env_remove("CARGO_TARGET_DIR").current_dir(folder);
    let output = command
        .args(arguments)
        .output()
        .expect("the program is there");
    assert!(
        output.status.success(),
        "{program} {arguments:?}: {}",
        words(&output)
    );
}

fn checked(library: &Path, keys: &[&str]) -> (bool, String) {
    let mut arguments = vec!["driver", "check", library.to_str().unwrap()];
    arguments.extend(keys);
    let output = run(&arguments);
    (output.status.success(), words(&output))
}

#[test]
fn a_new_driver_in_rust_builds_passes_its_test_and_keeps_every_promise() {
    let folder = tempfile::tempdir().unwrap();
    let vane = new(folder.path(), &[]);
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    done(&vane, &cargo, &["test", "--offline"]);
    done(&vane, &cargo, &["build", "--offline"]);
    let (passed, said) = checked(
        &vane.join("target/debug/libvane.so"),
        &["--set", "turn=300"],
    );
    assert!(passed, "{said}");
    assert!(
        said.contains("0 to 1 ratio give 0 to 300 deg") && said.ends_with("\npass\n"),
        "{said}"
    );
    assert!(
        said.lines().all(|line| line.chars().count() <= 80),
        "{said}"
    );
}

#[test]
fn a_new_driver_in_c_passes_its_test_and_measures_a_night() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    let vane = new(scene.folder(), &["--c"]);
    done(&vane, "make", &["check"]);
    // By its bare name, as a maker in the folder writes it.
    done(
        &vane,
        nightbench().to_str().unwrap(),
        &["driver", "check", "libvane.so"],
    );
    let folder = drivers::folder(scene.folder());
    drivers::bytes(&folder, "vane", &fs::read(vane.join("libvane.so")).unwrap());
    scene
        .divider("bench", "a0", 1000)
        .add("[drivers]\nfolders = [\"drivers\"]\n")
        .loaded("roof", ("bench", "a0"), "vane")
        .add("[probe.roof.parameters]\nzero = 10\nturn = \"300 deg\"\n");
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("a0=500");
    service.has_logged(1, "roof");
    let reading = service.log().of("roof").remove(0);
    assert_eq!(
        (reading.electrical, reading.value),
        (Some(0.5), Some(160.0))
    );
    assert_eq!(reading.unit, "deg");
    service.stop();
}

#[test]
fn what_is_there_is_not_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let vane = new(folder.path(), &["--c"]);
    fs::write(vane.join("vane.c"), "mine").unwrap();
    let place = folder.path().to_str().unwrap();
    let again = run(&["driver", "new", "vane", "--folder", place]);
    assert_eq!(again.status.code(), Some(1));
    assert!(words(&again).contains("is there already and is left as it is"));
    assert_eq!(fs::read_to_string(vane.join("vane.c")).unwrap(), "mine");
}

#[test]
fn the_platinum_driver_keeps_every_promise_as_a_library() {
    let scene = Scene::new();
    let folder = drivers::folder(scene.folder());
    drivers::example(&folder, "platinum", ("nightbench-platinum", "platinum"));
    let (passed, said) = checked(&folder.join("libplatinum.so"), &["--set", "r0=1 kOhm"]);
    assert!(passed, "{said}");
    assert!(
        said.contains("185.201 to 3904.81 ohm give -200 to 850 Cel"),
        "{said}"
    );
}

/// A way to misbehave, and what the maker is told.
const TOLD: [(&str, &str); 7] = [
    (
        "SEGFAULT",
        "crashed (segmentation fault) while it evaluated",
    ),
    ("SPIN", "WRONG it did not answer within 250 ms"),
    (
        "NO_NUMBER",
        "gives NaN; give a number for every input in the range",
    ),
    ("TOO_MANY", "wrote more numbers than it was asked for"),
    ("EXIT", "ended its process (exit code 0)"),
    (
        "UNKNOWN_STATUS",
        "WRONG 13, which is in its range, gives no value (unknown status 77)",
    ),
    ("NO_SYMBOL", "it has no symbol `nightbench_driver`"),
];

#[test]
fn a_maker_is_told_what_is_wrong_before_the_first_night() {
    let scene = Scene::new();
    let folder = drivers::folder(scene.folder());
    for (how, wanted) in TOLD {
        drivers::misbehaving(&folder, "bad", how);
        let (passed, said) = checked(&folder.join("libbad.so"), &[]);
        let said: Vec<&str> = said.split_whitespace().collect();
        assert!(
            !passed && said.join(" ").contains(wanted),
            "{how}: {}",
            said.join(" ")
        );
    }
}

#[test]
fn all_drivers_are_listed_and_a_refused_one_with_its_reason() {
    let mut scene = Scene::new();
    let folder = drivers::folder(scene.folder());
    drivers::vane_1_0(&folder, "vane");
    drivers::misbehaving(&folder, "bad", "MAJOR_2");
    scene.add("[drivers]\nfolders = [\"drivers\"]\n").write();
    let output = run(&["drivers", "--config", scene.file().to_str().unwrap()]);
    let said = words(&output);
    assert!(output.status.success(), "{said}");
    let folded = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for wanted in [
        "thermistor: linked in, interface 1.1 temperature (Cel) from ohm",
        "drivers/libvane.so, interface 1.0 angle, in the unit that the configuration says, from ratio, number SHA-256 ",
        "drivers/libbad.so, refused",
        "built for interface 2.3, this program speaks 1.1",
    ] {
        assert!(folded.contains(wanted), "{wanted}: {said}");
    }
}
