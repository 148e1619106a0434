//! Promise: the doctor finds in the evening what would go wrong at night, with real receivers, ports
//! and files, says what to do about it, and disturbs nothing.

use nightbench_tests::binary::nightbench;
use nightbench_tests::broker::{Broker, free_port};
use nightbench_tests::database::Database;
use nightbench_tests::process::Process;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, run};
use nightbench_tests::wait::{SOON, eventually, until};
use rcgen::{CertificateParams, KeyPair, date_time_ymd};
use rustix::fd::OwnedFd;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::Command;

/// A serial port that nobody has opened yet. The harness' own boards keep theirs open.
struct Port {
    _near: OwnedFd,
    device: PathBuf,
}

impl Port {
    fn new() -> Self {
        let near = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&near).unwrap();
        unlockpt(&near).unwrap();
        let device = ptsname(&near, Vec::new()).unwrap();
        let device = PathBuf::from(device.to_str().unwrap());
        Self {
            _near: near,
            device,
        }
    }
}

/// A host with a clock that is kept, a board, a probe that is logged every second, its alarms.
fn bench() -> (Scene, Port) {
    let mut scene = Scene::new();
    let port = Port::new();
    symlink(&port.device, scene.folder().join("usb-bench-if00")).unwrap();
    scene
        .add("[board.bench]\nsource = \"serial\"\nport = \"usb-bench-if00\"\nformat = \"pairs\"\n")
        .divider("bench", "a0", 1023)
        .thermistor("mash", ("bench", "a0"), "")
        .add("[probe.mash.alarm.fault]\naction = \"look at the plug\"\n");
    let host = scene.folder().join("host");
    fs::create_dir_all(host.join("run/systemd/timesync")).unwrap();
    fs::write(host.join("run/systemd/timesync/synchronized"), "").unwrap();
    fs::create_dir_all(host.join("sys/class/rtc/rtc0")).unwrap();
    (scene, port)
}

/// Exit code and findings.
struct Said {
    code: Option<i32>,
    findings: Vec<Value>,
}

impl Said {
    fn wrong(&self) -> Vec<&Value> {
        let found = self.findings.iter();
        found.filter(|it| it["severity"] == "wrong").collect()
    }

    /// The only thing that is wrong.
    #[track_caller]
    fn only_wrong(&self) -> (&str, String) {
        let wrong = self.wrong();
        assert_eq!(
            (wrong.len(), self.code),
            (1, Some(1)),
            "{:#?}",
            self.findings
        );
        let text = |key: &str| wrong[0][key].as_str().unwrap();
        assert_ne!(text("do"), "", "{}", wrong[0]);
        (text("where"), format!("{}; {}", text("what"), text("do")))
    }

    #[track_caller]
    fn has(&self, severity: &str, words: &str) {
        let mut found = self.findings.iter();
        let has = |it: &Value| {
            it["severity"] == severity && it["what"].as_str().is_some_and(|it| it.contains(words))
        };
        assert!(
            found.any(has),
            "no `{severity}` with `{words}`: {:#?}",
            self.findings
        );
    }
}

fn doctor(scene: &Scene) -> Said {
    scene.write();
    let output = run(&[
        &arguments(scene)[..],
        &["--format", "json"].map(str::to_owned),
    ]
    .concat()
    .iter()
    .map(String::as_str)
    .collect::<Vec<_>>());
    let text = String::from_utf8(output.stdout).unwrap();
    Said {
        code: output.status.code(),
        findings: text
            .lines()
            .map(|it| serde_json::from_str(it).unwrap())
            .collect(),
    }
}

fn arguments(scene: &Scene) -> Vec<String> {
    let (config, root) = (scene.file(), scene.folder().join("host"));
    let path = |path: &Path| path.to_str().unwrap().to_owned();
    ["doctor".to_owned(), "--config".to_owned(), path(&config)]
        .into_iter()
        .chain(["--root".to_owned(), path(&root)])
        .collect()
}

