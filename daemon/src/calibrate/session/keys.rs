//! What each key does on each screen. `q` leaves from everywhere but where one types.

use super::knowledge::Knowledge;
use super::screen::{Doubtful, Finished, Fitting, Prepared, ReadOff, Screen, TakenPoint};
use super::{Form, Key, Live, Session};
use crate::calibrate::history::{Made, Taken};
use crate::calibrate::{Role, Step};

impl<K: Knowledge> Session<K> {
    pub(super) fn key(&mut self, key: Key) -> Vec<Step> {
        let is_typing = matches!(self.screen, Screen::Details(_) | Screen::ReadOff(_));
        if key == Key::Letter('q') && !is_typing {
            // What is on its way to the log may come back.
            if !self.is_waiting() {
                self.screen = Screen::Over;
            }
            return Vec::new();
        }
        let screen = std::mem::replace(&mut self.screen, Screen::Over);
        let (screen, steps) = match screen {
            Screen::Overview { selected } => self.on_overview(selected, key),
            Screen::Choose { selected } => (self.on_choice(selected, key), Vec::new()),
            Screen::Details(form) => (self.on_details(form, key), Vec::new()),
            Screen::HowTo(prepared) => (on_how_to(prepared, key), Vec::new()),
            Screen::Live(live) => (self.on_live(live, key), Vec::new()),
            Screen::ReadOff(read_off) => self.on_read_off(read_off, key),
            Screen::Doubtful(doubtful) => self.on_doubtful(doubtful, key),
            Screen::Taken(taken) => self.on_taken(taken, key),
            Screen::Fit(fitting) => on_fit(fitting, key),
            Screen::Finished(finished) => self.on_finished(finished, key),
            Screen::Over => (Screen::Over, Vec::new()),
        };
        self.screen = screen;
        steps
    }

    fn on_overview(&mut self, selected: usize, key: Key) -> (Screen, Vec<Step>) {
        let points = self.points().len();
        let stay = |selected| Screen::Overview { selected };
        match key {
            Key::Enter if self.to_verify().is_some() => {
                let waits = self.is_waiting();
                let steps = if waits {
                    Vec::new()
                } else {
                    self.verify_in_use()
                };
                (stay(selected), steps)
            }
            Key::Enter if self.is_complete() => (self.fit(), Vec::new()),
            Key::Enter | Key::Letter('n') => (self.choice(), Vec::new()),
            Key::Letter('f') if self.to_fit() > 0 => (self.fit(), Vec::new()),
            Key::Letter('d') if !self.is_waiting() => {
                let points = self.points();
                let point = points.get(selected);
                let drop = point.map(|taken| withdraw(taken.number, "dropped in the guide"));
                (stay(selected.saturating_sub(1)), drop.into_iter().collect())
            }
            Key::Up | Key::Down => (stay(moved(selected, key, points)), Vec::new()),
            _ => (stay(selected), Vec::new()),
        }
    }

    /// Whether no further point would help much.
    fn is_complete(&self) -> bool {
        self.to_fit() > 0 && self.knowledge.advise().offer.is_none()
    }

    /// Points at hand that are for a fit.
    pub fn to_fit(&self) -> usize {
        self.history
            .draft()
            .filter(|taken| !taken.is_check())
            .count()
    }

    /// The calibration in use and the points at hand that verify it; `None` where there is neither.
    pub fn to_verify(&self) -> Option<(&Made, Vec<&Taken>)> {
        let checks = self.history.draft().filter(|taken| taken.is_check());
        let checks: Vec<&Taken> = checks.collect();
        let in_use = self.history.active()?;
        (!checks.is_empty() && self.to_fit() == 0).then_some((in_use, checks))
    }

    fn verify_in_use(&self) -> Vec<Step> {
        let Some((in_use, checks)) = self.to_verify() else {
            return Vec::new();
        };
        let verify = |taken: &&Taken| {
            let by = &in_use.calibration;
            Some(Step::Verified {
                calibration: in_use.step,
                verification: self.knowledge.verify(by, taken.number, &taken.point)?,
            })
        };
        checks.iter().filter_map(verify).collect()
    }

    /// The choice of a reference, at the one that would help most.
    fn choice(&self) -> Screen {
        let selected = self.knowledge.advise().offer.unwrap_or(0);
        Screen::Choose { selected }
    }

    fn on_choice(&mut self, selected: usize, key: Key) -> Screen {
        let offers = self.knowledge.offers();
        match (key, offers.get(selected)) {
            (Key::Enter, Some(offer)) => {
                let form = Form::new(selected, &offer.questions);
                if offer.questions.is_empty() {
                    self.prepare(form)
                } else {
                    Screen::Details(form)
                }
            }
            (Key::Back, _) => Screen::Overview { selected: 0 },
            _ => Screen::Choose {
                selected: moved(selected, key, offers.len()),
            },
        }
    }

    fn on_details(&mut self, mut form: Form, key: Key) -> Screen {
        match key {
            Key::Back => {
                return Screen::Choose {
                    selected: form.offer,
                };
            }
            Key::Enter if form.is_at_end() => return self.prepare(form),
            Key::Enter | Key::Down => form.go(true),
            Key::Up => form.go(false),
            Key::Erase => form.erase(),
            Key::Letter(letter) => form.type_in(letter),
        }
        Screen::Details(form)
    }

    fn prepare(&self, mut form: Form) -> Screen {
        match self.knowledge.compare(form.offer, &form.answers) {
            Ok(compared) => {
                let is_check = self.knowledge.advise().is_check;
                Screen::HowTo(Prepared {
                    offer: form.offer,
                    answers: form.answers,
                    compared,
                    role: if is_check { Role::Check } else { Role::Fit },
                })
            }
            Err(complaint) => {
                form.complain(complaint);
                Screen::Details(form)
            }
        }
    }

