//! The guide to a calibration as a state machine: events in, steps for the log out.
//!
//! Flow: what is at hand, choose a reference, what has to be known of it, how to make it well, watch
//! and capture, question it where it cannot be true, fit, look at it, keep it, use it. A captured
//! point that nobody has to question is a step at once, so that an end at any moment loses nothing.
//!
//! Pure: no terminal, no clock, no log. Who draws it is elsewhere (`cli/calibrate`).

mod form;
mod keys;
mod knowledge;
mod live;
mod screen;

#[cfg(test)]
pub(crate) mod testing;
#[cfg(test)]
mod tests;

pub use form::Form;
pub use knowledge::{Advice, Complaint, Doubt, Knowledge, Offer, Question, Subject};
pub use live::{Heard, Live, Progress};
pub use screen::{Doubtful, Finished, Fitting, Prepared, ReadOff, Screen, TakenPoint};

use crate::calibrate::capture::Drift;
use crate::calibrate::history::Taken;
use crate::calibrate::{Captured, History, Point, Recorded, Role, Step, Verification};
use std::collections::VecDeque;

/// A key, as far as it means something here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// On.
    Enter,
    /// Back.
    Back,
    /// One line up.
    Up,
    /// One line down.
    Down,
    /// One character less.
    Erase,
    /// A character.
    Letter(char),
}

/// What happens to a session.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A person pressed a key.
    Key(Key),
    /// A reading of the probe.
    Heard(Heard),
    /// Time goes by.
    Tick {
        /// Seconds of the boot clock.
        at: f64,
        /// Milliseconds since 1970.
        wall_ms: i64,
    },
    /// The oldest step that was handed out is in the log, under this number.
    Kept(u64),
    /// The oldest step that was handed out is not in the log, and why.
    NotKept(String),
    /// A step is kept, and a person should know something all the same.
    Told(String),
    /// No readings come for the time being, and why.
    Deaf(String),
}

/// The guide to one probe's calibration.
#[derive(Clone, Debug)]
pub struct Session<K> {
    knowledge: K,
    history: History,
    screen: Screen,
    under_way: VecDeque<Step>,
    now_ms: i64,
    trouble: Option<String>,
    deaf: Option<String>,
}

impl<K: Knowledge> Session<K> {
    /// Goes on from what the log has of the probe's calibration.
    pub fn new(mut knowledge: K, history: History) -> Self {
        knowledge.learn(&history);
        Self {
            knowledge,
            history,
            screen: Screen::Overview { selected: 0 },
            under_way: VecDeque::new(),
            now_ms: 0,
            trouble: None,
            deaf: None,
        }
    }

    /// Takes an event; gives the steps to append to the log, in order. Each is answered with
    /// [`Event::Kept`] or [`Event::NotKept`].
    #[must_use]
    pub fn handle(&mut self, event: Event) -> Vec<Step> {
        let steps = match event {
            Event::Key(key) => self.key(key),
            Event::Heard(heard) => self.heard(heard),
            Event::Tick { at, wall_ms } => {
                self.now_ms = wall_ms;
                if let Screen::Live(live) = &mut self.screen {
                    live.tick(at);
                }
                Vec::new()
            }
            Event::Kept(number) => self.kept(number),
            Event::NotKept(why) => {
                self.not_kept(&why);
                Vec::new()
            }
            Event::Told(what) => {
                self.trouble = Some(what);
                Vec::new()
            }
            Event::Deaf(why) => {
                self.cut(why);
                Vec::new()
            }
        };
        self.under_way.extend(steps.iter().cloned());
        steps
    }

    /// What is told by the rest of calibration.
    pub fn knowledge(&self) -> &K {
        &self.knowledge
    }

    /// Points and calibrations.
    pub fn history(&self) -> &History {
        &self.history
    }

    /// Points at hand: in no calibration yet.
    pub fn points(&self) -> Vec<&Taken> {
        self.history.draft().collect()
    }

    /// What is shown.
    pub fn screen(&self) -> &Screen {
        &self.screen
    }

    /// What went wrong with the log or the service, for a person.
    pub fn trouble(&self) -> Option<&str> {
        self.trouble.as_deref().or(self.deaf.as_deref())
    }

    /// Whether the person has left, and all steps are answered.
    pub fn is_over(&self) -> bool {
        matches!(self.screen, Screen::Over) && self.under_way.is_empty()
    }

