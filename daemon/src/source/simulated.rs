//! A board that is not there: physics with noise, written as a board writes, `name=number`.
//!
//! Deterministic from its seed. It does not know the configuration's front ends and drivers: how
//! a value becomes counts is handed in as a function.

use super::physics;
use super::{Event, Sink, Source, pace};
use crate::clock;
use crate::config::Scene;
use crate::reading::Moment;
use std::fmt;
use std::fmt::Write as _;
use std::future::Future;
use std::pin::Pin;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// From a value in the probe's unit to counts: driver and front end, inverted. What cannot be
/// inverted is NaN.
pub type ToCounts = Box<dyn Fn(f64) -> f64 + Send>;

/// One channel of a simulated board.
pub struct SimulatedInput {
    /// The field's name in the board's line.
    pub field: String,
    /// What its probe sees.
    pub scene: Scene,
    /// Standard deviation of the converter's noise, counts.
    pub noise_count: f64,
    /// The converter's highest count; readings are clamped to 0 and this.
    pub full_scale: f64,
    /// How a value becomes counts.
    pub to_counts: ToCounts,
}

impl fmt::Debug for SimulatedInput {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SimulatedInput")
            .field("field", &self.field)
            .field("scene", &self.scene)
            .field("noise_count", &self.noise_count)
            .field("full_scale", &self.full_scale)
            .finish_non_exhaustive()
    }
}

/// Writes the simulated board's lines, one after the other.
#[derive(Debug)]
pub struct Lines {
    inputs: Vec<SimulatedInput>,
    noise: fastrand::Rng,
    every_s: f64,
    count: u64,
}

impl Lines {
    /// Lines of these inputs, `every` apart in the scene's time; the same seed, the same lines.
    #[must_use]
    pub fn new(inputs: Vec<SimulatedInput>, every: Duration, seed: u64) -> Self {
        Self {
            inputs,
            noise: fastrand::Rng::with_seed(seed),
            every_s: every.as_secs_f64(),
            count: 0,
        }
    }

    /// The next line, without its end: `a0=512 a1=77`. A count that cannot be made is `nan`, which
    /// a decoder reports as unreadable.
    #[must_use]
    pub fn next_line(&mut self) -> String {
        // Counting is exact where adding up intervals would drift.
        #[expect(clippy::cast_precision_loss, reason = "exact up to 2^53 lines")]
        let seconds = self.count as f64 * self.every_s;
        self.count += 1;
        let mut line = String::new();
        for input in &self.inputs {
            let count = count(input, seconds, &mut self.noise);
            let gap = if line.is_empty() { "" } else { " " };
            // Writing to a String cannot fail.
            let _ = if count.is_nan() {
                write!(line, "{gap}{}=nan", input.field)
            } else {
                write!(line, "{gap}{}={count:.0}", input.field)
            };
        }
        line
    }
}

/// A simulated board as a source.
#[derive(Debug)]
pub struct SimulatedSource {
    lines: Lines,
    interval: Duration,
    detail: String,
}

impl SimulatedSource {
    /// A board whose inputs are read every `every` of the scene's time, which runs `speed` times
    /// faster than life.
    #[must_use]
    pub fn new(inputs: Vec<SimulatedInput>, every: Duration, speed: f64, seed: u64) -> Self {
        Self {
            lines: Lines::new(inputs, every, seed),
            interval: interval(every, speed),
            detail: format!("simulated board {}, seed {seed}", pace(speed)),
        }
    }

    async fn play(mut self, sink: Sink, stop: CancellationToken) {
        let opened = Event::Opened {
            at: clock::now(),
            detail: std::mem::take(&mut self.detail),
            resets_board: false,
        };
        let mut flows = sink.put(opened).await;
        let mut due_ns = clock::now().boot_ns;
        while flows && wait_until(due_ns, &stop).await {
            let line = Event::Line {
                at: clock::now(),
                bytes: self.lines.next_line().into_bytes(),
            };
            flows = sink.put(line).await;
            due_ns = next_due(due_ns, self.interval, clock::now());
        }
    }
}

impl Source for SimulatedSource {
    fn run(
        self: Box<Self>,
        sink: Sink,
        stop: CancellationToken,
    ) -> Pin<Box<dyn Future<Output = ()> + Send>> {
        Box::pin(self.play(sink, stop))
    }
}

/// No simulated board writes faster than this: a speed without bounds must not take a whole core.
const SHORTEST_INTERVAL: Duration = Duration::from_millis(1);

/// Time between two lines at a speed; a speed that is no positive number is life's own.
#[must_use]
pub fn interval(every: Duration, speed: f64) -> Duration {
    let speed = if speed > 0.0 { speed } else { 1.0 };
    Duration::try_from_secs_f64(every.as_secs_f64() / speed)
        .unwrap_or(every)
        .max(SHORTEST_INTERVAL)
}

/// Sleeps until the boot clock shows `due_ns`; false where the stop came first.
async fn wait_until(due_ns: u64, stop: &CancellationToken) -> bool {
    let left = due_ns.saturating_sub(clock::now().boot_ns);
    tokio::select! {
        biased;
        () = stop.cancelled() => false,
        () = tokio::time::sleep(Duration::from_nanos(left)) => true,
    }
}

