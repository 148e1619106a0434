//! Appends all or nothing: what a failed write left behind is taken back before anything else is
//! written, so that no line stands in the file twice or in half.

use std::fs::File;
use std::io::{self, Write};

/// What an [`Appender`] needs of a file; narrow, so that a test can make each call fail.
pub(super) trait Medium {
    /// Its length in bytes.
    fn length(&self) -> io::Result<u64>;
    /// Writes all bytes at the end, or an unknown part of them.
    fn append(&mut self, bytes: &[u8]) -> io::Result<()>;
    /// Forgets everything from `length` on.
    fn truncate(&mut self, length: u64) -> io::Result<()>;
    /// Returns when everything written is on the medium.
    fn sync(&mut self) -> io::Result<()>;
}

/// The end of a file.
#[derive(Debug)]
pub(super) struct Appender<M> {
    medium: M,
    /// Up to here the file holds whole, acknowledged lines.
    good: u64,
    /// Whether something may stand behind `good` that was never acknowledged.
    soiled: bool,
}

impl Medium for File {
    fn length(&self) -> io::Result<u64> {
        self.metadata().map(|metadata| metadata.len())
    }

    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.write_all(bytes)
    }

    fn truncate(&mut self, length: u64) -> io::Result<()> {
        self.set_len(length)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

impl<M: Medium> Appender<M> {
    /// Goes on at the end of `medium`, which must be a line's end.
    pub(super) fn new(medium: M) -> io::Result<Self> {
        let good = medium.length()?;
        Ok(Self {
            medium,
            good,
            soiled: false,
        })
    }

    /// Bytes of whole, acknowledged lines.
    pub(super) fn length(&self) -> u64 {
        self.good
    }

    /// The file itself.
    pub(super) fn medium(&self) -> &M {
        &self.medium
    }

    /// Appends whole lines and returns when they are on the medium, or takes them back.
    pub(super) fn append(&mut self, lines: &[u8]) -> io::Result<()> {
        self.take_back()?;
        // Somebody may have shortened the file, or added to it, since.
        self.good = self.medium.length()?;
        let written = self.medium.append(lines).and_then(|()| self.medium.sync());
        match written {
            Ok(()) => self.good += lines.len() as u64,
            Err(_) => {
                self.soiled = true;
                // Where this fails too, it is done before the next line is written.
                let _ = self.take_back();
            }
        }
        written
    }

    /// Removes what a failed write left behind.
    pub(super) fn take_back(&mut self) -> io::Result<()> {
        if self.soiled {
            self.medium.truncate(self.good)?;
            self.soiled = false;
        }
        Ok(())
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::VecDeque;

    /// A file in memory that fails as told: one entry for each append, sync and truncation to come.
    #[derive(Debug, Default)]
    struct Faulty {
        bytes: Vec<u8>,
        fails: VecDeque<bool>,
    }

    impl Faulty {
        fn result(&mut self) -> io::Result<()> {
            match self.fails.pop_front() {
                Some(true) => Err(io::ErrorKind::StorageFull.into()),
                _ => Ok(()),
            }
        }
    }

    impl Medium for Faulty {
        fn length(&self) -> io::Result<u64> {
            Ok(self.bytes.len() as u64)
        }

        fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
            let result = self.result();
            let written = if result.is_ok() {
                bytes.len()
            } else {
                bytes.len() / 2
            };
            self.bytes.extend(&bytes[..written]);
            result
        }

        fn truncate(&mut self, length: u64) -> io::Result<()> {
            self.result()?;
            self.bytes.truncate(usize::try_from(length).unwrap());
            Ok(())
        }

        fn sync(&mut self) -> io::Result<()> {
            self.result()
        }
    }

    fn appender(fails: &[bool]) -> Appender<Faulty> {
        let mut appender = Appender::new(Faulty::default()).unwrap();
        appender.append(b"first\n").unwrap();
        appender.medium.fails = fails.iter().copied().collect();
        appender
    }

    #[test]
    fn half_a_write_on_a_full_disk_is_taken_back() {
        let mut appender = appender(&[true]);
        assert!(appender.append(b"second\n").is_err());
        assert_eq!(appender.medium.bytes, b"first\n");
        appender.append(b"second\n").unwrap();
        assert_eq!(appender.medium.bytes, b"first\nsecond\n");
    }

    #[test]
    fn what_could_not_be_taken_back_at_once_is_taken_back_before_the_next_line() {
        // The sync fails, then the truncation, then once more the truncation.
        let mut appender = appender(&[false, true, true, true]);
        assert!(appender.append(b"second\n").is_err());
        assert_eq!(appender.medium.bytes, b"first\nsecond\n");
        assert!(appender.append(b"second\n").is_err());
        appender.append(b"second\n").unwrap();
        assert_eq!(appender.medium.bytes, b"first\nsecond\n");
    }

    proptest! {
        #[test]
        fn whatever_fails_each_line_ends_up_there_once_and_in_order(
            fails in prop::collection::vec(any::<bool>(), 0..60),
        ) {
            let mut appender = appender(&fails);
            let mut expected = b"first\n".to_vec();
            for line in 0..10 {
                let line = format!("line {line}\n").into_bytes();
                while appender.append(&line).is_err() {}
                expected.extend(&line);
                prop_assert_eq!(&appender.medium.bytes, &expected);
                prop_assert_eq!(appender.length(), expected.len() as u64);
            }
        }
    }
}