    fn heard(&mut self, heard: Heard) -> Vec<Step> {
        self.now_ms = heard.wall_ms;
        self.deaf = None;
        let Screen::Live(live) = &mut self.screen else {
            return Vec::new();
        };
        match live.take(heard, &self.knowledge) {
            Progress::Going => Vec::new(),
            Progress::Captured(captured, drift) => {
                let prepared = live.prepared.clone();
                self.ended(prepared, *captured, drift)
            }
        }
    }

    /// What an instrument shows is read off now, not before the probe had settled.
    fn ended(&mut self, prepared: Prepared, captured: Captured, drift: Drift) -> Vec<Step> {
        let offer = self.knowledge.offers().get(prepared.offer);
        let Some(question) = offer.and_then(|offer| offer.read_off) else {
            return self.captured(prepared, captured, drift);
        };
        self.screen = Screen::ReadOff(Box::new(ReadOff {
            form: Form::again(&prepared, question),
            prepared,
            captured,
            drift,
        }));
        Vec::new()
    }

    /// A point that agrees is kept at once; one that doesn't waits for an answer.
    fn captured(&mut self, prepared: Prepared, captured: Captured, drift: Drift) -> Vec<Step> {
        match self.knowledge.doubt(&prepared.compared, captured.mean) {
            Some(doubt) => {
                self.screen = Screen::Doubtful(Box::new(Doubtful {
                    prepared,
                    captured,
                    drift,
                    doubt,
                }));
                Vec::new()
            }
            None => self.keep(prepared, captured, drift),
        }
    }

    fn keep(&mut self, prepared: Prepared, captured: Captured, drift: Drift) -> Vec<Step> {
        let taken = TakenPoint {
            prepared,
            captured,
            drift,
            number: None,
        };
        let steps = vec![taken.step()];
        self.screen = Screen::Taken(Box::new(taken));
        steps
    }

    fn kept(&mut self, number: u64) -> Vec<Step> {
        self.trouble = None;
        let Some(step) = self.under_way.pop_front() else {
            return Vec::new();
        };
        let followers = match (&step, &mut self.screen) {
            (Step::Point { .. }, Screen::Taken(taken)) => {
                taken.number = Some(number);
                Vec::new()
            }
            (Step::Made { .. }, Screen::Finished(finished)) => {
                finished.number = Some(number);
                let verified = |verification: &Verification| Step::Verified {
                    calibration: number,
                    verification: verification.clone(),
                };
                finished.verifications.iter().map(verified).collect()
            }
            (Step::Activated { .. }, Screen::Finished(finished)) => {
                finished.is_active = true;
                Vec::new()
            }
            _ => Vec::new(),
        };
        self.history.take(&Recorded {
            number,
            probe: self.knowledge.subject().probe.clone(),
            time_ms: self.now_ms,
            step,
        });
        self.knowledge.learn(&self.history);
        followers
    }

    /// What could not be kept is still on the screen, and can be tried again.
    fn not_kept(&mut self, why: &str) {
        let step = self.under_way.pop_front();
        let what = match step {
            Some(Step::Point { .. }) => "the point is not in the log yet",
            Some(Step::Made { .. }) => "the calibration is not in the log yet",
            _ => "this is not in the log yet",
        };
        self.trouble = Some(format!("{what}: {why}"));
    }

    fn cut(&mut self, why: String) {
        if let Screen::Live(live) = &mut self.screen {
            live.cut();
        }
        self.deaf = Some(why);
    }

    /// Whether a step waits for its answer.
    fn is_waiting(&self) -> bool {
        !self.under_way.is_empty()
    }

    /// Fits to the points at hand.
    fn fit(&self) -> Screen {
        let points = self.history.draft();
        let points: Vec<(u64, Point)> = points
            .map(|taken| (taken.number, taken.point.clone()))
            .collect();
        let is_to_fit = |(_, point): &&(u64, Point)| point.role == Role::Fit;
        let to_fit: Vec<(u64, Point)> = points.iter().filter(is_to_fit).cloned().collect();
        let result = self.knowledge.fit(&to_fit, self.now_ms);
        let verifications = result.as_ref().map_or_else(
            |_| Vec::new(),
            |calibration| {
                let checks = points.iter().filter(|(_, point)| point.role == Role::Check);
                let verify = |(number, point): &(u64, Point)| {
                    self.knowledge.verify(calibration, *number, point)
                };
                checks.filter_map(verify).collect()
            },
        );
        Screen::Fit(Box::new(Fitting {
            result,
            points: to_fit,
            verifications,
        }))
    }
}
