//! Promise of a stated interval: of a hundred it holds the truth in ninety-five. Calibrations with known
//! truth by the hundred, each with errors drawn as its uncertainties say; in full size it runs as the
//! bench `coverage`.

mod part;
mod simulated;
mod three_points;

use nightbench::calibrate::{
    Calibration, Captured, Channel, Compared, Point, Reference, Role, Shape, Source, Stated, Term,
};
use simulated::Tally;
use three_points::calibrate;

/// 93 to 97 %, and as much more as chance does with so few: three standard deviations.
#[track_caller]
fn assert_holds(tally: Tally, what: &str) {
    let chance = 3.0 * tally.spread();
    let share = tally.share();
    assert!(
        (0.93 - chance..=0.97 + chance).contains(&share),
        "{what}: {share:.3} of {}",
        tally.of
    );
}

#[test]
fn the_stated_interval_holds_the_truth_on_its_channel_and_on_another() {
    let coverage = simulated::run(1995, 600);
    assert_holds(coverage.here, "on the channel of the calibration");
    assert_holds(coverage.moved, "on another channel");
    assert!(
        coverage.widths.1 > 1.1 * coverage.widths.0,
        "a moved probe is known worse: {coverage:?}"
    );
}
