//! Promise: the guide takes a person in a terminal from the first reference point to a calibration in
//! use, keeps each point at once, and goes on where it was left, however it ended.

use nightbench_tests::binary::nightbench;
use nightbench_tests::board::Board;
use nightbench_tests::published::{Divider, Sheet};
use nightbench_tests::scene::{RESISTOR_OHM, Scene};
use nightbench_tests::service::{Service, run, words};
use nightbench_tests::terminal::Terminal;
use nightbench_tests::wait::{SOON, until};
use rustix::process::Signal;
use serde_json::Value;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// The shortest that the guide takes.
const STILL_FOR: &str = "8s";

/// A point: watched for as long as its noise asks for, then captured.
const A_POINT: Duration = Duration::from_secs(60);

/// Between two lines of the board.
const PACE: Duration = Duration::from_millis(50);

const ADC: Divider = Divider {
    resistor_ohm: RESISTOR_OHM,
    full_scale: 4095.0,
};

/// A board that sends what it is told to, as real ones do: with a code of noise.
struct Sender {
    count: Arc<AtomicU32>,
    is_over: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Sender {
    fn with(mut board: Board) -> Self {
        let (count, is_over) = (
            Arc::new(AtomicU32::new(0)),
            Arc::new(AtomicBool::new(false)),
        );
        let (at, end) = (Arc::clone(&count), Arc::clone(&is_over));
        let thread = thread::spawn(move || {
            let mut random: u32 = 1;
            while !end.load(Ordering::Relaxed) {
                // W. H. Press et al., Numerical Recipes, 7.1: a quick and dirty generator.
                random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = (random >> 16) % 3;
                let count = at.load(Ordering::Relaxed) + noise - 1;
                board.send_line_or_drop_it(&format!("a0={count}"));
                thread::sleep(PACE);
            }
        });
        Self {
            count,
            is_over,
            thread: Some(thread),
        }
    }

    /// Puts the probe into something of this temperature, at once.
    fn dip(&self, celsius: f64) {
        let count = ADC.count(Sheet::b3950().ohms(celsius));
        self.count.store(count as u32, Ordering::Relaxed);
    }
}

impl Drop for Sender {
    fn drop(&mut self) {
        self.is_over.store(true, Ordering::Relaxed);
        let _ = self.thread.take().map(JoinHandle::join);
    }
}

/// A thermistor on a board that sends, in ice.
fn bench() -> (Scene, Service, Sender) {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .divider("bench", "a0", 4095)
        .thermistor("mash", ("bench", "a0"), "");
    let service = Service::start_with(&scene, &mut [&mut board]);
    let sender = Sender::with(board);
    sender.dip(0.0);
    (scene, service, sender)
}

fn guide(scene: &Scene) -> Terminal {
    let file = scene.file();
    let file = file.to_str().unwrap();
    let arguments = [
        "calibrate",
        "mash",
        "--config",
        file,
        "--still-for",
        STILL_FOR,
    ];
    Terminal::start(nightbench(), &arguments)
}

/// From the overview to the screen that watches an ice point.
fn to_ice(guide: &mut Terminal) {
    guide.shows("Points at hand", SOON);
    guide.type_in("n");
    guide.shows("Compare it with", SOON);
    guide.type_in("\r");
    guide.shows("distilled_", SOON);
    guide.type_in("\r");
    let page = guide.shows("How to make it well", SOON);
    assert!(page.contains("Never touch water"), "{page}");
    guide.type_in("\r");
    guide.shows("the value is by the curve in use", SOON);
}

#[test]
fn a_person_is_guided_from_ice_to_a_calibration_in_use() {
    let (scene, service, sender) = bench();
    let mut first = guide(&scene);
    to_ice(&mut first);
    first.type_in("\x03");
    let (status, said) = first.ends();
    assert!(status.success() && first.is_a_shells(), "{said}");
    assert!(said.contains("\x1b[?1049l"), "{said}");

    let mut second = guide(&scene);
    to_ice(&mut second);
    second.shows("is kept in the log", A_POINT);
    // No way to say good-bye: the point is kept all the same.
    second.signal(Signal::KILL);
    assert!(!second.ends().0.success());

    let mut third = guide(&scene);
    third.shows("ice point                0.00 ±", SOON);
    beside_an_instrument(&mut third, &sender);
    third.type_in("\r");
    third.shows("beside `kitchen`", SOON);
    third.type_in("f");
    let fit = third.shows("enter keep this calibration", SOON);
    assert!(fit.contains("two points: `a` and `b` are fitted"), "{fit}");
    third.type_in("\r");
    third.shows("Calibration 1 is kept in the log.", SOON);
    third.type_in("\r");
    third.shows("It is in use: each reading from now on is by it.", SOON);
    third.type_in("q");
    let (status, said) = third.ends();
    assert!(status.success() && third.is_a_shells(), "{said}");
    assert!(said.contains("in use: calibration 1"), "{said}");

    // The next line of the board is by it; the log commits at its own pace.
    until("a reading by calibration 1", SOON, || {
        last_reading(&scene)["calibration"] == 1
    });
    service.stop();
    let last = last_reading(&scene);
    let value = last["value"].as_f64().unwrap();
    assert!((value - 40.2).abs() < 0.1, "{last}");
}

/// Warm water, and a thermometer that shows more than the probe.
fn beside_an_instrument(guide: &mut Terminal, sender: &Sender) {
    sender.dip(40.0);
    guide.type_in("n");
    guide.shows("Compare it with", SOON);
    // To the top, and two down.
    guide.type_in("\x1b[A\x1b[A\x1b[A\x1b[B\x1b[B\r");
    guide.shows("It shows now", SOON);
    guide.type_in("kitchen\r40\r0.1 Cel, k = 2\r\r");
    guide.shows("How to make it well", SOON);
    guide.type_in("\r");
    guide.shows("read the instrument now", A_POINT);
    guide.type_in(".2\r");
    let page = guide.shows("is kept in the log", SOON);
    assert!(
        page.contains("reference 40.20 ± 0.12 Cel (k = 2)"),
        "{page}"
    );
}

fn last_reading(scene: &Scene) -> Value {
    let file = scene.file();
    let output = run(&[
        "readings",
        "mash",
        "--config",
        file.to_str().unwrap(),
        "--format",
        "json",
    ]);
    let text = String::from_utf8(output.stdout).unwrap();
    serde_json::from_str(text.lines().last().unwrap()).unwrap()
}

#[test]
fn ice_that_is_none_is_questioned_before_it_is_kept() {
    let (scene, service, sender) = bench();
    sender.dip(4.0);
    let mut guide = guide(&scene);
    to_ice(&mut guide);
    let page = guide.shows("What is likely behind it", A_POINT);
    assert!(page.contains("still water under floating ice"), "{page}");
    guide.type_in("d");
    guide.shows("none yet", SOON);
    guide.signal(Signal::TERM);
    let (status, said) = guide.ends();
    assert!(status.success() && guide.is_a_shells(), "{said}");
    service.stop();
}

#[test]
fn without_a_service_or_a_terminal_it_says_what_to_do() {
    let mut scene = Scene::new();
    let _board = scene.board("bench");
    scene.bare("bench", "a0").number("mash", ("bench", "a0"));
    scene.write();
    let file = scene.file();
    let output = run(&["calibrate", "mash", "--config", file.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(2), "{}", words(&output));
    assert!(
        words(&output).contains("--points FILE"),
        "{}",
        words(&output)
    );
    let (status, said) = guide(&scene).ends();
    assert_eq!(status.code(), Some(2), "{said}");
    assert!(
        said.contains("no service runs") && said.contains("nightbench serve"),
        "{said}"
    );
}
