//! How long a driver takes, kept in a process of its own: for one reading, and in a batch.

use crate::clock;
use crate::driver::Model;

/// Long enough for a mean, short enough for a person.
const LONG_NS: u64 = 100_000_000;
/// As a recomputation asks.
const BATCH: usize = 1000;

/// Mean times, seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Speed {
    /// One reading: value and slope, there and back.
    pub(super) reading: f64,
    /// One value of a batch.
    pub(super) value: f64,
}

/// `None` where the driver gave no answer any more.
pub(super) fn of(model: &Model) -> Option<Speed> {
    let (low, high) = model.range();
    let input = |index: usize| low + (high - low) * (index as f64 / BATCH as f64);
    let inputs: Vec<f64> = (0..BATCH).map(input).collect();
    let mut values = vec![0.0; BATCH];
    Some(Speed {
        reading: mean(|| model.value_and_slope(inputs[BATCH / 2]).map(|_| ()).ok())?,
        value: mean(|| model.evaluate_all(&inputs, &mut values).ok())? / BATCH as f64,
    })
}

fn mean(mut call: impl FnMut() -> Option<()>) -> Option<f64> {
    let begin = clock::now().boot_ns;
    let mut calls = 0.0;
    loop {
        call()?;
        calls += 1.0;
        let passed = clock::now().boot_ns.saturating_sub(begin);
        if passed >= LONG_NS {
            return Some(passed as f64 * 1e-9 / calls);
        }
    }
}
