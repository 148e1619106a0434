//! Invented probes: a first-order approach with AR(1) noise, seeded. How often settling is wrong, and
//! how long it takes.

use super::*;

/// A probe whose truth is known.
#[derive(Clone, Copy)]
struct Probe {
    /// Size of its step at the start.
    step: f64,
    /// Time constant, seconds.
    tau: f64,
    /// Standard deviation of its noise.
    noise: f64,
    /// Autocorrelation of neighbours.
    phi: f64,
    /// Seconds between samples.
    interval: f64,
    /// Step of the converter.
    code: f64,
}

const QUIET: Probe = Probe {
    step: 0.0,
    tau: 10.0,
    noise: 0.02,
    phi: 0.0,
    interval: 0.5,
    code: 0.0,
};

const AIM: f64 = 0.03;

impl Probe {
    fn remainder(self, at: f64) -> f64 {
        self.step * (-at / self.tau).exp()
    }

    /// Seconds until settled, within an hour.
    fn settles(self, seed: u64) -> Option<f64> {
        let mut random = fastrand::Rng::with_seed(seed);
        let aim = Aim {
            uncertainty: AIM,
            step: self.code,
        };
        let mut settling = Settling::new(aim, Rules::default());
        let mut noise = self.noise * gaussian(&mut random);
        let times = each(self.interval).take_while(|at| *at < 3600.0);
        for at in times {
            let fresh = self.noise * (1.0 - self.phi * self.phi).sqrt();
            noise = self.phi * noise + fresh * gaussian(&mut random);
            let value = 20.0 + self.remainder(at) + noise;
            if settling.push(at, self.coded(value)).is_settled() {
                return Some(at);
            }
        }
        None
    }

    fn coded(self, value: f64) -> f64 {
        if self.code > 0.0 {
            (value / self.code).round() * self.code
        } else {
            value
        }
    }
}

/// A standard normal number by the Box-Muller transform (1958).
fn gaussian(random: &mut fastrand::Rng) -> f64 {
    let radius = (-2.0 * (1.0 - random.f64()).ln()).sqrt();
    radius * (std::f64::consts::TAU * random.f64()).cos()
}

#[test]
fn settled_is_seldom_said_while_more_than_the_aim_remains() {
    // Invented: probes from a bead in water to a sheath in air; noise from a tenth of the aim to more
    // than the aim, neighbours independent and not.
    let cases = [
        (20.0, 3.0),
        (20.0, 10.0),
        (-20.0, 30.0),
        (0.3, 30.0),
        (0.1, 30.0),
        (0.2, 100.0),
        // Barely more than the aim, and slower than a window: noise hides it.
        (0.06, 100.0),
    ];
    let noises = [
        (0.003, 0.0),
        (0.003, 0.9),
        (0.02, 0.0),
        (0.02, 0.5),
        (0.05, 0.0),
    ];
    let (mut wrong, mut settled) = (0, 0);
    for (index, (step, tau)) in cases.into_iter().enumerate() {
        for (other, (noise, phi)) in noises.into_iter().enumerate() {
            let probe = Probe {
                step,
                tau,
                noise,
                phi,
                ..QUIET
            };
            for seed in 0..2 {
                let at = probe.settles(seed * 100 + (index * 10 + other) as u64);
                settled += usize::from(at.is_some());
                wrong += usize::from(at.is_some_and(|at| probe.remainder(at).abs() > AIM));
            }
        }
    }
    assert!(settled >= 68, "{settled} of 70 settled");
    assert!(wrong <= 1, "{wrong} of {settled} were wrong");
}

#[test]
fn a_settled_signal_is_called_settled_soon() {
    // Invented. A window is 40 s and has to hold for 5 s; more noise needs more of it.
    let cases = [
        (0.003, 0.0, 60.0),
        (0.02, 0.0, 130.0),
        (0.02, 0.5, 300.0),
        (0.05, 0.0, 400.0),
    ];
    for (noise, phi, latest) in cases {
        for seed in 0..5 {
            let probe = Probe {
                noise,
                phi,
                ..QUIET
            };
            let at = probe.settles(seed).unwrap();
            assert!(
                (40.0..latest).contains(&at),
                "noise {noise}, seed {seed}: after {at} s"
            );
        }
    }
}

#[test]
fn a_bead_that_was_dipped_settles_when_its_remainder_is_gone() {
    // Invented: 20 Cel in 10 s: below 0.03 Cel after 65 s, and a window of 40 s behind that.
    for seed in 0..5 {
        let probe = Probe {
            step: 20.0,
            ..QUIET
        };
        let at = probe.settles(seed).unwrap();
        assert!((65.0..180.0).contains(&at), "after {at} s");
    }
}

