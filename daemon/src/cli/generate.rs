//! Completions and manual pages, from the one definition of the command line.

use super::{Cli, Failure, written};
use clap::CommandFactory;
use clap_mangen::Man;
use clap_mangen::roff::{Roff, roman};
use std::io::{self, Write};
use std::process::ExitCode;

/// Prints completions for a shell.
///
/// # Errors
/// Where stdout cannot be written to.
pub fn completions(shell: clap_complete::Shell) -> Result<ExitCode, Failure> {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "nightbench", &mut text);
    print(&text)
}

/// Prints a manual page in roff: that of the program, or of one command.
///
/// # Errors
/// Where there is no such command, or stdout cannot be written to.
pub fn man(command: Option<&str>) -> Result<ExitCode, Failure> {
    let failure = |error| Failure::new(format!("the manual page could not be made: {error}"));
    let page = match command {
        None => whole().map_err(failure)?,
        Some(name) => {
            let one = built().find_subcommand(name).cloned().ok_or_else(|| {
                Failure::new(format!(
                    "there is no command `{name}`; see `nightbench --help`"
                ))
            })?;
            let mut text = Vec::new();
            Man::new(one).render(&mut text).map_err(failure)?;
            text
        }
    };
    print(&page)
}

fn built() -> clap::Command {
    let mut whole = Cli::command();
    whole.build();
    whole
}

/// Sections of the program's page that the definition of the command line does not hold: heading,
/// and paragraphs of a term with its text.
const SECTIONS: &[(&str, &[(&str, &str)])] = &[
    (
        "FIRST STEPS",
        &[
            (
                "nightbench try",
                "See it work on a simulated board: start with this.",
            ),
            (
                "nightbench check FILE",
                "Find every error in a configuration of your own.",
            ),
            ("nightbench serve --config FILE", "Run the service with it."),
        ],
    ),
    (
        "SIGNALS",
        &[
            (
                "SIGTERM, SIGINT",
                "End the service: boards, outlets, then the log are closed in order; everything that \
                 was read is in the log.",
            ),
            (
                "SIGHUP",
                "Read the configuration again. One with an error is refused as a whole, and the one in \
                 force goes on.",
            ),
        ],
    ),
    (
        "FILES",
        &[
            (
                "/etc/nightbench/nightbench.toml",
                "The configuration, where the service is installed as deploy/README.md says.",
            ),
            (
                "path in [log]",
                "The log, an SQLite database; while the service runs, files with the same name and the \
                 endings -wal, -shm and .lock belong to it.",
            ),
            (
                "/dev/serial/by-id",
                "Names of boards that stay when they are plugged in again.",
            ),
        ],
    ),
    (
        "EXIT STATUS",
        &[
            ("0", "Done as asked."),
            (
                "1",
                "It could not be done, or there are errors; the reason is on stderr.",
            ),
            ("2", "The command line could not be understood."),
        ],
    ),
    (
        "ENVIRONMENT",
        &[
            (
                "TZ",
                "The time zone of local times, such as Europe/Berlin; the host's own by default.",
            ),
            (
                "NOTIFY_SOCKET, WATCHDOG_USEC",
                "Set by the service manager: it is told when the service is ready and alive.",
            ),
        ],
    ),
    (
        "SAFETY",
        &[(
            "",
            "This program is not a safety device: alarms may be late, lost or wrong.",
        )],
    ),
];

fn whole() -> io::Result<Vec<u8>> {
    let man = Man::new(built());
    let mut text = Vec::new();
    man.render_title(&mut text)?;
    man.render_name_section(&mut text)?;
    man.render_synopsis_section(&mut text)?;
    man.render_description_section(&mut text)?;
    man.render_options_section(&mut text)?;
    man.render_subcommands_section(&mut text)?;
    for (heading, paragraphs) in SECTIONS {
        section(heading, paragraphs).to_writer(&mut text)?;
    }
    man.render_version_section(&mut text)?;
    Ok(text)
}

fn section(heading: &str, paragraphs: &[(&str, &str)]) -> Roff {
    let mut roff = Roff::default();
    roff.control("SH", [heading]);
    for (term, explained) in paragraphs {
        if !term.is_empty() {
            roff.control("TP", []);
            roff.text([roman(*term)]);
        }
        roff.text([roman(*explained)]);
    }
    roff
}

fn print(text: &[u8]) -> Result<ExitCode, Failure> {
    let mut out = io::stdout().lock();
    written(out.write_all(text).and_then(|()| out.flush()))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_page_tells_of_first_steps_signals_files_and_exit_codes() {
        let page = String::from_utf8(whole().unwrap()).unwrap();
        for heading in ["FIRST STEPS", "SIGNALS", "FILES", "EXIT STATUS"] {
            let heading = format!(".SH \"{heading}\"")
                .replace("\"", if heading.contains(' ') { "\"" } else { "" });
            assert!(page.contains(&heading), "{heading}\n{page}");
        }
        for word in [
            "SIGHUP",
            "SIGTERM",
            "SIGINT",
            "nightbench try",
            "not a safety device",
        ] {
            assert!(page.contains(word), "{word}");
        }
    }

    /// `deploy/README.md` finds the pages of the commands in this one.
    #[test]
    fn the_page_names_the_page_of_each_command_in_a_line_of_its_own() {
        let page = String::from_utf8(whole().unwrap()).unwrap();
        let told = |command: &&clap::Command| !command.is_hide_set();
        for command in Cli::command().get_subcommands().filter(told) {
            let line = format!("\nnightbench\\-{}(1)\n", command.get_name());
            assert!(page.contains(&line), "{line}");
        }
        assert!(
            !page.contains("driver\\-host"),
            "what only the service starts is no command"
        );
    }
}
