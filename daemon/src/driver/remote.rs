//! The service's side of a loaded driver: an engine whose answers come from a child process.
//!
//! A call waits for the child no longer than the deadline. Where there is no good answer the child
//! is killed, and from then on every call is refused at once until another child is ready: starting
//! one is done by a thread of its own. One probe has one child, so that what one probe's parameters
//! do to a driver is no other's business.

mod channel;
mod child;
mod printed;
mod supervise;
mod words;

use super::engine::{Bound, Engine, Failure};
use super::frames::{Answer, BATCH, Call, Malformed, What};
use super::library::Library;
use super::notes::Teller;
use channel::{Channel, Trouble};
use nightbench_driver::Status;
use nightbench_driver::host::Binding;
use std::fmt;
use std::path::PathBuf;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

pub(super) use words::Doing;

/// What a child is to run, and how.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    /// Who tells of it.
    pub(super) teller: Arc<Teller>,
    /// The library.
    pub(super) library: Arc<Library>,
    /// How long an answer may take.
    pub(super) deadline: Duration,
    /// How much memory the driver may take, bytes.
    pub(super) memory: u64,
    /// The program that has the verb `driver-host`.
    pub(super) program: PathBuf,
}

/// What a child said when it was ready.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Greeting {
    /// What the kernel does not have to keep the driver in.
    pub(super) missing: Vec<String>,
    /// The declaration, in bytes.
    pub(super) declaration: Vec<u8>,
}

/// A driver in a child process.
pub(super) struct Remote(Arc<Shared>);

/// What the callers and the thread that looks after the child have in common.
struct Shared {
    plan: Plan,
    state: Mutex<State>,
    /// Told at each change of the state.
    changed: Condvar,
}

/// How it stands with the child.
enum State {
    /// The first one is being started.
    Starting,
    /// It answers.
    Ready(Channel, Arc<Greeting>),
    /// It gave no good answer, and is being killed.
    Failed(Doing, Trouble, Arc<str>),
    /// There is none; the text says why.
    Down(Arc<str>),
    /// Nobody needs it any more.
    Stopped,
}

impl Remote {
    /// Starts a child, and gives it when it is ready.
    ///
    /// # Errors
    /// Why it does not run, in words for a person: what follows the library's name.
    pub(super) fn start(plan: Plan) -> Result<(Self, Arc<Greeting>), Arc<str>> {
        let shared = Arc::new(Shared {
            plan,
            state: Mutex::new(State::Starting),
            changed: Condvar::new(),
        });
        let remote = Self(Arc::clone(&shared));
        supervise::spawn(shared).map_err(|error| Arc::from(crate::words::system(&error)))?;
        let state = remote.0.lock();
        let waiting = |state: &mut State| matches!(state, State::Starting);
        // Its start has a deadline of its own.
        let state = remote.0.changed.wait_while(state, waiting);
        let state = state.unwrap_or_else(PoisonError::into_inner);
        let greeting = match &*state {
            State::Ready(_, greeting) => Ok(Arc::clone(greeting)),
            State::Down(why) | State::Failed(_, _, why) => Err(Arc::clone(why)),
            State::Starting | State::Stopped => Err(Arc::from("it was stopped")),
        };
        drop(state);
        greeting.map(|greeting| (remote, greeting))
    }

    /// Asks the child, where there is one, and takes its answer.
    fn ask<T>(
        &self,
        what: What,
        inputs: usize,
        fill: impl FnOnce(&mut super::frames::Frame),
        take: impl FnOnce(Answer<'_>) -> Result<T, Malformed>,
    ) -> Result<T, Failure> {
        let mut state = self.0.lock();
        let channel = match &mut *state {
            State::Ready(channel, _) => channel,
            State::Failed(_, _, why) | State::Down(why) => {
                return Err(Failure::Host(Arc::clone(why)));
            }
            State::Starting | State::Stopped => {
                return Err(Failure::Host(Arc::from("it was stopped")));
            }
        };
        match channel.exchange(self.0.plan.deadline, fill, take) {
            Ok(Ok(taken)) => Ok(taken),
            Ok(Err(status)) => Err(Failure::Status(status)),
            Err(trouble) => {
                channel.kill();
                let doing = Doing::Answering(what, inputs);
                let why: Arc<str> = trouble.words(&doing, self.0.plan.deadline).into();
                *state = State::Failed(doing, trouble, Arc::clone(&why));
                self.0.changed.notify_all();
                Err(Failure::Host(why))
            }
        }
    }

    /// An answer with one number per input, in batches that fit into a frame.
    fn numbers(
        &self,
        (what, numbered): (What, (&[f64], usize)),
        bound: Bound<'_>,
        inputs: &[f64],
        results: &mut [f64],
    ) -> Result<(), Failure> {
        let (nodes, number) = numbered;
        let number = u32::try_from(number).unwrap_or(u32::MAX);
        // No inputs are a call, too: only who examines a driver makes it.
        let whole = if inputs.is_empty() { 1 } else { 0 };
        let none = (&[][..], &mut [][..]);
        let batches = inputs.chunks(BATCH).zip(results.chunks_mut(BATCH));
        for (inputs, results) in std::iter::once(none).take(whole).chain(batches) {
            self.ask(
                what,
                inputs.len(),
                |frame| {
                    Call::begin(frame, (what, number), bound.binding.values(), bound.changes);
                    Call::end(frame, nodes, inputs, &[]);
                },
                |answer| answer.numbers.copy_to(results),
            )?;
        }
        Ok(())
    }
}

impl Engine for Remote {
    fn evaluate(
        &self,
        bound: Bound<'_>,
        inputs: &[f64],
        values: &mut [f64],
    ) -> Result<(), Failure> {
        let what = match bound.output {
            0 => What::Evaluate,
            _ => What::Output,
        };
        self.numbers((what, (&[], bound.output)), bound, inputs, values)
    }

