//! Simulated calibrations with known truth, and how often the stated interval holds it.
//!
//! Everything about the bench is invented: a 12-bit converter, ice, a kitchen thermometer, boiling
//! water, resistors of 1 %. The probe's truth is another part's published table, so the curve that is
//! fitted never is the truth.

use super::part::Part;
use super::{Captured, Channel, Compared, Point, Reference, Role, Shape, Stated, calibrate};
use fastrand::Rng;
use nightbench::calibrate::coverage::interval_95;
use nightbench::driver;
use nightbench::measure::chain::Transfer;
use nightbench::measure::front_end::{Electrical, FrontEnd, Side};
use nightbench::measure::uncertainty::Converter;

const FULL_SCALE: f64 = 4095.0;
const RESISTOR: f64 = 10_000.0;
/// Half-width, relative.
const RESISTOR_TOLERANCE: f64 = 0.01;
/// Standard deviation of a sample, counts.
const NOISE: f64 = 1.2;
/// Samples of a capture, one a second.
const SAMPLES: u32 = 40;
/// Fastest drift of a bath that still counts as settled, K/s.
const DRIFT: f64 = 0.002;
/// How far from the middle of a capture its reference may have been read, s.
const READ_WITHIN: f64 = 10.0;
/// Standard uncertainties: ice of a careful kitchen, boiling water, reading an instrument, K.
const ICE: f64 = 0.05;
const BOILING: f64 = 0.1;
const READING: f64 = 0.03;
/// Half-width of the instrument's own error, K.
const INSTRUMENT: f64 = 0.3;

const WIRING: FrontEnd = FrontEnd::Divider {
    probe: Side::Low,
    resistor_ohm: RESISTOR,
    full_scale: FULL_SCALE,
};

/// How many intervals held the truth.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    /// That did.
    pub held: u32,
    /// Of so many.
    pub of: u32,
}

impl Tally {
    /// 0 to 1.
    pub fn share(self) -> f64 {
        f64::from(self.held) / f64::from(self.of)
    }

    /// Standard deviation of the share where 95 % is true (binomial).
    pub fn spread(self) -> f64 {
        (0.95 * 0.05 / f64::from(self.of)).sqrt()
    }

    fn note(&mut self, holds: bool) {
        self.of += 1;
        self.held += u32::from(holds);
    }
}

/// What came of all calibrations.
#[derive(Clone, Copy, Debug, Default)]
pub struct Coverage {
    /// On the channel of the calibration.
    pub here: Tally,
    /// On another channel with a resistor of its own.
    pub moved: Tally,
    /// Mean half-width of the stated interval there, K.
    pub widths: (f64, f64),
}

/// So many calibrations, one reading of each on either channel, anywhere in the calibrated range.
pub fn run(seed: u64, calibrations: u32) -> Coverage {
    let mut bench = Bench {
        random: Rng::with_seed(seed),
        part: Part::published(),
    };
    let mut coverage = Coverage::default();
    for _ in 0..calibrations {
        let [here, there] = [bench.resistor("a0"), bench.resistor("a1")];
        let (points, top) = bench.points(here.actual);
        let made = calibrate(&points, &here.channel);
        let celsius = top * bench.random.f64();
        let (holds, width) = bench.reading(&made, &here, celsius);
        coverage.here.note(holds);
        coverage.widths.0 += width / f64::from(calibrations);
        let (holds, width) = bench.reading(&made, &there, celsius);
        coverage.moved.note(holds);
        coverage.widths.1 += width / f64::from(calibrations);
    }
    coverage
}

struct Bench {
    random: Rng,
    part: Part,
}

/// A channel, and what its resistor really is.
struct Wired {
    channel: Channel,
    actual: f64,
}

impl Bench {
    fn resistor(&mut self, channel: &str) -> Wired {
        Wired {
            channel: Channel {
                board: "bench".to_owned(),
                channel: channel.to_owned(),
                resistor: Some(RESISTOR),
                scale_uncertainty: RESISTOR_TOLERANCE / 3.0_f64.sqrt(),
            },
            actual: RESISTOR * (1.0 + self.within(RESISTOR_TOLERANCE)),
        }
    }

