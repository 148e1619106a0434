//! The firmwares of `deploy/boards` without a board: built as a person builds them, and run in a
//! simulator whose serial port is a pseudo-terminal and whose voltages the test sets.
//!
//! It knows no expectation. Bit errors on a line, the drift of a crystal and the noise of a converter are
//! not simulated.

use crate::binary::project;
use crate::service::words;
use crate::wait::{SOON, eventually};
use std::fs::{self, File};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Output, Stdio};

/// The supply of the simulated board and the reference of its converter, millivolt.
pub const SUPPLY_MV: f64 = 5000.0;

/// How many times faster than the real board the simulated one runs: fast enough not to be waited for,
/// slow enough for two busy cores.
const SPEED: &str = "8";

/// A file or folder of `deploy/boards`.
#[must_use]
pub fn board_file(name: &str) -> PathBuf {
    project().join("deploy/boards").join(name)
}

/// Runs the AVR firmware's Makefile, with its products in `folder`; `defines` as for its `DEFINES`.
///
/// # Panics
/// Where `make` is missing.
#[must_use]
pub fn make(folder: &Path, defines: &str) -> Output {
    Command::new("make")
        .arg("--directory")
        .arg(board_file("avr"))
        .arg(format!("BUILD={}", folder.display()))
        .arg(format!("DEFINES={defines}"))
        .output()
        .expect("`tests/install` installs make")
}

/// The lines of a MicroPython program that runs on stand-ins, until it has printed `lines` of them;
/// `counts` are what the converter sees on its inputs.
///
/// # Panics
/// Where the program fails.
#[must_use]
pub fn micropython_lines(program: &Path, lines: usize, counts: &[u32]) -> Vec<String> {
    let output = Command::new("python3")
        .arg(source("micropython.py"))
        .arg(program)
        .arg(lines.to_string())
        .args(counts.iter().map(u32::to_string))
        .output()
        .expect("`tests/install` installs python3");
    assert!(output.status.success(), "{}", words(&output));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.lines().map(str::to_owned).collect()
}

/// A simulated AVR board with its firmware running.
#[derive(Debug)]
pub struct SimulatedAvr {
    simulator: Child,
    orders: ChildStdin,
    port: PathBuf,
    folder: PathBuf,
}

impl SimulatedAvr {
    /// Builds simulator and firmware in `folder` and starts the board.
    ///
    /// # Panics
    /// Where one of them does not build.
    #[must_use]
    pub fn powered_up(folder: &Path, defines: &str) -> Self {
        let made = make(folder, defines);
        assert!(made.status.success(), "{}", words(&made));
        let mut simulator = Command::new(build_simulator(folder))
            .arg(folder.join("firmware.elf"))
            .arg(SPEED)
            .arg(folder.join("transcript"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(File::create(folder.join("simulator.err")).expect("the folder is writable"))
            .spawn()
            .expect("the simulator was built");
        let said = simulator.stdout.take().expect("stdout is piped");
        let orders = simulator.stdin.take().expect("stdin is piped");
        let mut board = Self {
            simulator,
            orders,
            port: PathBuf::new(),
            folder: folder.to_owned(),
        };
        let mut lines = BufReader::new(said).lines().map_while(Result::ok);
        let port = lines.find_map(|line| line.strip_prefix("port ").map(PathBuf::from));
        board.port = port.unwrap_or_else(|| panic!("no port: {}", board.simulator_said()));
        board
    }

    /// The pseudo-terminal of its serial port.
    #[must_use]
    pub fn port(&self) -> &Path {
        &self.port
    }

    /// Puts a steady voltage on an input.
    pub fn input(&mut self, channel: usize, millivolt: f64) {
        self.order(&format!("input {channel} {millivolt}"));
    }

    /// Puts a voltage with a sine on it on an input: `ripple` is its amplitude.
    pub fn rippling_input(&mut self, channel: usize, millivolt: f64, ripple: f64, hertz: f64) {
        self.order(&format!("input {channel} {millivolt} {ripple} {hertz}"));
    }

    /// Pulls the reset pin between two lines, as opening the port of a real board does.
    pub fn reset(&mut self) {
        self.order("reset");
    }

    /// Pulls the reset pin after so many more bytes.
    pub fn reset_after(&mut self, bytes: usize) {
        self.order(&format!("cut {bytes}"));
    }

    /// Stops the interrupt that counts its milliseconds.
    pub fn stall(&mut self) {
        self.order("stall");
    }

    /// Everything that the firmware has sent up to the end of its last line.
    #[must_use]
    pub fn transcript(&self) -> String {
        fs::read_to_string(self.folder.join("transcript")).unwrap_or_default()
    }

    /// Waits for this many lines that begin with `start`, and gives all of them.
    ///
    /// # Panics
    /// Where they do not come.
    #[must_use]
    pub fn sends(&self, count: usize, start: &str) -> Vec<String> {
        let what = format!("{count} lines of the firmware that begin with `{start}`");
        eventually(&what, SOON, || {
            let text = self.transcript();
            let lines = text.split_inclusive('\n').filter(|it| it.ends_with('\n'));
            let lines: Vec<String> = lines
                .filter(|line| line.starts_with(start))
                .map(|line| line.trim_end().to_owned())
                .collect();
            (lines.len() >= count).then_some(lines)
        })
    }

    /// The rate that the firmware has set, bits a second.
    ///
    /// # Panics
    /// Where it sends nothing.
    #[must_use]
    pub fn baud(&self) -> f64 {
        eventually("the firmware's first byte", SOON, || {
            let said = self.simulator_said();
            let rate = said.lines().find_map(|line| line.strip_prefix("baud "));
            rate.and_then(|rate| rate.parse().ok())
        })
    }

    fn simulator_said(&self) -> String {
        fs::read_to_string(self.folder.join("simulator.err")).unwrap_or_default()
    }

    fn order(&mut self, order: &str) {
        if let Err(why) = writeln!(self.orders, "{order}") {
            panic!("the simulator is gone ({why}): {}", self.simulator_said());
        }
    }
}

impl Drop for SimulatedAvr {
    fn drop(&mut self) {
        // Both fail only where it has ended already.
        let _ = self.simulator.kill();
        let _ = self.simulator.wait();
    }
}

/// Compiles the simulator against Debian's libsimavr.
fn build_simulator(folder: &Path) -> PathBuf {
    let program = folder.join("simulator");
    let output = Command::new("cc")
        .args(["-std=gnu11", "-O2", "-Wall", "-Wextra", "-Werror"])
        .args(["-isystem", "/usr/include/simavr"])
        .arg(source("simulator.c"))
        .arg("-o")
        .arg(&program)
        .args(["-lsimavr", "-lm"])
        .output()
        .expect("`tests/install` installs cc");
    assert!(output.status.success(), "{}", words(&output));
    program
}

fn source(name: &str) -> PathBuf {
    project().join("tests/src/firmware").join(name)
}
