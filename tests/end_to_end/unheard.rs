//! A service whose stderr nobody reads any more, as after its terminal was closed: the night goes on.

use nightbench_tests::binary::nightbench;
use nightbench_tests::log::Log;
use nightbench_tests::scene::Scene;
use nightbench_tests::wait::{SOON, until};
use rustix::process::{Pid, Signal, kill_process};
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

/// Ended with the test, also where the test fails.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_service_with_nobody_at_its_stderr_goes_on_logging_and_stops_in_order() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    scene.write();
    let mut command = Command::new(nightbench());
    command.arg("serve").arg("--config").arg(scene.file());
    let mut service = Ended(command.stderr(Stdio::piped()).spawn().unwrap());
    let id = Pid::from_raw(service.0.id().cast_signed()).unwrap();
    let mut stderr = BufReader::new(service.0.stderr.take().unwrap());
    let mut said = String::new();
    while !said.contains("ready") {
        assert!(stderr.read_line(&mut said).unwrap() > 0, "{said}");
    }
    drop(stderr);
    let log = Log::at(&scene.log());
    until("the board is opened", SOON, || {
        !log.entries("bench", "opened").is_empty()
    });

    // Each of these is said on stderr as well.
    kill_process(id, Signal::HUP).unwrap();
    until("the reload is journalled", SOON, || {
        !log.entries("", "taken").is_empty()
    });
    board.send_bytes(b"\n# board bench\n");
    board.send_line("n=1");
    until("the line is a reading", SOON, || log.count("turns") == 1);

    kill_process(id, Signal::TERM).unwrap();
    assert!(service.0.wait().unwrap().success());
}
