//! Simulated calibrations with known truth, and how often the stated interval holds it.
//!
//! Everything about the bench is invented: a 12-bit converter, ice, a kitchen thermometer, boiling
//! water, resistors of 1 %. The probe's truth is a published table, so the curve that is fitted never
//! is the truth; points, fit and uncertainty are the program's own.

use super::part::{Part, published};
use super::scene::{Kind, Scene};
use fastrand::Rng;
use nightbench::calibrate::coverage::interval_95;
use nightbench::calibrate::{
    Calibration, Captured, Channel, Compared, Point, Reference, Role, Shape, Stated, Subject,
    Tolerance, make,
};
use nightbench::driver::{self, Model};
use nightbench::measure::chain::Transfer;
use nightbench::measure::front_end::{Electrical, FrontEnd, Side};
use nightbench::measure::uncertainty::Converter;

const FULL_SCALE: f64 = 4095.0;
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
const BOILING: f64 = 0.08;
const READING: f64 = 0.03;
/// Of the barometer, K at boiling.
const BAROMETER: f64 = 0.05;
/// Half-width of the instrument's own error, K.
const INSTRUMENT: f64 = 0.15;
/// How far a bath may be from where it was meant to be, K.
const ABOUT: f64 = 4.0;

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
    #[allow(dead_code, reason = "the test asks for it, the bench shows it once")]
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
    /// The same by part, in the order of [`published`].
    pub parts: [Tally; 4],
    /// On another channel with a resistor of its own.
    pub moved: Tally,
    /// Mean half-width of the stated interval on either, K.
    pub widths: (f64, f64),
}

/// So many calibrations, each of a part taken at random; one reading of each on either channel,
/// anywhere in the calibrated range.
pub fn run(scene: &Scene, seed: u64, calibrations: u32) -> Coverage {
    let parts = published();
    let mut coverage = Coverage::default();
    let mut random = Rng::with_seed(seed);
    for _ in 0..calibrations {
        let at = random.usize(..parts.len());
        let mut bench = Bench {
            random: random.fork(),
            part: &parts[at],
        };
        let [here, there] = [bench.resistor("a0"), bench.resistor("a1")];
        let made = bench.calibration(scene, &here);
        let top = scene
            .points
            .iter()
            .map(|kind| kind.top())
            .fold(0.0, f64::max);
        let celsius = top * bench.random.f64();
        let (holds, width) = bench.reading(&made, &here, celsius);
        coverage.here.note(holds);
        coverage.parts[at].note(holds);
        coverage.widths.0 += width / f64::from(calibrations);
        let (holds, width) = bench.reading(&made, &there, celsius);
        coverage.moved.note(holds);
        coverage.widths.1 += width / f64::from(calibrations);
    }
    coverage
}

struct Bench<'p> {
    random: Rng,
    part: &'p Part,
}

/// A channel, and what its resistor really is.
struct Wired {
    channel: Channel,
    actual: f64,
}