    fn on_live(&mut self, mut live: Box<Live>, key: Key) -> Screen {
        match key {
            Key::Back => return Screen::HowTo(live.prepared),
            Key::Letter('r') => live.restart(),
            Key::Letter('c') => live.capture_now(&self.knowledge),
            _ => {}
        }
        Screen::Live(live)
    }

    fn on_read_off(&mut self, mut read_off: Box<ReadOff>, key: Key) -> (Screen, Vec<Step>) {
        let form = &mut read_off.form;
        match key {
            Key::Back => return (watch(read_off.prepared), Vec::new()),
            Key::Enter => return self.was_read_off(read_off),
            Key::Down => form.go(true),
            Key::Up => form.go(false),
            Key::Erase => form.erase(),
            Key::Letter(letter) => form.type_in(letter),
        }
        (Screen::ReadOff(read_off), Vec::new())
    }

    fn was_read_off(&mut self, mut read_off: Box<ReadOff>) -> (Screen, Vec<Step>) {
        let form = &mut read_off.form;
        match self.knowledge.compare(form.offer, &form.answers) {
            Err(complaint) => {
                form.complain(complaint);
                (Screen::ReadOff(read_off), Vec::new())
            }
            Ok(compared) => {
                let prepared = Prepared {
                    answers: read_off.form.answers,
                    compared,
                    ..read_off.prepared
                };
                let steps = self.captured(prepared, read_off.captured, read_off.drift);
                (std::mem::replace(&mut self.screen, Screen::Over), steps)
            }
        }
    }

    fn on_doubtful(&mut self, doubtful: Box<Doubtful>, key: Key) -> (Screen, Vec<Step>) {
        match key {
            Key::Letter('t') => {
                let steps = self.keep(doubtful.prepared, doubtful.captured, doubtful.drift);
                let shown = std::mem::replace(&mut self.screen, Screen::Over);
                (shown, steps)
            }
            Key::Enter | Key::Letter('a') => (watch(doubtful.prepared), Vec::new()),
            Key::Back | Key::Letter('d') => (Screen::Overview { selected: 0 }, Vec::new()),
            _ => (Screen::Doubtful(doubtful), Vec::new()),
        }
    }

    fn on_taken(&mut self, taken: Box<TakenPoint>, key: Key) -> (Screen, Vec<Step>) {
        if self.is_waiting() {
            return (Screen::Taken(taken), Vec::new());
        }
        let drop = |why| taken.number.map(|number| withdraw(number, why));
        match key {
            // It is not in the log: nothing goes on before it is.
            Key::Enter | Key::Back if taken.number.is_none() => {
                let steps = vec![taken.step()];
                (Screen::Taken(taken), steps)
            }
            Key::Enter | Key::Back => (Screen::Overview { selected: 0 }, Vec::new()),
            Key::Letter('a') => {
                let steps = drop("made again").into_iter().collect();
                (watch(taken.prepared), steps)
            }
            Key::Letter('d') => {
                let steps = drop("dropped in the guide").into_iter().collect();
                (Screen::Overview { selected: 0 }, steps)
            }
            _ => (Screen::Taken(taken), Vec::new()),
        }
    }

    fn on_finished(&mut self, mut finished: Box<Finished>, key: Key) -> (Screen, Vec<Step>) {
        if self.is_waiting() {
            return (Screen::Finished(finished), Vec::new());
        }
        match (key, finished.number) {
            (Key::Enter, None) => {
                finished.is_active = false;
                let steps = vec![made(&finished)];
                (Screen::Finished(finished), steps)
            }
            (Key::Enter | Key::Letter('u'), Some(number)) if !finished.is_active => {
                let steps = vec![Step::Activated {
                    calibration: Some(number),
                    why: "made in the guide".to_owned(),
                }];
                (Screen::Finished(finished), steps)
            }
            (Key::Enter | Key::Back, _) => (Screen::Overview { selected: 0 }, Vec::new()),
            _ => (Screen::Finished(finished), Vec::new()),
        }
    }
}

fn on_how_to(mut prepared: Prepared, key: Key) -> Screen {
    match key {
        Key::Enter => watch(prepared),
        Key::Back => Screen::Choose {
            selected: prepared.offer,
        },
        Key::Letter('k') => {
            prepared.role = match prepared.role {
                Role::Fit => Role::Check,
                Role::Check => Role::Fit,
            };
            Screen::HowTo(prepared)
        }
        _ => Screen::HowTo(prepared),
    }
}

fn on_fit(fitting: Box<Fitting>, key: Key) -> (Screen, Vec<Step>) {
    match (key, &fitting.result) {
        (Key::Enter, Ok(calibration)) => {
            let finished = Finished {
                calibration: calibration.clone(),
                number: None,
                verifications: fitting.verifications.clone(),
                is_active: false,
            };
            let steps = vec![made(&finished)];
            (Screen::Finished(Box::new(finished)), steps)
        }
        (Key::Enter | Key::Back, _) => (Screen::Overview { selected: 0 }, Vec::new()),
        _ => (Screen::Fit(fitting), Vec::new()),
    }
}

fn watch(prepared: Prepared) -> Screen {
    Screen::Live(Box::new(Live::new(prepared)))
}

fn made(finished: &Finished) -> Step {
    Step::Made {
        calibration: Box::new(finished.calibration.clone()),
    }
}

fn withdraw(point: u64, why: &str) -> Step {
    Step::Withdrawn {
        point,
        why: why.to_owned(),
    }
}

fn moved(selected: usize, key: Key, count: usize) -> usize {
    match key {
        Key::Up => selected.saturating_sub(1),
        Key::Down if selected + 1 < count => selected + 1,
        _ => selected,
    }
}
