//! What one round of reads means: a line, and what has changed since the round before.
//!
//! Pure: the numbers and the time are handed in.

use crate::config::PolledFiles;
use crate::reading::Moment;
use crate::source::Event;
use std::sync::Arc;
use std::time::Duration;

/// The rounds of one board.
#[derive(Debug)]
pub struct Rounds {
    board: String,
    files: Arc<PolledFiles>,
    /// What was told of each file that gives no number.
    told: Vec<Option<String>>,
    state: State,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// No round yet.
    New,
    /// At least one file gives a number.
    Open,
    /// None does, and that is told.
    Lost,
}

impl Rounds {
    /// No round yet.
    #[must_use]
    pub fn new(board: String, files: Arc<PolledFiles>) -> Self {
        Self {
            told: vec![None; files.files.len()],
            board,
            files,
            state: State::New,
        }
    }

    /// A round does not come back; told once.
    pub fn hangs(&mut self, at: Moment, patience: Duration) -> Option<Event> {
        let seconds = patience.as_secs_f64();
        self.lose(
            at,
            format!(
                "reading its files takes longer than {seconds} s; check the sensors' wiring; \
                 waiting for it"
            ),
        )
    }

    /// What a round tells: one result per file, in the order of the files.
    pub fn take(&mut self, at: Moment, results: &[Result<f64, String>]) -> Vec<Event> {
        if results.iter().all(Result::is_err) {
            return self.none(at, results).into_iter().collect();
        }
        let mut events = Vec::new();
        if self.state != State::Open {
            self.state = State::Open;
            events.push(self.opened(at));
        }
        events.extend(self.changes(at, results));
        let bytes = self.line(results).into_bytes();
        events.push(Event::Line { at, bytes });
        events
    }

    fn none(&mut self, at: Moment, results: &[Result<f64, String>]) -> Option<Event> {
        for (told, result) in self.told.iter_mut().zip(results) {
            *told = result.as_ref().err().cloned();
        }
        let first = results.iter().find_map(|result| result.as_ref().err())?;
        let reason = format!(
            "no number from its files: {first}; see `files` in `[board.{}]`; trying again",
            self.board
        );
        self.lose(at, reason)
    }

    fn lose(&mut self, at: Moment, reason: String) -> Option<Event> {
        let is_news = self.state != State::Lost;
        self.state = State::Lost;
        is_news.then_some(Event::Lost { at, reason })
    }

    fn opened(&self, at: Moment) -> Event {
        let paths = self.files.files.iter().map(|file| file.path.display());
        let paths: Vec<String> = paths.map(|path| format!("`{path}`")).collect();
        let every = self.files.every.as_secs_f64();
        Event::Opened {
            at,
            detail: format!("{} each {every} s", paths.join(", ")),
            resets_board: false,
        }
    }

    /// Tells of each file once that it gives no number, and once that it does again.
    fn changes(&mut self, at: Moment, results: &[Result<f64, String>]) -> Vec<Event> {
        let mut texts = Vec::new();
        for ((told, file), result) in self.told.iter_mut().zip(&self.files.files).zip(results) {
            match (result, &told) {
                (Ok(_), Some(_)) => {
                    *told = None;
                    texts.push(format!("`{}` gives numbers again", file.field));
                }
                (Err(_), Some(_)) | (Ok(_), None) => {}
                (Err(trouble), None) => {
                    *told = Some(trouble.clone());
                    texts.push(format!("no number for `{}`: {trouble}", file.field));
                }
            }
        }
        let remark = |text| Event::Remark { at, text };
        texts.into_iter().map(remark).collect()
    }

