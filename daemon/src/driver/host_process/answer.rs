//! One call after the other: parameters bound, the driver's function called, its answer in a frame.
//!
//! Rooms are used again, and so are parameters that were sent before: a steady reading allocates
//! nothing here.

use super::End;
use crate::driver::frames::{Answer, BATCH, Call, Frame, Numbers, What};
use nightbench_driver::Status;
use nightbench_driver::host::{Binding, View};

/// Places behind those that a driver is given, to see whether it writes there.
const FENCE: usize = 64;
/// What stands in them: no number that a computation gives (a NaN with a pattern of its own).
const POST: u64 = 0x7ff8_dead_beef_cafe;
/// Parameters that are kept bound; there is one probe to a process, and a fit beside it.
const KEPT: usize = 4;

/// Answers calls.
pub(super) struct Answering {
    view: View,
    kept: Vec<(Vec<u8>, Binding)>,
    inputs: Vec<f64>,
    nodes: Vec<f64>,
    first: Room,
    second: Room,
}

impl Answering {
    pub(super) fn new(view: View) -> Self {
        Self {
            view,
            kept: Vec::new(),
            inputs: Vec::new(),
            nodes: Vec::new(),
            first: Room::default(),
            second: Room::default(),
        }
    }

    /// Fills `frame` with the answer.
    ///
    /// # Errors
    /// How this process is to end: the driver wrote where it must not, or the call is none.
    pub(super) fn answer(&mut self, call: &Call<'_>, frame: &mut Frame) -> Result<(), End> {
        let binding = self.bound(call).ok_or(End::Misused)?;
        let wanted = call.inputs.len();
        if wanted > BATCH {
            return Err(End::Misused);
        }
        copy(call.inputs, &mut self.inputs);
        copy(call.nodes, &mut self.nodes);
        match call.what {
            What::Range => self.range(&binding, frame),
            What::Check => self.check(&binding, frame),
            What::Guess => self.guess(&binding, call.values, frame),
            _ => {
                let second = if call.what == What::Both { wanted } else { 0 };
                let first = self.first.open(wanted);
                let others = self.second.open(second);
                let numbered = (self.nodes.as_slice(), call.number as usize);
                let status = arrays(
                    &self.view,
                    call.what,
                    &binding,
                    numbered,
                    (&self.inputs, first, others),
                );
                let arrays = [self.first.close(wanted)?, self.second.close(second)?];
                Answer::encode(frame, code(status), "", arrays);
                return Ok(());
            }
        }
        Ok(())
    }

    /// The parameters of a call, bound anew only where they were not lately.
    fn bound(&mut self, call: &Call<'_>) -> Option<Binding> {
        if let Some((_, binding)) = self.kept.iter().find(|(bytes, _)| bytes == call.parameters) {
            return Some(binding.clone());
        }
        let lists = call.lists().ok()?;
        if lists.len() != self.view.parameters().len() {
            return None;
        }
        let binding = Binding::new(lists);
        if self.kept.len() >= KEPT {
            self.kept.remove(0);
        }
        self.kept.push((call.parameters.to_vec(), binding.clone()));
        Some(binding)
    }

    fn range(&self, binding: &Binding, frame: &mut Frame) {
        match self.view.range(binding) {
            Ok((low, high)) => Answer::encode(frame, Status::DONE.code(), "", [&[low, high], &[]]),
            Err(status) => Answer::encode(frame, status.code(), "", [&[], &[]]),
        }
    }

    fn check(&self, binding: &Binding, frame: &mut Frame) {
        let (status, text) = match self.view.check(binding) {
            Ok(None) => (Status::DONE, ""),
            Ok(Some(wrong)) => (Status::PARAMETERS, wrong),
            Err(status) => (status, ""),
        };
        Answer::encode(frame, status.code(), text, [&[], &[]]);
    }

    /// One number per parameter: lists stay as they are, and are not sent back.
    fn guess(&self, binding: &Binding, values: Numbers<'_>, frame: &mut Frame) {
        let values: Vec<f64> = values.iter().collect();
        match self.view.guess(binding, &self.inputs, &values) {
            Ok(start) => {
                let first = |list: &Vec<f64>| list.first().copied().unwrap_or(f64::NAN);
                let start: Vec<f64> = start.iter().map(first).collect();
                Answer::encode(frame, Status::DONE.code(), "", [&start, &[]]);
            }
            Err(status) => Answer::encode(frame, status.code(), "", [&[], &[]]),
        }
    }
}

