//! The command line: one definition, from which help, completions and the man page are made.

mod calibrate;
mod calibration;
mod calibrations;
mod certificate;
pub mod check;
mod divider;
mod doctor;
mod driver;
mod drivers;
mod generate;
mod listen;
pub(crate) mod ports;
mod readings;
mod republish;
mod serve;
mod status;
mod trial;
mod when;

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::fmt;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tracing::level_filters::LevelFilter;

const EXIT_CODES: &str = "\
Exit codes:
  0  done as asked
  1  it could not be done: `check` found errors, `doctor` something wrong, `listen`
     no format, `ports` no port, `status` no service, `driver check` a broken promise;
     why is on stderr
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
    Check(CheckedFile),
    /// Say what will go wrong tonight: clock, disk, boards, receivers, certificates, secrets
    ///
    /// Asks the real broker and database: one message on SITE/doctor, one point of measurement
    /// `nightbench_doctor`. Disturbs no running service, and opens no serial port.
    Doctor(doctor::Arguments),
    /// Name the serial ports: which name of each stays, who holds it, which are twins
    Ports(ports::Arguments),
    /// Show what a board says, and print the configuration that would read it
    Listen(listen::Arguments),
    /// Say how the running service stands: boards, probes, outlets
    Status(status::Arguments),
    /// Print a probe's readings from the log, also while the service runs
    Readings(Box<readings::Arguments>),
    /// Calibrate a probe: take reference points, fit, verify, put in use
    ///
    /// Without further options: the guide, step by step.
    Calibrate(Box<calibration::Arguments>),
    /// Show each probe's calibrations: dates, points, uncertainty, drift, which was in use when
    Calibrations(calibrations::Arguments),
    /// Print a calibration's certificate: points, fit, uncertainty over the range, budget
    Certificate(certificate::Arguments),
    /// Send readings of some time to an outlet once more: for a broker or database that lost them
    ///
    /// They go out as late ones, beside a running service and without disturbing it. The number of
    /// readings that were taken goes to stdout.
    Republish(republish::Arguments),
    /// Which resistor goes with a probe: the one whose worst step over the range of use is smallest
    ///
    /// Beside it: the resistor of largest swing, and the one that makes the ratio straightest; what
    /// each step is over the range, and how far the probe heats itself.
    Divider(Box<divider::Arguments>),
    /// Say which drivers there are, linked in and in libraries, and which library is refused
    Drivers(drivers::Arguments),
    /// Make a driver of your own, and check it
    Driver(driver::Arguments),
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
    /// Run one loaded driver for the service, which starts this by itself
    #[command(hide = true)]
    DriverHost,
}

/// The configuration that `check` looks at; `--config FILE` means the same, as it does for `serve`.
#[derive(Debug, Args)]
#[group(required = true, multiple = false)]
struct CheckedFile {
    /// The configuration file
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
    #[arg(long, value_name = "FILE", hide = true)]
    config: Option<PathBuf>,
}

impl CheckedFile {
    fn path(&self) -> &Path {
        one_of(self.file.as_deref(), self.config.as_deref())
    }
}

/// The one that was given; the command line has seen to it that one was.
fn one_of<'a>(one: Option<&'a Path>, other: Option<&'a Path>) -> &'a Path {
    one.or(other).unwrap_or(Path::new(""))
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

/// What writing to stdout comes to. A reader that has seen enough (`| head`) is no failure.
fn written(result: std::io::Result<()>) -> Result<ExitCode, Failure> {
    match result {
        Ok(()) => Ok(ExitCode::SUCCESS),
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(ExitCode::SUCCESS),
        Err(error) => Err(Failure::new(format!(
            "stdout cannot be written to: {}; what was printed is not whole",
            crate::words::system(&error)
        ))),
    }
}

/// Sets up what is said on stderr. Under a service manager, which stamps lines itself, without time
/// and colours.
pub fn start_talk(arguments: &Cli) {
    // A trial shows readings and alarms itself.
    let on_stage = matches!(arguments.verb, Verb::Try(_));
    let level = match (arguments.quiet, arguments.verbose) {
        (true, _) => LevelFilter::WARN,
        (false, 0) if on_stage => LevelFilter::OFF,
        (false, 0) => LevelFilter::INFO,
        (false, 1) => LevelFilter::DEBUG,
        (false, _) => LevelFilter::TRACE,
    };
    let talk = tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_max_level(level)
        .with_target(false)
        // Where stderr is gone (a terminal that was closed) the night goes on unheard; telling of it
        // there would panic.
        .log_internal_errors(false)
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
        Verb::Check(which) => check::run(which.path()),
        Verb::Doctor(arguments) => doctor::run(&arguments),
        Verb::Ports(arguments) => ports::run(&arguments),
        Verb::Listen(arguments) => listen::run(&arguments),
        Verb::Status(arguments) => status::run(&arguments),
        Verb::Readings(arguments) => readings::run(&arguments),
        Verb::Calibrate(arguments) => calibration::run(&arguments),
        Verb::Certificate(arguments) => certificate::run(&arguments),
        Verb::Calibrations(arguments) => calibrations::run(&arguments),
        Verb::Republish(arguments) => republish::run(&arguments),
        Verb::Divider(arguments) => divider::run(&arguments),
        Verb::Drivers(arguments) => drivers::run(&arguments),
        Verb::Driver(arguments) => driver::run(&arguments),
        Verb::Completions { shell } => generate::completions(shell),
        Verb::Man { command } => generate::man(command.as_deref()),
        Verb::DriverHost => Ok(crate::driver::run_host_process()),
    }
}

/// A runtime on one thread: a bench of a hundred probes needs no more, and blocking reads of the
/// log have threads of their own.
fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| {
            let why = crate::words::system(&error);
            Failure::new(format!("no runtime could be started: {why}"))
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    fn is_understood(words: &str) -> bool {
        Cli::try_parse_from(words.split(' ')).is_ok()
    }

    #[test]
    fn the_configuration_is_named_with_or_without_its_option() {
        for verb in ["check", "serve"] {
            assert!(is_understood(&format!("nightbench {verb} a.toml")));
            assert!(is_understood(&format!("nightbench {verb} --config a.toml")));
            assert!(!is_understood(&format!("nightbench {verb}")));
            let both = format!("nightbench {verb} a.toml --config a.toml");
            assert!(!is_understood(&both));
        }
    }

    #[test]
    fn a_trials_length_is_whole_seconds() {
        let told = Cli::try_parse_from(["nightbench", "try", "--seconds", "1m"]);
        let told = told.map_or_else(|error| error.to_string(), |_| String::new());
        assert!(told.contains("write whole seconds"), "{told}");
    }

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
