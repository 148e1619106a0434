//! Promise: from plugging a board in to its first reading without a manual: its port is named, what it
//! says is shown, and the printed configuration reads it.

use nightbench_tests::binary::nightbench;
use nightbench_tests::board::Board;
use nightbench_tests::process::Process;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, run, words};
use nightbench_tests::wait::{SOON, until};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::{self, File};
use std::io::Write;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{SystemTime, UNIX_EPOCH};

/// `nightbench listen` with these arguments, while the board says line after line.
fn listen(
    board: &mut Board,
    folder: &Path,
    arguments: &[&str],
    line: impl Fn(u32) -> String,
) -> Process {
    let port = board.port().to_owned();
    let mut command = Command::new(nightbench());
    let mut process = Process::start(
        "listen",
        folder,
        command.arg("listen").arg(port).args(arguments),
    );
    let mut count = 0;
    until("listening ends", SOON, || {
        if board.send_line_or_drop_it(&line(count)) {
            count += 1;
        }
        process.ended().is_some()
    });
    process
}

/// A board's line: two probes, a lamp that stays on, the board's own clock.
fn usual(count: u32) -> String {
    let wobble = [0, 3, 1, 4, 2][count as usize % 5];
    let clock = SystemTime::now().duration_since(UNIX_EPOCH).unwrap();
    let ms = clock.as_millis() % 10_000_000;
    format!("ms={ms} a0={} a1={} led=1", 510 + wobble, 300 - wobble)
}

#[test]
fn the_printed_configuration_reads_the_board_it_was_made_from() {
    let mut scene = Scene::new();
    let mut board = Board::plugged_in("bench", scene.folder());
    let mut process = listen(
        &mut board,
        scene.folder(),
        &["--lines", "20", "--baud", "9600"],
        usual,
    );
    assert!(process.wait().success(), "{}", process.stderr());
    let said = process.stderr();
    assert!(
        said.contains("a0=51") && said.contains("led=1"),
        "not shown live: {said}"
    );
    assert!(
        said.contains("milliseconds"),
        "the board's clock is not seen: {said}"
    );

    let printed = process.stdout();
    assert!(printed.contains("baud = 9600"), "{printed}");
    scene.replace(&printed.replace("bench.sqlite", "cellar.sqlite"));
    scene.write();
    let checked = run(&["check", scene.file().to_str().unwrap()]);
    assert!(checked.status.success(), "{}", words(&checked));

    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("ms=1 a0=512 a1=256 led=1");
    service.has_logged(1, "a0");
    service.has_logged(1, "a1");
    let reading = service.log().of("a0").remove(0);
    // 10 kOhm at 25 Cel, and half of 1023 is 10 kOhm against a resistor of as much.
    assert_eq!((reading.unit.as_str(), reading.quality), ("Cel", 0));
    assert!((reading.value.unwrap() - 25.0).abs() < 0.1, "{reading:?}");
    service.stop();
}

#[test]
fn the_port_is_given_back_as_it_was() {
    let scene = Scene::new();
    let mut board = Board::plugged_in("bench", scene.folder());
    let settings = || {
        let it = tcgetattr(File::open(scene.folder().join("usb-bench-if00")).unwrap()).unwrap();
        let modes = (
            it.control_modes.bits(),
            it.local_modes.bits(),
            it.input_modes.bits(),
        );
        (
            it.output_speed(),
            it.input_speed(),
            modes,
            it.output_modes.bits(),
        )
    };
    let before = settings();
    let arguments = ["--lines", "5", "--baud", "57600", "--config-only"];
    let mut process = listen(&mut board, scene.folder(), &arguments, usual);
    assert!(process.wait().success(), "{}", process.stderr());
    assert_eq!(settings(), before);
    assert_eq!(process.stderr(), "", "`--config-only` says nothing");
}

/// A board that sends text at its own rate; at any other the bits are taken at the wrong moments.
#[test]
fn the_baud_rate_is_found_among_the_usual_ones() {
    let scene = Scene::new();
    let mut board = Board::plugged_in("bench", scene.folder());
    let port = File::options()
        .read(true)
        .write(true)
        .open(board.port())
        .unwrap();
    let mut settings = tcgetattr(&port).unwrap();
    settings.set_speed(1200).unwrap();
    tcsetattr(&port, OptionalActions::Now, &settings).unwrap();

    let mut command = Command::new(nightbench());
    let command = command
        .arg("listen")
        .arg(board.port())
        .args(["--try-bauds", "--lines", "10"]);
    let mut process = Process::start("listen", scene.folder(), command);
    let mut count = 0;
    until("listening ends", SOON, || {
        count += 1;
        match tcgetattr(&port).unwrap().output_speed() {
            57_600 => drop(board.send_line_or_drop_it(&usual(count))),
            _ => board.send_bytes(b"\xf8\x00\xe6x\x80\n\x1e\xfe"),
        }
        process.ended().is_some()
    });
    assert!(process.wait().success(), "{}", process.stderr());
    assert!(
        process.stderr().contains("best: 57600 baud"),
        "{}",
        process.stderr()
    );
    assert!(
        process.stdout().contains("baud = 57600"),
        "{}",
        process.stdout()
    );
    assert_eq!(tcgetattr(&port).unwrap().output_speed(), 1200);
}