fn names(folder: &Path) -> BTreeSet<PathBuf> {
    let entries = fs::read_dir(folder).unwrap();
    entries.map(|entry| entry.unwrap().path()).collect()
}

#[test]
fn a_healthy_bench_is_told_so_and_only_the_two_tests_are_left_behind() {
    let (mut scene, _port) = bench();
    let (mut broker, database) = (Broker::start(), Database::influx());
    scene
        .mqtt("kitchen", broker.port())
        .influx("house", &database);
    scene.add("[outlet.card]\nkind = \"line-protocol-file\"\npath = \"night.lp\"\n");
    scene.write();
    let reader = broker.subscribe("#");
    let before = names(scene.folder());
    let arguments = arguments(&scene);
    let output = run(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(text.contains("\nsummary: 0 wrong, "), "{text}");
    let (_, left) = text.split_once("left behind:\n").expect(&text);
    assert!(
        left.contains("`cellar/doctor`") && left.contains("`nightbench_doctor`"),
        "{left}"
    );
    let _ = reader.wait_for(1, "cellar/doctor");
    assert_eq!(reader.messages().len(), 1);
    assert_eq!(broker.retained("#"), []);
    assert_eq!(database.query("SELECT * FROM nightbench_doctor").len(), 1);
    assert_eq!(names(scene.folder()), before);
    let wide = |line: &&str| line.chars().count() > 80 && line.trim().contains(' ');
    let wide: Vec<&str> = text.lines().filter(wide).collect();
    assert!(wide.is_empty(), "{wide:#?}");
}

#[test]
fn beside_a_running_service_nothing_is_disturbed() {
    let (mut scene, _port) = bench();
    let broker = Broker::start();
    scene.mqtt("kitchen", broker.port());
    let service = Service::start_by(&scene, &mut Command::new(nightbench()));
    let status = || {
        let status = broker.retained("cellar/status");
        status.first().map(|it| it.payload.clone())
    };
    until("the service is online", SOON, || {
        status().as_deref() == Some("online")
    });
    let said = eventually("the service has its port", SOON, || {
        let said = doctor(&scene);
        let has_port = |it: &Value| {
            it["what"]
                .as_str()
                .unwrap()
                .starts_with("the service (process")
        };
        said.findings.iter().any(has_port).then_some(said)
    });
    assert_eq!(said.code, Some(0), "{:#?}", said.wrong());
    said.has("ok", "writes to it");
    assert_eq!(status().as_deref(), Some("online"));
    assert!(service.log().entries("kitchen", "lost").is_empty());
    service.stop();
    assert_eq!(doctor(&scene).code, Some(0));
}

#[test]
fn a_stopped_broker_is_found() {
    let (mut scene, _port) = bench();
    scene.mqtt("kitchen", free_port());
    let said = doctor(&scene);
    let (place, told) = said.only_wrong();
    assert_eq!(place, "outlet `kitchen`");
    assert!(told.contains("connection refused; start it"), "{told}");
}

#[test]
fn a_broker_that_hangs_is_given_up_in_time() {
    let (mut scene, _port) = bench();
    let broker = Broker::start();
    scene.mqtt("kitchen", broker.port());
    broker.hang();
    let said = doctor(&scene);
    broker.go_on();
    assert!(said.only_wrong().1.contains("no answer within 5 s"));
}

#[test]
fn a_wrong_password_is_found_and_not_repeated() {
    let (mut scene, _port) = bench();
    let users = scene.folder().join("users");
    let made = Command::new("mosquitto_passwd")
        .args(["-b", "-c", users.to_str().unwrap(), "night", "open sesame"])
        .status();
    assert!(made.expect("comes with the broker").success());
    fs::set_permissions(&users, fs::Permissions::from_mode(0o644)).unwrap();
    fs::set_permissions(scene.folder(), fs::Permissions::from_mode(0o755)).unwrap();
    let broker = Broker::start_with(&format!("password_file {}\n", users.display()));
    let secret = scene.folder().join("secret");
    scene
        .mqtt("kitchen", broker.port())
        .add("user = \"night\"\npassword_file = \"secret\"\n");
    for (password, code) in [("open sesame", 0), ("barley", 1)] {
        fs::write(&secret, password).unwrap();
        fs::set_permissions(&secret, fs::Permissions::from_mode(0o600)).unwrap();
        let said = doctor(&scene);
        assert_eq!(said.code, Some(code), "{:#?}", said.wrong());
        assert!(!format!("{:?}", said.findings).contains(password));
        if code == 1 {
            assert!(
                said.only_wrong()
                    .1
                    .contains("refuses user `night`; check the password")
            );
        }
    }
}

#[test]
fn a_broker_whose_rules_forbid_the_sites_topics_is_not_called_good() {
    let forbidden = "but did not pass it on";
    let table = [
        (
            "topic cellar/#\n",
            "3.1.1",
            ("ok", "acknowledged a message"),
        ),
        ("topic other/#\n", "3.1.1", ("advice", forbidden)),
        ("topic read cellar/#\n", "3.1.1", ("advice", forbidden)),
        ("topic write cellar/#\n", "3.1.1", ("advice", forbidden)),
        (
            "topic other/#\n",
            "5",
            ("advice", "message to `cellar/doctor`"),
        ),
        (
            "topic write cellar/#\n",
            "5",
            ("ok", "acknowledged a message"),
        ),
    ];
    for (rule, version, (severity, words)) in table {
        let (mut scene, _port) = bench();
        let rules = scene.folder().join("rules");
        fs::write(&rules, rule).unwrap();
        fs::set_permissions(&rules, fs::Permissions::from_mode(0o644)).unwrap();
        fs::set_permissions(scene.folder(), fs::Permissions::from_mode(0o755)).unwrap();
        let broker = Broker::start_with(&format!("acl_file {}\n", rules.display()));
        scene
            .mqtt("kitchen", broker.port())
            .add(&format!("version = \"{version}\"\n"));
        let said = doctor(&scene);
        said.has(severity, words);
        assert_eq!(said.code, Some(0), "{rule}{version}: {:#?}", said.wrong());
    }
}

#[test]
fn a_database_that_does_not_exist_is_found() {
    let (mut scene, _port) = bench();
    let database = Database::influx();
    scene.influx("house", &database);
    scene.change("database = \"night\"", "database = \"nigth\"");
    let said = doctor(&scene);
    let (place, told) = said.only_wrong();
    assert_eq!(place, "outlet `house`");
    assert!(told.contains("404") && told.contains("`nigth`"), "{told}");
}

#[test]
fn a_port_that_another_program_holds_is_found_with_its_holder() {
    let (scene, port) = bench();
    let script = format!(
        "port = open('{}', 'r+b', buffering=0)\nprint('open', flush=True)\nimport time\n\
         time.sleep(600)",
        port.device.display()
    );
    let mut command = Command::new("python3");
    let other = Process::start("other", scene.folder(), command.args(["-c", &script]));
    until("it has the port", SOON, || other.stdout().contains("open"));
    let said = doctor(&scene);
    let (place, told) = said.only_wrong();
    assert_eq!(place, "board `bench`");
    assert!(told.contains("held by `python3"), "{told}");
    assert!(told.contains(&format!("process {}", other.id())), "{told}");
    drop(other);
    assert_eq!(doctor(&scene).code, Some(0));
}

#[test]
fn two_names_of_one_port_and_a_port_that_is_missing_are_found() {
    let (mut scene, port) = bench();
    symlink(&port.device, scene.folder().join("usb-attic-if00")).unwrap();
    scene
        .add("[board.attic]\nsource = \"serial\"\nport = \"usb-attic-if00\"\nformat = \"pairs\"\n")
        .bare("attic", "n")
        .number("turns", ("attic", "n"));
    let told = doctor(&scene).only_wrong().1;
    assert!(
        told.contains("the same device as that of board `bench`"),
        "{told}"
    );
    fs::remove_file(scene.folder().join("usb-attic-if00")).unwrap();
    let told = doctor(&scene).only_wrong().1;
    assert!(
        told.contains("usb-attic-if00` is not there; plug the board in"),
        "{told}"
    );
}

#[test]
fn a_log_in_memory_is_found() {
    let (mut scene, _port) = bench();
    let memory = tempfile::tempdir_in("/dev/shm").unwrap();
    let path = memory.path().join("cellar.sqlite");
    scene.change(
        "path = \"cellar.sqlite\"",
        &format!("path = \"{}\"", path.display()),
    );
    let said = doctor(&scene);
    let (place, told) = said.only_wrong();
    assert!(place.contains("cellar.sqlite"), "{place}");
    assert!(
        told.contains("tmpfs") && told.contains("gone after a restart"),
        "{told}"
    );
    assert!(names(memory.path()).is_empty());
}

#[test]
fn a_secret_that_everybody_can_read_is_found() {
    let (mut scene, _port) = bench();
    let database = Database::victoria();
    let token = scene.folder().join("token");
    fs::write(&token, "open sesame\n").unwrap();
    fs::set_permissions(&token, fs::Permissions::from_mode(0o644)).unwrap();
    scene
        .victoria("house", &database)
        .add("token_file = \"token\"\n");
    let told = doctor(&scene).only_wrong().1;
    assert!(
        told.contains("every user of this host; `chmod o-r"),
        "{told}"
    );
    fs::set_permissions(&token, fs::Permissions::from_mode(0o640)).unwrap();
    assert_eq!(doctor(&scene).code, Some(0));
}

#[test]
fn a_certificate_that_has_expired_is_found_at_the_broker_and_in_the_file() {
    let (mut scene, _port) = bench();
    let mut params = CertificateParams::new(["127.0.0.1".to_owned()]).unwrap();
    params.not_before = date_time_ymd(2020, 1, 1);
    params.not_after = date_time_ymd(2021, 1, 1);
    let key = KeyPair::generate().unwrap();
    let file = |name: &str| scene.folder().join(name);
    let (certificate, key_file) = (file("server.crt"), file("server.key"));
    fs::write(&certificate, params.self_signed(&key).unwrap().pem()).unwrap();
    fs::write(&key_file, key.serialize_pem()).unwrap();
    let port = free_port();
    let _broker = Broker::start_with(&format!(
        "listener {port} 127.0.0.1\ncertfile {}\nkeyfile {}\n",
        certificate.display(),
        key_file.display()
    ));
    scene
        .mqtt("kitchen", port)
        .add("tls = true\nca_file = \"server.crt\"\n");
    let said = doctor(&scene);
    assert_eq!(said.code, Some(1));
    said.has(
        "wrong",
        &format!("the certificate of `127.0.0.1:{port}` has expired on 2021-01-01"),
    );
    said.has("wrong", "server.crt` has expired on 2021-01-01");
}

#[test]
fn a_faulty_configuration_and_a_bare_host_are_looked_at_as_far_as_they_go() {
    let (mut scene, _port) = bench();
    scene.add("[outlet.kitchen]\nkind = \"mqtt\"\nhots = \"127.0.0.1\"\n");
    let said = doctor(&scene);
    assert_eq!(said.code, Some(1));
    said.has("wrong", "unknown key `hots`");
    said.has("ok", "its clock reads");
    let root = scene.folder().join("host");
    let alone = run(&["doctor", "--root", root.to_str().unwrap()]);
    let text = String::from_utf8(alone.stdout).unwrap();
    assert_eq!(alone.status.code(), Some(0), "{text}");
    assert!(text.contains("it has no serial port") && text.contains("left behind: nothing"));
}
