//! What a real broker is left with.

use crate::fake_broker::{FakeBroker, Seen, WELL_BEHAVED};
use crate::later;
use crate::mosquitto::Mosquitto;
use crate::scene::{beside, numbers, raised, reading, readings, receiver, settings};
use crate::subscriber::{Subscriber, retained};
use nightbench::config::{Mqtt, Payload, Template};
use nightbench::outlet::{Parcel, Receiver};

#[tokio::test]
async fn live_values_are_retained_and_late_ones_are_not() {
    let broker = Mosquitto::start();
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    outlet
        .deliver(Parcel::Backlog(&readings(1..=3)))
        .await
        .unwrap();
    outlet
        .deliver(Parcel::Live(&readings(4..=6)))
        .await
        .unwrap();
    outlet
        .deliver(Parcel::Moves(&[raised(7, "stir")]))
        .await
        .unwrap();
    let expected = [
        ("cellar/mash/alarm/high-7", "active"),
        ("cellar/mash/reading", "6"),
        ("cellar/status", "online"),
    ];
    assert_eq!(
        retained(broker.port),
        expected.map(|(t, p)| (t.into(), p.into())).into()
    );
}

#[tokio::test]
async fn offline_stands_after_a_clean_end_with_all_delivered_before_it() {
    let broker = Mosquitto::start();
    let mut subscriber = Subscriber::start(broker.port);
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    outlet.deliver(Parcel::Live(&[reading(1)])).await.unwrap();
    outlet.close().await;
    let payloads: Vec<_> = subscriber
        .next_texts(3)
        .await
        .into_iter()
        .map(|(_, text)| text)
        .collect();
    assert_eq!(payloads, ["online", "1", "offline"]);
    assert_eq!(retained(broker.port)["cellar/status"], "offline");
}

#[tokio::test]
async fn the_goodbye_is_an_orderly_one() {
    let mut broker = FakeBroker::start([WELL_BEHAVED]);
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    outlet.close().await;
    broker.sees_connect().await;
    assert_eq!(broker.sees_payloads(2).await, ["online", "offline"]);
    assert_eq!(broker.sees().await, Seen::Disconnect);
}

#[tokio::test]
async fn a_cut_connection_lets_the_broker_say_offline() {
    let broker = Mosquitto::start();
    let mut subscriber = Subscriber::start(broker.port);
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    drop(outlet);
    let expected = ["online", "offline"].map(|text| ("cellar/status".into(), text.into()));
    assert_eq!(subscriber.next_texts(2).await, expected);
    assert_eq!(retained(broker.port)["cellar/status"], "offline");
}

#[tokio::test]
async fn a_parcel_of_many_windows_arrives_whole_and_in_order() {
    let broker = Mosquitto::start();
    let mut subscriber = Subscriber::start(broker.port);
    let narrow = Mqtt {
        window: 8,
        ..settings(broker.port)
    };
    let mut outlet = receiver(narrow);
    outlet.connect().await.unwrap();
    subscriber.next().await;
    outlet
        .deliver(Parcel::Backlog(&readings(1..=250)))
        .await
        .unwrap();
    let payloads: Vec<_> = subscriber
        .next_texts(250)
        .await
        .into_iter()
        .map(|(_, text)| text)
        .collect();
    assert_eq!(payloads, numbers(1..=250));
}

#[tokio::test]
async fn one_message_under_way_at_a_time_is_enough() {
    let broker = Mosquitto::start();
    let single = Mqtt {
        window: 1,
        ..settings(broker.port)
    };
    let mut outlet = receiver(single);
    outlet.connect().await.unwrap();
    outlet
        .deliver(Parcel::Live(&readings(1..=5)))
        .await
        .unwrap();
    outlet.close().await;
    assert_eq!(retained(broker.port)["cellar/mash/reading"], "5");
}

#[tokio::test]
async fn an_oversized_message_is_refused_while_the_others_arrive() {
    let broker = Mosquitto::start();
    let json = Mqtt {
        payload: Payload::Json,
        ..settings(broker.port)
    };
    let mut outlet = receiver(json);
    outlet.connect().await.unwrap();
    // The client library's own limit would be 10 KiB.
    let moves = [
        raised(1, "stir"),
        raised(2, &"x".repeat(2 << 20)),
        raised(3, &"x".repeat(20 << 10)),
    ];
    let receipt = outlet.deliver(Parcel::Moves(&moves)).await.unwrap();
    assert_eq!(receipt.refused.len(), 1);
    assert_eq!(receipt.refused[0].seq, 2);
    assert!(
        receipt.refused[0]
            .why
            .contains("more than the 1048576 that are sent")
    );
    let stands = retained(broker.port);
    let topics: Vec<_> = stands.keys().map(String::as_str).collect();
    assert_eq!(
        topics,
        [
            "cellar/mash/alarm/high-1",
            "cellar/mash/alarm/high-3",
            "cellar/status"
        ]
    );
}

