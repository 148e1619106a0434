//! Promise: the doctor finds what is wrong with a broker, and what a broker does not say.

use super::{bench, doctor};
use nightbench_tests::broker::{Broker, free_port};
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::process::Command;

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
