//! The command line: one definition, from which help, completions and the man page are made.

pub mod check;
mod generate;
mod listen;
mod ports;
mod readings;
mod serve;
mod trial;
mod when;

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::fmt;
use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;
use tracing::level_filters::LevelFilter;

const EXIT_CODES: &str = "\
Exit codes:
  0  done as asked
  1  it could not be done: `check` found errors, `listen` no format, `ports` no port; why is on stderr
  2  the command line could not be understood

Results go to stdout, talk to stderr. This program is not a safety device.";

/// Readings to trust from resistive probes, logged through the night whatever breaks.
#[derive(Debug, Parser)]
#[command(name = "nightbench", version, about, after_help = EXIT_CODES, propagate_version = true)]
pub struct Cli {
    /// Say more on stderr (twice: everything)
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    verbose: u8,
    /// Say only what went wrong
    #[arg(short, long, global = true, conflicts_with = "verbose")]
    quiet: bool,
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Run the service: read boards, log, publish, raise alarms, until SIGTERM or SIGINT
    Serve(serve::Arguments),
    /// See it work: a simulated board, no configuration, no other service
    Try(trial::Arguments),
    /// Find every error in a configuration at once
    Check {
        /// The configuration file
        file: PathBuf,
    },
    /// Name the serial ports: which name of each stays, who holds it, which are twins
    Ports(ports::Arguments),
    /// Show what a board says, and print the configuration that would read it
    Listen(listen::Arguments),
    /// Print a probe's readings from the log, also while the service runs
    Readings(Box<readings::Arguments>),
    /// Print completions for a shell
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Print the manual page (roff); for each command with its name
    Man {
        /// A command, as in `nightbench man serve`
        command: Option<String>,
    },
}

/// Which log a command reads.
#[derive(Debug, Args)]
#[group(required = true, multiple = false)]
struct WhichLog {
    /// The configuration that names the log
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// The log itself
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
}

/// How results are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Comma-separated values with a header
    Csv,
    /// One JSON object a line
    Json,
    /// Line protocol with time stamps in milliseconds
    LineProtocol,
}

/// Why a command could not do what was asked; the text is for a person.
#[derive(Debug)]
pub struct Failure(String);

impl Failure {
    fn new(text: impl Into<String>) -> Self {
        Self(text.into())
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Sets up what is said on stderr. Under a service manager, which stamps lines itself, without time
/// and colours.
pub fn start_talk(arguments: &Cli) {
    let quiet = matches!(arguments.verb, Verb::Try(_));
    let level = match (arguments.quiet, arguments.verbose) {
        (true, _) => LevelFilter::WARN,
        (false, 0) if quiet => LevelFilter::WARN,
        (false, 0) => LevelFilter::INFO,
        (false, 1) => LevelFilter::DEBUG,
        (false, _) => LevelFilter::TRACE,
    };
    let talk = tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_max_level(level)
        .with_target(false)
        .with_ansi(std::io::stderr().is_terminal());
    if std::env::var_os("JOURNAL_STREAM").is_some() {
        talk.without_time().init();
    } else {
        talk.init();
    }
}

/// Does what the arguments say.
///
/// # Errors
/// What could not be done, for a person.
pub fn run(arguments: Cli) -> Result<ExitCode, Failure> {
    match arguments.verb {
        Verb::Serve(arguments) => serve::run(&arguments),
        Verb::Try(arguments) => trial::run(&arguments),
        Verb::Check { file } => Ok(check::run(&file)),
        Verb::Ports(arguments) => ports::run(&arguments),
        Verb::Listen(arguments) => listen::run(&arguments),
        Verb::Readings(arguments) => readings::run(&arguments),
        Verb::Completions { shell } => Ok(generate::completions(shell)),
        Verb::Man { command } => generate::man(command.as_deref()),
    }
}

/// A runtime on one thread: a bench of a hundred probes needs no more, and blocking reads of the
/// log have threads of their own.
fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::new(format!("no runtime could be started: {error}")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn readings_take_a_moment_that_begins_with_a_hyphen_and_a_span() {
        let words = "nightbench readings vat --log night.sqlite --from -8h --to now --every 10s";
        let parsed = Cli::try_parse_from(words.split(' ').chain(["--format", "csv"]));
        assert!(parsed.is_ok_and(|cli| matches!(cli.verb, Verb::Readings(_))));
        let neither = Cli::try_parse_from(["nightbench", "readings", "vat"]);
        assert!(neither.is_err(), "a log has to be named");
    }

    #[test]
    fn the_command_line_is_consistent() {
        Cli::command().debug_assert();
    }
}
