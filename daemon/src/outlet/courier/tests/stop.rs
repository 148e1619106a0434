//! Stopping: what is left is delivered, and nobody is waited for too long.

use super::receiver::{Answer, Delivery, Scripted, UNHURRIED, append_move, courier, numbers};
use super::{Instant, LAST_DELIVERY};
use crate::log::testing::Bench;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Notify;

#[tokio::test]
async fn what_is_left_is_delivered_before_the_receiver_is_closed() {
    let bench = Bench::new().await;
    let courier = courier(&bench, UNHURRIED).await;
    bench.readings(25).await;
    let held = Arc::new(Notify::new());
    let hold = Arc::clone(&held);
    let receiver = Scripted::new(move |tried, _| match tried {
        1 => Answer::TakeWhen(Arc::clone(&hold)),
        _ => Answer::Take,
    });
    let mut delivery = Delivery::run(courier, receiver);
    delivery.until(|book| book.tried == 1).await;
    bench.readings(30).await;
    append_move(&bench, "vat").await;
    held.notify_one();
    let book = delivery.stop().await;
    assert_eq!(book.live(), numbers(26, 55));
    assert_eq!(book.moves(), [1]);
    assert!(book.closed);
}

#[tokio::test]
async fn a_receiver_that_hangs_does_not_hold_up_the_stop_past_the_deadline() {
    let bench = Bench::new().await;
    let receiver = Scripted::new(|_, _| Answer::Hang);
    let mut delivery = Delivery::start(&bench, receiver, UNHURRIED).await;
    bench.readings(1).await;
    delivery.until(|book| book.tried == 1).await;
    let told = Instant::now();
    delivery.stop().await;
    assert!(told.elapsed() >= LAST_DELIVERY);
    assert!(told.elapsed() < LAST_DELIVERY + Duration::from_secs(3));
    // What was not acknowledged is delivered after the next start.
    let mut delivery = Delivery::start(&bench, Scripted::willing(), UNHURRIED).await;
    assert_eq!(delivery.readings(1).await.readings(), [1]);
}

#[tokio::test]
async fn a_receiver_that_cannot_be_reached_does_not_hold_up_the_stop_at_all() {
    let bench = Bench::new().await;
    let receiver = Scripted::willing();
    receiver
        .unreachable
        .send_replace(Some("connection refused"));
    let mut delivery = Delivery::start(&bench, receiver, UNHURRIED).await;
    bench.readings(5).await;
    delivery.until(|book| book.connects > 1).await;
    let told = Instant::now();
    let book = delivery.stop().await;
    assert!(told.elapsed() < LAST_DELIVERY);
    assert_eq!(book.readings(), Vec::<u64>::new());
}
