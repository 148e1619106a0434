//! A broker that answers a message it does not like by closing the connection: that message must
//! not hold up the others for ever.

use crate::fake_broker::{FakeBroker, Manner, Seen, WELL_BEHAVED};
use crate::mosquitto::{Mosquitto, SETTINGS};
use crate::scene::{numbers, raised, reading, readings, receiver, settings};
use crate::subscriber::{Subscriber, retained};
use crate::{later, person};
use nightbench::config::{Mqtt, MqttVersion, Payload};
use nightbench::outlet::mqtt::MqttReceiver;
use nightbench::outlet::{Parcel, Receipt, Receiver, Trouble};

const CUTS_ON_FIVE: Manner = Manner {
    cuts_on: |it| it.payload == b"5",
    ..WELL_BEHAVED
};

/// As the outlet loop does it: connects and delivers until it works; gives how many tries failed.
async fn until_delivered(outlet: &mut MqttReceiver, parcel: Parcel<'_>) -> (usize, Receipt) {
    for failed in 0..12 {
        outlet.connect().await.unwrap();
        match outlet.deliver(parcel).await {
            Ok(receipt) => return (failed, receipt),
            Err(trouble) => {
                later(&trouble);
            }
        }
    }
    panic!("not delivered after 12 tries");
}

#[tokio::test]
async fn a_message_that_kills_connections_is_sent_alone_and_then_refused() {
    for version in [MqttVersion::V3, MqttVersion::V5] {
        let mut broker = FakeBroker::start([CUTS_ON_FIVE; 8]);
        let mut outlet = receiver(Mqtt {
            version,
            window: 3,
            ..settings(broker.port)
        });
        let night = readings(5..=9);
        let (failed, receipt) = until_delivered(&mut outlet, Parcel::Backlog(&night)).await;
        assert_eq!(failed, 4);
        let expected = format!(
            "broker `127.0.0.1:{}`, message to `cellar/mash/late`: the broker closes the \
             connection on this message; read its log",
            broker.port
        );
        let refused: Vec<_> = receipt.refused.iter().map(|it| (it.seq, &it.why)).collect();
        assert_eq!(refused, [(5, &expected)]);
        for _ in 0..3 {
            broker.sees_connect().await;
            assert_eq!(broker.sees_payloads(99).await[..2], ["online", "5"]);
        }
        broker.sees_connect().await;
        assert_eq!(broker.sees_payloads(99).await, ["online", "5"], "alone");
        broker.sees_connect().await;
        assert_eq!(broker.sees_payloads(5).await[1..], numbers(6..=9));
    }
}

#[tokio::test]
async fn the_same_message_counts_whether_it_is_live_or_late() {
    let broker = FakeBroker::start([CUTS_ON_FIVE; 8]);
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    outlet
        .deliver(Parcel::Live(&[reading(5)]))
        .await
        .unwrap_err();
    let (failed, receipt) = until_delivered(&mut outlet, Parcel::Backlog(&[reading(5)])).await;
    assert_eq!((failed, receipt.refused.len()), (3, 1));
}

#[tokio::test]
async fn an_alarm_that_kills_connections_is_not_sent_again_after_each_connect() {
    let broker = FakeBroker::start(
        [Manner {
            cuts_on: |it| it.topic.contains("alarm"),
            ..WELL_BEHAVED
        }; 8],
    );
    let mut outlet = receiver(settings(broker.port));
    let moves = [raised(1, "stir")];
    let (failed, receipt) = until_delivered(&mut outlet, Parcel::Moves(&moves)).await;
    assert_eq!((failed, receipt.refused.len()), (4, 1));
    outlet.connect().await.unwrap();
    outlet.deliver(Parcel::Moves(&moves)).await.unwrap();
    outlet.deliver(Parcel::Live(&[reading(1)])).await.unwrap();
}

#[tokio::test]
async fn a_broker_that_closes_on_every_reading_keeps_them_for_a_person() {
    let broker = FakeBroker::start(
        [Manner {
            cuts_on: |it| it.topic.ends_with("reading"),
            ..WELL_BEHAVED
        }; 12],
    );
    let mut outlet = receiver(settings(broker.port));
    let night = readings(1..=3);
    let mut troubles: Vec<Trouble> = Vec::new();
    for _ in 0..6 {
        outlet.connect().await.unwrap();
        troubles.push(outlet.deliver(Parcel::Live(&night)).await.unwrap_err());
    }
    for trouble in &troubles[..4] {
        later(trouble);
    }
    for trouble in &troubles[4..] {
        assert!(
            person(trouble).contains("on one message after the other"),
            "{trouble}"
        );
    }
}

