//! Promise: a reload changes what it is told to and nothing else: while boards talk no line is lost
//! and nothing is sent twice, and a file with errors changes nothing at all.

use crate::checks::{readings_at, sequence};
use nightbench_tests::board::Board;
use nightbench_tests::broker::{Broker, Message, Subscriber};
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled};
use nightbench_tests::talk;
use nightbench_tests::wait::{SOON, eventually, until};
use rustix::fs::OFlags;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{ErrorKind, Read};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::sync::Mutex;
use std::time::Duration;

/// The board's pace.
const PACE: Duration = Duration::from_millis(3);

/// Numbers of the second board start here.
const OTHER: u64 = 1_000_000;

/// Runs `story` while the board sends numbered lines.
fn while_talking(board: &Mutex<Board>, story: impl FnOnce()) {
    let say = |board: &mut Board, number| {
        board.send_line_or_drop_it(&format!("n={number}"));
    };
    talk::while_talking(board, PACE, say, story);
}

fn turns(scene: &mut Scene) -> Board {
    let board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    board
}

/// Reloads, and waits until the new configuration is in force.
fn reload(service: &Service) {
    let taken = || service.log().entries("", "taken").len();
    let before = taken();
    service.reload();
    until("the reload is journalled", SOON, || taken() > before);
}

/// Waits for some more readings of the probe.
fn goes_on(service: &Service) {
    let more = service.log().count("turns") + 50;
    service.has_logged(more, "turns");
}

#[test]
fn a_reload_of_a_port_loses_no_line_that_was_read_from_the_old_one() {
    let mut scene = Scene::new();
    let mut board = turns(&mut scene);
    let other_folder = scene.folder().join("other");
    fs::create_dir(&other_folder).unwrap();
    let mut other = Board::plugged_in("bench", &other_folder);
    let mut leftover = Leftover::of(&board);
    let service = Service::start_with(&scene, &mut [&mut board]);
    let board = Mutex::new(board);
    while_talking(&board, || {
        goes_on(&service);
        service.forgets_openings();
        let port = board.lock().unwrap().port().display().to_string();
        scene.change(&port, &other.port().display().to_string());
        reload(&service);
        service.hears(&mut other);
        for number in OTHER..OTHER + 20 {
            other.send_line(&format!("n={number}"));
        }
    });
    until("the new port is read to its last line", SOON, || {
        logged(&service).last() == Some(&(OTHER + 19))
    });
    let (new, old): (Vec<u64>, Vec<u64>) = logged(&service).iter().partition(|it| **it >= OTHER);
    assert_eq!(new, (OTHER..OTHER + 20).collect::<Vec<_>>());
    let read = lines_read(&mut board.into_inner().unwrap(), &mut leftover);
    assert_eq!(old, read);
    service.stop();
}

fn logged(service: &Service) -> Vec<u64> {
    let raw = service
        .log()
        .of("turns")
        .into_iter()
        .filter_map(|it| it.raw);
    raw.map(|number| number as u64).collect()
}

/// Numbers of the lines that somebody has taken from the kernel whole.
fn lines_read(board: &mut Board, leftover: &mut Leftover) -> Vec<u64> {
    let sent: Vec<String> = board
        .sent()
        .iter()
        .map(|it| it.line.clone() + "\n")
        .collect();
    let mut taken = sent.concat().len() - leftover.bytes(board);
    let whole = sent.iter().take_while(|line| {
        let is_whole = line.len() <= taken;
        taken = taken.saturating_sub(line.len());
        is_whole
    });
    whole
        .map(|line| line.trim_start_matches("n=").trim_end().parse().unwrap())
        .collect()
}

/// A second way to a board's port, opened before the service takes it for itself: it reads what the
/// service has left in the kernel.
struct Leftover(File);

impl Leftover {
    fn of(board: &Board) -> Self {
        let flags = OFlags::NOCTTY | OFlags::NONBLOCK;
        let flags = i32::try_from(flags.bits()).unwrap();
        let port = File::options()
            .read(true)
            .custom_flags(flags)
            .open(board.port());
        Self(port.unwrap())
    }

    /// How many bytes are left. The kernel hands bytes over in the background: an end mark of the
    /// board's tells when all have come.
    fn bytes(&mut self, board: &mut Board) -> usize {
        const END: &[u8] = b"the end\n";
        let mut left = self.there();
        board.send_bytes(END);
        until("the end mark comes", SOON, || {
            left.extend(self.there());
            left.ends_with(END)
        });
        left.len() - END.len()
    }

    fn there(&mut self) -> Vec<u8> {
        let mut bytes = Vec::new();
        match self.0.read_to_end(&mut bytes) {
            Err(why) if why.kind() != ErrorKind::WouldBlock => panic!("{why}"),
            _ => bytes,
        }
    }
}

#[test]
fn a_reload_of_an_outlets_topics_loses_nothing_and_sends_nothing_twice() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut scene = Scene::new();
    let board = Mutex::new(turns(&mut scene));
    scene
        .mqtt("kitchen", broker.port())
        .add("topic = \"{site}/a/{probe}/reading\"\n");
    let service = Service::start_with(&scene, &mut [&mut board.lock().unwrap()]);
    while_talking(&board, || {
        for (from, to) in [("a", "b"), ("b", "c"), ("c", "d")] {
            goes_on(&service);
            scene.change(&format!("/{from}/{{probe}}"), &format!("/{to}/{{probe}}"));
            reload(&service);
        }
        goes_on(&service);
    });
    all_logged(&service, &board);
    has_each_once(&everything, &service);
    for name in ["a", "b", "c", "d"] {
        let topic = format!("cellar/{name}/turns/reading");
        assert!(
            !everything.under(&topic).is_empty(),
            "nothing under {topic}"
        );
    }
    service.stop();
}

