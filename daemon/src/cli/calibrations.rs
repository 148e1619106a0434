//! `nightbench calibrations`: what the log keeps of each probe's calibration, and two of them against
//! each other. It only reads: what is in use is changed by `calibrate`.

mod chain;
mod chosen;
pub(super) mod page;
mod table;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

pub use chosen::{Chosen, model};

use super::readings::{in_log, log_of, open};
use super::{Failure, WhichLog, when, written};
use crate::calibrate::{History, Recorded};
use crate::config::Config;
use crate::log::query::Query;
use std::collections::BTreeMap;
use std::io::{self, BufWriter, Write};
use std::path::Path;
use std::process::ExitCode;

/// Arguments of `calibrations`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The probe's label; all of them where none is given
    probe: Option<String>,
    #[command(flatten)]
    which: WhichLog,
    /// Two of its calibrations side by side, each its number or `configured`
    #[arg(long, num_args = 2, value_names = ["ONE", "OTHER"], value_parser = Chosen::parse,
          requires = "probe", conflicts_with = "format")]
    compare: Option<Vec<Chosen>>,
    /// How they are written
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For people
    Text,
    /// Every step of the chain as the log keeps it, one JSON object a line
    Json,
}

/// Prints them.
///
/// # Errors
/// Where there is no such log, probe or calibration.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let (path, config) = log_of(&arguments.which)?;
    let query = open(&path)?;
    let steps = match &arguments.probe {
        Some(probe) => query.steps(probe),
        None => query.steps_of_all(),
    };
    let steps = steps.map_err(|error| in_log(&path, &error.to_string()))?;
    let mut out = BufWriter::new(io::stdout().lock());
    let printed = match (arguments.format, &arguments.compare) {
        (Format::Json, _) => export(&mut out, &steps),
        (Format::Text, compared) => {
            let probes = probes(arguments, &query, config.as_ref(), &path)?;
            let shown = Shown {
                histories: histories(&steps, probes),
                config,
            };
            out.write_all(shown.text(compared.as_deref())?.as_bytes())
        }
    };
    written(printed.and_then(|()| out.flush()))
}

/// What is printed for people.
struct Shown {
    histories: BTreeMap<String, History>,
    config: Option<Config>,
}

impl Shown {
    fn text(&self, compared: Option<&[Chosen]>) -> Result<String, Failure> {
        let zone = when::zone();
        let now_ms = when::now().as_millisecond();
        if let Some([one, other]) = compared {
            let one_probe = self.histories.iter().next();
            let compared = one_probe.map(|(probe, history)| {
                let conversion = |chosen: &Chosen| {
                    let config = self.config.as_ref();
                    chosen.conversion(probe, history, config)
                };
                table::compared(probe, &conversion(one)?, &conversion(other)?)
            });
            return compared.unwrap_or(Ok(String::new())).map_err(Failure::new);
        }
        let chains = self.histories.iter();
        let chains = chains.map(|(probe, history)| {
            let model = model(probe, self.config.as_ref());
            chain::text(probe, (history, model), now_ms, &zone)
        });
        Ok(chains.collect::<Vec<_>>().join("\n"))
    }
}

fn export(out: &mut impl Write, steps: &[Recorded]) -> io::Result<()> {
    for step in steps {
        let step = serde_json::to_string(step).map_err(io::Error::other)?;
        writeln!(out, "{step}")?;
    }
    Ok(())
}

/// The probes that are shown, calibrated or not.
fn probes(
    arguments: &Arguments,
    query: &Query,
    config: Option<&Config>,
    path: &Path,
) -> Result<Vec<String>, Failure> {
    let configured = config.into_iter().flat_map(|config| &config.probes);
    let mut known = query.probes();
    known.extend(configured.map(|probe| probe.name.clone()));
    let Some(wanted) = &arguments.probe else {
        return Ok(known);
    };
    if known.contains(wanted) {
        return Ok(vec![wanted.clone()]);
    }
    known.sort_unstable();
    known.dedup();
    let known = match known.as_slice() {
        [] => "there is none yet".to_owned(),
        known => format!("there is `{}`", known.join("`, `")),
    };
    Err(in_log(path, &format!("no probe `{wanted}`; {known}")))
}

fn histories(steps: &[Recorded], probes: Vec<String>) -> BTreeMap<String, History> {
    let mut histories = History::by_probe(steps);
    for probe in probes {
        histories.entry(probe).or_default();
    }
    histories
}