impl Bench<'_> {
    fn resistor(&mut self, channel: &str) -> Wired {
        let nominal = self.part.label;
        Wired {
            channel: Channel {
                board: "bench".to_owned(),
                channel: channel.to_owned(),
                resistor: Some(nominal),
                scale_uncertainty: RESISTOR_TOLERANCE / 3.0_f64.sqrt(),
            },
            actual: nominal * (1.0 + self.within(RESISTOR_TOLERANCE)),
        }
    }

    fn calibration(&mut self, scene: &Scene, here: &Wired) -> Calibration {
        // Each with its number.
        let off = self.within(INSTRUMENT);
        let points = (1..).zip(scene.points.iter().map(|kind| self.point(*kind, here, off)));
        let points: Vec<(u64, Point)> = points.collect();
        let nominal = nominal(self.part, scene.makers_curve);
        let subject = Subject {
            nominal: &nominal,
            unit: "Cel",
            input: Electrical::Ohm,
            channel: &here.channel,
            allowed: &|_| Some(3.0),
            tolerance: Tolerance::Unknown,
            made_ms: 0,
            due_ms: None,
        };
        make(&points, &subject).expect("points as they should be")
    }

    fn point(&mut self, kind: Kind, here: &Wired, off: f64) -> Point {
        match kind {
            Kind::Ice => self.fixed(here, 0.0, (ICE, 0.0, Reference::Ice)),
            Kind::Bath(about) => self.bath(here, about, off),
            Kind::Boiling => {
                let boiling = Reference::Boiling {
                    pressure: 101_325.0,
                    pressure_uncertainty: 180.0,
                    altitude: None,
                };
                self.fixed(here, 100.0, (BOILING, BAROMETER, boiling))
            }
        }
    }

    /// A point whose value is known and whose realisation is off by chance.
    fn fixed(
        &mut self,
        here: &Wired,
        value: f64,
        (own, common, reference): (f64, f64, Reference),
    ) -> Point {
        let celsius = value + own * self.gaussian() + common * self.gaussian();
        let captured = self.capture(here, celsius, 0.0);
        let compared = Compared {
            reference,
            value,
            own,
            common,
            common_shape: Shape::Normal,
        };
        point(compared, captured)
    }

    /// A bath that drifts, against an instrument that is off by `off` and read once.
    fn bath(&mut self, here: &Wired, about: f64, off: f64) -> Point {
        let celsius = about + self.within(ABOUT);
        let drift = self.within(DRIFT);
        let read_late = self.within(READ_WITHIN);
        let captured = self.capture(here, celsius, drift);
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
    fn capture(&mut self, here: &Wired, celsius: f64, drift: f64) -> Captured {
        let middle = f64::from(SAMPLES - 1) / 2.0;
        let counts = (0..SAMPLES).map(|second| {
            let at = celsius + drift * (f64::from(second) - middle);
            self.count(here.actual, at)
        });
        let count = counts.sum::<f64>() / f64::from(SAMPLES);
        let converted = self.wiring().convert(count, Electrical::Ohm);
        let converted = converted.expect("a count");
        let of_count = (NOISE * NOISE / f64::from(SAMPLES) + 1.0 / 12.0).sqrt();
        Captured {
            from_ms: 0,
            until_ms: 1000 * i64::from(SAMPLES),
            raw: Vec::new(),
            electrical: vec![converted.value],
            mean: converted.value,
            uncertainty: of_count * converted.slope.abs(),
            effective: f64::from(SAMPLES),
            drift: (0.0, 0.0),
            evidence: "simulated".to_owned(),
        }
    }

    fn wiring(&self) -> FrontEnd {
        FrontEnd::Divider {
            probe: Side::Low,
            resistor_ohm: self.part.label,
            full_scale: FULL_SCALE,
        }
    }

    /// One sample: the divider as it really is, noise, the converter's step.
    fn count(&mut self, resistor: f64, celsius: f64) -> f64 {
        let ohm = self.part.ohm(celsius);
        (FULL_SCALE * ohm / (ohm + resistor) + NOISE * self.gaussian()).round()
    }

    /// Whether the interval of one reading holds the truth, and half its width.
    fn reading(&mut self, made: &Calibration, on: &Wired, celsius: f64) -> (bool, f64) {
        let driver = driver::find("thermistor").expect("a driver");
        let stated = Stated::calibrated(made, driver, &on.channel).expect("it fits");
        let count = self.count(on.actual, celsius);
        let converted = self.wiring().convert(count, Electrical::Ohm);
        let converted = converted.expect("a count");
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

/// What a person configures: the label, or Steinhart and Hart's equation over the maker's table.
fn nominal(part: &Part, makers_curve: bool) -> Model {
    let driver = driver::find("thermistor").expect("a driver");
    let declared = driver.parameters();
    let value = |name: &str| match name {
        "r0" => vec![part.label],
        "beta" => vec![part.beta],
        _ => Vec::new(),
    };
    let values = declared.iter().map(|one| value(one.name)).collect();
    let label = driver.bind(values).expect("a label");
    if !makers_curve {
        return label;
    }
    let rows = (-2..=10).map(|ten| 10.0 * f64::from(ten));
    let rows: Vec<(f64, f64)> = rows.map(|celsius| (part.ohm(celsius), celsius)).collect();
    label.guess(&rows).expect("a curve through a table")
}

fn point(compared: Compared, captured: Captured) -> Point {
    Point {
        role: Role::Fit,
        compared,
        captured,
    }
}
