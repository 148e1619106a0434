//! How much memory the driver has taken, so that a leak ends in words and not in a crash.
//!
//! The limit itself is the kernel's; this only sees it coming, between calls.

use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;

/// Calls between two looks.
const CALLS: u32 = 16;
/// Bytes of a page, where it is the smallest; larger pages are seen later.
const PAGE: u64 = 4096;

/// Looks at the size of this process.
pub(super) struct Gauge {
    size: File,
    most: u64,
    /// From here on the driver counts as full: what is left would not last.
    full: u64,
    calls: u32,
}

impl Gauge {
    /// A driver may take so many bytes beyond what is mapped now.
    pub(super) fn new(memory: u64) -> io::Result<Self> {
        let size = File::open("/proc/self/statm")?;
        let mut gauge = Self {
            size,
            most: u64::MAX,
            full: u64::MAX,
            calls: 0,
        };
        let own = gauge.now().ok_or(io::ErrorKind::InvalidData)?;
        gauge.most = own.saturating_add(memory);
        gauge.full = gauge.most.saturating_sub(memory / 8);
        Ok(gauge)
    }

    /// The most that may be mapped, bytes.
    pub(super) fn most(&self) -> u64 {
        self.most
    }

    /// Whether hardly anything is left; looks at every sixteenth call only.
    pub(super) fn is_full(&mut self) -> bool {
        self.calls = (self.calls + 1) % CALLS;
        self.calls == 0 && self.now().is_some_and(|now| now >= self.full)
    }

    /// Bytes mapped: the first number of the file, in pages (proc(5)).
    fn now(&self) -> Option<u64> {
        let mut text = [0; 64];
        let length = self.size.read_at(&mut text, 0).ok()?;
        let text = std::str::from_utf8(text.get(..length)?).ok()?;
        let pages: u64 = text.split(' ').next()?.parse().ok()?;
        Some(pages.saturating_mul(PAGE))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn it_is_full_where_the_limit_is_near_and_looks_now_and_then() {
        let mut roomy = Gauge::new(1 << 40).unwrap();
        assert!((0..100).all(|_| !roomy.is_full()));
        let mut full = Gauge::new(0).unwrap();
        full.full = 1;
        let seen: Vec<bool> = (0..32).map(|_| full.is_full()).collect();
        assert_eq!(seen.iter().filter(|seen| **seen).count(), 2);
    }
}
