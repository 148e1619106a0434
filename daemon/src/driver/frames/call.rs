//! A call of a driver's function, and its answer.
//!
//! Every call carries the parameters, so the child keeps no state that a restart would have to bring
//! back. Every call and every answer has the same parts, those that it does not need being empty.

use super::{Bytes, Frame, Malformed};

/// What is asked of a driver.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub(in crate::driver) enum What {
    /// Values of inputs.
    Evaluate = 0,
    /// Slopes at inputs.
    Slope = 1,
    /// Values, then slopes.
    Both = 2,
    /// Lowest and highest input.
    Range = 3,
    /// Whether the parameters go together.
    Check = 4,
    /// Where a fit starts: one number per parameter.
    Guess = 5,
    /// Misfits at inputs.
    Misfit = 6,
    /// Values of an output after the first.
    Output = 7,
}

impl What {
    const ALL: [Self; 8] = [
        Self::Evaluate,
        Self::Slope,
        Self::Both,
        Self::Range,
        Self::Check,
        Self::Guess,
        Self::Misfit,
        Self::Output,
    ];

    fn from_code(code: u8) -> Result<Self, Malformed> {
        Self::ALL.get(usize::from(code)).copied().ok_or(Malformed)
    }
}

/// Numbers as they lie in a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::driver) struct Numbers<'a>(&'a [u8]);

impl<'a> Numbers<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self(bytes)
    }

    /// How many there are.
    pub(in crate::driver) fn len(self) -> usize {
        self.0.len() / size_of::<f64>()
    }

    /// Them, one by one.
    pub(in crate::driver) fn iter(self) -> impl ExactSizeIterator<Item = f64> + 'a {
        let (eights, _) = self.0.as_chunks();
        eights
            .iter()
            .map(|bits| f64::from_bits(u64::from_le_bytes(*bits)))
    }

    /// Them in a room of the same length, where it is.
    pub(in crate::driver) fn copy_to(self, room: &mut [f64]) -> Result<(), Malformed> {
        if self.len() != room.len() {
            return Err(Malformed);
        }
        room.iter_mut()
            .zip(self.iter())
            .for_each(|(place, number)| *place = number);
        Ok(())
    }

    /// The first so many, and the rest.
    pub(in crate::driver) fn split(self, at: usize) -> Result<(Self, Self), Malformed> {
        let at = at.checked_mul(size_of::<f64>()).ok_or(Malformed)?;
        let (first, rest) = self.0.split_at_checked(at).ok_or(Malformed)?;
        Ok((Self(first), Self(rest)))
    }
}

/// A call as the child reads it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::driver) struct Call<'a> {
    /// What is asked.
    pub(in crate::driver) what: What,
    /// Fitted parameters, for a misfit; which one, for an output.
    pub(in crate::driver) number: u32,
    /// The parameters as they lie in the frame; see [`Call::lists`].
    pub(in crate::driver) parameters: &'a [u8],
    /// Inputs of the fitted points, for a misfit.
    pub(in crate::driver) nodes: Numbers<'a>,
    /// Inputs.
    pub(in crate::driver) inputs: Numbers<'a>,
    /// Values of the points, for a guess.
    pub(in crate::driver) values: Numbers<'a>,
}

impl<'a> Call<'a> {
    /// Begins a call with its parameters, some of them changed.
    pub(in crate::driver) fn begin(
        frame: &mut Frame,
        (what, number): (What, u32),
        parameters: &[Box<[f64]>],
        changes: &[(usize, f64)],
    ) {
        frame
            .begin()
            .byte(what as u8)
            .count(number)
            .length(parameters.len());
        for (index, own) in parameters.iter().enumerate() {
            // The last of several changes counts, as it does in process.
            let change = changes.iter().rev().find(|(at, _)| *at == index);
            match change {
                Some((_, number)) => frame.numbers(&[*number]),
                None => frame.numbers(own),
            };
        }
    }

    /// Ends it with its arrays.
    pub(in crate::driver) fn end(frame: &mut Frame, nodes: &[f64], inputs: &[f64], values: &[f64]) {
        frame.numbers(nodes).numbers(inputs).numbers(values);
    }

    /// A call of a frame.
    pub(in crate::driver) fn decode(frame: &'a [u8]) -> Result<Self, Malformed> {
        let mut bytes = Bytes::new(frame);
        let (what, number) = (What::from_code(bytes.byte()?)?, bytes.count()?);
        let before = bytes.rest();
        for _ in 0..bytes.length(size_of::<u32>())? {
            bytes.numbers()?;
        }
        let taken = before.len() - bytes.rest().len();
        let call = Self {
            what,
            number,
            parameters: before.get(..taken).ok_or(Malformed)?,
            nodes: bytes.numbers()?,
            inputs: bytes.numbers()?,
            values: bytes.numbers()?,
        };
        bytes.end().map(|()| call)
    }

    /// The parameters, one list each.
    pub(in crate::driver) fn lists(&self) -> Result<Vec<Vec<f64>>, Malformed> {
        let mut bytes = Bytes::new(self.parameters);
        let count = bytes.length(size_of::<u32>())?;
        (0..count)
            .map(|_| bytes.numbers().map(|list| list.iter().collect()))
            .collect()
    }
}

/// The answer to a call as the service reads it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::driver) struct Answer<'a> {
    /// The driver's status.
    pub(in crate::driver) status: i32,
    /// What is wrong with the parameters; empty where nothing is.
    pub(in crate::driver) text: &'a str,
    /// What was asked for.
    pub(in crate::driver) numbers: Numbers<'a>,
}

impl<'a> Answer<'a> {
    /// Fills a frame with an answer.
    pub(in crate::driver) fn encode(
        frame: &mut Frame,
        status: i32,
        text: &str,
        arrays: [&[f64]; 2],
    ) {
        frame.begin().count(status.cast_unsigned()).text(text);
        frame.length(arrays.iter().map(|array| array.len()).sum());
        arrays.iter().for_each(|array| {
            frame.bare_numbers(array);
        });
    }

    /// An answer of a frame.
    pub(in crate::driver) fn decode(frame: &'a [u8]) -> Result<Self, Malformed> {
        let mut bytes = Bytes::new(frame);
        let answer = Self {
            status: bytes.count()?.cast_signed(),
            text: bytes.text()?,
            numbers: bytes.numbers()?,
        };
        bytes.end().map(|()| answer)
    }
}
