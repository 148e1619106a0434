//! Notices a wrong baud rate: bytes come, but never a readable line.
//!
//! A mismatch is no error to the kernel, only garbage. Pure: time is handed in.

use crate::words::counted;

/// Watches one opening of a port.
#[derive(Clone, Copy, Debug)]
pub struct BaudWatch {
    patience_ns: u64,
    first_byte_ns: Option<u64>,
    bytes: u64,
    line: LineSoFar,
    settled: bool,
}

/// What the bytes since the last newline look like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum LineSoFar {
    Empty,
    Printable,
    Garbage,
}

impl BaudWatch {
    /// A watch that speaks up when this long after the first byte no readable line has come.
    #[must_use]
    pub fn new(patience_ns: u64) -> Self {
        Self {
            patience_ns,
            first_byte_ns: None,
            bytes: 0,
            line: LineSoFar::Empty,
            settled: false,
        }
    }

    /// Takes bytes that were read at `boot_ns`. The half line after opening counts as well: its
    /// end is as readable as a whole one.
    pub fn look(&mut self, bytes: &[u8], boot_ns: u64) {
        if self.settled {
            return;
        }
        self.first_byte_ns.get_or_insert(boot_ns);
        self.bytes += bytes.len() as u64;
        for byte in bytes {
            if *byte == b'\n' && self.line == LineSoFar::Printable {
                self.settled = true;
                return;
            }
            self.line = self.line.then(*byte);
        }
    }

    /// When to [`Self::judge`]; `None` where there is nothing to wait for.
    #[must_use]
    pub fn due_ns(&self) -> Option<u64> {
        let first = self.first_byte_ns.filter(|_| !self.settled)?;
        Some(first.saturating_add(self.patience_ns))
    }

    /// What to tell a person at `boot_ns`: at most once.
    #[must_use]
    pub fn judge(&mut self, boot_ns: u64) -> Option<String> {
        self.due_ns().filter(|due| *due <= boot_ns)?;
        self.settled = true;
        Some(format!(
            "{}, no line: wrong baud rate? compare `baud` with the board's own",
            counted(self.bytes, "byte")
        ))
    }
}

impl LineSoFar {
    fn then(self, byte: u8) -> Self {
        match byte {
            b'\n' => Self::Empty,
            // Line ends, and what a reset leaves on the wire, say nothing either way.
            b'\r' | b'\0' => self,
            b'\t' | b' '..=b'~' if self != Self::Garbage => Self::Printable,
            _ => Self::Garbage,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(chunks: &[&[u8]]) -> Option<String> {
        let mut watch = BaudWatch::new(5);
        for chunk in chunks {
            watch.look(chunk, 100);
        }
        watch.judge(105)
    }

    #[test]
    fn garbage_without_a_readable_line_is_told_with_its_size() {
        let expected = "5 bytes, no line: wrong baud rate? compare `baud` with the board's own";
        for garbage in [
            &b"\xf0\x80\n\xfe~"[..],
            b"a0=51",
            b"\0\r\n\0\n",
            b"a0\x07=1\n",
        ] {
            let told = verdict(&[garbage]);
            let told = told.map(|text| text.replace(&garbage.len().to_string(), "5"));
            assert_eq!(told.as_deref(), Some(expected), "{garbage:?}");
        }
    }

    #[test]
    fn one_readable_line_is_enough_however_it_is_cut() {
        for chunks in [
            &[&b"a0=5\r\n"[..]][..],
            &[b"a0", b"=5", b"\n"],
            &[b"\xff\xff\na0=5\n\xff"],
            &[b"\0\0a0\t5\n"],
        ] {
            assert_eq!(verdict(chunks), None, "{chunks:?}");
        }
    }

    #[test]
    fn a_silent_board_has_no_wrong_baud_rate() {
        let mut watch = BaudWatch::new(5);
        assert_eq!(watch.due_ns(), None);
        assert_eq!(watch.judge(1_000_000), None);
    }

    #[test]
    fn it_is_told_once_and_not_before_its_time() {
        let mut watch = BaudWatch::new(5);
        watch.look(b"\xff\xff", 100);
        assert_eq!(watch.due_ns(), Some(105));
        assert_eq!(watch.judge(104), None);
        assert!(watch.judge(105).is_some());
        watch.look(b"\xff\xff", 200);
        assert_eq!(watch.due_ns(), None);
        assert_eq!(watch.judge(300), None);
    }
}
