//! Half a line that a crash left at the end of a file.
//!
//! It cannot simply be ended: `value=67.91` cut to `value=6`, without its time, is a valid line,
//! which a database would date to the day it is read. So it becomes a comment. Nothing is lost by
//! that: the line was never acknowledged, and is written again.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};

/// Longer than any line of ours: without a line break in so many bytes, the file is not ours.
const LONGEST_LINE: u64 = 64 * 1024;

/// Makes `file`, opened to read and append, end with a whole line.
pub(super) fn end_with_a_line(file: &mut File) -> io::Result<()> {
    let length = file.metadata()?.len();
    let from = length.saturating_sub(LONGEST_LINE);
    let mut tail = Vec::new();
    file.seek(SeekFrom::Start(from))?;
    file.take(LONGEST_LINE).read_to_end(&mut tail)?;
    let after_break = tail.iter().rposition(|&byte| byte == b'\n');
    let start = after_break.map_or(0, |at| at + 1);
    let half = &tail[start..];
    if half.is_empty() {
        return Ok(());
    }
    if start == 0 && from > 0 {
        return file.write_all(b"\n");
    }
    file.set_len(from + start as u64)?;
    file.write_all(comment(half).as_bytes())?;
    file.sync_data()
}

fn comment(half: &[u8]) -> String {
    // After a power cut there may be zero bytes where text should be.
    let text = String::from_utf8_lossy(half).replace(char::is_control, " ");
    format!("# cut short: {}\n", text.trim())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::fs;

    fn repaired(before: &[u8]) -> String {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("night.lp");
        fs::write(&path, before).unwrap();
        let open = || File::options().read(true).append(true).open(&path).unwrap();
        end_with_a_line(&mut open()).unwrap();
        let once = fs::read(&path).unwrap();
        end_with_a_line(&mut open()).unwrap();
        assert_eq!(
            fs::read(&path).unwrap(),
            once,
            "a second repair changes nothing"
        );
        String::from_utf8_lossy(&once).into_owned()
    }

    #[test]
    fn a_whole_file_and_an_empty_one_stay_as_they_are() {
        assert_eq!(repaired(b""), "");
        assert_eq!(repaired(b"a v=1 1\n"), "a v=1 1\n");
    }

    #[test]
    fn half_a_line_becomes_a_comment() {
        assert_eq!(
            repaired(b"a v=1 1\na v=67"),
            "a v=1 1\n# cut short: a v=67\n"
        );
        assert_eq!(repaired(b"a v"), "# cut short: a v\n");
        assert_eq!(
            repaired(b"a v=1 1\na v=6\0\0\0"),
            "a v=1 1\n# cut short: a v=6\n"
        );
        // A line break of two bytes was cut, or a repair was.
        assert_eq!(repaired(b"a v=1 1\n# cut"), "a v=1 1\n# cut short: # cut\n");
    }

    #[test]
    fn a_file_that_is_not_ours_only_gets_a_line_break() {
        let before = vec![b'x'; 70_000];
        let after = repaired(&before);
        assert_eq!(after.len(), before.len() + 1);
        assert!(after.ends_with("xx\n"));
    }
}
