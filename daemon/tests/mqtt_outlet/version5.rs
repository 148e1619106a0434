//! MQTT 5: what a broker says is looked at before anything counts as delivered.

use crate::fake_broker::{FakeBroker, Manner, Seen, WELL_BEHAVED};
use crate::mosquitto::Mosquitto;
use crate::scene::{beside, numbers, raised, reading, readings, receiver, settings};
use crate::subscriber::{Subscriber, retained};
use crate::wire::Publish;
use crate::{later, person};
use nightbench::config::{Mqtt, MqttVersion};
use nightbench::outlet::{Parcel, Receipt, Receiver};
use std::time::Duration;

fn newer(port: u16) -> Mqtt {
    Mqtt {
        version: MqttVersion::V5,
        ..settings(port)
    }
}

fn denies(reason: fn(&Publish) -> u8) -> Manner {
    Manner {
        reason,
        ..WELL_BEHAVED
    }
}

#[tokio::test]
async fn a_real_broker_gets_status_readings_and_goodbye() {
    let broker = Mosquitto::start();
    let mut subscriber = Subscriber::start(broker.port);
    let mut outlet = receiver(newer(broker.port));
    outlet.connect().await.unwrap();
    outlet
        .deliver(Parcel::Live(&readings(1..=250)))
        .await
        .unwrap();
    outlet.close().await;
    let payloads: Vec<_> = subscriber
        .next_texts(252)
        .await
        .into_iter()
        .map(|it| it.1)
        .collect();
    assert_eq!(payloads[0], "online");
    assert_eq!(payloads[1..251], numbers(1..=250));
    assert_eq!(payloads[251], "offline");
    assert_eq!(retained(broker.port)["cellar/mash/reading"], "250");
}

#[tokio::test]
async fn a_cut_connection_lets_a_real_broker_say_offline() {
    let broker = Mosquitto::start();
    let mut subscriber = Subscriber::start(broker.port);
    let mut outlet = receiver(newer(broker.port));
    outlet.connect().await.unwrap();
    drop(outlet);
    let expected = ["online", "offline"].map(|text| ("cellar/status".into(), text.into()));
    assert_eq!(subscriber.next_texts(2).await, expected);
}

#[tokio::test]
async fn a_live_value_is_forgotten_by_the_broker_when_it_is_too_old() {
    let mut broker = FakeBroker::start([WELL_BEHAVED]);
    let mut outlet = receiver(Mqtt {
        expiry: Some(Duration::from_secs(600)),
        ..newer(broker.port)
    });
    outlet.connect().await.unwrap();
    outlet.deliver(Parcel::Live(&[reading(1)])).await.unwrap();
    outlet
        .deliver(Parcel::Backlog(&[reading(2)]))
        .await
        .unwrap();
    outlet
        .deliver(Parcel::Moves(&[raised(3, "stir")]))
        .await
        .unwrap();
    assert_eq!(broker.sees_connect().await.level, 5);
    let mut expiries = Vec::new();
    for _ in 0..4 {
        let Seen::Publish(sent) = broker.sees().await else {
            panic!("a publish")
        };
        expiries.push(sent.expiry);
    }
    assert_eq!(expiries, [None, Some(600), None, None]);
}

