//! Cuts a refused batch in halves until each bad line stands alone. Pure: it says what to post
//! next and is told what became of it.
//!
//! It also guards the night against a wrong setting. Where a server refuses everything for one and
//! the same reason, the lines are not to blame: they are kept, and a person is asked.

use std::collections::BTreeMap;
use std::ops::Range;

/// A batch of more lines than this is not given up line by line when all of them seem to be refused
/// for one reason; nor are more lines than this in succession, over several small batches.
pub const FEW: usize = 8;

/// The server refuses whatever it gets, always for this reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RefusesAll {
    /// The server's words.
    pub words: String,
}

/// What became of a batch.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Outcome {
    /// Index of each refused line, with the server's words.
    pub refused: BTreeMap<usize, String>,
    /// Whether the server took any line at all.
    pub any_taken: bool,
}

/// One batch on its way. Ask [`Halving::to_post`] what to post, post it, tell the verdict.
#[derive(Debug)]
pub struct Halving {
    /// What is still to be posted, the next one last.
    open: Vec<Range<usize>>,
    outcome: Outcome,
    probes: Vec<usize>,
}

impl Halving {
    /// A batch of `lines` lines.
    #[must_use]
    pub fn new(lines: usize) -> Self {
        Self {
            open: (lines > 0).then_some(0..lines).into_iter().collect(),
            outcome: Outcome::default(),
            probes: Vec::new(),
        }
    }

    /// The lines to post next; `None` when all are settled.
    pub fn to_post(&mut self) -> Option<Range<usize>> {
        // A probe's line comes round again in its half: what was refused alone is not asked twice.
        while let Some(range) = self.open.pop() {
            if range.len() > 1 || !self.outcome.refused.contains_key(&range.start) {
                return Some(range);
            }
        }
        None
    }

    /// The server took these lines.
    pub fn taken(&mut self) {
        self.outcome.any_taken = true;
    }

    /// The server refused at least one of these lines; each line is `text(index)`.
    ///
    /// # Errors
    /// Where first, middle and last line of a large batch are each refused for one reason, and the
    /// reason names none of them.
    pub fn refused<'a>(
        &mut self,
        range: Range<usize>,
        words: &str,
        text: impl Fn(usize) -> &'a str,
    ) -> Result<(), RefusesAll> {
        if range.len() == 1 || all_too_old(words, range.len()) {
            let each = range.map(|index| (index, words.to_owned()));
            self.outcome.refused.extend(each);
            return self.check_probes(text);
        }
        let middle = range.start + range.len() / 2;
        self.open.extend([middle..range.end, range.start..middle]);
        self.probe_once(&range, middle);
        Ok(())
    }

    /// What became of the batch, once [`Halving::to_post`] has nothing more.
    #[must_use]
    pub fn finish(self) -> Outcome {
        self.outcome
    }

    fn probe_once(&mut self, range: &Range<usize>, middle: usize) {
        if range.len() > FEW && self.probes.is_empty() {
            self.probes = vec![range.start, middle, range.end - 1];
            self.open.extend(self.probes.iter().map(|&at| at..at + 1));
        }
    }

    fn check_probes<'a>(&self, text: impl Fn(usize) -> &'a str) -> Result<(), RefusesAll> {
        let refused = |at| self.outcome.refused.get(at).map(String::as_str);
        let Some(words) = self.probes.first().and_then(refused) else {
            return Ok(());
        };
        let alike = |at| refused(at) == Some(words) && blames_no_line(words, text(*at));
        if self.probes.iter().all(alike) {
            let words = words.to_owned();
            return Err(RefusesAll { words });
        }
        Ok(())
    }
}

/// Lines refused in succession for one reason, over any number of batches.
#[derive(Debug, Default)]
pub struct Succession {
    words: String,
    length: usize,
}

impl Succession {
    /// Takes a batch's outcome in.
    ///
    /// # Errors
    /// Where more than [`FEW`] lines in succession were refused for one reason that names none of
    /// them. The batch's own refusals count, so the caller has not given these lines up yet.
    pub fn take<'a>(
        &mut self,
        outcome: &Outcome,
        text: impl Fn(usize) -> &'a str,
    ) -> Result<(), RefusesAll> {
        if outcome.any_taken {
            *self = Self::default();
            return Ok(());
        }
        for (&at, words) in &outcome.refused {
            self.count(words, blames_no_line(words, text(at)));
        }
        if self.length > FEW {
            let words = self.words.clone();
            return Err(RefusesAll { words });
        }
        Ok(())
    }

    fn count(&mut self, words: &str, suspicious: bool) {
        if !suspicious {
            *self = Self::default();
        } else if self.words == words {
            self.length += 1;
        } else {
            self.words = words.to_owned();
            self.length = 1;
        }
    }
}

/// Whether a reason is about the server or its settings rather than about one line. A point older
/// than the retention is refused by rights, whatever its neighbours are.
fn blames_no_line(words: &str, line: &str) -> bool {
    let series = line.split(' ').next().unwrap_or(line);
    !is_retention(words) && !words.contains(series) && !words.contains("unable to parse")
}

/// InfluxDB says of points older than the retention how many it dropped: where that is all of them,
/// nothing is left to search for.
fn all_too_old(words: &str, lines: usize) -> bool {
    let dropped = words
        .split_once("dropped=")
        .and_then(|(_, rest)| rest.split(|c: char| !c.is_ascii_digit()).next())
        .and_then(|digits| digits.parse().ok());
    is_retention(words) && dropped == Some(lines)
}

/// InfluxDB 1 and 2 say `points beyond retention policy`. A retention policy that does not exist is
/// another matter: that is a setting.
fn is_retention(words: &str) -> bool {
    let is_past_it = ["beyond", "outside", "older"]
        .iter()
        .any(|word| words.contains(word));
    is_past_it && words.contains("retention")
}

#[cfg(test)]
mod tests;
