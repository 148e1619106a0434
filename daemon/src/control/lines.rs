//! Lines from a client, bounded: an end of line comes within [`LONGEST_LINE`] bytes, or the
//! connection ends.

use super::LONGEST_LINE;
use tokio::io::{AsyncRead, AsyncReadExt};

/// Why no line came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoLine {
    /// The client has gone.
    Gone,
    /// More than a line may hold came without an end.
    TooLong,
}

/// Lines of a stream.
#[derive(Debug)]
pub struct Lines<R> {
    stream: R,
    /// What came behind the last line.
    rest: Vec<u8>,
    /// So much of `rest` holds no end of line.
    searched: usize,
}

impl<R: AsyncRead + Unpin> Lines<R> {
    /// Of a stream from which nothing was read yet.
    pub fn new(stream: R) -> Self {
        Self {
            stream,
            rest: Vec::new(),
            searched: 0,
        }
    }

    /// The next line without its end. Nothing is lost where the wait is given up.
    ///
    /// # Errors
    /// Why there is none, and never will be.
    pub async fn next(&mut self) -> Result<Vec<u8>, NoLine> {
        loop {
            let new = &self.rest[self.searched..];
            if let Some(end) = new.iter().position(|byte| *byte == b'\n') {
                return Ok(self.cut(self.searched + end));
            }
            self.searched = self.rest.len();
            if self.searched > LONGEST_LINE {
                return Err(NoLine::TooLong);
            }
            match self.stream.read_buf(&mut self.rest).await {
                Ok(0) | Err(_) => return Err(NoLine::Gone),
                Ok(_) => {}
            }
        }
    }

    fn cut(&mut self, end: usize) -> Vec<u8> {
        let behind = self.rest.split_off(end + 1);
        let mut line = std::mem::replace(&mut self.rest, behind);
        line.pop();
        self.searched = 0;
        line
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use tokio::io::AsyncWriteExt;

    #[tokio::test]
    async fn a_line_without_end_is_given_up() {
        let endless = vec![b'{'; LONGEST_LINE + 70_000];
        let mut lines = Lines::new(endless.as_slice());
        assert_eq!(lines.next().await, Err(NoLine::TooLong));
    }

    #[tokio::test]
    async fn a_wait_that_is_given_up_loses_nothing() {
        let (mut there, here) = tokio::io::duplex(64);
        let mut lines = Lines::new(here);
        there.write_all(b"{\"ask\":").await.unwrap();
        let given_up = tokio::select! {
            biased;
            _ = lines.next() => false,
            () = tokio::task::yield_now() => true,
        };
        assert!(given_up);
        there.write_all(b"1}\nrest").await.unwrap();
        assert_eq!(lines.next().await.unwrap(), b"{\"ask\":1}");
        drop(there);
        assert_eq!(lines.next().await, Err(NoLine::Gone));
    }

    proptest! {
        #[test]
        fn any_bytes_are_cut_at_their_ends_of_line(bytes in prop::collection::vec(any::<u8>(), 0..500)) {
            let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
            let mut lines = Lines::new(bytes.as_slice());
            let mut found = Vec::new();
            while let Ok(line) = runtime.block_on(lines.next()) {
                found.push(line);
            }
            let mut whole: Vec<&[u8]> = bytes.split(|byte| *byte == b'\n').collect();
            whole.pop();
            prop_assert_eq!(found, whole);
        }
    }
}
