//! Promise: a board need not hang on a serial port: what is published to a topic, written by a program,
//! shown in a file or passed on by a network bridge is in the log as well, whole and in order.

use crate::checks::assert_rising;
use nightbench_tests::binary::nightbench;
use nightbench_tests::broker::Broker;
use nightbench_tests::log::Log;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled};
use nightbench_tests::wait::{SOON, until};
use std::fs;
use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::{Command, Stdio};

const LINES: usize = 200;

/// The file is read each 20 ms, so that many numbers are awaited one after the other.
const FILES: usize = 20;

/// Says as well whether it was told what the service manager, or who keeps its passwords, tells the
/// service alone.
const SCRIPT: &str = "\
import os, time
hidden = ['NOTIFY_SOCKET', 'WATCHDOG_PID', 'WATCHDOG_USEC', 'BROKER_PASSWORD']
seen = sum(name in os.environ for name in hidden)
for n in range(200):
    print(f'n={n} seen={seen}')
time.sleep(1000)
";

#[test]
fn every_line_of_a_topic_a_program_a_file_and_a_bridge_is_in_the_log() {
    let broker = Broker::start();
    let bridge = TcpListener::bind("127.0.0.1:0").unwrap();
    let scene = scene(broker.port(), bridge.local_addr().unwrap().port());
    let manager = scene.folder().join("manager");
    let _manager = UnixDatagram::bind(&manager).unwrap();
    let mut command = Command::new(nightbench());
    command.env("NOTIFY_SOCKET", &manager);
    command.env("WATCHDOG_USEC", "600000000");
    command.env("BROKER_PASSWORD", "malt");
    let service = Service::start_by(&scene, &mut command);
    let log = service.log();

    let _stays_connected = write_lines(&bridge);
    let _opened = journalled(log, "wifi", "opened");
    publish_lines(broker.port());
    for n in 1..FILES {
        put_number(scene.folder(), n);
        has_logged_up_to(log, "kernel", n);
    }

    for probe in ["wifi", "script", "bridged"] {
        has_logged_up_to(log, probe, LINES - 1);
        assert_eq!(numbers(log, probe), up_to(LINES), "{probe}");
    }
    let mut polled = numbers(log, "kernel");
    polled.dedup();
    assert_eq!(polled, up_to(FILES));
    assert!(numbers(log, "seen").iter().all(|seen| *seen == 0.0));
    for probe in ["wifi", "script", "bridged", "kernel"] {
        assert_rising(
            &log.of(probe)
                .iter()
                .map(|it| it.time_ms)
                .collect::<Vec<_>>(),
        );
    }

    let process = process_of(&journalled(log, "script", "opened"));
    assert!(Path::new(&process).exists(), "{process}");
    service.stop();
    assert!(
        !Path::new(&process).exists(),
        "{process} outlives the service"
    );
}

/// One board of each kind, with a number `n`.
fn scene(broker: u16, bridge: u16) -> Scene {
    let mut scene = Scene::new();
    fs::write(scene.folder().join("read.py"), SCRIPT).unwrap();
    put_number(scene.folder(), 0);
    let host = "host = \"127.0.0.1\"";
    let wifi = format!(
        "source = \"mqtt\"\n{host}\nport = {broker}\ntopic = \"boards/#\"\nformat = \"json\""
    );
    let bridged = format!("source = \"tcp\"\n{host}\nport = {bridge}");
    for (board, source) in [
        ("wifi", wifi.as_str()),
        (
            "script",
            "source = \"program\"\ncommand = [\"python3\", \"read.py\"]",
        ),
        (
            "kernel",
            "source = \"file\"\nfiles = { n = \"number\" }\nevery = \"20ms\"",
        ),
        ("bridged", &bridged),
    ] {
        scene.add(&format!(
            "[board.{board}]\n{source}\nsilent_after = \"60s\"\n"
        ));
        scene.bare(board, "n").number(board, (board, "n"));
    }
    scene
        .bare("script", "seen")
        .number("seen", ("script", "seen"));
    scene
}

fn has_logged_up_to(log: &Log, probe: &str, n: usize) {
    until("the last number is logged", SOON, || {
        numbers(log, probe).last() == Some(&as_number(n))
    });
}

/// The bridge is somewhere within a line when the service comes.
fn write_lines(bridge: &TcpListener) -> TcpStream {
    let (mut stream, _) = bridge.accept().unwrap();
    let lines: String = (0..LINES).map(|n| format!("n={n}\r\n")).collect();
    stream.write_all(b"51\r\n").unwrap();
    stream.write_all(lines.as_bytes()).unwrap();
    stream
}

fn publish_lines(port: u16) {
    let mut publisher = Command::new("mosquitto_pub")
        .args(["-h", "127.0.0.1", "-p", &port.to_string()])
        .args(["-q", "1", "-t", "boards/attic", "-l"])
        .stdin(Stdio::piped())
        .spawn()
        .expect("the publisher is installed");
    let mut lines = publisher.stdin.take().unwrap();
    for n in 0..LINES {
        writeln!(lines, "{{\"n\":{n}}}").unwrap();
    }
    drop(lines);
    assert!(publisher.wait().unwrap().success());
}

/// As the kernel does it: whoever reads sees the old number or the new one.
fn put_number(folder: &Path, n: usize) {
    let new = folder.join("new");
    fs::write(&new, format!("{n}\n")).unwrap();
    fs::rename(&new, folder.join("number")).unwrap();
}

fn numbers(log: &Log, probe: &str) -> Vec<f64> {
    log.of(probe).iter().filter_map(|it| it.raw).collect()
}

fn up_to(end: usize) -> Vec<f64> {
    (0..end).map(as_number).collect()
}

fn as_number(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap())
}

/// `/proc/NUMBER` of "… (process NUMBER) …".
fn process_of(text: &str) -> String {
    let (_, rest) = text.split_once("(process ").unwrap();
    let (number, _) = rest.split_once(')').unwrap();
    format!("/proc/{number}")
}
