//! The thread that looks after one probe's child: starts it, reads what it prints, says how it
//! ended, and starts it again.

use super::child::{Hosted, NoDriver};
use super::printed::Printed;
use super::words::{self, Doing};
use super::{Shared, State};
use crate::clock;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::io;
use std::process::ExitStatus;
use std::sync::{Arc, PoisonError};
use std::thread;
use std::time::Duration;

/// First wait before another start; it doubles.
const SHORTEST: Duration = Duration::from_secs(1);
/// Longest wait before another start.
const LONGEST: Duration = Duration::from_secs(60);
/// A child that has answered for so long is started again soon, nanoseconds.
const GOOD_NS: u64 = 60_000_000_000;
/// How long what a dead child has printed may take to be read: somebody else may hold the pipe.
const LAST_WORDS: Timespec = Timespec {
    tv_sec: 0,
    tv_nsec: 100_000_000,
};

/// Starts the thread. It lives as long as its child, which is told to end with it.
pub(super) fn spawn(shared: Arc<Shared>) -> io::Result<()> {
    let name = format!("driver {}", shared.plan.teller.driver());
    let thread = thread::Builder::new().name(name);
    thread.spawn(move || run(&shared)).map(|_| ())
}

fn run(shared: &Shared) {
    let mut back_off = BackOff::default();
    loop {
        let began = clock::now().boot_ns;
        let why = one_life(shared);
        let wait = back_off.after(clock::now().boot_ns.saturating_sub(began));
        if !down(shared, &why, wait) || !paused(shared, wait) {
            return;
        }
    }
}

/// How long is waited before another start: longer each time, unless the child had answered for long.
struct BackOff(Duration);

impl Default for BackOff {
    fn default() -> Self {
        Self(SHORTEST)
    }
}

impl BackOff {
    /// The wait after a child that has lived for so many nanoseconds.
    fn after(&mut self, lived_ns: u64) -> Duration {
        if lived_ns >= GOOD_NS {
            self.0 = SHORTEST;
        }
        let wait = self.0;
        self.0 = wait.saturating_mul(2).min(LONGEST);
        wait
    }
}

/// Starts a child and stays until it has ended; gives how, in words.
fn one_life(shared: &Shared) -> String {
    let mut hosted = match Hosted::start(&shared.plan) {
        Ok(hosted) => hosted,
        Err(error) => {
            let why = crate::words::system(&error);
            return format!("its process cannot be started: {why}");
        }
    };
    let mut printed = Printed::default();
    match hosted.greet(&shared.plan) {
        Ok((channel, greeting)) => {
            if !ready(shared, State::Ready(channel, Arc::new(greeting))) {
                return String::new();
            }
            let status = watch(shared, &mut hosted, &mut printed);
            how_it_ended(shared, status, &printed)
        }
        Err(NoDriver::Refused(why)) => why,
        Err(NoDriver::Failed(error)) => {
            let mut killed = false;
            if error.kind() != io::ErrorKind::UnexpectedEof {
                killed = hosted.child.kill().is_ok();
            }
            let status = watch(shared, &mut hosted, &mut printed);
            match status {
                Some(status) if !killed => {
                    words::ended(status, &Doing::Loading, &shared.plan, &printed)
                }
                _ => NoDriver::Failed(error).words() + &printed.last_words(),
            }
        }
    }
}

/// Makes it the state; false where nobody needs it any more.
fn ready(shared: &Shared, ready: State) -> bool {
    let mut state = shared.lock();
    if matches!(*state, State::Stopped) {
        return false;
    }
    *state = ready;
    shared.changed.notify_all();
    true
}

