//! Promise of a stated interval: of a hundred it holds the truth in ninety-five. Calibrations with known
//! truth by the hundred, made by the program from points whose errors are drawn as their uncertainties
//! say; in full size it runs as the bench `coverage`.

mod part;
mod scene;
mod simulated;

use scene::SCENES;
use simulated::{Coverage, Tally};

/// Three standard deviations of chance with so many are 1.2 %.
const THREE_POINTS: u32 = 3000;
/// Fewer: a fit with more points than terms takes its time without optimisation.
const FIVE_POINTS: u32 = 500;

/// 93 to 97 %, and as much more as chance does: three standard deviations.
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

fn run(scene: usize, calibrations: u32) -> Coverage {
    let coverage = simulated::run(&SCENES[scene], 1995, calibrations);
    assert!(
        coverage.widths.1 > 1.1 * coverage.widths.0,
        "a moved probe is known worse: {coverage:?}"
    );
    coverage
}

#[test]
fn three_points_over_all_of_the_range_hold_what_they_state() {
    let coverage = run(0, THREE_POINTS);
    assert_holds(coverage.here, "on the channel of the calibration");
    assert_holds(coverage.moved, "on another channel");
}

#[test]
fn three_points_of_a_narrow_range_hold_what_they_state() {
    let coverage = run(1, THREE_POINTS);
    assert_holds(coverage.here, "on the channel of the calibration");
    assert_holds(coverage.moved, "on another channel");
}

#[test]
fn more_points_than_terms_hold_what_they_state() {
    let coverage = run(2, FIVE_POINTS);
    assert_holds(coverage.moved, "on another channel");
    // Of a part that three coefficients follow, the model's share is generous.
    assert!(coverage.here.share() > 0.93, "{coverage:?}");
}
