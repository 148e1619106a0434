//! A broker that misbehaves: cuts, hangs, forgets.

use crate::fake_broker::{FakeBroker, Manner, Seen, WELL_BEHAVED};
use crate::later;
use crate::scene::{numbers, reading, readings, receiver, settings};
use nightbench::config::Mqtt;
use nightbench::outlet::{Parcel, Receipt, Receiver};
use std::time::Duration;

/// Acknowledges the status message only.
const TAKES_BUT_NEVER_ANSWERS: Manner = Manner {
    acknowledges: |n| n == 0,
    ..WELL_BEHAVED
};

#[tokio::test]
async fn what_a_broker_took_without_acknowledging_is_delivered_again_in_order() {
    let cuts = Manner {
        cuts_after: Some(4),
        ..TAKES_BUT_NEVER_ANSWERS
    };
    let mut broker = FakeBroker::start([cuts, WELL_BEHAVED]);
    let mut outlet = receiver(settings(broker.port));
    let night = readings(1..=12);

    outlet.connect().await.unwrap();
    let trouble = outlet.deliver(Parcel::Backlog(&night)).await.unwrap_err();
    assert!(later(&trouble).starts_with(&format!("broker `127.0.0.1:{}`: ", broker.port)));
    broker.sees_connect().await;
    assert_eq!(broker.sees_payloads(99).await, ["online", "1", "2", "3"]);

    outlet.connect().await.unwrap();
    let receipt = outlet.deliver(Parcel::Backlog(&night)).await.unwrap();
    assert_eq!(receipt, Receipt::default());
    broker.sees_connect().await;
    assert_eq!(broker.sees_payloads(1).await, ["online"]);
    assert_eq!(broker.sees_payloads(12).await, numbers(1..=12));
}

#[tokio::test]
async fn a_broker_that_takes_but_never_answers_is_told_apart_from_a_quiet_night() {
    let broker = FakeBroker::start([TAKES_BUT_NEVER_ANSWERS]);
    let patience = Duration::from_millis(200);
    let mut outlet = receiver(settings(broker.port)).with_patience(patience);
    outlet.connect().await.unwrap();
    let trouble = outlet
        .deliver(Parcel::Live(&readings(1..=2)))
        .await
        .unwrap_err();
    assert!(later(&trouble).contains("accepts messages but has acknowledged none for 0.2 s"));
}

#[tokio::test]
async fn a_broker_that_never_acknowledges_the_status_is_given_up() {
    let mute = Manner {
        acknowledges: |_| false,
        ..WELL_BEHAVED
    };
    let broker = FakeBroker::start([mute]);
    let mut outlet = receiver(settings(broker.port)).with_patience(Duration::from_millis(200));
    assert!(later(&outlet.connect().await.unwrap_err()).contains("acknowledged none"));
}

#[tokio::test]
async fn an_acknowledgement_left_out_starts_over_instead_of_blocking_for_ever() {
    let forgets_one = Manner {
        acknowledges: |n| n != 1,
        ..WELL_BEHAVED
    };
    let mut broker = FakeBroker::start([forgets_one, WELL_BEHAVED]);
    let two_under_way = Mqtt {
        window: 2,
        ..settings(broker.port)
    };
    let mut outlet = receiver(two_under_way);
    outlet.connect().await.unwrap();
    let trouble = outlet
        .deliver(Parcel::Live(&readings(1..=9)))
        .await
        .unwrap_err();
    assert!(later(&trouble).contains("out of order"), "{trouble}");

    while broker.sees().await != Seen::Gone {}
    outlet.connect().await.unwrap();
    outlet
        .deliver(Parcel::Live(&readings(1..=9)))
        .await
        .unwrap();
    broker.sees_connect().await;
    assert_eq!(broker.sees_payloads(10).await[1..], numbers(1..=9));
}

#[tokio::test]
async fn no_more_than_the_window_is_under_way() {
    let mut broker = FakeBroker::start([TAKES_BUT_NEVER_ANSWERS]);
    let three_under_way = Mqtt {
        window: 3,
        ..settings(broker.port)
    };
    let mut outlet = receiver(three_under_way).with_patience(Duration::from_millis(200));
    outlet.connect().await.unwrap();
    outlet
        .deliver(Parcel::Live(&readings(1..=9)))
        .await
        .unwrap_err();
    broker.sees_connect().await;
    assert_eq!(broker.sees_payloads(99).await, ["online", "1", "2", "3"]);
}

#[tokio::test]
async fn a_lost_connection_is_noticed_while_there_is_nothing_to_deliver() {
    let cuts_at_once = Manner {
        cuts_after: Some(1),
        ..WELL_BEHAVED
    };
    let broker = FakeBroker::start([cuts_at_once]);
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    let wait = tokio::time::timeout(Duration::from_secs(10), outlet.idle());
    assert!(later(&wait.await.unwrap()).contains("closed the connection"));
    let trouble = outlet
        .deliver(Parcel::Live(&[reading(1)]))
        .await
        .unwrap_err();
    assert!(later(&trouble).ends_with("not connected"));
}

#[tokio::test]
async fn a_delivery_given_up_half_way_leaves_no_connection_behind() {
    let mut broker = FakeBroker::start([TAKES_BUT_NEVER_ANSWERS, WELL_BEHAVED]);
    let mut outlet = receiver(settings(broker.port));
    outlet.connect().await.unwrap();
    broker.sees_connect().await;
    let night = readings(1..=2);
    tokio::select! {
        _ = outlet.deliver(Parcel::Live(&night)) => panic!("nothing is acknowledged"),
        sent = broker.sees_payloads(3) => assert_eq!(sent, ["online", "1", "2"]),
    }
    let trouble = outlet.deliver(Parcel::Live(&night)).await.unwrap_err();
    assert!(later(&trouble).ends_with("not connected"));
    assert_eq!(broker.sees().await, Seen::Gone);
    outlet.connect().await.unwrap();
    outlet.deliver(Parcel::Live(&night)).await.unwrap();
}
