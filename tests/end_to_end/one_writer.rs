//! Promise: a log has one writer, which the service manager can trust to be alive, and no other
//! program's database is ever taken for a log.

use crate::write_lock::WriteLock;
use nightbench_tests::binary::nightbench;
use nightbench_tests::board::Board;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, run, words};
use nightbench_tests::wait::{SOON, eventually};
use rusqlite::Connection;
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs;
use std::io::ErrorKind;
use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

/// What the service manager asks for.
const WITHIN: Duration = Duration::from_millis(600);

#[test]
fn the_watchdog_is_not_fed_while_the_writer_is_stuck_and_is_again_afterwards() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let socket = scene.folder().join("notify");
    let manager = UnixDatagram::bind(&socket).unwrap();
    let mut command = Command::new(nightbench());
    command
        .env("NOTIFY_SOCKET", &socket)
        .env("WATCHDOG_USEC", WITHIN.as_micros().to_string());
    let service = Service::start_by(&scene, &mut command);
    service.hears(&mut board);
    assert!(is_fed(&manager, SOON));

    let lock = WriteLock::take(&scene.log());
    board.send_line("n=1");
    eventually("the watchdog starves", SOON, || {
        (!is_fed(&manager, WITHIN * 3)).then_some(())
    });
    drop(lock);
    service.has_logged(1, "turns");
    for _ in 0..3 {
        assert!(is_fed(&manager, SOON));
    }
    service.stop();
}

/// Whether the manager hears within this time that the service is alive.
fn is_fed(manager: &UnixDatagram, within: Duration) -> bool {
    let mut bytes = [0; 4096];
    manager.set_read_timeout(Some(within)).unwrap();
    loop {
        match manager.recv(&mut bytes) {
            Ok(length) if bytes[..length].starts_with(b"WATCHDOG=1") => return true,
            Ok(_) => {}
            Err(why) if why.kind() == ErrorKind::WouldBlock => return false,
            Err(why) => panic!("{why}"),
        }
    }
}

#[test]
fn a_second_service_on_a_log_is_refused_and_told_who_holds_it() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let service = Service::start_with(&scene, &mut [&mut board]);
    let config = scene.file();
    let second = run(&["serve", "--config", config.to_str().unwrap()]);
    let said = words(&second);
    assert_eq!(second.status.code(), Some(1), "{said}");
    let holder = said.split_once("process ").expect(&said).1;
    let holder: String = holder.chars().take_while(char::is_ascii_digit).collect();
    // The kernel's word for who that is.
    let runs = fs::read(format!("/proc/{holder}/cmdline")).unwrap();
    let runs = String::from_utf8(runs).unwrap();
    assert!(runs.contains(config.to_str().unwrap()), "{holder}: {runs}");
    board.send_line("n=1");
    service.has_logged(1, "turns");
    service.stop();
}

#[test]
fn another_programs_database_is_refused_and_not_touched() {
    let (scene, _board) = refusing_scene();
    let recipes = Connection::open(scene.log()).unwrap();
    recipes
        .execute_batch("CREATE TABLE recipe (name TEXT); INSERT INTO recipe VALUES ('rye')")
        .unwrap();
    drop(recipes);
    assert_refused_untouched(&scene);
}

/// The other program was cut off: what it wrote last lies in its write-ahead log, and is its own to
/// put in order.
#[test]
fn another_programs_database_that_was_cut_off_is_refused_and_not_touched() {
    let (scene, _board) = refusing_scene();
    let elsewhere = tempfile::tempdir().unwrap();
    let original = elsewhere.path().join("recipes.sqlite");
    let recipes = Connection::open(&original).unwrap();
    recipes
        .execute_batch(
            "PRAGMA journal_mode = WAL; CREATE TABLE recipe (name TEXT);
             INSERT INTO recipe VALUES ('rye')",
        )
        .unwrap();
    for end in ["", "-wal"] {
        let of = |path: &Path| path.with_extension(format!("sqlite{end}"));
        fs::copy(of(&original), of(&scene.log())).unwrap();
    }
    assert_refused_untouched(&scene);
}

/// The board stays plugged in, so that its port's number is not given to another test's.
fn refusing_scene() -> (Scene, Board) {
    let mut scene = Scene::new();
    let board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    scene.write();
    (scene, board)
}

#[track_caller]
fn assert_refused_untouched(scene: &Scene) {
    let before = files(scene.folder());
    let refused = run(&["serve", "--config", scene.file().to_str().unwrap()]);
    let said = words(&refused);
    assert_eq!(refused.status.code(), Some(1), "{said}");
    assert!(said.contains("no log of this program"), "{said}");
    assert!(said.contains("cellar.sqlite"), "{said}");
    let after = files(scene.folder());
    assert_eq!(Vec::from_iter(after.keys()), Vec::from_iter(before.keys()));
    let changed = before.iter().find(|(name, bytes)| after[*name] != **bytes);
    assert_eq!(changed.map(|(name, _)| name), None);
}

/// Every plain file with its bytes; a link to a port is none, and reading from it would take a board's
/// lines. The index of a write-ahead log (`-shm`) holds nothing of its own: SQLite makes it anew.
fn files(folder: &Path) -> BTreeMap<OsString, Vec<u8>> {
    let entries = fs::read_dir(folder).unwrap().map(Result::unwrap);
    let mut files: BTreeMap<_, _> = entries
        .filter(|entry| entry.file_type().unwrap().is_file())
        .map(|entry| (entry.file_name(), fs::read(entry.path()).unwrap()))
        .collect();
    files.retain(|name, _| !name.to_string_lossy().ends_with("-shm"));
    files
}
