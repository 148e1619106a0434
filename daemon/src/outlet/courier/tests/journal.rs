//! What the journal is told of an outlet: each trouble once, recovery once, refusals within bounds.

use super::receiver::{Answer, Delivery, SOON, Scripted, UNHURRIED, courier};
use crate::log::Kind;
use crate::log::testing::Bench;
use std::time::Duration;

#[tokio::test]
async fn trouble_is_told_once_and_recovery_once() {
    let bench = Bench::new().await;
    let mut courier = courier(&bench, UNHURRIED).await;
    courier.settled_after = Duration::ZERO;
    bench.readings(3).await;
    let receiver = Scripted::willing();
    let broker = std::sync::Arc::clone(&receiver.unreachable);
    broker.send_replace(Some("127.0.0.1:1883: connection refused"));
    let mut delivery = Delivery::run(courier, receiver);
    delivery.until(|book| book.connects == 4).await;
    broker.send_replace(None);
    delivery.readings(3).await;
    bench.readings(2).await;
    delivery.readings(5).await;
    delivery.stop().await;
    insta::assert_snapshot!(bench.journal(Kind::Outlet).await.join("\n"), @r"
    outlet `kitchen`: 127.0.0.1:1883: connection refused; readings are kept and sent late
    outlet `kitchen`: working again; everything is sent
    ");
}

#[tokio::test]
async fn a_trouble_that_comes_and_goes_is_not_told_each_time() {
    let bench = Bench::new().await;
    let receiver = Scripted::new(|tried, _| match tried % 2 {
        1 => Answer::Fail("connection reset"),
        _ => Answer::Take,
    });
    let mut delivery = Delivery::start(&bench, receiver, UNHURRIED).await;
    for count in 1..=5 {
        bench.readings(1).await;
        delivery.readings(count).await;
    }
    delivery.stop().await;
    // No connection stood long enough to be called good.
    insta::assert_snapshot!(bench.journal(Kind::Outlet).await.join("\n"), @"outlet `kitchen`: connection reset; readings are kept and sent late");
}

#[tokio::test]
async fn recovery_is_told_once_the_connection_has_stood_without_anything_to_send() {
    let bench = Bench::new().await;
    let stood = Duration::from_millis(50);
    let mut courier = courier(&bench, UNHURRIED).await;
    courier.settled_after = stood;
    let receiver = Scripted::new(|tried, _| match tried {
        1 => Answer::Fail("connection reset"),
        _ => Answer::Take,
    });
    let mut delivery = Delivery::run(courier, receiver);
    delivery.until(|book| book.connects == 1).await;
    bench.readings(1).await;
    let taken = delivery.readings(1).await.when[0];
    let mut told = bench.journal(Kind::Outlet).await;
    while told.len() < 2 {
        assert!(taken.elapsed() < SOON, "it is told soon");
        told = bench.journal(Kind::Outlet).await;
    }
    insta::assert_snapshot!(told.join("\n"), @r"
    outlet `kitchen`: connection reset; readings are kept and sent late
    outlet `kitchen`: working again; everything is sent
    ");
}

#[tokio::test]
async fn a_receiver_that_answers_but_takes_nothing_is_told_of_once() {
    let bench = Bench::new().await;
    let mut courier = courier(&bench, UNHURRIED).await;
    courier.settled_after = Duration::ZERO;
    bench.readings(3).await;
    let receiver = Scripted::new(|_, _| Answer::Fail("http://127.0.0.1:8086: disk full"));
    let mut delivery = Delivery::run(courier, receiver);
    delivery.until(|book| book.tried == 5).await;
    delivery.stop().await;
    insta::assert_snapshot!(bench.journal(Kind::Outlet).await.join("\n"), @"outlet `kitchen`: http://127.0.0.1:8086: disk full; readings are kept and sent late");
}

#[tokio::test]
async fn refusals_are_told_one_by_one_and_then_counted() {
    let bench = Bench::new().await;
    let mut delivery = Delivery::start(
        &bench,
        Scripted::new(|tried, _| match tried {
            1 => Answer::Refuse(8),
            _ => Answer::Take,
        }),
        UNHURRIED,
    )
    .await;
    delivery.until(|book| book.connects == 1).await;
    bench.readings(9).await;
    let book = delivery.readings(9).await;
    assert_eq!(book.tried, 1, "what is refused for good is passed over");
    delivery.stop().await;
    insta::assert_snapshot!(bench.journal(Kind::Outlet).await.join("\n"), @"
    outlet `kitchen`: refused for good, not sent again: reading 1: field type conflict
    outlet `kitchen`: refused for good, not sent again: reading 2: field type conflict
    outlet `kitchen`: refused for good, not sent again: reading 3: field type conflict
    outlet `kitchen`: refused for good, not sent again: reading 4: field type conflict
    outlet `kitchen`: refused for good, not sent again: reading 5: field type conflict
    outlet `kitchen`: working, the first delivery is acknowledged
    outlet `kitchen`: refused for good, not sent again: 3 more
    ");
}
