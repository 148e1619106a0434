//! Cuts a stream of bytes into lines, whatever the stream is made of.
//!
//! A serial line gives anything: half a line after opening, NULs after a reset, kilobytes without
//! an end at the wrong baud rate. The splitter holds one line's bytes at most, never fails and
//! never stops. It does not look into a line: that is the decoder's.

use crate::source::{Discard, MAX_LINE};

/// Bytes thrown away without meeting a newline are told in portions of this size, so that a stream
/// that never ends a line (a wrong baud rate) is noticed while it lasts: about six seconds at
/// 115200 baud.
pub const DISCARD_PORTION: u64 = 16 * MAX_LINE as u64;

/// What the splitter found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Piece<'a> {
    /// One line without its end, and without carriage returns and NULs at either end of it. May be
    /// empty; never longer than [`MAX_LINE`].
    Line(&'a [u8]),
    /// Bytes that were thrown away, newline included.
    Discarded {
        /// How many.
        bytes: u64,
        /// Why.
        why: Discard,
    },
}

/// Cuts bytes into lines at each `\n`. The pieces depend on the bytes only, never on how they were
/// cut into chunks.
#[derive(Clone, Debug, Default)]
pub struct LineSplitter {
    /// The begun line; at most [`MAX_LINE`] bytes.
    begun: Vec<u8>,
    /// Set while bytes are thrown away up to the next newline.
    skipping: Option<Skipping>,
}

#[derive(Clone, Copy, Debug)]
struct Skipping {
    why: Discard,
    /// Thrown away, but not yet told.
    bytes: u64,
}

impl LineSplitter {
    /// A splitter at the start of a line, as for a file.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// A splitter somewhere in a line, as for a board that was just opened: what comes before the
    /// first newline is thrown away.
    #[must_use]
    pub fn after_opening() -> Self {
        let mut splitter = Self::new();
        splitter.skip(Discard::AfterOpening, 0);
        splitter
    }

