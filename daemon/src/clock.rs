//! The only place that asks for the time.
//!
//! The wall clock is for the record, `CLOCK_BOOTTIME` for durations (std's `Instant` stops while
//! the host sleeps).

use crate::reading::Moment;
use rustix::time::{ClockId, clock_gettime};

/// No reading is older than this program: a wall clock before it was never set
/// (2026-01-01T00:00:00Z).
pub const EARLIEST_PLAUSIBLE_MS: i64 = 1_767_225_600_000;

/// Reads both clocks.
#[must_use]
#[expect(clippy::disallowed_methods, reason = "this is where time enters")]
pub fn now() -> Moment {
    let wall = clock_gettime(ClockId::Realtime);
    let boot = clock_gettime(ClockId::Boottime);
    Moment {
        wall_ms: wall.tv_sec * 1000 + wall.tv_nsec / 1_000_000,
        boot_ns: u64::try_from(boot.tv_sec).unwrap_or(0) * 1_000_000_000
            + u64::try_from(boot.tv_nsec).unwrap_or(0),
    }
}

/// Whether a wall time can be true; a host without a clock chip starts in 1970 or thereabouts.
#[must_use]
pub fn is_plausible(wall_ms: i64) -> bool {
    wall_ms >= EARLIEST_PLAUSIBLE_MS
}

/// The kernel's name of this boot; a process-wide stand-in where `/proc` is not mounted.
#[must_use]
pub fn boot_id() -> String {
    std::fs::read_to_string("/proc/sys/kernel/random/boot_id")
        .map(|text| text.trim().to_owned())
        .unwrap_or_else(|_| "unknown-boot".to_owned())
}
