//! Bounded waiting for things that give no event.
//!
//! A wait that runs out fails the test with what it waited for; nothing here waits for a fixed time.

use std::thread;
use std::time::{Duration, Instant};

/// How long anything may take on a small, busy machine before it counts as broken.
pub const SOON: Duration = Duration::from_secs(30);

/// How often to look.
const STEP: Duration = Duration::from_millis(10);

/// Looks until `look` gives something.
///
/// # Panics
/// With `what` where nothing came within the time.
pub fn eventually<T>(what: &str, within: Duration, mut look: impl FnMut() -> Option<T>) -> T {
    let until = Instant::now() + within;
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < until, "waited {within:?} in vain: {what}");
        thread::sleep(STEP);
    }
}

/// Looks until `holds` does.
///
/// # Panics
/// With `what` where it did not come to hold within the time.
pub fn until(what: &str, within: Duration, mut holds: impl FnMut() -> bool) {
    eventually(what, within, || holds().then_some(()));
}
