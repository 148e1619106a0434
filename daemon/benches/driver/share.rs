//! Eight probes as a bench has them: which share of a processor their drivers take.

use nightbench::clock;
use nightbench::driver::Model;
use std::fs;
use std::hint::black_box;
use std::path::PathBuf;
use std::time::Duration;

/// Readings of each probe, one each [`GAP`].
const READINGS: u32 = 100;
const GAP: Duration = Duration::from_millis(100);

/// Prints processor time over time, of this process and its children.
pub fn print(name: &str, probes: &[Model]) {
    let (began, used) = (clock::now().boot_ns, used_ns());
    for reading in 0..READINGS {
        for probe in probes {
            let _ = black_box(probe.value_and_slope(9e3 + f64::from(reading)));
        }
        pause();
    }
    let passed = (clock::now().boot_ns - began) as f64;
    let share = (used_ns() - used) as f64 / passed;
    println!("{name}: {:.3} % of a processor", 100.0 * share);
}

#[expect(clippy::disallowed_methods, reason = "a bench waits as a board does")]
fn pause() {
    std::thread::sleep(GAP);
}

/// Nanoseconds on a processor so far, of this thread and each child's first (proc(5), `schedstat`).
fn used_ns() -> u64 {
    let own = fs::read_dir("/proc/self/task")
        .expect("proc is there")
        .flatten();
    let threads: Vec<PathBuf> = own.map(|thread| thread.path()).collect();
    let children = threads
        .iter()
        .filter_map(|thread| fs::read_to_string(thread.join("children")).ok());
    let children: Vec<PathBuf> = children
        .flat_map(|list| {
            list.split_whitespace()
                .map(|child| PathBuf::from("/proc").join(child))
                .collect::<Vec<_>>()
        })
        .collect();
    threads
        .iter()
        .chain(&children)
        .filter_map(|one| first_number(&one.join("schedstat")))
        .sum()
}

fn first_number(file: &PathBuf) -> Option<u64> {
    fs::read_to_string(file)
        .ok()?
        .split(' ')
        .next()?
        .parse()
        .ok()
}
