//! How a field moves: not at all, like a counter, like noise, or like something measured.
//!
//! Some tens of numbers are judged, so the words are guesses; they decide what is proposed, and
//! nothing that is logged.

use std::fmt;

/// A field of a board's lines, and the numbers that it showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// Its name in the line, or its column's.
    pub name: String,
    /// Its numbers in the order of the lines, each with the time of its line in milliseconds.
    pub numbers: Vec<(Option<f64>, f64)>,
    /// How often it was there without being a number.
    pub unreadable: usize,
    /// How it moves.
    pub manner: Manner,
}

/// How a field moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Manner {
    /// It never was a number.
    Unreadable,
    /// One and the same number all the time.
    Constant,
    /// It rises by about the same step from line to line.
    Counter(Clock),
    /// It goes up and down from line to line, as noise does.
    Noisy,
    /// It moves otherwise.
    Moving,
}

/// What a counter counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clock {
    /// Milliseconds since the board started.
    Milliseconds,
    /// Microseconds since the board started.
    Microseconds,
    /// Lines, seconds, or a measured number that happens to rise.
    Unknown,
}

impl Field {
    /// A field with its numbers, judged.
    #[must_use]
    pub fn new(name: String, numbers: Vec<(Option<f64>, f64)>, unreadable: usize) -> Self {
        let manner = manner(&name, &numbers);
        Self {
            name,
            numbers,
            unreadable,
            manner,
        }
    }

    /// The lowest and the highest number; none where there is no number.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        let numbers = self.numbers.iter().map(|(_, number)| *number);
        numbers.fold(None, |range, number| match range {
            None => Some((number, number)),
            Some((low, high)) => Some((low.min(number), high.max(number))),
        })
    }

    /// Whether it could be a converter's count: never negative, and whole, or averaged under a name
    /// that a converter's input has.
    #[must_use]
    pub fn looks_like_counts(&self) -> bool {
        let whole = self.numbers.iter().all(|(_, number)| number.fract() == 0.0);
        let in_range = self
            .range()
            .is_some_and(|(low, high)| low >= 0.0 && high <= MOST_COUNTS);
        in_range && (whole || is_an_inputs_name(&self.name))
    }
}

/// 24 bits: the finest converters that boards have.
const MOST_COUNTS: f64 = 16_777_215.0;

/// Fewer numbers than this rise by chance.
const FEWEST_FOR_A_COUNTER: usize = 4;

/// Fewer numbers than this go up and down by chance.
const FEWEST_FOR_NOISE: usize = 6;

/// `a0`, `adc_left`, `ch3`, `raw`.
fn is_an_inputs_name(name: &str) -> bool {
    name.to_ascii_lowercase().split('.').any(|part| {
        let number = part.strip_prefix('a').unwrap_or_default();
        let numbered = !number.is_empty() && number.chars().all(|c| c.is_ascii_digit());
        let starts = ["adc", "ch", "raw", "count"];
        numbered || starts.iter().any(|start| part.starts_with(start))
    })
}

fn manner(name: &str, numbers: &[(Option<f64>, f64)]) -> Manner {
    let Some((_, first)) = numbers.first() else {
        return Manner::Unreadable;
    };
    if numbers.iter().all(|(_, number)| number == first) {
        return Manner::Constant;
    }
    if let Some(clock) = counter(name, numbers) {
        return Manner::Counter(clock);
    }
    if is_noisy(numbers) {
        Manner::Noisy
    } else {
        Manner::Moving
    }
}

/// What is counted, where whole numbers rise evenly; they may start anew once, by a reset or by
/// wrapping round.
fn counter(name: &str, numbers: &[(Option<f64>, f64)]) -> Option<Clock> {
    let whole = numbers.iter().all(|(_, number)| number.fract() == 0.0);
    if numbers.len() < FEWEST_FOR_A_COUNTER || !whole {
        return None;
    }
    let rises: Vec<Rise> = numbers.windows(2).filter_map(Rise::between).collect();
    let steps: Vec<f64> = rises.iter().map(|rise| rise.counted).collect();
    let usual = median(&steps)?;
    let share = |close: &dyn Fn(f64) -> bool| {
        steps.iter().filter(|step| close(**step)).count() as f64 / steps.len() as f64
    };
    if rises.len() + 2 < numbers.len() || share(&|step| (0.5..=2.0).contains(&(step / usual))) < 0.8
    {
        return None;
    }
    let equal = share(&|step| step == usual) >= 0.9;
    // A measured number that is just warming up rises as well, but not by equal steps.
    clock(name, &rises).or(equal.then_some(Clock::Unknown))
}

/// From one line to the next, of a number that is larger in the next.
struct Rise {
    counted: f64,
    passed_ms: Option<f64>,
}

impl Rise {
    fn between(pair: &[(Option<f64>, f64)]) -> Option<Self> {
        let [(earlier_ms, before), (later_ms, after)] = pair else {
            return None;
        };
        (after > before).then(|| Self {
            counted: after - before,
            passed_ms: later_ms
                .zip(*earlier_ms)
                .map(|(later, earlier)| later - earlier),
        })
    }
}

/// Which clock keeps pace with the lines.
fn clock(name: &str, rises: &[Rise]) -> Option<Clock> {
    let passed_ms: Option<f64> = rises.iter().map(|rise| rise.passed_ms).sum();
    let counted: f64 = rises.iter().map(|rise| rise.counted).sum();
    match passed_ms.map(|passed_ms| counted / passed_ms) {
        // A board's oscillator is off by a few percent, and bytes are held back on their way.
        Some(pace) if (0.8..=1.25).contains(&pace) => Some(Clock::Milliseconds),
        Some(pace) if (800.0..=1250.0).contains(&pace) => Some(Clock::Microseconds),
        Some(_) => None,
        None => clock_by_name(name),
    }
}

