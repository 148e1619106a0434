//! Coming back, in both versions: to a broker that forgot its sessions, that hung, that was hit by
//! a message beyond its limits.

use crate::later;
use crate::mosquitto::Mosquitto;
use crate::scene::{numbers, raised, readings, receiver, settings};
use crate::subscriber::{Subscriber, retained};
use nightbench::config::{Mqtt, MqttVersion, Payload};
use nightbench::outlet::mqtt::MqttReceiver;
use nightbench::outlet::{Parcel, Receipt, Receiver};
use std::time::Duration;

const VERSIONS: [MqttVersion; 2] = [MqttVersion::V3, MqttVersion::V5];

fn speaking(version: MqttVersion, port: u16) -> Mqtt {
    Mqtt {
        version,
        ..settings(port)
    }
}

#[tokio::test]
async fn a_broker_that_forgot_its_sessions_is_delivered_to_again() {
    for version in VERSIONS {
        let broker = Mosquitto::start();
        let mut outlet = receiver(speaking(version, broker.port));
        outlet.connect().await.unwrap();
        outlet
            .deliver(Parcel::Live(&readings(1..=3)))
            .await
            .unwrap();
        let broker = broker.restart_empty();
        let lost = outlet.deliver(Parcel::Live(&readings(4..=6))).await;
        later(&lost.unwrap_err());
        let mut subscriber = Subscriber::start(broker.port);
        outlet.connect().await.unwrap();
        outlet
            .deliver(Parcel::Backlog(&readings(4..=6)))
            .await
            .unwrap();
        let payloads: Vec<_> = subscriber
            .next_texts(4)
            .await
            .into_iter()
            .map(|it| it.1)
            .collect();
        assert_eq!(payloads, ["online", "4", "5", "6"]);
    }
}

#[tokio::test]
async fn a_broker_that_hangs_is_given_up_and_found_again_when_it_goes_on() {
    for version in VERSIONS {
        let broker = Mosquitto::start();
        let mut subscriber = Subscriber::start(broker.port);
        let patience = Duration::from_millis(300);
        let mut outlet = receiver(speaking(version, broker.port)).with_patience(patience);
        outlet.connect().await.unwrap();
        subscriber.next().await;
        broker.hang();
        let night = readings(1..=9);
        let trouble = outlet.deliver(Parcel::Live(&night)).await.unwrap_err();
        assert!(
            later(&trouble).contains("acknowledged none for 0.3 s"),
            "{trouble}"
        );
        // Its listening socket still takes connections, but nothing is answered there.
        let trouble = outlet.connect().await.unwrap_err();
        assert!(
            later(&trouble).contains("no answer within 5 s"),
            "{trouble}"
        );
        broker.go_on();
        outlet.connect().await.unwrap();
        outlet.deliver(Parcel::Backlog(&night)).await.unwrap();
        let mut late = Vec::new();
        while late.len() < 9 {
            let message = subscriber.next().await;
            if message.topic.ends_with("late") {
                late.push(String::from_utf8(message.payload).unwrap());
            }
        }
        assert_eq!(late, numbers(1..=9));
    }
}

#[tokio::test]
async fn a_message_beyond_all_limits_costs_itself_only() {
    for version in VERSIONS {
        let broker = Mosquitto::start();
        let mut outlet = receiver(Mqtt {
            payload: Payload::Json,
            ..speaking(version, broker.port)
        });
        outlet.connect().await.unwrap();
        let moves = [
            raised(1, "stir"),
            raised(2, &"x".repeat(2 << 20)),
            raised(3, "stir"),
        ];
        let receipt = outlet.deliver(Parcel::Moves(&moves)).await.unwrap();
        assert_eq!(receipt.refused.len(), 1);
        assert!(
            receipt.refused[0]
                .why
                .contains("more than the 1048576 that are sent")
        );
        assert!(retained(broker.port).contains_key("cellar/mash/alarm/high-3"));
    }
}

#[tokio::test]
async fn a_guest_leaves_status_will_and_the_running_outlet_alone() {
    for version in VERSIONS {
        let broker = Mosquitto::start();
        let mut outlet = receiver(speaking(version, broker.port));
        outlet.connect().await.unwrap();
        let mut subscriber = Subscriber::start(broker.port);
        assert_eq!(subscriber.next().await.payload, b"online");
        let mut guest = MqttReceiver::guest("cellar".into(), speaking(version, broker.port));
        assert!(!guest.keeps_alarm_states());
        guest.connect().await.unwrap();
        guest
            .deliver(Parcel::Backlog(&readings(1..=2)))
            .await
            .unwrap();
        guest.close().await;
        let mut cut = MqttReceiver::guest("cellar".into(), speaking(version, broker.port));
        cut.connect().await.unwrap();
        drop(cut);
        assert_eq!(
            outlet.deliver(Parcel::Live(&readings(3..=3))).await,
            Ok(Receipt::default())
        );
        let seen = subscriber.next_texts(3).await;
        let expected = [("late", "1"), ("late", "2"), ("reading", "3")];
        assert_eq!(
            seen,
            expected.map(|(t, p)| (format!("cellar/mash/{t}"), p.to_owned()))
        );
    }
}
