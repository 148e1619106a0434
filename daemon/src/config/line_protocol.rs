//! `[outlet.NAME]` with `kind = "line-protocol"` or `"line-protocol-file"`.

use super::item::{Item, Value};
use super::problem::Fault;
use super::reader::Table;
use super::secret::{self, Secret};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A database that takes line protocol over HTTP.
#[derive(Clone, Debug, PartialEq)]
pub struct LineProtocol {
    /// `http://host:port`, with a path prefix where needed; no query.
    pub url: String,
    /// Which of the two write interfaces, and its names.
    pub write: Write,
    /// Where the token comes from.
    pub token: Option<Secret>,
    /// User for the first interface.
    pub user: Option<String>,
    /// Its password.
    pub password: Option<Secret>,
    /// Measurement (table) name. Default `reading`.
    pub measurement: String,
    /// Readings in one request at most, 1 to 100000. Default 2000.
    pub batch: usize,
    /// Whether requests are compressed. Default true.
    pub gzip: bool,
    /// How long to wait for an answer, 100 ms to 10 min. Default 10 s.
    pub timeout: Duration,
    /// Least time between two requests with live readings, up to 10 min: one request with many
    /// readings costs both sides less than many with one. Default 1 s.
    pub every: Duration,
}

/// The two write interfaces.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Write {
    /// `/write?db=`.
    V1 {
        /// Database.
        database: String,
    },
    /// `/api/v2/write?org=&bucket=`.
    V2 {
        /// Organisation.
        org: String,
        /// Bucket.
        bucket: String,
    },
}

/// Line protocol into a file that rotates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineProtocolFile {
    /// The file; older ones get `.1`, `.2`, …
    pub path: PathBuf,
    /// Measurement (table) name. Default `reading`.
    pub measurement: String,
    /// Size at which it rotates, bytes, from 4 KiB. Default 10 MiB.
    pub rotate_at: u64,
    /// How many older files are kept, 1000 at most. Default 5.
    pub keep: u32,
    /// Least time between two writes of live readings, up to 10 min: each is synced to the card.
    /// Default 2 s.
    pub every: Duration,
}

const BATCH: RangeInclusive<usize> = 1..=100_000;
const DEFAULT_BATCH: usize = 2000;
const TIMEOUT: RangeInclusive<Duration> = Duration::from_millis(100)..=Duration::from_secs(600);
const DEFAULT_TIMEOUT: Duration = Duration::from_secs(10);
/// How often live readings are sent at most; 0 for at once.
const EVERY: RangeInclusive<Duration> = Duration::ZERO..=Duration::from_secs(600);
const DEFAULT_EVERY: Duration = Duration::from_secs(1);
const DEFAULT_FILE_EVERY: Duration = Duration::from_secs(2);
/// From a block of a disk to a tebibyte.
const ROTATE_AT: RangeInclusive<u64> = 4096..=1 << 40;
const DEFAULT_ROTATE_AT: u64 = 10 << 20;
const KEEP: RangeInclusive<u32> = 0..=1000;
const DEFAULT_KEEP: u32 = 5;
const DEFAULT_MEASUREMENT: &str = "reading";

/// Every key that only the outlet over HTTP has.
pub(super) const KEYS: &[&str] = &[
    "url", "database", "org", "bucket", "batch", "gzip", "timeout",
];

/// Every key that both have, and no other kind.
pub(super) const BOTH_KEYS: &[&str] = &["every"];

/// Every key that only the outlet into a file has.
pub(super) const FILE_KEYS: &[&str] = &["path", "rotate_at", "keep"];

/// Reads the keys of an outlet over HTTP.
pub(super) fn read(table: &Table<'_>, base: &Path) -> Value<LineProtocol> {
    let url = table.required("url", "\"http://127.0.0.1:8086\"", url);
    let token = secret::read(table, &secret::TOKEN, base);
    let user = table.optional("user", |item| item.filled().map(str::to_owned));
    let password = secret::read(table, &secret::PASSWORD, base);
    let write = write(table);
    if let Some(Write::V2 { .. }) = write {
        table.foreign(
            &["user", "password_file", "password_env"],
            "it goes with `database`; with `org` and `bucket` a token is used",
        );
    }
    let measurement = measurement(table);
    let batch = table.or("batch", DEFAULT_BATCH, |item| item.whole(BATCH));
    let gzip = table.or("gzip", true, Item::flag);
    let timeout = table.or("timeout", DEFAULT_TIMEOUT, |item| item.duration(TIMEOUT));
    let every = table.or("every", DEFAULT_EVERY, |item| item.duration(EVERY));
    check_credentials(table, token.as_ref(), user.as_ref(), password.as_ref())?;
    Some(LineProtocol {
        url: url?,
        write: write?,
        token: token?,
        user: user?,
        password: password?,
        measurement: measurement?,
        batch: batch?,
        gzip: gzip?,
        timeout: timeout?,
        every: every?,
    })
}