#[tokio::test]
async fn a_name_that_makes_no_topic_is_refused_while_the_others_arrive() {
    let broker = Mosquitto::start();
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    let night = [
        reading(1),
        beside(&reading(2), "ma#sh", 2),
        beside(&reading(3), "air", 3),
    ];
    let receipt = outlet.deliver(Parcel::Live(&night)).await.unwrap();
    assert_eq!(receipt.refused.len(), 1);
    assert!(
        receipt.refused[0]
            .why
            .starts_with("topic `cellar/ma#sh/reading` cannot be published")
    );
    assert_eq!(retained(broker.port)["cellar/air/reading"], "3");
}

#[tokio::test]
async fn a_broker_restarted_with_nothing_is_delivered_to_again() {
    let broker = Mosquitto::start();
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    outlet
        .deliver(Parcel::Live(&readings(1..=3)))
        .await
        .unwrap();
    let broker = broker.restart_empty();
    assert_eq!(retained(broker.port).len(), 0);

    let trouble = outlet
        .deliver(Parcel::Live(&readings(4..=6)))
        .await
        .unwrap_err();
    later(&trouble);
    outlet.connect().await.unwrap();
    outlet
        .deliver(Parcel::Live(&readings(4..=6)))
        .await
        .unwrap();
    let stands = retained(broker.port);
    assert_eq!(stands["cellar/mash/reading"], "6");
    assert_eq!(stands["cellar/status"], "online");
}

#[tokio::test]
async fn at_most_once_is_done_when_written() {
    let broker = Mosquitto::start();
    let mut subscriber = Subscriber::start(broker.port);
    let lossy = Mqtt {
        qos: 0,
        window: 4,
        ..settings(broker.port)
    };
    let mut outlet = receiver(lossy);
    outlet.connect().await.unwrap();
    subscriber.next().await;
    outlet
        .deliver(Parcel::Live(&readings(1..=30)))
        .await
        .unwrap();
    let payloads: Vec<_> = subscriber
        .next_texts(30)
        .await
        .into_iter()
        .map(|(_, text)| text)
        .collect();
    assert_eq!(payloads, numbers(1..=30));
}

#[tokio::test]
async fn at_most_once_is_sent_as_such() {
    let mut broker = FakeBroker::start([WELL_BEHAVED]);
    let lossy = Mqtt {
        qos: 0,
        ..settings(broker.port)
    };
    let mut outlet = receiver(lossy);
    outlet.connect().await.unwrap();
    outlet.deliver(Parcel::Live(&[reading(1)])).await.unwrap();
    broker.sees_connect().await;
    assert_eq!(broker.sees_payloads(1).await, ["online"]);
    let Seen::Publish(sent) = broker.sees().await else {
        panic!("a publish")
    };
    assert_eq!((sent.qos, sent.id, sent.retain), (0, None, true));
}

#[tokio::test]
async fn a_line_of_a_board_is_one_message() {
    let broker = Mosquitto::start();
    let mut subscriber = Subscriber::start(broker.port);
    let mut outlet = receiver(Mqtt {
        per_line: true,
        payload: Payload::Json,
        topic: Template("{site}/{board}/line".into()),
        ..settings(broker.port)
    });
    outlet.connect().await.unwrap();
    subscriber.next().await;
    let (first, second) = (reading(1), reading(3));
    let night = [
        first.clone(),
        beside(&first, "air", 2),
        second.clone(),
        beside(&second, "air", 4),
    ];
    outlet.deliver(Parcel::Live(&night)).await.unwrap();
    for (topic, text) in subscriber.next_texts(2).await {
        assert_eq!(topic, "cellar/bench/line");
        let line: serde_json::Value = serde_json::from_str(&text).unwrap();
        let probes: Vec<_> = line["readings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|reading| &reading["probe"])
            .collect();
        assert_eq!(probes, ["mash", "air"]);
    }
}

#[tokio::test]
async fn senml_from_before_the_clock_was_set_is_refused_while_the_rest_arrives() {
    let broker = Mosquitto::start();
    let senml = Mqtt {
        payload: Payload::Senml,
        ..settings(broker.port)
    };
    let mut outlet = receiver(senml);
    outlet.connect().await.unwrap();
    let mut early = reading(1);
    early.at.wall_ms = 12_000;
    let receipt = outlet
        .deliver(Parcel::Live(&[early, reading(2)]))
        .await
        .unwrap();
    assert_eq!(receipt.refused.len(), 1);
    assert!(
        receipt.refused[0]
            .why
            .starts_with("taken before this host's clock was set")
    );
    assert_eq!(
        retained(broker.port)["cellar/mash/reading"],
        r#"[{"bn":"cellar:mash:","bt":1795571449.0,"n":"temperature","u":"Cel","v":2.0}]"#
    );
}
