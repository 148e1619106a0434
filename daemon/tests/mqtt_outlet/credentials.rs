//! Who may connect, and as whom.

use crate::fake_broker::{FakeBroker, Manner, Seen, WELL_BEHAVED};
use crate::mosquitto::{Mosquitto, free_port};
use crate::scene::{receiver, settings};
use crate::{later, person};
use nightbench::config::{Mqtt, Secret};
use nightbench::outlet::Receiver;

#[tokio::test]
async fn refused_credentials_need_a_person_and_name_broker_and_user() {
    // Not authorised (MQTT 3.1.1, 3.2.2.3).
    let broker = FakeBroker::start([Manner {
        answer: 5,
        ..WELL_BEHAVED
    }]);
    let as_night = Mqtt {
        user: Some("night".into()),
        ..settings(broker.port)
    };
    let trouble = receiver(as_night).connect().await.unwrap_err();
    let expected = format!(
        "broker `127.0.0.1:{}` refuses user `night`; check",
        broker.port
    );
    assert!(person(&trouble).starts_with(&expected), "{trouble}");
}

#[tokio::test]
async fn a_real_broker_that_wants_a_user_needs_a_person() {
    let broker = Mosquitto::start_closed();
    let trouble = receiver(settings(broker.port)).connect().await.unwrap_err();
    assert!(person(&trouble).contains("refuses a connection without a user; set `user`"));
}

#[tokio::test]
async fn a_changed_password_is_used_at_the_next_connect() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("password");
    let mut broker = FakeBroker::start([WELL_BEHAVED, WELL_BEHAVED]);
    let mut outlet = receiver(Mqtt {
        user: Some("night".into()),
        password: Some(Secret::File(file.clone())),
        ..settings(broker.port)
    });
    for password in ["first", "second"] {
        std::fs::write(&file, format!("{password}\n")).unwrap();
        outlet.connect().await.unwrap();
        let connect = broker.sees_connect().await;
        assert_eq!(connect.user.as_deref(), Some("night"));
        assert_eq!(connect.password.as_deref(), Some(password.as_bytes()));
        assert_eq!(
            (connect.client_id.as_str(), connect.clean),
            ("nightbench-cellar-kitchen", true)
        );
        assert_eq!(
            connect.will,
            Some(("cellar/status".into(), b"offline".to_vec(), 1, true))
        );
        broker.sees().await; // online
        if password == "first" {
            outlet.close().await;
            while broker.sees().await != Seen::Gone {}
        }
    }
}

#[tokio::test]
async fn an_unreachable_broker_is_named_with_what_the_system_said() {
    let port = free_port();
    let trouble = receiver(settings(port)).connect().await.unwrap_err();
    assert_eq!(
        later(&trouble),
        format!("broker `127.0.0.1:{port}`: connection refused")
    );
}
