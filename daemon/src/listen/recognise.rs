//! Which format most lines are in, and what its fields showed.

use super::candidate::{self, Candidate};
use super::hint::Unrecognised;
use super::manner::{Field, median};
use super::{Heard, is_readable};
use crate::measure::decode::{Decoder, Format, Line, Slot};

/// Lines that are judged, at most; later ones are left out.
pub const MAX_LINES: usize = 10_000;

/// One line could be anything.
const FEWEST_LINES: usize = 2;

/// What was recognised in a board's lines.
#[derive(Clone, Debug, PartialEq)]
pub struct Recognised {
    /// The format of its lines.
    pub format: Format,
    /// Its fields, in the order of the line.
    pub fields: Vec<Field>,
    /// Lines that are in the format.
    pub lines: usize,
    /// Lines with content that are not: a greeting, a half line, a header.
    pub others: usize,
    /// The usual time between two lines, milliseconds; none for recorded lines.
    pub interval_ms: Option<f64>,
    /// The last line that is in the format.
    pub example: String,
}

/// Recognises the format that the lines are in. Never panics, whatever the lines are made of.
///
/// # Errors
/// Where no format fits two lines and half of those from its first line on; why, for a person.
pub fn recognise(heard: &[Heard]) -> Result<Recognised, Unrecognised> {
    let heard: Vec<&Heard> = heard
        .iter()
        .take(MAX_LINES)
        .filter(|it| has_content(it))
        .collect();
    let texts: Vec<&str> = heard.iter().filter_map(|it| text(it)).collect();
    let tried = candidate::all(&texts)
        .into_iter()
        .map(|it| Trial::run(it, &heard));
    // Of two that fit equally well the first is meant.
    let best = tried.reduce(|best, next| {
        if next.numeric > best.numeric {
            next
        } else {
            best
        }
    });
    match best {
        Some(best) if best.is_convincing(heard.len()) => Ok(best.recognised(&heard)),
        Some(best) if best.numeric == 1 && heard.len() == 1 => Err(Unrecognised::OneLine),
        _ => Err(Unrecognised::of(&heard)),
    }
}

/// Not empty, and no remark: those say nothing in any format.
fn has_content(heard: &Heard) -> bool {
    let line = heard.bytes.trim_ascii();
    !line.is_empty() && !line.starts_with(b"#")
}

/// The lines that can be text at all.
fn text(heard: &Heard) -> Option<&str> {
    std::str::from_utf8(&heard.bytes)
        .ok()
        .filter(|_| is_readable(&heard.bytes))
}

/// A candidate and what its decoder made of the lines.
struct Trial {
    candidate: Candidate,
    /// Which lines are in the format, with what they say of each field; the first has a number.
    good: Vec<(usize, Vec<Slot>)>,
    /// How many of them have a number.
    numeric: usize,
}

impl Trial {
    fn run(candidate: Candidate, heard: &[&Heard]) -> Self {
        let mut decoder = Decoder::new(candidate.format.clone(), candidate.fields.clone());
        let (mut good, mut numeric) = (Vec::new(), 0);
        for (at, line) in heard.iter().enumerate() {
            let fits = decoder.decode(&line.bytes) == Line::Fields;
            let is_number = |slot: &Slot| matches!(slot, Slot::Number(_));
            let has_number = decoder.slots().iter().any(is_number);
            numeric += usize::from(has_number);
            if has_number || fits && !good.is_empty() {
                good.push((at, decoder.slots().to_vec()));
            }
        }
        Self {
            candidate,
            good,
            numeric,
        }
    }

    /// What comes before the first good line is a greeting, however long it is.
    fn is_convincing(&self, lines: usize) -> bool {
        let since_first = self.good.first().map_or(0, |(at, _)| lines - at);
        self.numeric >= FEWEST_LINES && self.good.len() * 2 >= since_first
    }

    fn recognised(self, heard: &[&Heard]) -> Recognised {
        let fields = self.candidate.fields.iter().enumerate();
        let fields = fields
            .map(|(at, name)| self.field(at, name, heard))
            .collect();
        let times: Option<Vec<f64>> = self.good.iter().map(|(at, _)| heard[*at].at_ms).collect();
        let last = self.good.last().and_then(|(at, _)| text(heard[*at]));
        Recognised {
            format: self.candidate.format.clone(),
            fields,
            lines: self.good.len(),
            others: heard.len() - self.good.len(),
            interval_ms: times.and_then(|times| interval(&times)),
            example: last.unwrap_or_default().trim().to_owned(),
        }
    }

    fn field(&self, at: usize, name: &str, heard: &[&Heard]) -> Field {
        let slots = self
            .good
            .iter()
            .map(|(line, slots)| (heard[*line].at_ms, slots[at]));
        let mut numbers = Vec::new();
        let mut unreadable = 0;
        for (at_ms, slot) in slots {
            match slot {
                Slot::Number(number) => numbers.push((at_ms, number)),
                Slot::Unreadable => unreadable += 1,
                Slot::Absent => {}
            }
        }
        Field::new(name.to_owned(), numbers, unreadable)
    }
}

fn interval(times_ms: &[f64]) -> Option<f64> {
    let steps: Vec<f64> = times_ms.windows(2).map(|pair| pair[1] - pair[0]).collect();
    median(&steps)
}

#[cfg(test)]
mod tests;
