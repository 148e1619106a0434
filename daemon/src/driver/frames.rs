//! What crosses between the service and the child process that runs a loaded driver.
//!
//! A frame is its length (4 bytes, little-endian) and as many bytes. The service asks, the child
//! answers, so at most one frame is under way. Numbers cross as their bits. Whoever decodes trusts
//! nothing: lengths are bounded by the bytes that are there before anything is set aside for them.
//! Nothing here knows processes or libraries.

mod call;
mod declaration;
mod greeting;
#[cfg(test)]
mod tests;

pub(super) use call::{Answer, Call, Numbers, What};
pub(super) use declaration::{Declaration, encode as encode_declaration};
pub(super) use greeting::{Hello, Start};

use std::io::{self, Read, Write};

/// Stands in the first frame of either side.
pub(super) const VERSION: u32 = 1;
/// Longest frame, bytes without its length: three arrays of [`BATCH`] numbers, and parameters.
pub(super) const LARGEST: usize = 1 << 20;
/// Most inputs in one call; longer batches go in several.
pub(super) const BATCH: usize = 8192;
/// Bytes of the length.
const HEAD: usize = 4;
/// A frame's room grows to no more than this until its length is known.
const FIRST_ROOM: usize = 4096;

/// Bytes that are no frame of this protocol.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("bytes that are no answer")]
pub(super) struct Malformed;

impl From<Malformed> for io::Error {
    fn from(error: Malformed) -> Self {
        Self::new(io::ErrorKind::InvalidData, error)
    }
}

/// A frame under construction; its room is used again for the next one.
#[derive(Debug, Default)]
pub(super) struct Frame(Vec<u8>);

impl Frame {
    /// Empties it.
    pub(super) fn begin(&mut self) -> &mut Self {
        self.0.clear();
        self.0.extend_from_slice(&[0; HEAD]);
        self
    }

    pub(super) fn byte(&mut self, byte: u8) -> &mut Self {
        self.0.push(byte);
        self
    }

    pub(super) fn count(&mut self, count: u32) -> &mut Self {
        self.0.extend_from_slice(&count.to_le_bytes());
        self
    }

    /// Its count first. What no count can hold makes a frame that [`Frame::send`] refuses.
    pub(super) fn length(&mut self, length: usize) -> &mut Self {
        self.count(u32::try_from(length).unwrap_or(u32::MAX))
    }

    pub(super) fn text(&mut self, text: &str) -> &mut Self {
        self.length(text.len());
        self.0.extend_from_slice(text.as_bytes());
        self
    }

    pub(super) fn number(&mut self, number: f64) -> &mut Self {
        self.0.extend_from_slice(&number.to_bits().to_le_bytes());
        self
    }

    /// As many numbers, without a count.
    pub(super) fn bare_numbers(&mut self, numbers: &[f64]) -> &mut Self {
        for number in numbers {
            self.number(*number);
        }
        self
    }

    pub(super) fn numbers(&mut self, numbers: &[f64]) -> &mut Self {
        self.length(numbers.len()).bare_numbers(numbers)
    }

    /// The bytes after the length.
    #[cfg(test)]
    pub(super) fn body(&self) -> &[u8] {
        self.0.get(HEAD..).unwrap_or_default()
    }

    /// Writes it.
    ///
    /// # Errors
    /// `InvalidInput` where it is too long, else what the stream says.
    pub(super) fn send(&mut self, stream: &mut impl Write) -> io::Result<()> {
        let length = self.0.len().saturating_sub(HEAD);
        if length > LARGEST {
            return Err(io::ErrorKind::InvalidInput.into());
        }
        let length = u32::try_from(length).unwrap_or(u32::MAX).to_le_bytes();
        if let Some(head) = self.0.first_chunk_mut() {
            *head = length;
        }
        stream.write_all(&self.0)
    }
}

