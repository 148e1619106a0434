//! `[outlet.NAME]` with `kind = "mqtt"`.

use super::item::{Item, Value};
use super::problem::Fault;
use super::reader::Table;
use super::secret::{self, Secret};
use super::tls::{self, Tls};
use super::topic::{self, Template};
use std::ops::RangeInclusive;
use std::path::Path;
use std::time::Duration;

/// An MQTT broker.
#[derive(Clone, Debug, PartialEq)]
pub struct Mqtt {
    /// Which version of the protocol is spoken. Default 3.1.1.
    pub version: MqttVersion,
    /// Host name or address.
    pub host: String,
    /// Port, default 1883, with TLS 8883 (both registered for MQTT with IANA).
    pub port: u16,
    /// Encryption; none by default.
    pub tls: Option<Tls>,
    /// Client identifier; default `nightbench-SITE-OUTLET`.
    pub client_id: String,
    /// User, where the broker asks for one.
    pub user: Option<String>,
    /// Where the password comes from.
    pub password: Option<Secret>,
    /// 0 (lossy) or 1 (default).
    pub qos: u8,
    /// Topic of live readings, retained. `{site}`, `{board}`, `{probe}` are filled in.
    pub topic: Template,
    /// Topic of readings sent late, not retained.
    pub backlog_topic: Template,
    /// Topic of an alarm's state, retained; `{alarm}` is filled in as well.
    pub alarm_topic: Template,
    /// Topic of `online` and `offline`, retained; only `{site}` is filled in.
    pub status_topic: Template,
    /// What a message holds.
    pub payload: Payload,
    /// Whether one message holds all readings of one board's line; topics then know no `{probe}`.
    pub per_line: bool,
    /// Messages under way at most. Default 100.
    pub window: u16,
    /// Keep-alive, 1 s (version 5: 5 s) to 65535 s, default 15 s.
    pub keep_alive: Duration,
    /// How long a live reading is of use, whole seconds: the broker forgets it then, retained or
    /// waiting for a subscriber. Only with version 5; for ever by default.
    pub expiry: Option<Duration>,
}

/// A version of the protocol.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MqttVersion {
    /// MQTT 3.1.1 (OASIS 2014, ISO/IEC 20922).
    V3,
    /// MQTT 5.0 (OASIS 2019).
    V5,
}

impl MqttVersion {
    /// As it stands in the configuration and in messages.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::V3 => "3.1.1",
            Self::V5 => "5",
        }
    }
}

/// What an MQTT message holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Payload {
    /// An object with value, unit, uncertainty, quality, time and sequence number.
    Json,
    /// A SenML pack (RFC 8428).
    Senml,
    /// The number alone; empty where there is none.
    Plain,
}

const PAYLOADS: &[(&str, Payload)] = &[
    ("json", Payload::Json),
    ("senml", Payload::Senml),
    ("plain", Payload::Plain),
];

/// Whether a message holds a whole line.
const MESSAGE_PER: &[(&str, bool)] = &[("reading", false), ("line", true)];

const VERSIONS: &[(&str, MqttVersion)] = &[("3.1.1", MqttVersion::V3), ("5", MqttVersion::V5)];

const DEFAULT_PORT: u16 = 1883;
const DEFAULT_TLS_PORT: u16 = 8883;
const DEFAULT_WINDOW: u16 = 100;

/// Under a second the client library stops the program; the protocol counts seconds in 16 bits
/// (MQTT 3.1.1, 3.1.2.10).
const KEEP_ALIVE: RangeInclusive<Duration> = Duration::from_secs(1)..=Duration::from_secs(65_535);
/// The client library's shortest with version 5.
const SHORTEST_KEEP_ALIVE_V5: Duration = Duration::from_secs(5);
const DEFAULT_KEEP_ALIVE: Duration = Duration::from_secs(15);

/// MQTT 5.0, 3.3.2.3.3: whole seconds in four bytes.
const EXPIRY: RangeInclusive<Duration> =
    Duration::from_secs(1)..=Duration::from_secs(u32::MAX as u64);

/// Longest client identifier, bytes (MQTT 3.1.1, 1.5.3).
const LONGEST_CLIENT_ID: usize = 65_535;

struct Topics {
    live: Value<Template>,
    backlog: Value<Template>,
    alarm: Value<Template>,
    status: Value<Template>,
}