/// When the next line is due: an interval after the last, or now where that is past. A board that
/// was held up makes no burst afterwards.
fn next_due(due_ns: u64, interval: Duration, now: Moment) -> u64 {
    let step = u64::try_from(interval.as_nanos()).unwrap_or(u64::MAX);
    due_ns.saturating_add(step).max(now.boot_ns)
}

fn count(input: &SimulatedInput, seconds: f64, rng: &mut fastrand::Rng) -> f64 {
    let ideal = (input.to_counts)(physics::value(&input.scene, seconds));
    let noisy = ideal + input.noise_count * gaussian(rng);
    noisy.clamp(0.0, input.full_scale.max(0.0)).round()
}

/// A number of the standard normal distribution. Source: Box and Muller, "A note on the generation
/// of random normal deviates", Annals of Mathematical Statistics 29 (1958) 610.
fn gaussian(rng: &mut fastrand::Rng) -> f64 {
    // 1 - [0, 1) is never 0, whose logarithm is infinite.
    let radius = (-2.0 * (1.0 - rng.f64()).ln()).sqrt();
    radius * (std::f64::consts::TAU * rng.f64()).cos()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use tokio::sync::mpsc;

    fn input(field: &str, noise_count: f64, to_counts: ToCounts) -> SimulatedInput {
        SimulatedInput {
            field: field.to_owned(),
            scene: Scene::Ramp {
                start: 100.0,
                slope_per_hour: 3600.0,
            },
            noise_count,
            full_scale: 1023.0,
            to_counts,
        }
    }

    fn lines(inputs: Vec<SimulatedInput>, seed: u64) -> Lines {
        Lines::new(inputs, Duration::from_secs(1), seed)
    }

    #[test]
    fn lines_name_every_input_with_whole_counts() {
        let inputs = vec![
            input("a0", 0.0, Box::new(|value| value * 2.0 + 0.2)),
            input("a1", 0.0, Box::new(|_| 7.0)),
        ];
        let mut lines = lines(inputs, 1);
        assert_eq!(lines.next_line(), "a0=200 a1=7");
        assert_eq!(lines.next_line(), "a0=202 a1=7");
    }

    #[test]
    fn counts_stay_between_zero_and_full_scale() {
        let inputs = vec![
            input("high", 0.0, Box::new(|_| 1e9)),
            input("low", 0.0, Box::new(|_| -3.0)),
            input("none", 0.0, Box::new(|_| f64::NAN)),
        ];
        assert_eq!(lines(inputs, 1).next_line(), "high=1023 low=0 none=nan");
    }

    #[test]
    fn the_same_seed_gives_the_same_night_and_another_seed_another() {
        let night = |seed| {
            let mut lines = lines(vec![input("a0", 5.0, Box::new(|_| 500.0))], seed);
            (0..100).map(|_| lines.next_line()).collect::<Vec<_>>()
        };
        assert_eq!(night(7), night(7));
        assert_ne!(night(7), night(8));
    }

    #[test]
    fn noise_has_mean_zero_and_standard_deviation_one() {
        let mut rng = fastrand::Rng::with_seed(3);
        let sample: Vec<f64> = (0..20_000).map(|_| gaussian(&mut rng)).collect();
        let mean = sample.iter().sum::<f64>() / 20_000.0;
        let variance = sample.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 19_999.0;
        // Four standard errors: 1/sqrt(n) of the mean, sqrt(2/n) of the variance.
        assert!(mean.abs() < 4.0 / 20_000_f64.sqrt(), "mean {mean}");
        assert!((variance - 1.0).abs() < 0.04, "variance {variance}");
    }

    #[test]
    fn a_speed_shortens_the_interval_down_to_a_millisecond() {
        let second = Duration::from_secs(1);
        assert_eq!(interval(second, 10.0), Duration::from_millis(100));
        assert_eq!(interval(second, f64::INFINITY), SHORTEST_INTERVAL);
        assert_eq!(interval(second, f64::NAN), second);
        assert_eq!(interval(second, 0.0), second);
        assert_eq!(interval(second, 1e-300), second);
    }

    #[test]
    fn a_board_that_was_held_up_makes_no_burst() {
        let at = |boot_ns| Moment {
            wall_ms: 0,
            boot_ns,
        };
        let step = Duration::from_nanos(10);
        assert_eq!(next_due(100, step, at(103)), 110);
        assert_eq!(next_due(100, step, at(900)), 900);
    }

    #[tokio::test]
    async fn the_source_opens_writes_and_stops() {
        let source = SimulatedSource::new(
            vec![input("a0", 0.0, Box::new(|value| value))],
            Duration::from_secs(1),
            1000.0,
            1,
        );
        let (to, mut from) = mpsc::channel(4);
        let stop = CancellationToken::new();
        let running = tokio::spawn(Box::new(source).run(Sink::new(3, to), stop.clone()));
        let mut seen = Vec::new();
        while seen.len() < 3 {
            seen.push(from.recv().await.unwrap());
        }
        assert!(matches!(
            &seen[0],
            (
                3,
                Event::Opened {
                    resets_board: false,
                    ..
                }
            )
        ));
        assert!(matches!(&seen[2], (3, Event::Line { bytes, .. }) if bytes == b"a0=101"));
        stop.cancel();
        while from.recv().await.is_some() {}
        running.await.unwrap();
    }
}