    /// Three points, and the highest temperature of them: ice, bath and boiling water, or ice and two
    /// baths against one instrument.
    fn points(&mut self, resistor: f64) -> (Vec<Point>, f64) {
        let off = self.within(INSTRUMENT);
        let ice = self.fixed(resistor, 0.0, (ICE, Reference::Ice));
        if self.random.bool() {
            let boiling = Reference::Boiling {
                pressure: 101_325.0,
                pressure_uncertainty: 100.0,
                altitude: None,
            };
            let bath = self.bath(resistor, 40.0, off);
            let boiling = self.fixed(resistor, 100.0, (BOILING, boiling));
            return (vec![ice, bath, boiling], 100.0);
        }
        let warm = self.bath(resistor, 22.0, off);
        let hot = self.bath(resistor, 45.0, off);
        (vec![ice, warm, hot], 45.0)
    }

    /// A point whose value is known and whose realisation is off by chance.
    fn fixed(&mut self, resistor: f64, value: f64, (own, reference): (f64, Reference)) -> Point {
        let celsius = value + own * self.gaussian();
        let captured = self.capture(resistor, celsius, 0.0);
        let compared = Compared {
            reference,
            value,
            own,
            common: 0.0,
            common_shape: Shape::Normal,
        };
        point(compared, captured)
    }

    /// A bath that drifts, against an instrument that is off by `off` and read once.
    fn bath(&mut self, resistor: f64, about: f64, off: f64) -> Point {
        let celsius = about + self.within(3.0);
        let drift = self.within(DRIFT);
        let read_late = self.within(READ_WITHIN);
        let captured = self.capture(resistor, celsius, drift);
        let root = 3.0_f64.sqrt();
        let compared = Compared {
            reference: Reference::Instrument {
                name: "kitchen".to_owned(),
            },
            value: celsius + drift * read_late + off + READING * self.gaussian(),
            own: READING.hypot(DRIFT / root * READ_WITHIN / root),
            common: INSTRUMENT / root,
            common_shape: Shape::Rectangular,
        };
        point(compared, captured)
    }

    /// What the probe reads of a temperature that drifts through `celsius` in the middle.
    fn capture(&mut self, resistor: f64, celsius: f64, drift: f64) -> Captured {
        let middle = f64::from(SAMPLES - 1) / 2.0;
        let counts = (0..SAMPLES).map(|second| {
            let at = celsius + drift * (f64::from(second) - middle);
            self.count(resistor, at)
        });
        let count = counts.sum::<f64>() / f64::from(SAMPLES);
        let converted = WIRING.convert(count, Electrical::Ohm).expect("a count");
        let of_count = (NOISE * NOISE / f64::from(SAMPLES) + 1.0 / 12.0).sqrt();
        Captured {
            from_ms: 0,
            until_ms: 1000 * i64::from(SAMPLES),
            raw: Vec::new(),
            electrical: Vec::new(),
            mean: converted.value,
            uncertainty: of_count * converted.slope.abs(),
            effective: f64::from(SAMPLES),
            drift: (0.0, 0.0),
            evidence: "simulated".to_owned(),
        }
    }

    /// One sample: the divider as it really is, noise, the converter's step.
    fn count(&mut self, resistor: f64, celsius: f64) -> f64 {
        let ohm = self.part.ohm(celsius);
        (FULL_SCALE * ohm / (ohm + resistor) + NOISE * self.gaussian()).round()
    }

    /// Whether the interval of one reading holds the truth, and half its width.
    fn reading(
        &mut self,
        made: &nightbench::calibrate::Calibration,
        on: &Wired,
        celsius: f64,
    ) -> (bool, f64) {
        let driver = driver::find("thermistor").expect("a driver");
        let stated = Stated::calibrated(made, driver, &on.channel).expect("it fits");
        let count = self.count(on.actual, celsius);
        let converted = WIRING.convert(count, Electrical::Ohm).expect("a count");
        let converter = Converter {
            step: converted.slope.abs() / 12.0_f64.sqrt(),
            noise: converted.slope.abs() * NOISE,
            supply: 0.0,
        };
        let shares = stated.shares(converted.value, converter).expect("in range");
        let value = stated.evaluate(converted.value).expect("in range");
        let half = interval_95(&shares);
        ((value - celsius).abs() <= half, half)
    }

    fn within(&mut self, half: f64) -> f64 {
        half * (2.0 * self.random.f64() - 1.0)
    }

    /// A standard normal number by the Box-Muller transform (1958).
    fn gaussian(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.random.f64()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.random.f64()).cos()
    }
}

fn point(compared: Compared, captured: Captured) -> Point {
    Point {
        role: Role::Fit,
        compared,
        captured,
    }
}