/// A recorded line has no time of its own.
fn clock_by_name(name: &str) -> Option<Clock> {
    let name = name.to_ascii_lowercase();
    let ends = |endings: &[&str]| endings.iter().any(|ending| name.ends_with(ending));
    if ends(&["ms", "millis"]) {
        Some(Clock::Milliseconds)
    } else {
        ends(&["us", "micros"]).then_some(Clock::Microseconds)
    }
}

/// Independent numbers turn at two of three places (turning point test, Bienaymé 1874; from memory);
/// something that drifts turns at few.
fn is_noisy(numbers: &[(Option<f64>, f64)]) -> bool {
    let mut steps = steps(numbers);
    steps.retain(|step| *step != 0.0);
    let turns = steps
        .windows(2)
        .filter(|pair| (pair[0] > 0.0) != (pair[1] > 0.0));
    let places = steps.len().saturating_sub(1);
    numbers.len() >= FEWEST_FOR_NOISE && places > 0 && turns.count() * 2 >= places
}

fn steps(numbers: &[(Option<f64>, f64)]) -> Vec<f64> {
    numbers
        .windows(2)
        .map(|pair| pair[1].1 - pair[0].1)
        .collect()
}

/// The middle of the numbers; of an even count the upper one of the two.
pub(super) fn median(numbers: &[f64]) -> Option<f64> {
    let mut sorted = numbers.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}

impl fmt::Display for Field {
    /// `moves, 498 to 530`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some((low, high)) = self.range() else {
            return f.write_str("never a plain number; left out");
        };
        match self.manner {
            Manner::Unreadable => f.write_str("never a plain number; left out")?,
            Manner::Constant => write!(f, "did not move: {low}")?,
            Manner::Counter(Clock::Milliseconds) => {
                f.write_str("counts milliseconds: the board's own clock, no probe")?
            }
            Manner::Counter(Clock::Microseconds) => {
                f.write_str("counts microseconds: the board's own clock, no probe")?
            }
            Manner::Counter(Clock::Unknown) => {
                write!(f, "rises evenly, {low} to {high}: a counter?")?
            }
            Manner::Noisy => write!(f, "goes up and down like noise, {low} to {high}")?,
            Manner::Moving => write!(f, "moves, {low} to {high}")?,
        }
        match self.unreadable {
            0 => Ok(()),
            1 => f.write_str("; once it was no number"),
            n => write!(f, "; {n} times it was no number"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(name: &str, numbers: &[f64]) -> Manner {
        let numbers = numbers.iter().map(|number| (None, *number)).collect();
        Field::new(name.to_owned(), numbers, 0).manner
    }

    fn timed(numbers: &[(f64, f64)]) -> Manner {
        let numbers = numbers
            .iter()
            .map(|(at, number)| (Some(*at), *number))
            .collect();
        Field::new("t".to_owned(), numbers, 0).manner
    }

    #[test]
    fn fields_are_judged_by_how_they_move() {
        let table: [(&str, &[f64], Manner); 9] = [
            ("a0", &[], Manner::Unreadable),
            ("a0", &[512.0, 512.0], Manner::Constant),
            (
                "n",
                &[1.0, 2.0, 3.0, 4.0, 5.0],
                Manner::Counter(Clock::Unknown),
            ),
            (
                "n",
                &[98.0, 99.0, 0.0, 1.0, 2.0, 3.0],
                Manner::Counter(Clock::Unknown),
            ),
            (
                "a0",
                &[512.0, 513.0, 511.0, 512.0, 510.0, 513.0, 512.0],
                Manner::Noisy,
            ),
            (
                "a0",
                &[
                    512.0, 520.0, 540.0, 541.0, 541.0, 600.0, 601.0, 601.0, 650.0,
                ],
                Manner::Moving,
            ),
            (
                "a0",
                &[501.0, 504.0, 509.0, 516.0, 525.0, 536.0],
                Manner::Moving,
            ),
            ("a0", &[21.5, 21.6, 21.7, 21.8, 21.9], Manner::Moving),
            (
                "up_ms",
                &[1000.0, 2001.0, 3001.0, 4002.0],
                Manner::Counter(Clock::Milliseconds),
            ),
        ];
        for (name, numbers, manner) in table {
            assert_eq!(judged(name, numbers), manner, "{name} {numbers:?}");
        }
    }

    #[test]
    fn a_counter_is_a_clock_where_it_keeps_pace_with_the_lines() {
        let at = |unit: f64| {
            let line = |n: f64| (n * 250.0 + 3.0 * (n % 2.0), 7.0 + n * 250.0 * unit);
            timed(&[0.0, 1.0, 2.0, 3.0, 4.0, 5.0].map(line))
        };
        assert_eq!(at(1.0), Manner::Counter(Clock::Milliseconds));
        assert_eq!(at(1000.0), Manner::Counter(Clock::Microseconds));
        assert_eq!(at(0.004), Manner::Counter(Clock::Unknown));
    }

    #[test]
    fn counts_are_whole_or_averaged_under_an_inputs_name() {
        let field = |name: &str, number: f64| Field::new(name.to_owned(), vec![(None, number)], 0);
        for (name, number, expected) in [
            ("x", 512.0, true),
            ("a0", 512.25, true),
            ("adc.left", 512.25, true),
            ("air", 512.25, false),
            ("x", -1.0, false),
            ("x", 1e9, false),
        ] {
            assert_eq!(
                field(name, number).looks_like_counts(),
                expected,
                "{name} {number}"
            );
        }
    }
}
