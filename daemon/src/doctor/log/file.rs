//! The log's own file: one of ours, not newer than this program, sound, and in whose hands.

use crate::doctor::finding::{Finding, Severity};
use crate::doctor::host::Process;
use crate::log::{LogError, reader, schema};
use rusqlite::{Connection, ErrorCode};
use std::path::Path;
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

/// Longest look through a log: it reads the whole of it from the card, beside a running service.
const CHECKED_WITHIN: Duration = Duration::from_secs(5);

/// What a look through a log came to.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Soundness {
    Sound,
    /// The time was up before anything was found.
    SoundSoFar,
    /// SQLite's first complaint.
    Damaged(String),
}

/// Looks at the file; changes nothing in it and makes none beside it.
pub fn examine(place: &str, log: &Path, writer: Option<&Process>) -> Vec<Finding> {
    let mut findings: Vec<Finding> = writer.map(|it| held(place, it)).into_iter().collect();
    if log.exists() {
        findings.push(match look(log) {
            Ok(Some(soundness)) => sound(place, &soundness),
            Ok(None) => Finding::ok(
                place,
                "it was cut off; the service puts it in order at its next start",
            ),
            Err(error) => refused(place, &error),
        });
    } else {
        findings.push(Finding::ok(
            place,
            "it is not there yet: the service makes it",
        ));
    }
    findings
}

fn held(place: &str, writer: &Process) -> Finding {
    let Process { id, name } = writer;
    Finding::ok(
        place,
        format!("a service (`{name}`, process {id}) writes to it"),
    )
}

fn look(log: &Path) -> Result<Option<Soundness>, LogError> {
    let Some(conn) = reader::open_without_trace(log)? else {
        return Ok(None);
    };
    schema::checked_version(&conn)?;
    quick_check(&conn).map(Some).map_err(LogError::from)
}

fn quick_check(conn: &Connection) -> rusqlite::Result<Soundness> {
    let interrupt = conn.get_interrupt_handle();
    let (done, is_done) = mpsc::channel::<()>();
    let bound = thread::spawn(move || {
        if is_done.recv_timeout(CHECKED_WITHIN) == Err(mpsc::RecvTimeoutError::Timeout) {
            interrupt.interrupt();
        }
    });
    let answer = conn.query_row("PRAGMA quick_check(1)", [], |row| row.get::<_, String>(0));
    drop(done);
    // It can neither panic nor be stuck: it only waits for what was just dropped.
    let _ = bound.join();
    match answer {
        Ok(text) if text == "ok" => Ok(Soundness::Sound),
        Ok(text) => Ok(Soundness::Damaged(text)),
        Err(error) => match error.sqlite_error_code() {
            Some(ErrorCode::OperationInterrupted) => Ok(Soundness::SoundSoFar),
            Some(ErrorCode::DatabaseCorrupt) => Ok(Soundness::Damaged(error.to_string())),
            _ => Err(error),
        },
    }
}

fn sound(place: &str, soundness: &Soundness) -> Finding {
    match soundness {
        Soundness::Sound => Finding::ok(place, "it is a log of this program, and sound"),
        Soundness::SoundSoFar => Finding::ok(
            place,
            format!(
                "it is a log of this program; {} s of looking through it found no damage",
                CHECKED_WITHIN.as_secs()
            ),
        ),
        Soundness::Damaged(why) => Finding::wrong(
            place,
            format!("it is damaged ({why})"),
            "stop the service, copy the file with its `-wal`, then name another `path` in \
             `[log]`: what can be read of the old one stays readable; and distrust the medium",
        ),
    }
}

fn refused(place: &str, error: &LogError) -> Finding {
    let damaged = matches!(
        error,
        LogError::Sqlite(error)
            if matches!(error.sqlite_error_code(), Some(ErrorCode::DatabaseCorrupt))
    );
    if damaged {
        return sound(place, &Soundness::Damaged(error.to_string()));
    }
    let otherwise = "check the file's owner and mode";
    Finding::told(Severity::Wrong, place, &error.to_string(), otherwise)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::fs;
    use tempfile::TempDir;

    fn log() -> (TempDir, std::path::PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("night.sqlite");
        let mut conn = Connection::open(&path).unwrap();
        conn.pragma_update(None, "journal_mode", "WAL").unwrap();
        schema::migrate(&mut conn).unwrap();
        for number in 0..200 {
            let sql = "INSERT INTO meta VALUES (?1, ?2)";
            conn.execute(sql, (number.to_string(), "x".repeat(200)))
                .unwrap();
        }
        (folder, path)
    }

    fn found(path: &Path) -> (Severity, String) {
        let finding = examine("log", path, None).swap_remove(0);
        (finding.severity, finding.what)
    }

    fn names(folder: &TempDir) -> BTreeSet<String> {
        let entries = fs::read_dir(folder.path()).unwrap().map(Result::unwrap);
        entries
            .map(|it| it.file_name().into_string().unwrap())
            .collect()
    }

    #[test]
    fn a_sound_log_is_left_without_a_file_beside_it() {
        let (folder, path) = log();
        assert_eq!(names(&folder).len(), 1);
        let ours = "it is a log of this program, and sound".to_owned();
        assert_eq!(found(&path), (Severity::Ok, ours.clone()));
        assert_eq!(names(&folder).len(), 1);
        // Beside a writer, whose files stay as they are.
        let writer = Connection::open(&path).unwrap();
        writer
            .execute("INSERT INTO meta VALUES ('a', 'b')", [])
            .unwrap();
        let before = names(&folder);
        assert_eq!(found(&path), (Severity::Ok, ours));
        assert_eq!((before.len(), before), (3, names(&folder)));
    }

    #[test]
    fn another_programs_file_and_a_later_version_are_wrong() {
        let (folder, path) = log();
        let conn = Connection::open(&path).unwrap();
        conn.pragma_update(None, "user_version", 99).unwrap();
        drop(conn);
        assert!(found(&path).1.starts_with("the log is of version 99"));
        let other = folder.path().join("recipes.sqlite");
        let conn = Connection::open(&other).unwrap();
        conn.execute_batch("CREATE TABLE recipe (name TEXT)")
            .unwrap();
        drop(conn);
        let (severity, what) = found(&other);
        assert_eq!(severity, Severity::Wrong);
        assert!(what.contains("no log of this program"), "{what}");
        fs::write(&other, "x".repeat(4096)).unwrap();
        assert_eq!(found(&other).0, Severity::Wrong);
    }

    #[test]
    fn a_damaged_page_is_found() {
        let (_folder, path) = log();
        let mut bytes = fs::read(&path).unwrap();
        let half = bytes.len() / 2;
        bytes[half..].fill(0xAA);
        fs::write(&path, bytes).unwrap();
        let (severity, what) = found(&path);
        assert_eq!(severity, Severity::Wrong);
        assert!(what.contains("damaged"), "{what}");
    }

    #[test]
    fn a_log_that_is_not_there_yet_is_no_fault() {
        let folder = tempfile::tempdir().unwrap();
        let (severity, what) = found(&folder.path().join("none.sqlite"));
        assert_eq!(
            (severity, &*what),
            (Severity::Ok, "it is not there yet: the service makes it")
        );
    }
}