#[test]
fn a_converter_that_shows_one_code_settles_within_its_step() {
    // Invented: 10 bit at room temperature, 0.1 Cel a step, noise far below it.
    let probe = Probe {
        noise: 0.001,
        code: 0.1,
        ..QUIET
    };
    let at = probe.settles(1).unwrap();
    assert!(at < 90.0, "after {at} s");
}

#[test]
fn a_flickering_converter_settles() {
    // Invented: 20 Cel lies on a code, so the noise takes it to the neighbours now and then.
    let probe = Probe {
        noise: 0.03,
        code: 0.1,
        ..QUIET
    };
    assert!(probe.settles(2).unwrap() < 300.0);
}

#[test]
fn the_countdown_is_about_right() {
    // Invented: 20 Cel in 30 s, looked at after 60 s; 0.03 Cel remain after 195 s.
    let probe = Probe {
        step: 20.0,
        tau: 30.0,
        noise: 0.003,
        ..QUIET
    };
    let mut settling = Settling::new(
        Aim {
            uncertainty: AIM,
            step: 0.0,
        },
        Rules::default(),
    );
    let mut random = fastrand::Rng::with_seed(4);
    for at in each(0.5).take_while(|at| *at <= 60.0) {
        settling.push(
            at,
            probe.remainder(at) + probe.noise * gaussian(&mut random),
        );
    }
    let approach = settling.approach().unwrap();
    near(approach.tau.0, 30.0, 0.05);
    near(approach.to_go(AIM), 135.0, 0.1);
    let Verdict::Falling { to_go: Some(to_go) } = settling.verdict() else {
        panic!("{}", settling.verdict());
    };
    assert!((135.0..240.0).contains(to_go), "{to_go}");
    assert!(
        settling
            .progress()
            .is_some_and(|share| (0.1..0.5).contains(&share))
    );
}

#[test]
fn a_slow_drift_does_not_settle() {
    // Invented: water that cools by 0.05 Cel a minute, with little noise.
    let mut random = fastrand::Rng::with_seed(5);
    let mut settling = Settling::new(
        Aim {
            uncertainty: AIM,
            step: 0.0,
        },
        Rules::default(),
    );
    for at in each(1.0).take_while(|at| *at < 600.0) {
        let value = 40.0 - 0.05 * at / 60.0 + 0.005 * gaussian(&mut random);
        assert!(!settling.push(at, value).is_settled(), "after {at} s");
    }
    let Verdict::NotSettling(Restless::Drift(drift)) = settling.verdict() else {
        panic!("{}", settling.verdict());
    };
    near(*drift, -0.05 / 60.0, 0.5);
}

#[test]
fn noise_beyond_all_averaging_is_named() {
    // Invented: noise of thirty times the aim.
    let mut random = fastrand::Rng::with_seed(6);
    let mut settling = Settling::new(
        Aim {
            uncertainty: AIM,
            step: 0.0,
        },
        Rules::default(),
    );
    for at in each(2.0).take_while(|at| *at < 1200.0) {
        settling.push(at, gaussian(&mut random));
    }
    let verdict = settling.verdict();
    assert!(
        matches!(verdict, Verdict::NotSettling(Restless::Noise(_))),
        "{verdict}"
    );
}

#[test]
fn a_noisy_converter_settles_also_after_a_long_way() {
    // Invented: a bead from 31 to 98.9 Cel on 12 bits below 10 kOhm, where a code is 2.8 ohm and the
    // noise of a sample is three times what is aimed at; ohms do not fall as degrees rise.
    for (seed, least) in [(0, 8.0), (1, 12.0), (2, 40.0)] {
        let mut random = fastrand::Rng::with_seed(seed);
        let aim = Aim {
            uncertainty: 0.6,
            step: 2.8,
        };
        let mut settling = Settling::new(aim, Rules { least, most: 900.0 });
        let at = each(0.1).take_while(|at| *at < 300.0).find(|at| {
            let kelvin = 98.86 + 273.15 - 68.0 * (-at / 3.0).exp();
            let ohm = 10_000.0 * (3977.0 * (1.0 / kelvin - 1.0 / 298.15)).exp();
            let noise = 0.6 * gaussian(&mut random);
            let count = (4095.0 * ohm / (ohm + 10_000.0) + noise).round();
            let value = 10_000.0 * count / (4095.0 - count);
            settling.push(*at, value).is_settled()
        });
        let at = at.unwrap_or(f64::INFINITY);
        assert!(at < 200.0, "seed {seed}, window {least} s: after {at} s");
    }
}
