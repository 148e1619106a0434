//! How often a stated interval holds the truth, at full size: `cargo bench -p nightbench --bench coverage`
//! (a minute). The test of that name runs a part of it.
//!
//! Columns: share of 95 % intervals that hold the truth, on the channel of the calibration (all, then
//! each part by itself) and after a move; half their width on average. It measures no time.

#[path = "../../tests/coverage/part.rs"]
mod part;
#[path = "../../tests/coverage/scene.rs"]
mod scene;
#[path = "../../tests/coverage/simulated.rs"]
mod simulated;

use simulated::{Coverage, Tally};

const CALIBRATIONS: u32 = 2000;
const SEED: u64 = 2026;

fn main() {
    // `cargo test --benches` runs this too: the test of that name is the smaller one.
    if std::env::args().any(|argument| argument == "--test") {
        return;
    }
    let parts = part::published().map(|part| format!("{:>8}", part.name));
    println!("{CALIBRATIONS} calibrations a line; 0.5 % is one standard deviation of chance");
    println!("{:30}    all{}   moved     K   moved", "", parts.concat());
    for scene in scene::SCENES {
        let coverage = simulated::run(scene, SEED, CALIBRATIONS);
        println!("{}", line(scene.name, &coverage));
    }
}

fn line(name: &str, coverage: &Coverage) -> String {
    let percent = |tally: Tally| 100.0 * tally.share();
    let parts = coverage
        .parts
        .map(|tally| format!("{:8.1}", percent(tally)));
    let (here, moved) = coverage.widths;
    format!(
        "{name:30} {:6.1}{} {:7.1} {here:5.2} {moved:7.2}",
        percent(coverage.here),
        parts.concat(),
        percent(coverage.moved),
    )
}