    fn line(&self, results: &[Result<f64, String>]) -> String {
        let fields = self.files.files.iter().zip(results);
        let pairs: Vec<String> = fields
            .filter_map(|(file, result)| {
                let number = result.as_ref().ok()?;
                // In its shortest form that gives the same number back: for programs, not people.
                Some(format!("{}={number:?}", file.field))
            })
            .collect();
        pairs.join(" ")
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::config::{PolledFile, Scaling};
    use crate::source::MAX_LINE;

    const AT: Moment = Moment {
        wall_ms: 1_780_000_000_000,
        boot_ns: 1,
    };

    fn rounds(fields: &[&str]) -> Rounds {
        let file = |field: &&str| PolledFile {
            field: (*field).to_owned(),
            path: format!("/sys/{field}").into(),
            scaling: Scaling::Plain,
        };
        let files = PolledFiles {
            files: fields.iter().map(file).collect(),
            every: Duration::from_secs(1),
        };
        Rounds::new("bench".to_owned(), Arc::new(files))
    }

    fn told(events: &[Event]) -> Vec<String> {
        let words = |event: &Event| match event {
            Event::Opened { detail, .. } => format!("opened {detail}"),
            Event::Line { bytes, .. } => String::from_utf8(bytes.clone()).unwrap(),
            Event::Remark { text, .. } => text.clone(),
            Event::Lost { reason, .. } => format!("lost: {reason}"),
            other => panic!("{other:?}"),
        };
        events.iter().map(words).collect()
    }

    fn gone<T>() -> Result<T, String> {
        Err("`/sys/a1` is not there".to_owned())
    }

    #[test]
    fn a_file_that_fails_leaves_its_field_out_and_is_told_once() {
        let mut rounds = rounds(&["a0", "a1"]);
        let mut round = |results: &[Result<f64, String>]| told(&rounds.take(AT, results));
        assert_eq!(
            round(&[Ok(512.0), Ok(0.1)]),
            ["opened `/sys/a0`, `/sys/a1` each 1 s", "a0=512.0 a1=0.1"]
        );
        assert_eq!(
            round(&[Ok(513.0), gone()]),
            ["no number for `a1`: `/sys/a1` is not there", "a0=513.0"]
        );
        assert_eq!(round(&[Ok(514.0), gone()]), ["a0=514.0"]);
        assert_eq!(
            round(&[Ok(515.0), Ok(1e-7)]),
            ["`a1` gives numbers again", "a0=515.0 a1=1e-7"]
        );
    }

    #[test]
    fn the_loss_of_all_is_told_once_until_one_is_back() {
        let mut rounds = rounds(&["a0", "a1"]);
        let mut round = |results: &[Result<f64, String>]| told(&rounds.take(AT, results));
        assert_eq!(
            round(&[gone(), gone()]),
            [
                "lost: no number from its files: `/sys/a1` is not there; see `files` in \
              `[board.bench]`; trying again"
            ]
        );
        assert_eq!(round(&[gone(), gone()]), [""; 0]);
        assert_eq!(
            round(&[Ok(1.0), gone()]),
            [
                "opened `/sys/a0`, `/sys/a1` each 1 s",
                "`a0` gives numbers again",
                "a0=1.0"
            ]
        );
        assert_eq!(round(&[gone(), gone()]).len(), 1);
    }

    #[test]
    fn a_round_that_hangs_is_one_loss() {
        let mut rounds = rounds(&["a0"]);
        let patience = Duration::from_secs(15);
        let lost = rounds.hangs(AT, patience);
        assert!(told(&[lost.unwrap()])[0].contains("takes longer than 15 s"));
        assert_eq!(rounds.hangs(AT, patience), None);
        assert_eq!(told(&rounds.take(AT, &[gone()])), [""; 0]);
    }

    #[test]
    fn the_longest_line_is_one_that_is_kept() {
        let longest = "x".repeat(64);
        let fields = vec![longest.as_str(); 40];
        let mut rounds = rounds(&fields);
        let results = vec![Ok(-1.234_567_890_123_456_7e-300); fields.len()];
        let events = rounds.take(AT, &results);
        let Some(Event::Line { bytes, .. }) = events.last() else {
            panic!("{events:?}")
        };
        assert!(bytes.len() <= MAX_LINE, "{}", bytes.len());
    }
}