/// Reads the keys of an MQTT outlet.
pub(super) fn read(
    table: &Table<'_>,
    outlet: &str,
    site: Option<&str>,
    base: &Path,
) -> Value<Mqtt> {
    let version = table.or("version", MqttVersion::V3, |item| item.choice(VERSIONS));
    let host = table.required("host", "\"127.0.0.1\"", host);
    let tls = tls::read(table, base);
    let default_port = if matches!(tls, Some(Some(_))) {
        DEFAULT_TLS_PORT
    } else {
        DEFAULT_PORT
    };
    let port = table.or("port", default_port, |item| item.whole(1..=u16::MAX));
    let default_id = format!("nightbench-{}-{outlet}", site.unwrap_or_default());
    let client_id = table.or("client_id", default_id, client_id);
    let user = table.optional("user", |item| item.filled().map(str::to_owned));
    let password = secret::read(table, &secret::PASSWORD, base);
    let qos = table.or("qos", 1, qos);
    let window = table.or("window", DEFAULT_WINDOW, |item| item.whole(1..=u16::MAX));
    let keep_alive = keep_alive(table);
    let expiry = table.optional("expiry", |item| item.duration(EXPIRY));
    let per_line = table.or("message_per", false, |item| item.choice(MESSAGE_PER));
    let payload = table.or("payload", Payload::Json, |item| payload(item, per_line));
    let topics = topics(table, per_line);
    let version = version?;
    check_user(table, user.as_ref(), password.as_ref())?;
    check_version(table, version, keep_alive)?;
    check_name(table, host.as_deref(), tls.as_ref())?;
    Some(Mqtt {
        version,
        host: host?,
        port: port?,
        tls: tls?,
        client_id: client_id?,
        user: user?,
        password: password?,
        qos: qos?,
        topic: topics.live?,
        backlog_topic: topics.backlog?,
        alarm_topic: topics.alarm?,
        status_topic: topics.status?,
        payload: payload?,
        per_line: per_line?,
        window: window?,
        keep_alive: keep_alive?,
        expiry: expiry?,
    })
}

/// Every key that only MQTT outlets have.
pub(super) const KEYS: &[&str] = &[
    "version",
    "host",
    "port",
    "tls",
    "ca_file",
    "client_certificate_file",
    "client_key_file",
    "client_id",
    "qos",
    "topic",
    "backlog_topic",
    "alarm_topic",
    "status_topic",
    "payload",
    "message_per",
    "window",
    "keep_alive",
    "expiry",
];

fn topics(table: &Table<'_>, per_line: Value<bool>) -> Topics {
    let default = |text: &str| Template(text.to_owned());
    let (live, backlog, places): (_, _, &[&str]) = if per_line == Some(true) {
        (
            "{site}/{board}/line",
            "{site}/{board}/late",
            &["site", "board"],
        )
    } else {
        (
            "{site}/{probe}/reading",
            "{site}/{probe}/late",
            &["site", "board", "probe"],
        )
    };
    let read = |key, text, places| table.or(key, default(text), |item| topic::read(item, places));
    Topics {
        live: read("topic", live, places),
        backlog: read("backlog_topic", backlog, places),
        alarm: read(
            "alarm_topic",
            "{site}/{probe}/alarm/{alarm}",
            &["site", "board", "probe", "alarm"],
        ),
        status: read("status_topic", "{site}/status", &["site"]),
    }
}

/// `keep_alive`.
pub(super) fn keep_alive(table: &Table<'_>) -> Value<Duration> {
    table.or("keep_alive", DEFAULT_KEEP_ALIVE, |item| {
        item.duration(KEEP_ALIVE)
    })
}

/// A host name or address, without anything around it.
pub(super) fn host(item: &Item<'_>) -> Value<String> {
    let host = item.filled()?;
    if let Some(address) = Address::of(host) {
        return address.refuse(item);
    }
    if host.contains(|c: char| c.is_whitespace() || c.is_control() || c == '/') {
        let what = format!("`{}` is no host", host.escape_debug());
        return item.refuse(Fault::new(what, "write a host name or an IP address"));
    }
    Some(host.to_owned())
}

/// What somebody wrote where only a host belongs.
struct Address<'a> {
    written: &'a str,
    /// Whether there is a user, and perhaps a password, in it.
    has_user: bool,
    host: &'a str,
    port: Option<u16>,
}

