//! The first frame of either side: what the child is to be, and what became of it.

use super::{Bytes, Frame, Malformed, VERSION};

/// What the service says first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::driver) struct Start {
    /// Memory that the driver may take, bytes beyond what the program itself has.
    pub(in crate::driver) memory: u64,
}

impl Start {
    pub(in crate::driver) fn encode(self, frame: &mut Frame) {
        let [low, high] = [self.memory as u32, (self.memory >> 32) as u32];
        frame.begin().count(VERSION).count(low).count(high);
    }

    pub(in crate::driver) fn decode(frame: &[u8]) -> Result<Self, Malformed> {
        let mut bytes = Bytes::new(frame);
        version(&mut bytes)?;
        let (low, high) = (bytes.count()?, bytes.count()?);
        let memory = u64::from(high) << 32 | u64::from(low);
        bytes.end().map(|()| Self { memory })
    }
}

/// What the child answers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::driver) struct Hello<'a> {
    /// What the kernel does not have to keep the driver in, in words.
    pub(in crate::driver) missing: Vec<&'a str>,
    /// The declaration in bytes, or why there is no driver.
    pub(in crate::driver) outcome: Result<&'a [u8], &'a str>,
}

/// More than the child could miss.
const MOST_MISSING: usize = 16;

impl<'a> Hello<'a> {
    /// Begins a hello; what follows is [`Hello::refuse`], or a declaration.
    pub(in crate::driver) fn begin(frame: &mut Frame, missing: &[String]) {
        frame.begin().count(VERSION).length(missing.len());
        missing.iter().for_each(|one| {
            frame.text(one);
        });
    }

    /// Ends it with the reason why there is no driver.
    pub(in crate::driver) fn refuse(frame: &mut Frame, why: &str) {
        frame.byte(0).text(why);
    }

    pub(in crate::driver) fn decode(frame: &'a [u8]) -> Result<Self, Malformed> {
        let mut bytes = Bytes::new(frame);
        version(&mut bytes)?;
        let count = bytes.length(size_of::<u32>())?;
        if count > MOST_MISSING {
            return Err(Malformed);
        }
        let missing = (0..count).map(|_| bytes.text()).collect::<Result<_, _>>()?;
        let outcome = if bytes.flag()? {
            Ok(bytes.rest())
        } else {
            let why = bytes.text()?;
            bytes.end()?;
            Err(why)
        };
        Ok(Self { missing, outcome })
    }
}

fn version(bytes: &mut Bytes<'_>) -> Result<(), Malformed> {
    if bytes.count()? == VERSION {
        Ok(())
    } else {
        Err(Malformed)
    }
}
