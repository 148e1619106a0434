//! `nightbench listen`: shows what a board says, and prints the configuration that would read it.
//!
//! Opens the port once: each opening resets most boards. The configuration goes to stdout, all else
//! to stderr, so that `> bench.toml` keeps just the one.

mod bauds;
mod ear;
mod input;
mod live;
mod port;
mod report;

pub use live::tell;

use super::{Failure, ports, runtime};
use crate::listen::{Origin, draft, rate, recognise};
use ear::{Ear, Ending, Limits, Stop};
use input::Input;
use live::Live;
use report::Verdict;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

/// What most boards speak, and what the configuration takes where it says nothing.
const DEFAULT_BAUD: u32 = 115_200;
/// Long enough for a greeting and a line each second to show what moves.
const DEFAULT_SECONDS: u64 = 20;
/// A day: whoever listens for longer wants a log.
const MOST_SECONDS: u64 = 86_400;

/// Arguments of `listen`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// A serial port, a file of recorded lines, or `-` for stdin; `nightbench ports` names the ports
    #[arg(value_name = "PORT|FILE|-")]
    what: PathBuf,
    /// The port's baud rate, 115200 if not given
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    baud: Option<u32>,
    /// Look for the baud rate among the usual ones first
    #[arg(long)]
    try_bauds: bool,
    /// How long to listen, 20 if not given; Ctrl-C ends it earlier, and a file ends by itself
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=MOST_SECONDS))]
    seconds: Option<u64>,
    /// How many lines to listen to at most
    #[arg(long, value_name = "N", default_value_t = crate::listen::MAX_LINES as u64,
          value_parser = clap::value_parser!(u64).range(1..=crate::listen::MAX_LINES as u64))]
    lines: u64,
    /// Say nothing but the configuration, and why there is none
    #[arg(long)]
    config_only: bool,
}

/// Listens; success where a configuration could be made.
///
/// # Errors
/// Where there is nothing to listen to.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    runtime()?.block_on(listen(arguments))
}

async fn listen(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let mut stop = Stop::catch().map_err(|e| Failure::new(format!("signals: {e}")))?;
    let mut baud = arguments.baud.unwrap_or(DEFAULT_BAUD);
    let live = Live::new(arguments.config_only);
    let mut input = Input::open(&arguments.what, baud)?;
    live.say(&report::opening(
        &arguments.what,
        &input,
        arguments.seconds(),
    ));
    if arguments.try_bauds {
        match try_bauds(&mut input, arguments.baud, &live, &mut stop).await? {
            Some(best) => baud = best,
            None => return Ok(ExitCode::FAILURE),
        }
    }
    let limits = Limits {
        time: input
            .limit(arguments.seconds, DEFAULT_SECONDS)
            .map(Duration::from_secs),
        lines: usize::try_from(arguments.lines).unwrap_or(usize::MAX),
    };
    let mut ear = Ear::new(input.is_port(), live);
    let ending = ear.listen(&mut input, limits, &mut stop).await;
    let origin = origin(&arguments.what, &input, baud);
    // The port is given back before anything is said about it.
    drop(input);
    conclude(&ear, &ending, &origin)
}

async fn try_bauds(
    input: &mut Input,
    first: Option<u32>,
    live: &Live,
    stop: &mut Stop,
) -> Result<Option<u32>, Failure> {
    let Input::Port(port) = input else {
        return Err(Failure::new(
            "`--try-bauds` needs a serial port: a recording has no baud rate",
        ));
    };
    let mut rates = rate::USUAL.to_vec();
    if let Some(first) = first {
        rates.retain(|rate| *rate != first);
        rates.insert(0, first);
    }
    let (tried, stopped) = bauds::try_each(port, &rates, live, stop).await?;
    let scores: Vec<rate::Score> = tried.iter().map(|(_, score)| *score).collect();
    let Some(best) = rate::best(&scores).map(|at| tried[at].0) else {
        live::tell(&format!(
            "nightbench: {}",
            report::no_rate(&scores, stopped)
        ));
        return Ok(None);
    };
    live.say(&format!("best: {best} baud; listening on at that rate"));
    port.set_baud(best)?;
    Ok(Some(best))
}

fn conclude(ear: &Ear, ending: &Ending, origin: &Origin) -> Result<ExitCode, Failure> {
    let found = recognise(ear.heard());
    let drafted = found.and_then(|found| draft(&found, origin).map(|text| (found, text)));
    let live = ear.live();
    if let Some(text) = ending.words() {
        live.say(&text);
    }
    match drafted {
        Ok((found, text)) => {
            live.say(&report::found(&found));
            print(&text)?;
            live.say(&report::next(
                &found,
                origin,
                !std::io::stdout().is_terminal(),
            ));
            Ok(ExitCode::SUCCESS)
        }
        Err(why) => {
            let verdict = Verdict::of(why, ear.bytes(), ear.lines(), ear.sample(), origin);
            live::tell(&format!("nightbench: {verdict}"));
            Ok(ExitCode::FAILURE)
        }
    }
}

fn print(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    let written = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    written
        .map_err(|error| Failure::new(format!("the configuration could not be written: {error}")))
}

/// What stands in the configuration: a name that stays, whatever the working folder is.
fn origin(what: &Path, input: &Input, baud: u32) -> Origin {
    let absolute = std::path::absolute(what).unwrap_or_else(|_| what.to_owned());
    match input {
        Input::Port(_) => Origin::Serial {
            port: ports::stable_name(&absolute),
            baud,
        },
        Input::Recorded(_) => Origin::Recorded { file: absolute },
        Input::Piped(_) => Origin::Piped,
    }
}

impl Arguments {
    fn seconds(&self) -> u64 {
        self.seconds.unwrap_or(DEFAULT_SECONDS)
    }
}
