//! A point under way: watched until it has settled, then captured, all by itself.

use super::Prepared;
use super::knowledge::Knowledge;
use crate::calibrate::capture::{Capture, Duration, Ending, Taken};
use crate::calibrate::settling::{Settling, Verdict};
use crate::calibrate::{Captured, capture, settling};
use crate::reading::Quality;
use std::collections::VecDeque;

/// Values that are shown as a line.
const SHOWN: usize = 240;

/// Seconds without a reading that are worth a word.
const SILENCE: f64 = 10.0;

/// A reading, as a session takes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heard {
    /// Seconds of the boot clock.
    pub at: f64,
    /// Milliseconds since 1970.
    pub wall_ms: i64,
    /// Counts as the board sent them; `None` where it sent no number.
    pub raw: Option<f64>,
    /// The electrical quantity.
    pub electrical: Option<f64>,
    /// Standard deviation of the samples that were averaged, counts.
    pub spread: f64,
    /// Good, or why there is no value.
    pub quality: Quality,
}

impl Heard {
    /// The electrical quantity; `None` for a fault.
    fn input(&self) -> Option<f64> {
        let is_number = !matches!(
            self.quality,
            Quality::OpenCircuit
                | Quality::ShortCircuit
                | Quality::Saturated
                | Quality::Unreadable
                | Quality::Stale
                | Quality::BoardSilent
        );
        self.electrical.filter(|_| is_number)
    }

    /// What a capture takes; `None` for a fault.
    fn taken(&self, knowledge: &impl Knowledge) -> Option<Taken> {
        let electrical = self.input()?;
        Some(Taken {
            at: self.at,
            raw: self.raw.unwrap_or(electrical),
            electrical,
            spread: self.spread * knowledge.per_count(electrical),
        })
    }
}

/// What came of a reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Progress {
    /// Going on.
    Going,
    /// A point.
    Captured(Box<Captured>, capture::Drift),
}

/// A point under way.
#[derive(Clone, Debug)]
pub struct Live {
    /// What it is compared with.
    pub prepared: Prepared,
    settling: Option<Settling>,
    capture: Option<Capture>,
    heard: Option<Heard>,
    now: Option<f64>,
    trace: VecDeque<f64>,
    note: Option<String>,
}

impl Live {
    /// Nothing heard yet.
    #[must_use]
    pub fn new(prepared: Prepared) -> Self {
        Self {
            prepared,
            settling: None,
            capture: None,
            heard: None,
            now: None,
            trace: VecDeque::new(),
            note: None,
        }
    }

    /// The latest reading.
    #[must_use]
    pub fn heard(&self) -> Option<&Heard> {
        self.heard.as_ref()
    }

    /// The latest electrical values, oldest first.
    pub fn trace(&self) -> impl Iterator<Item = f64> + '_ {
        self.trace.iter().copied()
    }

    /// How it settles; direction as of the value, not of the electrical quantity.
    #[must_use]
    pub fn verdict(&self, is_falling: bool) -> Option<Verdict> {
        let verdict = self.settling.as_ref()?.verdict().clone();
        Some(if is_falling {
            verdict.mirrored()
        } else {
            verdict
        })
    }

    /// How far settling has come, 0 to 1.
    #[must_use]
    pub fn settled(&self) -> Option<f64> {
        self.settling.as_ref()?.progress()
    }

    /// How far the capture has come, 0 to 1; `None` before it has begun.
    #[must_use]
    pub fn captured(&self) -> Option<f64> {
        self.capture.as_ref().map(Capture::progress)
    }

    /// What a person should know: why there was no point, or that nothing comes.
    #[must_use]
    pub fn note(&self) -> Option<String> {
        let silent = self.silent_for().map(|seconds| {
            format!("no reading for {seconds:.0} s; check the board's power and cable")
        });
        silent.or_else(|| self.note.clone())
    }

    /// Time goes by.
    pub fn tick(&mut self, at: f64) {
        self.now = Some(at);
    }

    /// Begins watching anew.
    pub fn restart(&mut self) {
        self.settling = None;
        self.capture = None;
        self.note = None;
    }

    /// What came before says nothing of what comes next: the probe may be elsewhere by then.
    pub fn cut(&mut self) {
        self.settling = None;
        self.heard = None;
        if self.capture.take().is_some() {
            self.note = Some("the capture was cut off; it begins anew by itself".to_owned());
        }
    }

    /// Begins the capture, settled or not.
    pub fn capture_now(&mut self, knowledge: &impl Knowledge) {
        if let Some(heard) = self.heard.filter(|_| self.capture.is_none()) {
            let evidence = "begun by hand, before it had settled".to_owned();
            self.begin(&heard, evidence, knowledge);
        }
    }

    /// Takes the next reading.
    pub fn take(&mut self, heard: Heard, knowledge: &impl Knowledge) -> Progress {
        let was_faulty = self.heard.is_some_and(|before| before.input().is_none());
        self.heard = Some(heard);
        self.now = Some(heard.at);
        let Some(taken) = heard.taken(knowledge) else {
            self.fault(heard.quality);
            return Progress::Going;
        };
        if was_faulty {
            self.note = None;
        }
        if self.trace.len() >= SHOWN {
            self.trace.pop_front();
        }
        self.trace.push_back(taken.electrical);
        let aim = knowledge.aim(taken.electrical);
        let settling = self
            .settling
            .get_or_insert_with(|| Settling::new(aim, knowledge.rules()));
        let verdict = settling.push(taken.at, taken.electrical).clone();
        if self.capture.is_none() && verdict.is_settled() {
            self.begin(&heard, format!("settled: {verdict}"), knowledge);
        }
        let ending = self.capture.as_mut().and_then(|it| it.push(taken));
        ending.map_or(Progress::Going, |ending| self.end(ending))
    }

    fn begin(&mut self, heard: &Heard, evidence: String, knowledge: &impl Knowledge) {
        if let Some(electrical) = heard.electrical {
            let aim = knowledge.aim(electrical);
            let duration = duration(knowledge.rules());
            self.note = None;
            self.capture = Some(Capture::begin(heard.wall_ms, aim, duration, evidence));
        }
    }

    fn fault(&mut self, quality: Quality) {
        if let Some(settling) = &mut self.settling {
            settling.interrupt();
        }
        match self.capture.take() {
            Some(capture) => _ = self.end(capture.fault(quality)),
            None => self.note = Some(format!("{quality}: {}", quality.advice())),
        }
    }

    fn end(&mut self, ending: Ending) -> Progress {
        self.capture = None;
        match ending {
            Ending::Captured(captured, drift) => Progress::Captured(captured, drift),
            Ending::Refused(refusal) => {
                self.settling = None;
                self.note = Some(refusal.to_string());
                Progress::Going
            }
        }
    }

    fn silent_for(&self) -> Option<f64> {
        let silence = self.now? - self.heard.as_ref()?.at;
        (silence > SILENCE).then_some(silence)
    }
}

/// In proportion to how long it is watched.
fn duration(rules: settling::Rules) -> Duration {
    let (usual, watched) = (Duration::default(), settling::Rules::default());
    Duration {
        least: usual.least * rules.least / watched.least,
        ..usual
    }
}
