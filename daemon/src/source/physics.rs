//! What a simulated channel's probe would see: cooling, an ice bath, day and night, a ramp.
//!
//! Pure functions of the scene's time. Noise and counts are not made here.

use crate::config::Scene;
use std::f64::consts::TAU;

/// The value of a scene, in the probe's unit, `seconds` after its start.
#[must_use]
pub fn value(scene: &Scene, seconds: f64) -> f64 {
    match *scene {
        Scene::Cooling {
            start,
            ambient,
            tau_s,
        } => cooling(start, ambient, seconds / tau_s),
        Scene::Ice => ice(seconds),
        Scene::Day {
            noon,
            night,
            start_hour,
        } => day(noon, night, start_hour + seconds / SECONDS_PER_HOUR),
        Scene::Ramp {
            start,
            slope_per_hour,
        } => start + slope_per_hour * seconds / SECONDS_PER_HOUR,
    }
}

const SECONDS_PER_HOUR: f64 = 3600.0;

/// Half of the widest wander of the ice bath, K. A stirred bath of crushed ice and water holds
/// some hundredths of a kelvin (common practice).
const ICE_HALF_WANDER_K: f64 = 0.01;

/// Newton's law of cooling; `age` in time constants.
fn cooling(start: f64, ambient: f64, age: f64) -> f64 {
    ambient + (start - ambient) * (-age).exp()
}

/// 0 degC, wandering slowly within 0.02 K: two sines whose periods (4 min and 28 min 40 s) have no
/// short common multiple.
fn ice(seconds: f64) -> f64 {
    ICE_HALF_WANDER_K * ((TAU * seconds / 240.0).sin() + (TAU * seconds / 1720.0).sin())
}

/// A sine of 24 h with its top at 12 h, clipped at `night` from 18 h to 6 h.
fn day(noon: f64, night: f64, hour: f64) -> f64 {
    let height = (TAU * (hour - 12.0) / 24.0).cos();
    night + (noon - night) * height.max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: exact synthetic cooling curve, rounded to 0.01 degC:
    /// T = 22.5 + 41.5 exp(-0.0312 t), t in min, tau = 32.0513 min. Computed.
    const EXACT_COOLING_MIN_CEL: [(f64, f64); 9] = [
        (0.0, 64.00),
        (5.0, 58.01),
        (10.0, 52.88),
        (20.0, 44.74),
        (30.0, 38.78),
        (45.0, 32.69),
        (60.0, 28.88),
        (90.0, 25.00),
        (120.0, 23.48),
    ];

    fn close(got: f64, expected: f64, within: f64) {
        assert!((got - expected).abs() <= within, "{got} is not {expected}");
    }

    #[test]
    fn cooling_follows_the_exact_curve_to_its_rounding() {
        let scene = Scene::Cooling {
            start: 64.0,
            ambient: 22.5,
            tau_s: 60.0 / 0.0312,
        };
        for (minutes, expected) in EXACT_COOLING_MIN_CEL {
            close(value(&scene, minutes * 60.0), expected, 0.005 + 1e-9);
        }
    }

    #[test]
    fn ice_stays_within_two_hundredths_of_zero_and_does_wander() {
        let night: Vec<f64> = (0..28_800)
            .map(|s| value(&Scene::Ice, f64::from(s)))
            .collect();
        assert!(night.iter().all(|kelvin| kelvin.abs() <= 0.02));
        assert!(night.iter().any(|kelvin| *kelvin > 0.015));
        assert!(night.iter().any(|kelvin| *kelvin < -0.015));
        let steepest = night.windows(2).map(|w| (w[1] - w[0]).abs());
        assert!(steepest.fold(0.0, f64::max) < 0.001, "slow, in a second");
    }

    #[test]
    fn day_has_its_top_at_noon_and_is_flat_at_night() {
        let scene = Scene::Day {
            noon: 1000.0,
            night: 2.0,
            start_hour: 20.0,
        };
        let at = |hours: f64| value(&scene, hours * 3600.0);
        close(at(0.0), 2.0, 1e-9);
        close(at(8.0), 2.0, 1e-9);
        close(at(16.0), 1000.0, 1e-9);
        close(at(16.0 + 24.0), 1000.0, 1e-9);
        close(at(12.0), 2.0 + 998.0 * 0.5, 1e-9);
    }

    #[test]
    fn ramp_moves_by_its_slope_in_an_hour() {
        let scene = Scene::Ramp {
            start: 20.0,
            slope_per_hour: -1.5,
        };
        close(value(&scene, 0.0), 20.0, 0.0);
        close(value(&scene, 7200.0), 17.0, 1e-12);
    }
}
