//! `source = "mqtt"`: a board that publishes its lines to a topic.

use super::super::filter;
use super::super::format::check_field;
use super::super::item::Value;
use super::super::mqtt::{check_user, client_id, host, keep_alive};
use super::super::reader::Table;
use super::super::secret::{self, Secret};
use super::Around;
use crate::measure::decode::Format;
use std::time::Duration;

/// What is subscribed to, and where. MQTT 3.1.1.
#[derive(Clone, Debug, PartialEq)]
pub struct Subscription {
    /// Host name or address of the broker.
    pub host: String,
    /// Its port, default 1883.
    pub port: u16,
    /// Client identifier; default `nightbench-SITE-board-BOARD`.
    pub client_id: String,
    /// User, where the broker asks for one.
    pub user: Option<String>,
    /// Where the password comes from.
    pub password: Option<Secret>,
    /// Topic filter; `+` and `#` as in clause 4.7.1.
    pub topic: String,
    /// Keep-alive, 1 s to 65535 s, default 15 s.
    pub keep_alive: Duration,
    /// The board's own time, where its lines carry one.
    pub time: Option<BoardTime>,
}

/// Where a line says when it was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct BoardTime {
    /// The field that holds the time, since 1970-01-01T00:00:00Z without leap seconds (Unix time).
    pub field: String,
    /// What it counts.
    pub unit: TimeUnit,
    /// How the board's lines are written.
    pub format: Format,
    /// How far before its line's arrival a time may lie and still be believed: 5 s, or half of the
    /// board's `silent_after` where that is less, so that a line in time never looks silent.
    pub within: Duration,
}

/// What a time counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeUnit {
    /// Milliseconds.
    Millisecond,
    /// Seconds; decimals are milliseconds.
    Second,
}

const UNITS: &[(&str, TimeUnit)] = &[("ms", TimeUnit::Millisecond), ("s", TimeUnit::Second)];

const DEFAULT_PORT: u16 = 1883;

/// Boards that set their clocks by the network are right within a second; a message takes another.
const BELIEVED_WITHIN: Duration = Duration::from_secs(5);

pub(super) fn read(table: &Table<'_>, around: &Around<'_>) -> Value<Subscription> {
    let host = table.required("host", "\"127.0.0.1\"", host);
    let port = table.or("port", DEFAULT_PORT, |item| item.whole(1..=u16::MAX));
    let site = around.site.unwrap_or_default();
    let default_id = format!("nightbench-{site}-board-{}", around.board);
    let client_id = table.or("client_id", default_id, client_id);
    let user = table.optional("user", |item| item.filled().map(str::to_owned));
    let password = secret::read(table, &secret::PASSWORD, around.base);
    let topic = table.required("topic", "\"boards/attic/line\"", filter::read);
    let keep_alive = keep_alive(table);
    let time = time(table, around);
    check_user(table, user.as_ref(), password.as_ref())?;
    Some(Subscription {
        host: host?,
        port: port?,
        client_id: client_id?,
        user: user?,
        password: password?,
        topic: topic?,
        keep_alive: keep_alive?,
        time: time?,
    })
}

fn time(table: &Table<'_>, around: &Around<'_>) -> Value<Option<BoardTime>> {
    let Some(item) = table.item("time_field") else {
        table.foreign(&["time_unit"], "it goes with `time_field`");
        return Some(None);
    };
    let unit = table.or("time_unit", TimeUnit::Millisecond, |item| {
        item.choice(UNITS)
    });
    let field = item.filled()?;
    let format = around.format?;
    item.accept(check_field(format, Some(&item), field))?;
    Some(Some(BoardTime {
        field: field.to_owned(),
        unit: unit?,
        format: format.clone(),
        within: BELIEVED_WITHIN.min(around.silent_after? / 2),
    }))
}
