//! The configuration: one struct per table of the file, checked as a whole before anything starts.
//!
//! Configuration is a pure function of the text, and of what loaded drivers say of themselves:
//! [`parse`] opens nothing, and finds every fault at once. Only [`load`] touches files: that one, and
//! the tables of corrections and the drivers' libraries that it names.

mod absolute;
mod across;
mod alarm;
mod board;
mod channel;
mod clock;
mod corrections;
mod drivers;
mod files;
mod filter;
mod format;
mod hint;
mod item;
mod libraries;
mod line_protocol;
mod load;
mod log;
mod mqtt;
mod name;
mod number;
mod outlet;
mod parameters;
mod probe;
mod problem;
mod quantity;
mod reader;
mod remark;
mod resistor;
mod scene;
mod secret;
mod sensing;
mod similar;
mod source;
mod syntax;
#[cfg(test)]
mod tests;
mod tls;
mod topic;
mod topics;
mod trust;
pub mod unit;
mod words;

pub use board::Board;
pub use channel::{Channel, RESISTOR_TOLERANCE};
pub use clock::Clock;
pub use libraries::{Libraries, Library, libraries};
pub use line_protocol::{LineProtocol, LineProtocolFile, Write};
pub use load::{LoadError, load, parse_with_files, read_text};
pub use log::Log;
pub use mqtt::{Mqtt, MqttVersion, Payload};
pub use outlet::{Outlet, OutletKind};
pub use parameters::parameters;
pub use probe::Probe;
pub use problem::{InFile, Problem, Severity};
pub(crate) use quantity::{duration as read_duration, read as read_quantity};
pub use remark::{Remark, remarks};
pub use resistor::{is_assumed, working_range};
pub use scene::{Scene, SimulatedChannel};
pub use secret::Secret;
pub use source::{
    BoardTime, Bridge, PolledFile, PolledFiles, Program, Scaling, Source, Subscription, TimeUnit,
};
pub use tls::{ClientCertificate, Tls};
pub use topic::Template;
pub use trust::Trust;

pub(crate) use item::Item;
pub(crate) use problem::Fault;
pub(crate) use quantity::Kind;
pub(crate) use reader::Table;

use across::Drafts;
use board::ProbeUnit;
use drivers::{Drivers, Wanted};
use files::Files;
use problem::Report;
use std::path::Path;
use toml::de::DeTable;
use unit::Unit;

/// A whole, checked configuration.
#[derive(Clone, Debug, PartialEq)]
pub struct Config {
    /// The place, first part of every topic: `cellar`.
    pub site: String,
    /// The `[log]` table.
    pub log: Log,
    /// `[board.NAME]` tables, in the order of the file.
    pub boards: Vec<Board>,
    /// `[probe.NAME]` tables, in the order of the file.
    pub probes: Vec<Probe>,
    /// `[outlet.NAME]` tables, in the order of the file.
    pub outlets: Vec<Outlet>,
}

/// Reads a configuration text. Relative paths in it are relative to `base`.
///
/// The configuration is there exactly where no problem is an error; warnings may stand beside it.
/// Problems come in the order of the text. A table of corrections in a file of its own is not read
/// here, nor is a driver's library, so they are problems: [`load`] reads them.
#[must_use]
pub fn parse(text: &str, base: &Path) -> (Option<Config>, Vec<Problem>) {
    let unread = |_: &Path| Err(std::io::Error::other("no file is read here"));
    parse_with(text, &Files::new(base, &unread), &Drivers::default())
}

/// What `look` sees in a text; its faults are not told here.
fn glance<T>(text: &str, look: impl FnOnce(&Table<'_>) -> T) -> T {
    let (readable, _) = syntax::readable(text);
    let (document, _) = DeTable::parse_recoverable(&readable);
    let report = Report::new(text);
    let root = Table::new(&report, String::new(), 0..0, document.get_ref());
    look(&root)
}

/// The drivers' libraries that a text names.
fn wanted(text: &str, base: &Path) -> Vec<Wanted> {
    glance(text, |root| drivers::wanted(root, base))
}

/// As [`parse`], with the files and drivers that the text names.
fn parse_with(text: &str, files: &Files<'_>, drivers: &Drivers) -> (Option<Config>, Vec<Problem>) {
    document(text, |root| read(root, files, drivers))
}

/// Reads any TOML text as the configuration is read: every fault of the text, and of what `read` finds
/// in its top table, at once and in order; something comes of it where none is an error.
pub(crate) fn document<T>(
    text: &str,
    read: impl FnOnce(&Table<'_>) -> Option<T>,
) -> (Option<T>, Vec<Problem>) {
    let (readable, errors) = syntax::readable(text);
    let (document, _) = DeTable::parse_recoverable(&readable);
    let syntax = Report::new(text);
    let broken = syntax::report(&syntax, text, &errors);
    let report = Report::new(text);
    let root = Table::new(&report, String::new(), 0..0, document.get_ref());
    let value = read(&root);
    let mut problems = syntax.into_problems();
    let ours = report.into_problems().into_iter();
    problems.extend(ours.filter(|problem| !broken.explains(problem)));
    problems.sort_by_key(|problem| (problem.line, problem.column));
    let faulty = problems.iter().any(Problem::is_error);
    (value.filter(|_| !faulty), problems)
}

/// A duration as the configuration writes it: `90s`, `1.5h`, `2m30s`, `1d`.
///
/// # Errors
/// What is wrong with it, and what would be right.
pub fn duration(text: &str) -> Result<std::time::Duration, String> {
    quantity::duration(text).map_err(|fault| format!("{}; {}", fault.what, fault.right))
}

fn read(root: &Table<'_>, files: &Files<'_>, drivers: &Drivers) -> Option<Config> {
    let base = files.base();
    let site = root.required("site", "\"cellar\"", Item::name);
    let log = log::read(root, base);
    let boards = board::read_all(root, site.as_deref(), files);
    drivers::read(root, base, drivers);
    let probes = probe::read_all(root, &boards, drivers);
    let outlets = outlet::read_all(root, site.as_deref(), base);
    root.end();
    across::check_drafts(&Drafts {
        boards: &boards,
        probes: &probes,
        outlets: &outlets,
    });
    let finished: Vec<Option<Board>> = boards
        .iter()
        .map(|board| board.finish(|channel| unit_on(&probes, &board.name, channel)))
        .collect();
    let config = Config {
        site: site?,
        log: log?,
        boards: finished.into_iter().collect::<Option<_>>()?,
        probes: probes
            .iter()
            .map(|draft| draft.probe.clone())
            .collect::<Option<_>>()?,
        outlets: outlets
            .iter()
            .map(|draft| draft.outlet.clone())
            .collect::<Option<_>>()?,
    };
    across::check_whole(
        &config,
        &Drafts {
            boards: &boards,
            probes: &probes,
            outlets: &outlets,
        },
    );
    Some(config)
}

/// What is known of the unit of the probe on a channel.
fn unit_on(probes: &[probe::Draft<'_>], board: &str, channel: &str) -> ProbeUnit {
    let mut doubtful = false;
    for probe in probes {
        match (&probe.wired_to, &probe.unit) {
            (Some((on, at)), unit) if on == board && at == channel => {
                return unit
                    .as_deref()
                    .map_or(ProbeUnit::Unknown, |unit| ProbeUnit::Known(Unit::of(unit)));
            }
            (Some(_), _) => {}
            (None, _) => doubtful = true,
        }
    }
    if doubtful {
        ProbeUnit::Unknown
    } else {
        ProbeUnit::NoProbe
    }
}