type Arrays<'a> = (&'a [f64], &'a mut [f64], &'a mut [f64]);

fn arrays(
    view: &View,
    what: What,
    binding: &Binding,
    numbered: (&[f64], usize),
    (inputs, first, second): Arrays<'_>,
) -> Result<(), Status> {
    match what {
        What::Slope => view.slope(binding, inputs, first),
        What::Misfit => view.misfit(binding, numbered, inputs, first),
        What::Output => view.evaluate_output((binding, &[]), numbered.1, inputs, first),
        What::Both => {
            view.evaluate(binding, inputs, first)?;
            view.slope(binding, inputs, second)
        }
        _ => view.evaluate(binding, inputs, first),
    }
}

fn code(status: Result<(), Status>) -> i32 {
    status.err().unwrap_or(Status::DONE).code()
}

fn copy(numbers: Numbers<'_>, room: &mut Vec<f64>) {
    room.clear();
    room.extend(numbers.iter());
}

/// Places for numbers, with a fence behind them.
#[derive(Default)]
struct Room(Vec<f64>);

impl Room {
    /// So many places, with nothing in them.
    fn open(&mut self, wanted: usize) -> &mut [f64] {
        self.0.clear();
        self.0.resize(wanted, f64::NAN);
        self.0.resize(wanted + FENCE, f64::from_bits(POST));
        &mut self.0[..wanted]
    }

    /// The numbers, where the fence stands.
    fn close(&self, wanted: usize) -> Result<&[f64], End> {
        let (numbers, fence) = self.0.split_at_checked(wanted).ok_or(End::Overrun)?;
        let stands = fence.iter().all(|post| post.to_bits() == POST);
        if stands {
            Ok(numbers)
        } else {
            Err(End::Overrun)
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn asked(what: What, inputs: &[f64]) -> Vec<u8> {
        let view = View::new(&nightbench_photoresistor::TABLE).unwrap();
        let binding = Binding::named(view.parameters(), &[("r10", &[1e4]), ("gamma", &[0.7])]);
        let mut frame = Frame::default();
        Call::begin(&mut frame, (what, 0), binding.unwrap().values(), &[]);
        Call::end(&mut frame, &[], inputs, &[]);
        frame.body().to_vec()
    }

    #[test]
    fn values_and_slopes_come_in_one_answer_with_the_bits_of_a_plain_call() {
        let view = || View::new(&nightbench_photoresistor::TABLE).unwrap();
        let mut answering = Answering::new(view());
        let bytes = asked(What::Both, &[1e3, 1e4]);
        let call = Call::decode(&bytes).unwrap();
        let mut frame = Frame::default();
        answering.answer(&call, &mut frame).unwrap();
        let answer = Answer::decode(frame.body()).unwrap();
        let (mut values, mut slopes) = ([0.0; 2], [0.0; 2]);
        let binding = Binding::new(call.lists().unwrap());
        view().evaluate(&binding, &[1e3, 1e4], &mut values).unwrap();
        view().slope(&binding, &[1e3, 1e4], &mut slopes).unwrap();
        let all: Vec<f64> = answer.numbers.iter().collect();
        assert_eq!((answer.status, all), (0, [values, slopes].concat()));
    }

    #[test]
    fn parameters_that_were_sent_before_are_not_bound_again() {
        let mut answering = Answering::new(View::new(&nightbench_photoresistor::TABLE).unwrap());
        let bytes = asked(What::Evaluate, &[1e3]);
        let call = Call::decode(&bytes).unwrap();
        for _ in 0..3 {
            answering.answer(&call, &mut Frame::default()).unwrap();
        }
        assert_eq!(answering.kept.len(), 1);
    }

    #[test]
    fn a_place_written_beyond_the_last_one_is_seen() {
        let mut room = Room::default();
        room.open(3);
        assert_eq!(room.close(3).unwrap().len(), 3);
        room.0[3] = 1.0;
        assert_eq!(room.close(3), Err(End::Overrun));
    }
}