/// The broker has a reading before the log has: what is to be compared is what was sent.
fn all_logged(service: &Service, board: &Mutex<Board>) {
    let sent = board.lock().unwrap().sent().len();
    service.has_logged(sent, "turns");
}

/// By sequence number, live and late together.
fn has_each_once(everything: &Subscriber, service: &Service) {
    let readings = service.log().readings();
    let wanted: Vec<i64> = readings.iter().map(|it| it.seq).collect();
    until("every logged reading reaches the broker", SOON, || {
        readings_at(everything).len() >= wanted.len()
    });
    let mut times = BTreeMap::<i64, u32>::new();
    for seq in sequence(&readings_at(everything)) {
        *times.entry(seq).or_default() += 1;
    }
    let twice: Vec<_> = times.iter().filter(|(_, count)| **count > 1).collect();
    assert!(twice.is_empty(), "sent twice: {twice:?}");
    assert_eq!(times.into_keys().collect::<Vec<_>>(), wanted);
}

#[test]
fn a_reload_of_an_outlets_payload_loses_nothing_and_sends_nothing_twice() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut scene = Scene::new();
    let board = Mutex::new(turns(&mut scene));
    scene
        .mqtt("kitchen", broker.port())
        .add("payload = \"json\"\n");
    let service = Service::start_with(&scene, &mut [&mut board.lock().unwrap()]);
    while_talking(&board, || {
        for (from, to) in [("json", "plain"), ("plain", "json")] {
            goes_on(&service);
            scene.change(
                &format!("payload = \"{from}\""),
                &format!("payload = \"{to}\""),
            );
            reload(&service);
        }
        goes_on(&service);
    });
    all_logged(&service, &board);
    let wanted = logged(&service);
    until("every logged reading reaches the broker", SOON, || {
        readings_at(&everything).len() >= wanted.len()
    });
    let messages = readings_at(&everything);
    assert!(messages.iter().any(is_plain) && !messages.iter().all(is_plain));
    let mut numbers: Vec<u64> = messages.iter().map(value).collect();
    numbers.sort_unstable();
    assert_eq!(numbers, wanted);
    service.stop();
}

fn is_plain(message: &Message) -> bool {
    !message.payload.starts_with('{')
}

/// Each line of the board has a number of its own, so the value tells which it is.
fn value(message: &Message) -> u64 {
    if is_plain(message) {
        return message.payload.parse().unwrap();
    }
    message.json()["value"].as_f64().unwrap() as u64
}

#[test]
fn an_outlet_that_a_reload_adds_gets_what_comes_afterwards() {
    let (first, mut second) = (Broker::start(), Broker::start());
    let everything = second.subscribe("cellar/#");
    let mut scene = Scene::new();
    let mut board = turns(&mut scene);
    scene.mqtt("kitchen", first.port());
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 0..20);
    service.has_logged(20, "turns");
    scene.mqtt("porch", second.port()).write();
    reload(&service);
    send(&mut board, 20..40);
    service.has_logged(40, "turns");
    until("what came afterwards arrives", SOON, || {
        readings_at(&everything).len() >= 20
    });
    let mut numbers: Vec<u64> = readings_at(&everything).iter().map(value).collect();
    numbers.sort_unstable();
    assert_eq!(numbers, (20..40).collect::<Vec<_>>());
    service.stop();
}

fn send(board: &mut Board, numbers: std::ops::Range<u32>) {
    for number in numbers {
        board.send_line(&format!("n={number}"));
    }
}

#[test]
fn a_reload_with_two_errors_changes_nothing_at_all() {
    let mut broker = Broker::start();
    let everything = broker.subscribe("cellar/#");
    let mut scene = Scene::new();
    let mut board = turns(&mut scene);
    scene
        .mqtt("kitchen", broker.port())
        .add("[probe.turns.alarm.high]\nlimit = \"100 1\"\non_delay = \"0s\"\naction = \"look\"\n");
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 0..1);
    let _ = everything.wait_for(1, "/turns/reading");

    // What is right in the new file: another limit, another topic, another port.
    scene.change("limit = \"100 1\"", "limit = \"10 1\"");
    scene.change(
        "kind = \"mqtt\"",
        "kind = \"mqtt\"\ntopic = \"{site}/{probe}/elsewhere\"",
    );
    scene.change(&name_of(board.port()), "usb-nowhere-if00");
    // What is wrong in it.
    scene.change("driver = \"divider\"", "driver = \"dividr\"");
    scene.add("[outlet.porch]\nkind = \"mqqt\"\n").write();
    service.reload();
    let entry = journalled(service.log(), "", "goes on");
    assert!(
        entry.contains("dividr") && entry.contains("mqqt"),
        "{entry}"
    );

    send(&mut board, 50..51);
    let came = everything.wait_for(2, "/turns/reading");
    assert_eq!(came.iter().map(value).collect::<Vec<_>>(), [0, 50]);
    assert_nothing_changed(&service, &everything);
    service.stop();
}

fn assert_nothing_changed(service: &Service, everything: &Subscriber) {
    service.has_logged(2, "turns");
    assert_eq!(service.log().entries("bench", "opened").len(), 1);
    assert_eq!(
        service.log().entries("turns", "alarm"),
        [],
        "the old limit holds"
    );
    let greeted = eventually("the outlet is online", SOON, || {
        Some(everything.under("/status")).filter(|it| !it.is_empty())
    });
    assert_eq!(greeted.len(), 1, "the outlet was not touched: {greeted:?}");
}

fn name_of(port: &Path) -> String {
    port.file_name().unwrap().to_string_lossy().into_owned()
}
