//! A board that goes on talking at its own pace while a test's story goes on.
//!
//! The pace is the board's, and the only thing here that takes its time; what a story waits for is in
//! `wait`.

use crate::board::Board;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

/// Runs `story` while `say` is called with the board and 0, 1, 2 …, once each `pace`. The talk ends
/// with the story, also where that fails.
///
/// # Panics
/// Where the story or the talk does.
pub fn while_talking<T>(
    board: &Mutex<Board>,
    pace: Duration,
    say: impl Fn(&mut Board, u64) + Sync,
    story: impl FnOnce() -> T,
) -> T {
    let enough = AtomicBool::new(false);
    thread::scope(|scope| {
        scope.spawn(|| talk(board, pace, &say, &enough));
        let _end = Ends(&enough);
        story()
    })
}

fn talk(board: &Mutex<Board>, pace: Duration, say: impl Fn(&mut Board, u64), enough: &AtomicBool) {
    for number in 0_u64.. {
        if enough.load(Ordering::Acquire) {
            return;
        }
        say(&mut board.lock().expect("no story panics with it"), number);
        thread::sleep(pace);
    }
}

struct Ends<'a>(&'a AtomicBool);

impl Drop for Ends<'_> {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Release);
    }
}
