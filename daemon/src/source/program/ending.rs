//! How a program ended, or why it did not begin, in words.

use crate::config::Program;
use crate::outlet::words;
use std::io;
use std::os::unix::process::ExitStatusExt;
use std::process::ExitStatus;

/// Longest command that is shown in full, characters.
const SHOWN: usize = 120;

/// The command as it is shown in messages.
#[must_use]
pub fn command(program: &Program) -> String {
    let all = program.command.join(" ");
    let shown: String = all
        .chars()
        .take(SHOWN)
        .flat_map(char::escape_debug)
        .collect();
    if all.chars().nth(SHOWN).is_some() {
        format!("{shown}…")
    } else {
        shown
    }
}

/// What became of a program: ends the sentence that its name begins.
#[must_use]
pub fn of(status: ExitStatus) -> String {
    match (status.code(), status.signal()) {
        (Some(0), _) => {
            "ended by itself (exit code 0), but a board goes on; let it loop".to_owned()
        }
        (Some(code), _) => format!("ended with exit code {code}; its last words are above, if any"),
        (None, Some(signal)) => {
            let core = if status.core_dumped() {
                ", memory dumped"
            } else {
                ""
            };
            format!(
                "was ended by signal {signal} ({}{core})",
                signal_words(signal)
            )
        }
        (None, None) => "is gone".to_owned(),
    }
}

/// Names of POSIX.1-2017, `signal.h`, with Linux's numbers.
fn signal_words(signal: i32) -> &'static str {
    match signal {
        1 => "SIGHUP, hung up",
        2 => "SIGINT, interrupted",
        3 => "SIGQUIT, quit",
        4 => "SIGILL, illegal instruction",
        5 => "SIGTRAP, trap",
        6 => "SIGABRT, aborted by itself",
        7 => "SIGBUS, bad memory access",
        8 => "SIGFPE, arithmetic fault",
        9 => "SIGKILL, killed: by somebody, or for lack of memory",
        11 => "SIGSEGV, bad memory access",
        13 => "SIGPIPE, nobody reads",
        14 => "SIGALRM, its own alarm",
        15 => "SIGTERM, asked to end",
        24 => "SIGXCPU, too much processor time",
        25 => "SIGXFSZ, file too large",
        31 => "SIGSYS, a system call that it may not make",
        _ => "see signal(7)",
    }
}

/// Why a program could not be started, and what to do.
#[must_use]
pub fn cannot_start(board: &str, program: &Program, error: &io::Error) -> String {
    let name = program
        .command
        .first()
        .map(String::as_str)
        .unwrap_or_default();
    let folder = program.folder.display();
    let what = match error.kind() {
        io::ErrorKind::NotFound if !program.folder.is_dir() => {
            format!("there is no folder `{folder}`; correct `folder`")
        }
        io::ErrorKind::NotFound => format!(
            "`{name}` is not found; install it, or correct `command` (of a script also its first \
             line)"
        ),
        io::ErrorKind::PermissionDenied => format!(
            "the service's user may not run `{name}`, or not enter `{folder}`; `chmod +x` makes a \
             script a program"
        ),
        _ if error.raw_os_error() == Some(NO_PROGRAM) => {
            format!("`{name}` is no program; a script begins with `#!` and its interpreter")
        }
        _ => words(error),
    };
    format!(
        "`{}` cannot be started: {what}; see `[board.{board}]`; trying again",
        command(program)
    )
}

/// ENOEXEC (errno(3)).
const NO_PROGRAM: i32 = 8;

#[cfg(test)]
mod tests {
    use super::*;
    use insta::assert_snapshot;

    fn program(command: &[&str], folder: &str) -> Program {
        Program {
            command: command.iter().map(|word| (*word).to_owned()).collect(),
            folder: folder.into(),
            environment: Vec::new(),
        }
    }

    /// Source: wait(2): the low seven bits are the signal, 0x80 a core dump, the next byte the code.
    #[test]
    fn ends_are_told_in_words() {
        let of = |raw| of(ExitStatus::from_raw(raw));
        assert_snapshot!(of(0), @"ended by itself (exit code 0), but a board goes on; let it loop");
        assert_snapshot!(of(3 << 8), @"ended with exit code 3; its last words are above, if any");
        assert_snapshot!(of(9), @"was ended by signal 9 (SIGKILL, killed: by somebody, or for lack of memory)");
        assert_snapshot!(of(11 | 0x80), @"was ended by signal 11 (SIGSEGV, bad memory access, memory dumped)");
        assert_snapshot!(of(64), @"was ended by signal 64 (see signal(7))");
    }

    #[test]
    fn what_cannot_be_started_says_what_to_do() {
        let why = |kind: io::ErrorKind, folder| {
            cannot_start("bench", &program(&["read.py", "-v"], folder), &kind.into())
        };
        assert_snapshot!(why(io::ErrorKind::NotFound, "/"), @"`read.py -v` cannot be started: `read.py` is not found; install it, or correct `command` (of a script also its first line); see `[board.bench]`; trying again");
        assert_snapshot!(why(io::ErrorKind::NotFound, "/no/such"), @"`read.py -v` cannot be started: there is no folder `/no/such`; correct `folder`; see `[board.bench]`; trying again");
        assert_snapshot!(why(io::ErrorKind::PermissionDenied, "/"), @"`read.py -v` cannot be started: the service's user may not run `read.py`, or not enter `/`; `chmod +x` makes a script a program; see `[board.bench]`; trying again");
    }

    #[test]
    fn a_long_or_wild_command_is_shown_in_part_and_on_one_line() {
        let shown = command(&program(&["sh", "-c", &"x".repeat(200)], "/"));
        assert_eq!(shown.chars().count(), SHOWN + 1);
        assert_eq!(command(&program(&["sh", "a\nb"], "/")), "sh a\\nb");
    }
}