#[tokio::test]
async fn a_broker_that_shuts_down_again_and_again_costs_no_message() {
    let broker = FakeBroker::start(
        [Manner {
            last_word: Some(0x8b), // server shutting down (MQTT 5.0, 3.14.2.1)
            ..CUTS_ON_FIVE
        }; 10],
    );
    let mut outlet = receiver(Mqtt {
        version: MqttVersion::V5,
        ..settings(broker.port)
    });
    for _ in 0..10 {
        outlet.connect().await.unwrap();
        let trouble = outlet
            .deliver(Parcel::Live(&[reading(5)]))
            .await
            .unwrap_err();
        assert!(later(&trouble).contains("it shuts down"), "{trouble}");
    }
}

/// A real broker with a limit on packets, which it never mentions to those who speak 3.1.1.
#[tokio::test]
async fn a_real_broker_with_a_limit_of_its_own_refuses_one_message_only() {
    let broker = Mosquitto::start_with(&format!("{SETTINGS}max_packet_size 2000\n"));
    let mut subscriber = Subscriber::start(broker.port);
    let mut outlet = receiver(Mqtt {
        payload: Payload::Json,
        ..settings(broker.port)
    });
    let moves = [
        raised(1, "stir"),
        raised(2, &"x".repeat(4000)),
        raised(3, "stir"),
    ];
    let (failed, receipt) = until_delivered(&mut outlet, Parcel::Moves(&moves)).await;
    let refused: Vec<_> = receipt.refused.iter().map(|it| it.seq).collect();
    // One more where the acknowledgement of what went before got lost in the cut.
    assert!((4..=5).contains(&failed), "{failed}");
    assert_eq!(refused, [2]);
    assert!(retained(broker.port).contains_key("cellar/mash/alarm/high-3"));
    assert_eq!(subscriber.next().await.payload, b"online");
}

/// Version 5 is told the limit, and does not even try.
#[tokio::test]
async fn a_real_broker_that_tells_its_limit_is_not_tried() {
    let broker = Mosquitto::start_with(&format!("{SETTINGS}max_packet_size 2000\n"));
    let mut outlet = receiver(Mqtt {
        payload: Payload::Json,
        version: MqttVersion::V5,
        ..settings(broker.port)
    });
    let moves = [
        raised(1, "stir"),
        raised(2, &"x".repeat(4000)),
        raised(3, "stir"),
    ];
    let (failed, receipt) = until_delivered(&mut outlet, Parcel::Moves(&moves)).await;
    assert_eq!((failed, receipt.refused.len()), (0, 1));
    assert!(
        receipt.refused[0]
            .why
            .contains("more than the 2000 that are sent")
    );
}

/// mosquitto answers a payload over `message_size_limit` with a code that a PUBACK does not have
/// (0x95), which the client library cannot read: as good as a closed connection.
#[tokio::test]
async fn an_answer_that_nobody_can_read_does_not_hold_up_the_others() {
    let broker = Mosquitto::start_with(&format!("{SETTINGS}message_size_limit 2000\n"));
    let mut outlet = receiver(Mqtt {
        payload: Payload::Json,
        version: MqttVersion::V5,
        ..settings(broker.port)
    });
    let moves = [
        raised(1, "stir"),
        raised(2, &"x".repeat(4000)),
        raised(3, "stir"),
    ];
    let (_, receipt) = until_delivered(&mut outlet, Parcel::Moves(&moves)).await;
    let refused: Vec<_> = receipt.refused.iter().map(|it| it.seq).collect();
    assert_eq!(refused, [2]);
}

#[tokio::test]
async fn nothing_is_given_up_while_the_broker_is_just_gone() {
    let mut broker = FakeBroker::start([WELL_BEHAVED]);
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    outlet.close().await;
    while broker.sees().await != Seen::Gone {}
    for _ in 0..6 {
        let trouble = outlet
            .deliver(Parcel::Live(&[reading(5)]))
            .await
            .unwrap_err();
        assert!(later(&trouble).ends_with("not connected"));
    }
}