    fn slope(&self, bound: Bound<'_>, inputs: &[f64], slopes: &mut [f64]) -> Result<(), Failure> {
        self.numbers((What::Slope, (&[], 0)), bound, inputs, slopes)
    }

    fn both(
        &self,
        bound: Bound<'_>,
        inputs: &[f64],
        values: &mut [f64],
        slopes: &mut [f64],
    ) -> Result<(), Failure> {
        let results = values.chunks_mut(BATCH).zip(slopes.chunks_mut(BATCH));
        for (inputs, (values, slopes)) in inputs.chunks(BATCH).zip(results) {
            self.ask(
                What::Both,
                inputs.len(),
                |frame| {
                    Call::begin(
                        frame,
                        (What::Both, 0),
                        bound.binding.values(),
                        bound.changes,
                    );
                    Call::end(frame, &[], inputs, &[]);
                },
                |answer| {
                    let (first, second) = answer.numbers.split(inputs.len())?;
                    first.copy_to(values)?;
                    second.copy_to(slopes)
                },
            )?;
        }
        Ok(())
    }

    fn range(&self, binding: &Binding) -> Result<(f64, f64), Failure> {
        let mut range = [f64::NAN; 2];
        self.ask(
            What::Range,
            0,
            |frame| {
                Call::begin(frame, (What::Range, 0), binding.values(), &[]);
                Call::end(frame, &[], &[], &[]);
            },
            |answer| answer.numbers.copy_to(&mut range),
        )?;
        let [low, high] = range;
        Ok((low, high))
    }

    fn check(&self, binding: &Binding) -> Result<Option<String>, Failure> {
        let mut wrong = String::new();
        let asked = self.ask(
            What::Check,
            0,
            |frame| {
                Call::begin(frame, (What::Check, 0), binding.values(), &[]);
                Call::end(frame, &[], &[], &[]);
            },
            |answer| {
                super::vet::shown_line(answer.text).clone_into(&mut wrong);
                Ok(())
            },
        );
        match asked {
            Err(Failure::Status(code))
                if code == Status::PARAMETERS.code() && !wrong.is_empty() =>
            {
                Ok(Some(wrong))
            }
            other => other.map(|()| None),
        }
    }

    fn guess(
        &self,
        binding: &Binding,
        inputs: &[f64],
        values: &[f64],
    ) -> Result<Vec<Vec<f64>>, Failure> {
        let mut start: Vec<Vec<f64>> = binding.values().iter().map(|one| one.to_vec()).collect();
        self.ask(
            What::Guess,
            inputs.len(),
            |frame| {
                Call::begin(frame, (What::Guess, 0), binding.values(), &[]);
                Call::end(frame, &[], inputs, values);
            },
            |answer| {
                if answer.numbers.len() != start.len() {
                    return Err(Malformed);
                }
                let numbers = start.iter_mut().zip(answer.numbers.iter());
                // A list stays as it is: it holds none, or several; so does one of a single number,
                // for which the driver's side sends that number back.
                numbers
                    .filter(|(list, _)| list.len() == 1)
                    .for_each(|(list, number)| list[0] = number);
                Ok(())
            },
        )?;
        Ok(start)
    }

    fn misfit(
        &self,
        binding: &Binding,
        fitted: (&[f64], usize),
        inputs: &[f64],
        misfits: &mut [f64],
    ) -> Result<(), Failure> {
        self.numbers((What::Misfit, fitted), binding.into(), inputs, misfits)
    }
}

impl Drop for Remote {
    fn drop(&mut self) {
        let mut state = self.0.lock();
        if let State::Ready(channel, _) = &*state {
            channel.kill();
        }
        *state = State::Stopped;
        self.0.changed.notify_all();
    }
}

impl fmt::Debug for Remote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0.plan.teller.driver())
    }
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
