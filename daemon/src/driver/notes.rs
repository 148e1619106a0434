//! What loaded drivers have done wrong since the service looked last, in words for the journal.
//!
//! Bounded: where nobody looks (a command that only checks), the newest are dropped. The one list
//! serves the whole process, as the threads that write it belong to no flow.

use crate::clock;
use std::collections::VecDeque;
use std::fmt;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// A driver that keeps answering nonsense is told of this often, nanoseconds.
const COMPLAINT_GAP_NS: u64 = 60_000_000_000;
/// More than a screen; what repeats is held back where it is written.
const MOST: usize = 64;

/// Something that a person should know of a loaded driver.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// The driver's name.
    pub driver: String,
    /// For a person.
    pub text: String,
    /// Whether readings are lost by it.
    pub is_failure: bool,
}

static WAITING: Mutex<VecDeque<Note>> = Mutex::new(VecDeque::new());
/// For who waits for one.
static ARRIVED: Condvar = Condvar::new();
/// So that a look costs nothing where there is nothing.
static ANY: AtomicBool = AtomicBool::new(false);

/// Who tells of one probe's loaded driver.
#[derive(Debug)]
pub(super) struct Teller {
    driver: String,
    /// ``driver `sunny` (libsunny.so) for probe `roof` ``.
    whose: String,
    /// Boot time of the last complaint, nanoseconds; 0 for none yet.
    complained: AtomicU64,
}

impl Teller {
    /// Of a driver in a library's file, for a probe; no probe where it only describes itself.
    pub(super) fn new(driver: &str, library: &str, probe: &str) -> Self {
        let probe = match probe {
            "" => String::new(),
            probe => format!(" for probe `{probe}`"),
        };
        Self {
            driver: driver.to_owned(),
            whose: format!("driver `{driver}` ({library}){probe}"),
            complained: AtomicU64::new(0),
        }
    }

    /// The driver's name.
    pub(super) fn driver(&self) -> &str {
        &self.driver
    }

    /// Notes something; `what` follows the driver's name.
    pub(super) fn tell(&self, what: &str, is_failure: bool) {
        add(Note {
            driver: self.driver.clone(),
            text: format!("{}: {what}", self.whose),
            is_failure,
        });
    }

    /// Notes what was wrong with an answer, unless that was done lately.
    pub(super) fn complain(&self, what: fmt::Arguments<'_>) {
        let now = clock::now().boot_ns.max(1);
        let last = self.complained.load(Ordering::Relaxed);
        if last > 0 && now.saturating_sub(last) < COMPLAINT_GAP_NS {
            return;
        }
        self.complained.store(now, Ordering::Relaxed);
        let text = format!("{what}; its readings say `driver failed`; tell its maker");
        self.tell(&text, true);
    }
}

fn add(note: Note) {
    let mut waiting = waiting();
    if waiting.len() < MOST {
        waiting.push_back(note);
    }
    ANY.store(true, Ordering::Release);
    ARRIVED.notify_all();
}

/// Takes what was noted since, oldest first.
#[must_use]
pub fn take_notes() -> Vec<Note> {
    if !ANY.swap(false, Ordering::AcqRel) {
        return Vec::new();
    }
    waiting().drain(..).collect()
}

/// The same, after something was noted, or after so long: how a process ended is noted by its own
/// thread, a moment after its end was seen.
#[must_use]
pub fn await_notes(within: Duration) -> Vec<Note> {
    let none = |notes: &mut VecDeque<Note>| notes.is_empty();
    // What was noted is taken below, whatever became of the waiting.
    drop(ARRIVED.wait_timeout_while(waiting(), within, none));
    take_notes()
}

fn waiting() -> MutexGuard<'static, VecDeque<Note>> {
    WAITING.lock().unwrap_or_else(PoisonError::into_inner)
}