impl<'a> Address<'a> {
    /// `None` for a host, and for an IPv6 address, whose colons are its own.
    fn of(written: &'a str) -> Option<Self> {
        let (rest, schemed) = match written.split_once("://") {
            Some((_, rest)) => (rest, true),
            None => (written, false),
        };
        let ends_at = rest.find(['/', '?']).unwrap_or(rest.len());
        let rest = &rest[..ends_at];
        let (has_user, rest) = match rest.rsplit_once('@') {
            Some((_, rest)) => (true, rest),
            None => (false, rest),
        };
        if !schemed && !has_user && (is_ipv6(rest) || !rest.contains(':')) {
            return None;
        }
        let (host, port) = match rest.rsplit_once(':') {
            Some((host, port)) if !is_ipv6(rest) => (host, port.parse().ok()),
            _ => (rest, None),
        };
        let host = host.trim_start_matches('[').trim_end_matches(']');
        Some(Self {
            written,
            has_user,
            host,
            port,
        })
    }

    fn refuse<T>(&self, item: &Item<'_>) -> Value<T> {
        let host = match self.host {
            "" => "127.0.0.1",
            host => host,
        };
        let port = match self.port {
            Some(port) if port > 0 => format!(" and `port = {port}`"),
            _ => String::new(),
        };
        let right = format!("write `host = \"{host}\"`{port}");
        if self.has_user {
            let right = format!("{right}, and `user` and `password_file` as keys of their own");
            item.refuse_secret(Fault::new("a host holds no user and no password", right));
            return None;
        }
        let what = format!("`{}` is an address, but a host is wanted", self.written);
        item.refuse(Fault::new(what, right))
    }
}

/// An address, also one with its zone: `fe80::1%eth0`.
fn is_ipv6(text: &str) -> bool {
    let address = text.split('%').next().unwrap_or(text);
    address.parse::<std::net::Ipv6Addr>().is_ok()
}

/// A client identifier.
pub(super) fn client_id(item: &Item<'_>) -> Value<String> {
    let id = item.filled()?;
    if id.contains('\0') || id.len() > LONGEST_CLIENT_ID {
        return item.refuse(Fault::new(
            "this client identifier holds NUL, or has more than 65535 bytes",
            "write a short one, or remove the line",
        ));
    }
    Some(id.to_owned())
}

fn qos(item: &Item<'_>) -> Value<u8> {
    match item.whole(0..=2)? {
        2 => item.refuse(Fault::new(
            "quality of service 2 is not supported",
            "write `qos = 1`: a message that comes twice carries the same sequence number",
        )),
        0 => {
            item.warn(Fault::new(
                "with quality of service 0 nobody notices a lost message",
                "write `qos = 1`, unless the readings are only to be looked at",
            ));
            Some(0)
        }
        qos => Some(qos),
    }
}

fn payload(item: &Item<'_>, per_line: Value<bool>) -> Value<Payload> {
    let payload = item.choice(PAYLOADS)?;
    if payload == Payload::Plain && per_line == Some(true) {
        return item.refuse(Fault::new(
            "a plain number cannot hold a whole line",
            "write `payload = \"json\"`, or `message_per = \"reading\"`",
        ));
    }
    Some(payload)
}

/// A password goes with a user.
pub(super) fn check_user(
    table: &Table<'_>,
    user: Option<&Option<String>>,
    password: Option<&Option<Secret>>,
) -> Value<()> {
    if let (Some(None), Some(Some(_))) = (user, password) {
        let what = "there is a password, but no `user`";
        table.error(Fault::new(
            what,
            "MQTT 3.1.1 takes no password without a user; add one",
        ));
        return None;
    }
    Some(())
}

fn check_version(
    table: &Table<'_>,
    version: MqttVersion,
    keep_alive: Value<Duration>,
) -> Value<()> {
    if version == MqttVersion::V3 {
        table.foreign(&["expiry"], "it goes with `version = \"5\"`");
    } else if keep_alive.is_some_and(|time| time < SHORTEST_KEEP_ALIVE_V5)
        && let Some(item) = table.item("keep_alive")
    {
        return item.refuse(Fault::new(
            "with version 5 `keep_alive` is at least 5s",
            "write `keep_alive = \"5s\"`, or remove the line",
        ));
    }
    Some(())
}

/// The client library writes address and port as one text, and takes the certificate's name from
/// the same: the brackets that an IPv6 address needs there are in no certificate.
fn check_name(table: &Table<'_>, host: Option<&str>, tls: Option<&Option<Tls>>) -> Value<()> {
    if let (Some(host), Some(Some(_))) = (host, tls)
        && host.contains(':')
        && let Some(item) = table.item("host")
    {
        return item.refuse(Fault::new(
            format!(
                "`{host}` is an IPv6 address, which cannot be checked against a certificate here"
            ),
            "write the name that the broker's certificate is made out to",
        ));
    }
    Some(())
}