/// Reads what it prints until it has ended.
fn watch(shared: &Shared, hosted: &mut Hosted, printed: &mut Printed) -> Option<ExitStatus> {
    let mut open = true;
    // Whoever holds the lock is asking it something, and may wait for what it prints to be read.
    let is_up = || match shared.state.try_lock() {
        Ok(state) => matches!(*state, State::Ready(..)),
        Err(_) => true,
    };
    loop {
        let (ended, prints) = next(hosted, open);
        if prints {
            open = printed.take(&mut hosted.printed);
            if open && is_up() {
                printed
                    .remark()
                    .iter()
                    .for_each(|text| shared.plan.teller.tell(text, false));
            }
        }
        if ended {
            break;
        }
    }
    while open && has_last_words(hosted) {
        open = printed.take(&mut hosted.printed);
    }
    hosted.child.wait().ok()
}

/// Waits until it has ended, or there is something to read. A pipe that is closed is not looked at:
/// it would be ready at once, for ever.
fn next(hosted: &Hosted, open: bool) -> (bool, bool) {
    let mut both = [
        PollFd::new(&hosted.process, PollFlags::IN),
        PollFd::new(&hosted.printed, PollFlags::IN),
    ];
    // Where it is interrupted nothing is ready, and it is called again.
    let _ = poll(&mut both[..if open { 2 } else { 1 }], None);
    let [process, pipe] = both.map(|one| !one.revents().is_empty());
    (process, open && pipe)
}

/// Whether what it had printed can be read, after it has ended.
fn has_last_words(hosted: &Hosted) -> bool {
    let mut pipe = [PollFd::new(&hosted.printed, PollFlags::IN)];
    poll(&mut pipe, Some(&LAST_WORDS)).is_ok_and(|ready| ready > 0)
}

fn how_it_ended(shared: &Shared, status: Option<ExitStatus>, printed: &Printed) -> String {
    let plan = &shared.plan;
    let state = shared.lock();
    match (&*state, status) {
        (State::Failed(doing, trouble, _), Some(status)) => match trouble {
            super::channel::Trouble::Gone => words::ended(status, doing, plan, printed),
            // It was killed by us, and how it ended says nothing.
            _ => words::cut(*trouble, doing, plan) + &printed.last_words(),
        },
        (_, Some(status)) => words::ended(status, &Doing::Waiting, plan, printed),
        (_, None) => "is gone".to_owned(),
    }
}

/// Says that it is down; false where nobody needs it any more.
fn down(shared: &Shared, why: &str, wait: Duration) -> bool {
    let mut state = shared.lock();
    if matches!(*state, State::Stopped) {
        return false;
    }
    let was_up = !matches!(*state, State::Starting);
    *state = State::Down(why.into());
    shared.changed.notify_all();
    drop(state);
    if was_up {
        let seconds = wait.as_secs();
        let text = format!("{why}; its readings say `driver failed`; started again in {seconds} s");
        shared.plan.teller.tell(&text, true);
    }
    true
}

/// Waits before the next start; false where nobody needs it any more.
fn paused(shared: &Shared, wait: Duration) -> bool {
    let stays = |state: &mut State| !matches!(state, State::Stopped);
    let waited = shared
        .changed
        .wait_timeout_while(shared.lock(), wait, stays);
    let (state, _) = waited.unwrap_or_else(PoisonError::into_inner);
    !matches!(*state, State::Stopped)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn waits(back_off: &mut BackOff, lived_s: &[u64]) -> Vec<u64> {
        let waits = lived_s.iter();
        waits
            .map(|lived| back_off.after(lived * 1_000_000_000).as_secs())
            .collect()
    }

    #[test]
    fn the_wait_doubles_from_a_second_to_a_minute_and_a_good_minute_makes_it_short_again() {
        let mut back_off = BackOff::default();
        let soon = [0; 9];
        let doubled = [1, 2, 4, 8, 16, 32, 60, 60, 60];
        assert_eq!(waits(&mut back_off, &soon), doubled);
        assert_eq!(waits(&mut back_off, &[59, 60, 0, 0]), [60, 1, 2, 4]);
        assert_eq!(waits(&mut back_off, &[u64::MAX / 1_000_000_000]), [1]);
    }
}
