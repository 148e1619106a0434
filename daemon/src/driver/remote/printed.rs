//! What a driver prints: its last words, which say why it ended, and otherwise a bad habit.

use super::words::in_one_line;
use std::io::{PipeReader, Read};

/// The last so many bytes are kept.
const KEPT: usize = 400;
/// Read in one go.
const ONCE: usize = 4096;

/// Text that a child has printed.
#[derive(Debug, Default)]
pub(super) struct Printed {
    last: Vec<u8>,
    told: bool,
}

impl Printed {
    /// Takes what lies in the pipe, once; false where nothing more will come. Waits where the pipe
    /// is empty and open.
    pub(super) fn take(&mut self, pipe: &mut PipeReader) -> bool {
        let mut bytes = [0; ONCE];
        let Ok(count @ 1..) = pipe.read(&mut bytes) else {
            return false;
        };
        self.last
            .extend_from_slice(bytes.get(..count).unwrap_or_default());
        let beyond = self.last.len().saturating_sub(KEPT);
        self.last.drain(..beyond);
        true
    }

    /// What to say of it while the child runs: the first time only.
    pub(super) fn remark(&mut self) -> Option<String> {
        if std::mem::replace(&mut self.told, true) {
            return None;
        }
        let text = in_one_line(&self.last);
        Some(format!(
            "printed `{text}`; a driver has nothing to print, more of it is not told"
        ))
    }

    /// What it printed last; ends a sentence.
    pub(super) fn last_words(&self) -> String {
        let text = in_one_line(&self.last);
        if text.is_empty() {
            text
        } else {
            format!("; its last words: `{text}`")
        }
    }
}
