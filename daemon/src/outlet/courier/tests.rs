//! The outlets' loop with a receiver that does what its script says, beside a real log.

mod journal;
mod lanes;
mod order;
mod receiver;
mod stop;

use super::*;

fn later(after: Option<Duration>) -> Trouble {
    Trouble::Later {
        what: String::new(),
        after,
    }
}

#[test]
fn waits_double_up_to_the_longest_and_start_again_after_a_success() {
    let mut wait = Backoff::default();
    let waits: Vec<Duration> = (0..40).map(|_| wait.next(&later(None))).collect();
    assert!(waits[0] <= FIRST_WAIT.mul_f64(1.4));
    assert!(waits.iter().all(|w| *w <= LONGEST_WAIT.mul_f64(1.4)));
    assert!(waits[39] >= LONGEST_WAIT);
    wait.reset();
    assert!(wait.next(&later(None)) <= FIRST_WAIT.mul_f64(1.4));
}

#[test]
fn the_receivers_own_wish_is_kept() {
    let wish = Duration::from_secs(7);
    let wait = Backoff::default().next(&later(Some(wish)));
    assert!(wait >= wish && wait <= wish.mul_f64(1.4));
}

#[test]
fn where_a_person_is_needed_it_is_tried_rarely() {
    let what = String::new();
    let wait = Backoff::default().next(&Trouble::Person { what });
    assert!(wait >= PERSON_WAIT);
}
