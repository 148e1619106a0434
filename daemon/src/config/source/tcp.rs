//! `source = "tcp"`: a serial port behind a network bridge.

use super::super::item::Value;
use super::super::mqtt::host;
use super::super::reader::Table;
use super::Around;
use std::time::Duration;

/// A bridge that passes a serial port's bytes on as they are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bridge {
    /// Host name or address.
    pub host: String,
    /// TCP port, 1 to 65535.
    pub port: u16,
    /// After how long without a byte the connection counts as dead: three times the board's
    /// `silent_after`.
    pub silence: Duration,
}

/// How many times `silent_after` a connection may be without a byte: the board is told silent
/// first, and a slow one is not cut off for being late once.
const SILENCES: u32 = 3;

pub(super) fn read(table: &Table<'_>, around: &Around<'_>) -> Value<Bridge> {
    let host = table.required("host", "\"192.168.1.20\"", host);
    let port = table.required("port", "2000", |item| item.whole(1..=u16::MAX));
    Some(Bridge {
        host: host?,
        port: port?,
        silence: around.silent_after? * SILENCES,
    })
}
