//! What a process uses, as the kernel counts it per thread.

use std::collections::HashMap;
use std::fs;
use std::time::{Duration, Instant};

/// Averages over a run.
#[derive(Clone, Copy, Debug)]
pub struct Usage {
    /// Milliseconds of CPU a second.
    pub cpu_ms: f64,
    /// Voluntary context switches a second.
    pub wake_ups: f64,
    /// Resident set at the end, 10^6 bytes.
    pub memory_mb: f64,
}

/// Adds up over threads, also those that end: each is looked at several times a second.
#[derive(Debug)]
pub struct Meter {
    process: u32,
    threads: HashMap<String, Thread>,
    looked: Instant,
}

#[derive(Clone, Copy, Debug)]
struct Thread {
    first: Counts,
    last: Counts,
}

#[derive(Clone, Copy, Debug, Default)]
struct Counts {
    cpu_ns: u64,
    switches: u64,
}

impl Meter {
    /// Begins now.
    pub fn of(process: u32) -> Self {
        let mut meter = Self {
            process,
            threads: HashMap::new(),
            looked: Instant::now(),
        };
        meter.look_now(true);
        meter
    }

    /// Looks, unless it has just done so.
    pub fn look(&mut self) {
        if self.looked.elapsed() > Duration::from_millis(200) {
            self.look_now(false);
        }
    }

    /// Ends now.
    pub fn finish(mut self, elapsed: Duration) -> Usage {
        self.look_now(false);
        let used = |of: fn(&Counts) -> u64| -> f64 {
            let sum: u64 = self
                .threads
                .values()
                .map(|t| of(&t.last) - of(&t.first))
                .sum();
            sum as f64 / elapsed.as_secs_f64()
        };
        Usage {
            cpu_ms: used(|c| c.cpu_ns) / 1e6,
            wake_ups: used(|c| c.switches),
            memory_mb: field(&format!("/proc/{}/status", self.process), "VmRSS:") as f64 * 1024.0
                / 1e6,
        }
    }

    fn look_now(&mut self, begin: bool) {
        self.looked = Instant::now();
        let Ok(tasks) = fs::read_dir(format!("/proc/{}/task", self.process)) else {
            return;
        };
        for task in tasks.flatten() {
            let path = task.path();
            let schedule = fs::read_to_string(path.join("schedstat")).unwrap_or_default();
            let cpu = schedule
                .split_whitespace()
                .next()
                .and_then(|n| n.parse().ok());
            let Some(cpu_ns) = cpu else { continue };
            let status = path.join("status");
            let now = Counts {
                cpu_ns,
                switches: field(&status.to_string_lossy(), "voluntary_ctxt_switches:"),
            };
            let first = if begin { now } else { Counts::default() };
            let name = task.file_name().to_string_lossy().into_owned();
            self.threads
                .entry(name)
                .or_insert(Thread { first, last: now })
                .last = now;
        }
    }
}

fn field(file: &str, key: &str) -> u64 {
    let text = fs::read_to_string(file).unwrap_or_default();
    let line = text.lines().find_map(|line| line.strip_prefix(key));
    line.and_then(|rest| rest.split_whitespace().next()?.parse().ok())
        .unwrap_or(0)
}

/// The percentile of some figures, by the nearest rank.
pub fn percentile(figures: &[f64], percent: f64) -> f64 {
    let mut sorted = figures.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (percent / 100.0 * sorted.len() as f64).ceil() as usize;
    sorted
        .get(rank.clamp(1, sorted.len().max(1)) - 1)
        .copied()
        .unwrap_or(f64::NAN)
}