/// The broker's own clock does it: a second is the shortest there is.
#[tokio::test]
async fn a_real_broker_retains_an_expiring_value_no_longer_than_told() {
    let broker = Mosquitto::start();
    let mut outlet = receiver(Mqtt {
        expiry: Some(Duration::from_secs(1)),
        ..newer(broker.port)
    });
    outlet.connect().await.unwrap();
    outlet.deliver(Parcel::Live(&[reading(1)])).await.unwrap();
    let gone = async {
        while retained(broker.port).contains_key("cellar/mash/reading") {
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    };
    tokio::time::timeout(Duration::from_secs(10), gone)
        .await
        .unwrap();
    assert!(retained(broker.port).contains_key("cellar/status"));
}

#[tokio::test]
async fn no_matching_subscriber_is_as_good_as_success() {
    let broker = FakeBroker::start([denies(|_| 0x10)]);
    let mut outlet = receiver(newer(broker.port));
    outlet.connect().await.unwrap();
    let receipt = outlet
        .deliver(Parcel::Live(&readings(1..=9)))
        .await
        .unwrap();
    assert_eq!(receipt, Receipt::default());
}

#[tokio::test]
async fn what_may_be_taken_later_is_not_delivered_and_sent_again_in_order() {
    for (code, words) in [
        (0x80, "refused without a reason (0x80)"),
        (0x83, "not willing to take it (0x83)"),
        (0x91, "packet identifier in use (0x91)"),
        (
            0x97,
            "a quota is exceeded (0x97); raise it there; it says `so it says`",
        ),
    ] {
        let reason: fn(&Publish) -> u8 = match code {
            0x80 => |it| if it.payload == b"3" { 0x80 } else { 0 },
            0x83 => |it| if it.payload == b"3" { 0x83 } else { 0 },
            0x91 => |it| if it.payload == b"3" { 0x91 } else { 0 },
            _ => |it| if it.payload == b"3" { 0x97 } else { 0 },
        };
        let mut broker = FakeBroker::start([denies(reason), WELL_BEHAVED]);
        let mut outlet = receiver(newer(broker.port));
        outlet.connect().await.unwrap();
        let night = readings(1..=5);
        let trouble = outlet.deliver(Parcel::Live(&night)).await.unwrap_err();
        assert!(later(&trouble).contains(words), "{trouble}");
        while broker.sees().await != Seen::Gone {}
        outlet.connect().await.unwrap();
        outlet.deliver(Parcel::Live(&night)).await.unwrap();
        broker.sees_connect().await;
        assert_eq!(broker.sees_payloads(6).await[1..], numbers(1..=5));
    }
}

#[tokio::test]
async fn a_topic_that_is_not_allowed_costs_its_readings_and_no_others() {
    let mut broker = FakeBroker::start([denies(
        |it| {
            if it.topic.contains("mash") { 0x87 } else { 0 }
        },
    )]);
    let mut outlet = receiver(newer(broker.port));
    outlet.connect().await.unwrap();
    let night = [reading(1), beside(&reading(1), "air", 2), reading(3)];
    let receipt = outlet.deliver(Parcel::Live(&night)).await.unwrap();
    let refused: Vec<_> = receipt.refused.iter().map(|it| it.seq).collect();
    assert_eq!(refused, [1, 3]);
    let expected = format!(
        "broker `127.0.0.1:{}`, message to `cellar/mash/reading`: not authorised (0x87); allow \
         this topic for this user in the broker's access rules; it says `so it says`",
        broker.port
    );
    assert_eq!(receipt.refused[0].why, expected);
    // The same connection goes on.
    outlet
        .deliver(Parcel::Live(&[beside(&reading(4), "air", 4)]))
        .await
        .unwrap();
    broker.sees_connect().await;
    assert_eq!(
        broker.sees_payloads(5).await,
        ["online", "1", "1", "3", "4"]
    );
}

#[tokio::test]
async fn readings_that_are_all_refused_are_kept_for_a_person() {
    for (code, words) in [
        (0x87, "not authorised (0x87)"),
        (0x99, "this payload (0x99)"),
    ] {
        let reason: fn(&Publish) -> u8 = match code {
            0x87 => |it| {
                if it.topic.ends_with("reading") {
                    0x87
                } else {
                    0
                }
            },
            _ => |it| {
                if it.topic.ends_with("reading") {
                    0x99
                } else {
                    0
                }
            },
        };
        let broker = FakeBroker::start([denies(reason)]);
        let mut outlet = receiver(newer(broker.port));
        outlet.connect().await.unwrap();
        // An alarm that is taken says nothing about readings.
        outlet
            .deliver(Parcel::Moves(&[raised(1, "stir")]))
            .await
            .unwrap();
        let trouble = outlet
            .deliver(Parcel::Live(&readings(1..=3)))
            .await
            .unwrap_err();
        assert!(person(&trouble).contains("it takes nothing so far; message to"));
        assert!(person(&trouble).contains(words), "{trouble}");
    }
}

#[tokio::test]
async fn an_alarm_that_is_refused_does_not_hold_up_the_readings() {
    let broker = FakeBroker::start([denies(
        |it| if it.topic.contains("alarm") { 0x90 } else { 0 },
    )]);
    let mut outlet = receiver(newer(broker.port));
    outlet.connect().await.unwrap();
    let receipt = outlet
        .deliver(Parcel::Moves(&[raised(1, "stir")]))
        .await
        .unwrap();
    assert_eq!(receipt.refused[0].seq, 1);
    assert!(
        receipt.refused[0]
            .why
            .contains("does not accept this topic (0x90)")
    );
    outlet.deliver(Parcel::Live(&[reading(1)])).await.unwrap();
}

#[tokio::test]
async fn a_status_topic_that_is_not_allowed_needs_a_person() {
    let broker = FakeBroker::start([denies(|_| 0x87)]);
    let trouble = receiver(newer(broker.port)).connect().await.unwrap_err();
    assert!(person(&trouble).contains("message to `cellar/status`: not authorised (0x87)"));
}

/// A real one that forbids a topic: mosquitto says so since 2.0 to those who speak version 5.
#[tokio::test]
async fn access_rules_of_a_real_broker_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let rules = folder.path().join("rules");
    std::fs::write(&rules, "topic write cellar/status\ntopic read #\n").unwrap();
    let more = format!("acl_file {}\n", rules.display());
    let broker = Mosquitto::start_with(&(crate::mosquitto::SETTINGS.to_owned() + &more));
    let mut outlet = receiver(newer(broker.port));
    outlet.connect().await.unwrap();
    let trouble = outlet
        .deliver(Parcel::Live(&[reading(1)]))
        .await
        .unwrap_err();
    assert!(
        person(&trouble).contains("not authorised (0x87)"),
        "{trouble}"
    );
}