/// Reads one frame into `room`, which grows where it must; gives the bytes after its length.
/// `go_on` is asked before each read but the first.
///
/// # Errors
/// `UnexpectedEof` at the end of the stream, `InvalidData` where more than one frame comes or its
/// length is out of bounds, what `go_on` says, else what the stream says.
pub(super) fn receive<'r>(
    stream: &mut impl Read,
    room: &'r mut Vec<u8>,
    mut go_on: impl FnMut() -> io::Result<()>,
) -> io::Result<&'r [u8]> {
    let mut filled = 0;
    loop {
        let whole = length(room.get(..filled).unwrap_or_default())?;
        if whole == Some(filled) {
            break;
        }
        if filled > 0 {
            go_on()?;
        }
        let wanted = whole.unwrap_or(FIRST_ROOM).max(FIRST_ROOM);
        if room.len() < wanted {
            room.resize(wanted, 0);
        }
        filled += some(stream, room.get_mut(filled..).unwrap_or_default())?;
    }
    Ok(room.get(HEAD..filled).unwrap_or_default())
}

/// Bytes of the whole frame that begins so, its length included; `None` where that is not known yet.
fn length(begun: &[u8]) -> io::Result<Option<usize>> {
    let Some(head) = begun.first_chunk::<HEAD>() else {
        return Ok(None);
    };
    let body = u32::from_le_bytes(*head) as usize;
    if body > LARGEST || begun.len() > body + HEAD {
        return Err(Malformed.into());
    }
    Ok(Some(body + HEAD))
}

fn some(stream: &mut impl Read, room: &mut [u8]) -> io::Result<usize> {
    loop {
        match stream.read(room) {
            Ok(0) => return Err(io::ErrorKind::UnexpectedEof.into()),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            other => return other,
        }
    }
}

/// Takes a frame apart from its beginning.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self(bytes)
    }

    fn take(&mut self, count: usize) -> Result<&'a [u8], Malformed> {
        let (taken, rest) = self.0.split_at_checked(count).ok_or(Malformed)?;
        self.0 = rest;
        Ok(taken)
    }

    fn chunk<const N: usize>(&mut self) -> Result<[u8; N], Malformed> {
        let (taken, rest) = self.0.split_first_chunk::<N>().ok_or(Malformed)?;
        self.0 = rest;
        Ok(*taken)
    }

    pub(super) fn byte(&mut self) -> Result<u8, Malformed> {
        self.chunk::<1>().map(|[byte]| byte)
    }

    pub(super) fn flag(&mut self) -> Result<bool, Malformed> {
        match self.byte()? {
            0 => Ok(false),
            1 => Ok(true),
            _ => Err(Malformed),
        }
    }

    pub(super) fn count(&mut self) -> Result<u32, Malformed> {
        self.chunk().map(u32::from_le_bytes)
    }

    /// A count of things that take at least `least` bytes each.
    pub(super) fn length(&mut self, least: usize) -> Result<usize, Malformed> {
        let length = self.count()? as usize;
        let fits = length.checked_mul(least).ok_or(Malformed)? <= self.0.len();
        if fits { Ok(length) } else { Err(Malformed) }
    }

    pub(super) fn text(&mut self) -> Result<&'a str, Malformed> {
        let length = self.length(1)?;
        std::str::from_utf8(self.take(length)?).map_err(|_| Malformed)
    }

    pub(super) fn number(&mut self) -> Result<f64, Malformed> {
        self.chunk()
            .map(|bits| f64::from_bits(u64::from_le_bytes(bits)))
    }

    pub(super) fn numbers(&mut self) -> Result<Numbers<'a>, Malformed> {
        let length = self.length(size_of::<f64>())?;
        self.take(length * size_of::<f64>()).map(Numbers::new)
    }

    /// What is left, all of it.
    pub(super) fn rest(self) -> &'a [u8] {
        self.0
    }

    pub(super) fn end(self) -> Result<(), Malformed> {
        if self.0.is_empty() {
            Ok(())
        } else {
            Err(Malformed)
        }
    }
}
