//! Everything arrives once, each lane in order, whatever the receiver does.

use super::receiver::{Answer, Delivery, Scripted, UNHURRIED, append_move, courier, numbers};
use crate::log::testing::{Bench, remark, run};
use proptest::prelude::*;
use std::time::Duration;

fn increases(numbers: &[u64]) -> bool {
    numbers.is_sorted_by(|a, b| a < b)
}

#[tokio::test]
async fn without_trouble_everything_comes_once_and_live() {
    let bench = Bench::new().await;
    let mut delivery = Delivery::start(&bench, Scripted::willing(), UNHURRIED).await;
    delivery.until(|book| book.connects == 1).await;
    for _ in 0..5 {
        bench.readings(7).await;
    }
    let book = delivery.readings(35).await;
    assert_eq!((book.live(), book.late()), (numbers(1, 35), vec![]));
}

#[tokio::test]
async fn a_receiver_that_fails_each_second_delivery_gets_everything_in_order() {
    let bench = Bench::new().await;
    let courier = courier(&bench, UNHURRIED).await;
    bench.readings(50).await;
    let receiver = Scripted::new(|tried, _| match tried % 2 {
        0 => Answer::Fail("connection reset"),
        _ => Answer::Take,
    });
    let mut delivery = Delivery::run(courier, receiver);
    for probe in ["vat", "tank", "rinse"] {
        bench.readings(20).await;
        append_move(&bench, probe).await;
        delivery.until(|book| !book.moves().is_empty()).await;
    }
    delivery.readings(110).await;
    let book = delivery.until(|book| book.moves().len() == 3).await;
    assert_eq!(book.readings(), numbers(1, 110));
    assert!(increases(&book.live()) && increases(&book.late()));
    assert!(increases(&book.moves()));
}

#[tokio::test]
async fn a_new_outlet_gets_what_comes_after_it_was_added() {
    let bench = Bench::new().await;
    bench.readings(5).await;
    append_move(&bench, "vat").await;
    let courier = courier(&bench, UNHURRIED).await;
    // Added, but not running yet.
    bench.readings(4).await;
    append_move(&bench, "tank").await;
    let mut delivery = Delivery::run(courier, Scripted::willing());
    delivery.until(|book| book.moves().len() == 1).await;
    let book = delivery.readings(4).await;
    assert_eq!((book.readings(), book.moves()), (numbers(6, 9), vec![2]));
}

#[tokio::test]
async fn a_restarted_courier_goes_on_where_the_one_before_left_off() {
    let bench = Bench::new().await;
    let mut first = Delivery::start(&bench, Scripted::willing(), UNHURRIED).await;
    first.until(|book| book.connects == 1).await;
    bench.readings(5).await;
    append_move(&bench, "vat").await;
    first.readings(5).await;
    first.until(|book| book.moves().len() == 1).await;
    bench.readings(5).await;
    let had = first.stop().await.readings();
    bench.readings(5).await;
    append_move(&bench, "tank").await;
    let mut second = Delivery::start(&bench, Scripted::willing(), UNHURRIED).await;
    second.until(|book| !book.moves().is_empty()).await;
    let book = second.readings(15 - had.len()).await;
    assert_eq!([had, book.readings()].concat(), numbers(1, 15));
    assert_eq!(book.moves().len(), 1, "the first one's move comes once");
}

#[tokio::test]
async fn the_first_move_after_a_restart_comes_although_the_card_refuses_it() {
    let bench = Bench::new().await;
    let first = courier(&bench, UNHURRIED).await;
    append_move(&bench, "vat").await;
    let mut delivery = Delivery::run(first, Scripted::willing());
    delivery.until(|book| book.moves() == [1]).await;
    delivery.stop().await;
    bench.append(Vec::new(), vec![remark()]).await;
    let bench = bench.reopened().await;
    let mut delivery = Delivery::start(&bench, Scripted::willing(), UNHURRIED).await;
    delivery.until(|book| book.connects == 1).await;
    let full = "CREATE TRIGGER full BEFORE INSERT ON journal \
        BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END";
    let card = rusqlite::Connection::open(bench.log.path()).unwrap();
    card.execute_batch(full).unwrap();
    append_move(&bench, "tank").await;
    let book = delivery.until(|book| !book.moves().is_empty()).await;
    // After the first move, the word that the outlet works, and the remark.
    assert_eq!(book.moves(), [4]);
}

#[tokio::test]
async fn late_readings_keep_to_the_rate() {
    let bench = Bench::new().await;
    // A fifth of a second for each ten.
    let courier = courier(&bench, 50).await;
    bench.readings(36).await;
    let mut delivery = Delivery::run(courier, Scripted::willing());
    let book = delivery.readings(36).await;
    assert_eq!(book.late(), numbers(1, 36));
    // A parcel is no more than a quarter of a second's allowance, and each waits for its time.
    assert_eq!(book.got.len(), 4);
    for (two, parcel) in book.when.windows(2).zip([10, 10, 10]) {
        let apart = two[1] - two[0];
        let least = Duration::from_secs_f64(f64::from(parcel) / 50.0);
        assert!(apart >= least.mul_f64(0.9), "{apart:?} apart");
    }
}

#[derive(Clone, Debug)]
enum Step {
    Append(u64),
    Move,
    Restart,
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        4 => (1_u64..30).prop_map(Step::Append),
        1 => Just(Step::Move),
        1 => Just(Step::Restart),
    ]
}

async fn deliver(steps: Vec<Step>, failing: Vec<bool>) {
    let bench = Bench::committing(Duration::from_millis(2)).await;
    let receiver = || {
        let failing = failing.clone();
        Scripted::new(move |tried, _| match failing[tried % failing.len()] {
            true => Answer::Fail("connection reset"),
            false => Answer::Take,
        })
    };
    let (mut appended, mut moved, mut books) = (0, 0, Vec::new());
    let mut delivery = Delivery::start(&bench, receiver(), UNHURRIED).await;
    for step in steps {
        match step {
            Step::Append(count) => {
                bench.readings(count).await;
                appended += count;
            }
            Step::Move => {
                append_move(&bench, "vat").await;
                moved += 1;
            }
            Step::Restart => {
                books.push(delivery.stop().await);
                delivery = Delivery::start(&bench, receiver(), UNHURRIED).await;
            }
        }
    }
    let before: usize = books.iter().map(|book| book.readings().len()).sum();
    let moves_before: usize = books.iter().map(|book| book.moves().len()).sum();
    delivery.readings(appended as usize - before).await;
    let all_moves = moved - moves_before;
    books.push(delivery.until(|b| b.moves().len() >= all_moves).await);
    let lane = |lane: fn(&super::receiver::Book) -> Vec<u64>| {
        books.iter().flat_map(lane).collect::<Vec<u64>>()
    };
    let (live, late) = (lane(|b| b.live()), lane(|b| b.late()));
    assert!(increases(&live) && increases(&late));
    assert!(increases(&lane(|b| b.moves())));
    let mut all = [live, late].concat();
    all.sort_unstable();
    assert_eq!(all, numbers(1, appended));
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 24,
        // Each failure waits for what does not come.
        max_shrink_iters: 10,
        ..ProptestConfig::default()
    })]
    #[test]
    fn everything_comes_once_and_each_lane_in_order(
        steps in proptest::collection::vec(step(), 1..25),
        mut failing in proptest::collection::vec(any::<bool>(), 1..8),
    ) {
        failing.push(false);
        run(deliver(steps, failing));
    }
}
