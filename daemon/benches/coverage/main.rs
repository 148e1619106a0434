//! How often a stated interval holds the truth, at full size: `cargo bench -p nightbench --bench coverage`.
//!
//! The same simulation as the test of that name, which runs a part of it. It measures no time.

#[path = "../../tests/coverage/part.rs"]
mod part;
#[path = "../../tests/coverage/simulated.rs"]
mod simulated;
#[path = "../../tests/coverage/three_points.rs"]
mod three_points;

use nightbench::calibrate::{
    Calibration, Captured, Channel, Compared, Point, Reference, Role, Shape, Source, Stated, Term,
};
use std::process::ExitCode;
use three_points::calibrate;

const CALIBRATIONS: u32 = 2000;
const SEEDS: [u64; 3] = [1995, 2008, 2026];

fn main() -> ExitCode {
    println!("stated 95 % intervals that hold the truth, of {CALIBRATIONS} simulated calibrations");
    let mut all_hold = true;
    for seed in SEEDS {
        let coverage = simulated::run(seed, CALIBRATIONS);
        for (what, tally, width) in [
            ("on its channel", coverage.here, coverage.widths.0),
            ("moved", coverage.moved, coverage.widths.1),
        ] {
            let percent = 100.0 * tally.share();
            let chance = 100.0 * tally.spread();
            println!(
                "seed {seed}  {what:14}  {percent:5.1} % ({chance:.1} % by chance)  half-width \
                 {width:.3} K on average"
            );
            all_hold &= (93.0..=97.0).contains(&percent);
        }
    }
    if all_hold {
        return ExitCode::SUCCESS;
    }
    eprintln!("outside 93 to 97 %");
    ExitCode::FAILURE
}