#[tokio::test]
async fn no_more_is_under_way_than_the_broker_allows() {
    let mut broker = FakeBroker::start([Manner {
        terms: &[0x21, 0, 2], // receive maximum (3.2.2.3.3)
        acknowledges: |n| n == 0,
        ..WELL_BEHAVED
    }]);
    let mut outlet = receiver(newer(broker.port)).with_patience(Duration::from_millis(200));
    outlet.connect().await.unwrap();
    outlet
        .deliver(Parcel::Live(&readings(1..=9)))
        .await
        .unwrap_err();
    broker.sees_connect().await;
    assert_eq!(broker.sees_payloads(99).await, ["online", "1", "2"]);
}

#[tokio::test]
async fn nothing_larger_is_sent_than_the_broker_allows() {
    let broker = FakeBroker::start([Manner {
        terms: &[0x27, 0, 0, 1, 144], // maximum packet size, 400 bytes (3.2.2.3.6)
        ..WELL_BEHAVED
    }]);
    let mut outlet = receiver(Mqtt {
        payload: nightbench::config::Payload::Json,
        ..newer(broker.port)
    });
    outlet.connect().await.unwrap();
    let moves = [raised(1, "stir"), raised(2, &"x".repeat(400))];
    let receipt = outlet.deliver(Parcel::Moves(&moves)).await.unwrap();
    assert_eq!(receipt.refused.len(), 1);
    assert!(
        receipt.refused[0]
            .why
            .contains("more than the 400 that are sent to this broker")
    );
}

#[tokio::test]
async fn a_refused_connection_is_told_in_words() {
    for (answer, words, for_a_person) in [
        (
            0x84,
            "does not speak MQTT 5; write `version = \"3.1.1\"`",
            true,
        ),
        (0x85, "refuses the client identifier", true),
        (0x86, "refuses a connection without a user", true),
        (0x87, "refuses a connection without a user", true),
        (0x88, "its service is unavailable", false),
        (0x89, "it is busy", false),
        (0x8a, "it has banned this client", true),
        (0x97, "a quota of connections is exceeded", false),
        (0x9a, "it keeps no retained messages", true),
        (0x9d, "it has moved for good; write the new `host`", true),
    ] {
        let broker = FakeBroker::start([Manner {
            answer,
            ..WELL_BEHAVED
        }]);
        let trouble = receiver(newer(broker.port)).connect().await.unwrap_err();
        let said = if for_a_person {
            person(&trouble)
        } else {
            later(&trouble)
        };
        assert!(said.contains(words), "{answer:#x}: {said}");
    }
}

#[tokio::test]
async fn what_the_broker_says_when_it_ends_the_connection_is_told() {
    let broker = FakeBroker::start([Manner {
        cuts_after: Some(1),
        last_word: Some(0x8e), // session taken over (3.14.2.1)
        ..WELL_BEHAVED
    }]);
    let mut outlet = receiver(newer(broker.port));
    outlet.connect().await.unwrap();
    let trouble = tokio::time::timeout(Duration::from_secs(10), outlet.idle())
        .await
        .unwrap();
    assert!(
        person(&trouble).contains("the same `client_id`"),
        "{trouble}"
    );
}
