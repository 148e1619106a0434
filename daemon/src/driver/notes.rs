//! What loaded drivers have done wrong since the service looked last, in words for the journal.
//!
//! Bounded: where nobody looks (a command that only checks), the newest are dropped. The one list
//! serves the whole process, as the threads that write it belong to no flow.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

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
/// So that a look costs nothing where there is nothing.
static ANY: AtomicBool = AtomicBool::new(false);

/// Adds a note.
pub(super) fn add(note: Note) {
    let mut waiting = waiting();
    if waiting.len() < MOST {
        waiting.push_back(note);
    }
    ANY.store(true, Ordering::Release);
}

/// Takes what was noted since, oldest first.
#[must_use]
pub fn take_notes() -> Vec<Note> {
    if !ANY.swap(false, Ordering::AcqRel) {
        return Vec::new();
    }
    waiting().drain(..).collect()
}

fn waiting() -> MutexGuard<'static, VecDeque<Note>> {
    WAITING.lock().unwrap_or_else(PoisonError::into_inner)
}
