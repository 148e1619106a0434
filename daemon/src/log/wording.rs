//! What SQLite says of a file that is no log, in words that tell what to do.

use rusqlite::ErrorCode;

/// The error for a person.
pub fn of_sqlite(error: &rusqlite::Error) -> String {
    match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => {
            "the file is no SQLite database, so no log of this program; name the log's own file"
                .to_owned()
        }
        Some(ErrorCode::CannotOpen) => {
            "the file cannot be opened; check that its folder is there, and who may read and write \
             in it"
                .to_owned()
        }
        _ => format!("{error}; check the file's owner, and the disk's space and state"),
    }
}