    /// Takes the next bytes and shows every piece that they complete, in order.
    pub fn feed(&mut self, chunk: &[u8], visit: &mut impl FnMut(Piece<'_>)) {
        let mut rest = chunk;
        while let Some(end) = rest.iter().position(|byte| *byte == b'\n') {
            self.end_line(&rest[..end], visit);
            rest = &rest[end + 1..];
        }
        self.keep(rest, visit);
    }

    /// Ends the stream: a last line without a newline is a line (a file's last), and bytes thrown
    /// away are told. Afterwards the splitter is as new.
    pub fn finish(&mut self, visit: &mut impl FnMut(Piece<'_>)) {
        if let Some(Skipping { why, bytes }) = self.skipping.take()
            && bytes > 0
        {
            visit(Piece::Discarded { bytes, why });
        }
        if !self.begun.is_empty() {
            visit(Piece::Line(trimmed(&self.begun)));
            self.begun.clear();
        }
    }

    fn end_line(&mut self, tail: &[u8], visit: &mut impl FnMut(Piece<'_>)) {
        if self.skipping.is_none() && self.begun.is_empty() && tail.len() <= MAX_LINE {
            visit(Piece::Line(trimmed(tail)));
            return;
        }
        self.keep(tail, visit);
        if let Some(Skipping { why, bytes }) = self.skipping.take() {
            visit(Piece::Discarded {
                bytes: bytes + 1,
                why,
            });
        } else {
            visit(Piece::Line(trimmed(&self.begun)));
            self.begun.clear();
        }
    }

    /// Keeps bytes of a line whose end is not there yet, or throws them away.
    fn keep(&mut self, bytes: &[u8], visit: &mut impl FnMut(Piece<'_>)) {
        if self.skipping.is_none() {
            if self.begun.len() + bytes.len() <= MAX_LINE {
                self.begun.extend_from_slice(bytes);
                return;
            }
            self.skip(Discard::TooLong, self.begun.len() as u64);
            self.begun.clear();
        }
        if let Some(skipping) = &mut self.skipping {
            skipping.add(bytes.len() as u64, visit);
        }
    }

    fn skip(&mut self, why: Discard, bytes: u64) {
        self.skipping = Some(Skipping { why, bytes });
    }
}

impl Skipping {
    fn add(&mut self, bytes: u64, visit: &mut impl FnMut(Piece<'_>)) {
        self.bytes += bytes;
        while self.bytes >= DISCARD_PORTION {
            self.bytes -= DISCARD_PORTION;
            visit(Piece::Discarded {
                bytes: DISCARD_PORTION,
                why: self.why,
            });
        }
    }
}

/// Boards end lines with `\r\n`, some with `\n\r`, and send NULs while they reset.
fn trimmed(line: &[u8]) -> &[u8] {
    let is_noise = |byte: &u8| matches!(byte, b'\r' | b'\0');
    let start = line.iter().take_while(|byte| is_noise(byte)).count();
    let end = line.iter().rev().take_while(|byte| is_noise(byte)).count();
    line.get(start..line.len() - end).unwrap_or_default()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[derive(Clone, Debug, PartialEq)]
    enum Owned {
        Line(Vec<u8>),
        Discarded(u64, Discard),
    }

    fn split(mut splitter: LineSplitter, chunks: &[&[u8]]) -> Vec<Owned> {
        let mut pieces = Vec::new();
        let mut visit = |piece: Piece<'_>| {
            pieces.push(match piece {
                Piece::Line(line) => Owned::Line(line.to_vec()),
                Piece::Discarded { bytes, why } => Owned::Discarded(bytes, why),
            });
        };
        for chunk in chunks {
            splitter.feed(chunk, &mut visit);
        }
        splitter.finish(&mut visit);
        pieces
    }

    fn line(text: &str) -> Owned {
        Owned::Line(text.as_bytes().to_vec())
    }

    #[test]
    fn lines_come_without_their_ends() {
        let pieces = split(LineSplitter::new(), &[b"a0=1\r\n\na0=2\n\ra0=", b"3\nlast"]);
        assert_eq!(
            pieces,
            [
                line("a0=1"),
                line(""),
                line("a0=2"),
                line("a0=3"),
                line("last")
            ]
        );
    }

    #[test]
    fn half_a_line_after_opening_is_thrown_away() {
        let pieces = split(LineSplitter::after_opening(), &[b"12\r\n", b"a0=2\r\n"]);
        let expected = [Owned::Discarded(4, Discard::AfterOpening), line("a0=2")];
        assert_eq!(pieces, expected);
    }

    #[test]
    fn nuls_of_a_reset_are_stripped_but_nuls_inside_are_left_to_the_decoder() {
        let pieces = split(LineSplitter::new(), &[b"\0\0a0=1\0\r\na0\0=1\n\0\n"]);
        assert_eq!(pieces, [line("a0=1"), line("a0\0=1"), line("")]);
    }

    #[test]
    fn the_longest_line_is_kept_and_one_byte_more_is_thrown_away() {
        let longest = [vec![b'x'; MAX_LINE], b"\n".to_vec()].concat();
        let longer = [b"y".to_vec(), longest.clone()].concat();
        let stream = [longest.clone(), longer, b"a0=1\n".to_vec()].concat();
        let expected = [
            Owned::Line(vec![b'x'; MAX_LINE]),
            Owned::Discarded(MAX_LINE as u64 + 2, Discard::TooLong),
            line("a0=1"),
        ];
        assert_eq!(split(LineSplitter::new(), &[&stream]), expected);
    }

    #[test]
    fn a_stream_without_newlines_is_told_in_portions_and_takes_no_memory() {
        let mut splitter = LineSplitter::new();
        let mut told = 0;
        for _ in 0..1000 {
            splitter.feed(&[0xff; 1000], &mut |piece| match piece {
                Piece::Discarded { bytes, .. } => told += bytes,
                Piece::Line(_) => panic!("no line was sent"),
            });
        }
        assert_eq!(told, 1_000_000 / DISCARD_PORTION * DISCARD_PORTION);
        assert!(splitter.begun.capacity() <= 2 * MAX_LINE);
    }

    fn noise() -> impl Strategy<Value = Vec<u8>> {
        prop_oneof![
            proptest::collection::vec(any::<u8>(), 0..300),
            (any::<u8>(), 0..3 * MAX_LINE).prop_map(|(byte, n)| vec![byte; n]),
            Just(b"\r\n".to_vec()),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn any_chunking_gives_the_same_pieces(
            parts in proptest::collection::vec(noise(), 0..8),
            cuts in proptest::collection::vec(1..5000_usize, 1..20),
            opening in any::<bool>(),
        ) {
            let stream = parts.concat();
            let fresh = || if opening { LineSplitter::after_opening() } else { LineSplitter::new() };
            let mut chunks = Vec::new();
            let mut rest = stream.as_slice();
            for cut in cuts.iter().cycle() {
                let (chunk, after) = rest.split_at((*cut).min(rest.len()));
                chunks.push(chunk);
                rest = after;
                if rest.is_empty() { break }
            }
            prop_assert_eq!(split(fresh(), &chunks), split(fresh(), &[&stream]));
        }

        #[test]
        fn good_lines_in_garbage_come_out(
            parts in proptest::collection::vec((noise(), "[a-z0-9=. ]{1,60}"), 1..8),
        ) {
            let stream: Vec<u8> = parts
                .iter()
                .flat_map(|(noise, good)| [noise, &b"\n"[..], good.as_bytes(), b"\n"].concat())
                .collect();
            let pieces = split(LineSplitter::new(), &[&stream]);
            let mut from = pieces.iter();
            for (_, good) in &parts {
                prop_assert!(from.any(|piece| *piece == line(good)), "`{}` is lost", good);
            }
        }

        #[test]
        fn every_byte_is_a_line_or_counted(noise in noise()) {
            let stream: Vec<u8> = noise.into_iter().filter(|b| !matches!(b, b'\r' | b'\0')).collect();
            let ends = stream.iter().filter(|byte| **byte == b'\n').count() as u64;
            let (mut bytes, mut pieces) = (0, 0);
            for piece in split(LineSplitter::new(), &[&stream]) {
                match piece {
                    Owned::Line(line) => { bytes += line.len() as u64; pieces += 1 }
                    Owned::Discarded(n, _) => bytes += n,
                }
            }
            let all = stream.len() as u64;
            prop_assert!(bytes <= all && bytes + ends.min(pieces) >= all);
        }
    }
}
