//! Promise: who may read a stopped log's file can read its readings, also where they may write
//! nothing, not even beside it.

use nightbench_tests::binary::nightbench;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, words};
use std::fs::{self, Permissions};
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};

/// Nobody, as Debian numbers them (common practice).
const NOBODY: &str = "65534";

#[test]
fn a_stopped_log_is_read_by_one_who_may_not_write_beside_it() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let service = Service::start_with(&scene, &mut [&mut board]);
    for number in 0..30 {
        board.send_line(&format!("n={number}"));
    }
    service.has_logged(30, "turns");
    service.stop();

    let program = program_for_all(&scene);
    fs::set_permissions(scene.log(), Permissions::from_mode(0o444)).unwrap();
    let before = fs::read(scene.log()).unwrap();
    set_mode(scene.folder(), 0o555);
    let output = as_another(&program, &scene.log());
    let names = names(scene.folder());
    set_mode(scene.folder(), 0o755);

    assert!(output.status.success(), "{}", words(&output));
    let csv = String::from_utf8(output.stdout).unwrap();
    let values: Vec<String> = csv.lines().skip(1).map(value).collect();
    assert_eq!(values, (0..30).map(|it| it.to_string()).collect::<Vec<_>>());
    assert_eq!(fs::read(scene.log()).unwrap(), before);
    assert!(!names.iter().any(|it| it.ends_with("-wal")), "{names:?}");
}

/// A copy of the program where everybody may run it: the one that was built may lie in a folder that
/// is closed to others.
fn program_for_all(scene: &Scene) -> std::path::PathBuf {
    let program = scene.folder().join("nightbench");
    fs::copy(nightbench(), &program).unwrap();
    fs::set_permissions(&program, Permissions::from_mode(0o755)).unwrap();
    program
}

/// As nobody, where the tests run as the superuser, who may write everywhere; as oneself otherwise.
fn as_another(program: &Path, log: &Path) -> Output {
    let mut command = if is_superuser() {
        let mut command = Command::new("setpriv");
        let [user, group] = ["--reuid", "--regid"].map(|key| format!("{key}={NOBODY}"));
        command.args([&user, &group, "--clear-groups"]).arg(program);
        command
    } else {
        Command::new(program)
    };
    command.args(["readings", "turns", "--log"]).arg(log);
    command.output().unwrap()
}

fn is_superuser() -> bool {
    rustix::process::geteuid().is_root()
}

fn set_mode(folder: &Path, mode: u32) {
    fs::set_permissions(folder, Permissions::from_mode(mode)).unwrap();
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap().map(Result::unwrap);
    entries
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect()
}

fn value(row: &str) -> String {
    row.split(',').nth(3).unwrap().to_owned()
}