/// Reads the keys of an outlet into a file.
pub(super) fn read_file(table: &Table<'_>, base: &Path) -> Value<LineProtocolFile> {
    let path = table.required("path", "\"night.lp\"", |item| item.path(base));
    let measurement = measurement(table);
    let rotate_at = table.or("rotate_at", DEFAULT_ROTATE_AT, |item| item.size(ROTATE_AT));
    let keep = table.or("keep", DEFAULT_KEEP, |item| item.whole(KEEP));
    let every = table.or("every", DEFAULT_FILE_EVERY, |item| item.duration(EVERY));
    Some(LineProtocolFile {
        path: path?,
        measurement: measurement?,
        rotate_at: rotate_at?,
        keep: keep?,
        every: every?,
    })
}

fn measurement(table: &Table<'_>) -> Value<String> {
    table.or("measurement", DEFAULT_MEASUREMENT.to_owned(), Item::name)
}

/// `http` or `https`, a host, and nothing that a write would have to fight with.
fn url(item: &Item<'_>) -> Value<String> {
    let example = "url = \"http://127.0.0.1:8086\"";
    if item.text_if_text().is_none() {
        return item.mistyped("an address in quotes", example);
    }
    let text = item.filled()?;
    let example = format!("write it as `{example}`");
    let url = match reqwest::Url::parse(text) {
        Ok(url) => url,
        Err(error) => {
            return item.refuse(Fault::new(format!("this is no address: {error}"), example));
        }
    };
    if !url.username().is_empty() || url.password().is_some() {
        item.refuse_secret(Fault::new(
            "an address in the configuration holds no user and no password",
            "write `user` and `password_file` as keys of their own",
        ));
        return None;
    }
    if !matches!(url.scheme(), "http" | "https") {
        let what = format!("an address with `{}` cannot be written to", url.scheme());
        return item.refuse(Fault::new(what, example));
    }
    if url.query().is_some() || url.fragment().is_some() {
        let what = "the address holds more than host, port and path";
        return item.refuse(Fault::new(what, "remove what begins with `?` or `#`"));
    }
    Some(text.to_owned())
}

fn write(table: &Table<'_>) -> Value<Write> {
    let text = |item: &Item<'_>| item.filled().map(str::to_owned);
    let database = table.optional("database", text);
    let org = table.optional("org", text);
    let bucket = table.optional("bucket", text);
    match (database?, org?, bucket?) {
        (Some(database), None, None) => Some(Write::V1 { database }),
        (None, Some(org), Some(bucket)) => Some(Write::V2 { org, bucket }),
        (None, None, None) => refuse_write(table, "it does not say where to write"),
        (None, Some(_), None) => refuse_write(table, "there is `org`, but no `bucket`"),
        (None, None, Some(_)) => refuse_write(table, "there is `bucket`, but no `org`"),
        (Some(_), ..) => refuse_write(table, "`database` goes with neither `org` nor `bucket`"),
    }
}

fn refuse_write<T>(table: &Table<'_>, what: &str) -> Value<T> {
    let right =
        "write `database = \"night\"` for `/write`, or `org` and `bucket` for `/api/v2/write`";
    table.error(Fault::new(what, right));
    None
}

fn check_credentials(
    table: &Table<'_>,
    token: Option<&Option<Secret>>,
    user: Option<&Option<String>>,
    password: Option<&Option<Secret>>,
) -> Value<()> {
    let what = match (token, user, password) {
        (Some(Some(_)), Some(Some(_)), _) => "there is both a token and a user",
        (_, Some(None), Some(Some(_))) => "there is a password, but no `user`",
        (_, Some(Some(_)), Some(None)) => "there is a `user`, but no password",
        _ => return Some(()),
    };
    table.error(Fault::new(what, "write a token, or a user and a password"));
    None
}
