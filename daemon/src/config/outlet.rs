//! `[outlet.NAME]`: where readings and alarms are sent.

use super::item::{Item, Value};
use super::line_protocol::{self, LineProtocol, LineProtocolFile};
use super::mqtt::{self, Mqtt};
use super::reader::Table;
use super::secret;
use std::path::Path;

/// `[outlet.NAME]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlet {
    /// The outlet's label; its cursors in the log go by it.
    pub name: String,
    /// Readings a second of backlog at most, so that what is new is not starved. Default 2000.
    pub backlog_rate: u32,
    /// What it is.
    pub kind: OutletKind,
}

/// What an outlet is.
#[derive(Clone, Debug, PartialEq)]
pub enum OutletKind {
    /// `kind = "mqtt"`.
    Mqtt(Mqtt),
    /// `kind = "line-protocol"`.
    LineProtocol(LineProtocol),
    /// `kind = "line-protocol-file"`.
    LineProtocolFile(LineProtocolFile),
}

#[derive(Clone, Copy)]
enum Kind {
    Mqtt,
    LineProtocol,
    LineProtocolFile,
}

const KINDS: &[(&str, Kind)] = &[
    ("mqtt", Kind::Mqtt),
    ("line-protocol", Kind::LineProtocol),
    ("line-protocol-file", Kind::LineProtocolFile),
];

const DEFAULT_BACKLOG_RATE: u32 = 2000;
const FASTEST_BACKLOG: u32 = 1_000_000;

/// An outlet as far as it could be read.
pub(super) struct Draft<'a> {
    /// Its table.
    pub(super) table: Table<'a>,
    /// The outlet, where it is right.
    pub(super) outlet: Value<Outlet>,
}

/// Reads every `[outlet.NAME]`.
pub(super) fn read_all<'a>(root: &Table<'a>, site: Option<&str>, base: &Path) -> Vec<Draft<'a>> {
    root.named("outlet", "outlet")
        .into_iter()
        .map(|(name, table)| {
            let outlet = read(name, &table, site, base);
            Draft { table, outlet }
        })
        .collect()
}

fn read(name: String, table: &Table<'_>, site: Option<&str>, base: &Path) -> Value<Outlet> {
    let kind = table.required("kind", "\"mqtt\"", kind);
    let rate = table.or("backlog_rate", DEFAULT_BACKLOG_RATE, |item| {
        item.whole(1..=FASTEST_BACKLOG)
    });
    // Without its kind nothing is known of the other keys.
    let kind = kind?;
    refuse_others(table, kind);
    let kind = match kind {
        Kind::Mqtt => mqtt::read(table, &name, site, base).map(OutletKind::Mqtt),
        Kind::LineProtocol => line_protocol::read(table, base).map(OutletKind::LineProtocol),
        Kind::LineProtocolFile => {
            line_protocol::read_file(table, base).map(OutletKind::LineProtocolFile)
        }
    };
    table.end();
    Some(Outlet {
        name,
        backlog_rate: rate?,
        kind: kind?,
    })
}

fn kind(item: &Item<'_>) -> Value<Kind> {
    let known = item
        .text_if_text()
        .filter(|word| KINDS.iter().all(|(kind, _)| kind != word));
    let Some(word) = known else {
        return item.choice_before(KINDS, LATER);
    };
    let names: Vec<&str> = KINDS.iter().map(|(word, _)| *word).collect();
    item.refuse(item.not_among(word, &names, WHAT_FOR.to_owned(), LATER))
}

const WHAT_FOR: &str = "write `mqtt` for a broker, `line-protocol` for a database that takes it over \
     HTTP, or `line-protocol-file` for a file";

/// What a wrong kind hides.
const LATER: &str = "; the outlet's other keys are looked at once the kind is known";

fn refuse_others(table: &Table<'_>, kind: Kind) {
    let http = "it goes with `kind = \"line-protocol\"`";
    let file = "it goes with `kind = \"line-protocol-file\"`";
    let lines = "it goes with `kind = \"line-protocol\"` and `\"line-protocol-file\"`";
    let broker = "it goes with `kind = \"mqtt\"`";
    match kind {
        Kind::Mqtt => {
            table.foreign(line_protocol::KEYS, http);
            table.foreign(line_protocol::FILE_KEYS, file);
            table.foreign(line_protocol::BOTH_KEYS, lines);
            table.foreign(&secret::TOKEN.all()[1..], http);
        }
        Kind::LineProtocol => {
            table.foreign(mqtt::KEYS, broker);
            table.foreign(line_protocol::FILE_KEYS, file);
        }
        Kind::LineProtocolFile => {
            table.foreign(mqtt::KEYS, broker);
            table.foreign(line_protocol::KEYS, http);
            table.foreign(&["user"], "a file needs none");
            table.foreign(&secret::PASSWORD.all(), "a file needs none");
            table.foreign(&secret::TOKEN.all(), "a file needs none");
        }
    }
}