#[test]
fn a_wrong_baud_rate_is_suspected_and_nothing_is_printed() {
    let scene = Scene::new();
    let mut board = Board::plugged_in("bench", scene.folder());
    let mut command = Command::new(nightbench());
    let command = command
        .arg("listen")
        .arg(board.port())
        .args(["--seconds", "1"]);
    let mut process = Process::start("listen", scene.folder(), command);
    until("listening ends", SOON, || {
        board.send_bytes(b"\xf8\x00\xe6x\x80\x1e\xfe");
        process.ended().is_some()
    });
    assert_eq!(process.wait().code(), Some(1));
    assert!(
        process
            .stderr()
            .contains("bytes, no line: wrong baud rate?"),
        "{}",
        process.stderr()
    );
    assert_eq!(process.stdout(), "");
}

#[test]
fn ctrl_c_ends_listening_with_the_configuration() {
    let scene = Scene::new();
    let mut board = Board::plugged_in("bench", scene.folder());
    let mut command = Command::new(nightbench());
    let mut process = Process::start(
        "listen",
        scene.folder(),
        command.arg("listen").arg(board.port()),
    );
    let mut count = 0;
    until("ten lines are shown", SOON, || {
        count += 1;
        board.send_line_or_drop_it(&usual(count));
        process.stderr().matches("a0=").count() >= 10
    });
    process.signal(rustix::process::Signal::INT);
    assert!(process.wait().success(), "{}", process.stderr());
    assert!(
        process.stdout().contains("[probe.a0]"),
        "{}",
        process.stdout()
    );
}

fn piped(bytes: &[u8]) -> Output {
    let mut command = Command::new(nightbench());
    let command = command.args(["listen", "-"]).stdin(Stdio::piped());
    let mut child = command
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(bytes).unwrap();
    child.wait_with_output().unwrap()
}

#[test]
fn recorded_and_piped_lines_are_recognised_as_well() {
    let mut scene = Scene::new();
    let lines = "time;light\n1;512\n2;600\n4;580\n5;300\n";
    let recording = scene.folder().join("night.txt");
    fs::write(&recording, lines).unwrap();
    for output in [
        run(&["listen", recording.to_str().unwrap()]),
        piped(lines.as_bytes()),
    ] {
        assert!(output.status.success(), "{}", words(&output));
        let printed = String::from_utf8(output.stdout).unwrap();
        assert!(printed.contains("separator = \"semicolon\""), "{printed}");
        scene.replace(&printed);
        scene.write();
        let checked = run(&["check", scene.file().to_str().unwrap()]);
        assert!(checked.status.success(), "{}", words(&checked));
    }
}

#[test]
fn what_is_not_recognised_ends_with_one_and_says_why() {
    for (bytes, why) in [
        (&b""[..], "nothing came"),
        (b"\xff\xfe\x80", "no text: wrong baud rate?"),
        (b"a0:512\na0:513\n", "`name=512`"),
        (b"a0=512\n", "one line is not enough"),
    ] {
        let output = piped(bytes);
        assert_eq!(output.status.code(), Some(1), "{}", words(&output));
        assert!(words(&output).contains(why), "{}", words(&output));
        assert!(output.stdout.is_empty());
    }
    let missing = run(&["listen", "no-such-port"]);
    assert_eq!(missing.status.code(), Some(1));
    assert!(
        words(&missing).contains("nightbench ports"),
        "{}",
        words(&missing)
    );
}

#[test]
fn ports_names_the_board_to_copy_and_who_holds_it() {
    let scene = Scene::new();
    let board = Board::plugged_in("bench", scene.folder());
    let (root, by_id) = (scene.folder(), scene.folder().join("dev/serial/by-id"));
    fs::create_dir_all(&by_id).unwrap();
    symlink(board.device().unwrap(), root.join("dev/ttyACM0")).unwrap();
    symlink("../../ttyACM0", by_id.join("usb-maker_board_1234-if00")).unwrap();
    let root = root.to_str().unwrap();
    let told = words(&run(&["ports", "--root", root]));
    let name = by_id.join("usb-maker_board_1234-if00");
    assert!(
        told.contains(&format!("port = \"{}\"", name.display())),
        "{told}"
    );
    // The board's far end is held by this very test.
    assert!(
        told.contains(&format!("(process {})", std::process::id())),
        "{told}"
    );
    let json = run(&["ports", "--root", root, "--format", "json"]);
    let port: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(port["port"], name.to_str().unwrap());
}

#[test]
fn without_a_port_ports_says_what_to_do() {
    let scene = Scene::new();
    let output = run(&["ports", "--root", scene.folder().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    for step in ["cable", "dmesg", "dialout"] {
        assert!(words(&output).contains(step), "{}", words(&output));
    }
}
