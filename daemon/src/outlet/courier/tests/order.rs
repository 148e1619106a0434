//! What goes first: alarm moves, then live readings, then late ones; and whole lines of a board only.

use super::receiver::{Answer, Delivery, Got, Scripted, UNHURRIED, append_move, courier, numbers};
use crate::alarm::State;
use crate::log::testing::{Bench, alarm_move};
use std::sync::Arc;
use tokio::sync::Notify;

#[tokio::test]
async fn moves_go_before_live_readings_and_live_before_late() {
    let bench = Bench::new().await;
    let courier = courier(&bench, UNHURRIED).await;
    bench.readings(20).await;
    let first = Arc::new(Notify::new());
    let held = Arc::clone(&first);
    let mut delivery = Delivery::run(
        courier,
        Scripted::new(move |tried, _| match tried {
            1 => Answer::TakeWhen(Arc::clone(&held)),
            _ => Answer::Take,
        }),
    );
    delivery.until(|book| book.tried == 1).await;
    bench.readings(3).await;
    append_move(&bench, "vat").await;
    first.notify_one();
    let book = delivery.readings(23).await;
    let expected = [
        Got::Late(numbers(1, 10)),
        Got::Moves(vec![1]),
        Got::Live(numbers(21, 23)),
        Got::Late(numbers(11, 20)),
    ];
    assert_eq!(book.got, expected);
}

#[tokio::test]
async fn a_parcel_never_ends_within_a_line() {
    let bench = Bench::new().await;
    let mut delivery = Delivery::start(&bench, Scripted::willing(), UNHURRIED).await;
    delivery.until(|book| book.connects == 1).await;
    bench.lines([(1, 8), (2, 4), (3, 9)]).await;
    let book = delivery.readings(21).await;
    let expected = [Got::Live(numbers(1, 12)), Got::Live(numbers(13, 21))];
    assert_eq!(book.got, expected);
}

#[tokio::test]
async fn a_receiver_that_keeps_states_is_told_where_each_alarm_stands_after_each_connect() {
    let bench = Bench::new().await;
    append_move(&bench, "vat").await;
    append_move(&bench, "tank").await;
    let back = alarm_move("vat", State::Normal, 0);
    bench.append(Vec::new(), vec![back]).await;
    let mut receiver = Scripted::new(|tried, _| match tried {
        3 => Answer::Fail("the broker was restarted"),
        _ => Answer::Take,
    });
    receiver.keeps_alarm_states = true;
    let mut delivery = Delivery::start(&bench, receiver, UNHURRIED).await;
    // An outlet that is new gets no old moves, but all states: the last move of each alarm.
    delivery.until(|book| book.moves() == [2, 3]).await;
    append_move(&bench, "vat").await;
    delivery.until(|book| book.moves() == [2, 3, 4]).await;
    bench.readings(1).await;
    // The restart is noticed by the reading; the move that it had is told again, once.
    let book = delivery.readings(1).await;
    assert_eq!(book.got[2..], [Got::Moves(vec![2, 4]), Got::Late(vec![1])]);
}

#[tokio::test]
async fn a_receiver_that_keeps_states_gets_new_moves_before_the_standing_ones() {
    let bench = Bench::new().await;
    append_move(&bench, "vat").await;
    let courier = courier(&bench, UNHURRIED).await;
    append_move(&bench, "tank").await;
    let mut receiver = Scripted::willing();
    receiver.keeps_alarm_states = true;
    let mut delivery = Delivery::run(courier, receiver);
    let book = delivery.until(|book| book.moves().len() == 2).await;
    assert_eq!(book.got, [Got::Moves(vec![2]), Got::Moves(vec![1])]);
}

#[tokio::test]
async fn other_receivers_are_not_told_a_state_again() {
    let bench = Bench::new().await;
    append_move(&bench, "vat").await;
    let mut delivery = Delivery::start(&bench, Scripted::willing(), UNHURRIED).await;
    bench.readings(1).await;
    let book = delivery.readings(1).await;
    assert_eq!(book.moves(), Vec::<u64>::new());
}
