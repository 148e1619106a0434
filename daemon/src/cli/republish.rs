//! `nightbench republish`: sends the log's readings of some time to an outlet once more, for a
//! broker that lost its memory.
//!
//! It is a guest beside a running service: it reads the log only, connects under a name of its own,
//! and moves no cursor. It sends readings, never as live ones; alarm states are told anew by the
//! service itself at each connect.

use super::{Failure, when, written};
use crate::config::{self, Config, Mqtt, Outlet, OutletKind};
use crate::log::query::{Query, Stretch};
use crate::outlet::line_protocol::LineProtocolReceiver;
use crate::outlet::mqtt::MqttReceiver;
use crate::outlet::{Parcel, Receipt, Receiver, Trouble};
use crate::reading::Reading;
use jiff::Timestamp;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;
use tokio::time::{Instant, sleep, sleep_until};

/// Tries in a row before it is given up: half a minute, in which a broker can be started again.
const TRIES: u32 = 7;
/// First wait between them; it doubles.
const FIRST_WAIT: Duration = Duration::from_millis(500);
/// How often is told how far it has come.
const TELL_EVERY: Duration = Duration::from_secs(2);
/// Refusals that are told one by one; the rest is counted.
const REFUSALS_TOLD: u64 = 5;

/// Arguments of `republish`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The outlet's label
    outlet: String,
    /// First moment: 2026-11-25T02:14:07+01:00, "2026-11-25 02:14" (local time) or -8h
    #[arg(long, value_name = "MOMENT", allow_hyphen_values = true)]
    from: String,
    /// Up to this moment, not with it
    #[arg(long, value_name = "MOMENT", allow_hyphen_values = true)]
    to: String,
    /// The configuration that names the log and the outlet
    #[arg(long, value_name = "FILE")]
    config: PathBuf,
}

/// Sends the readings; prints how many were taken.
///
/// # Errors
/// Where there is no such outlet, log or moment, or the receiver does not take all of them.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let times_ms = times(arguments)?;
    let loaded = config::load(&arguments.config);
    let (config, _) = loaded.map_err(|error| Failure::new(error.to_string()))?;
    let outlet = outlet(&config, &arguments.outlet)?;
    let query = open(&config)?;
    let stretch = query.stretch(times_ms).map_err(in_log)?;
    let Some(stretch) = stretch else {
        tracing::warn!("the log holds no reading between these moments; nothing was sent");
        println!("0");
        return Ok(ExitCode::SUCCESS);
    };
    let run = Run::new(outlet, query, stretch);
    let site = config.site.clone();
    let ended = super::runtime()?.block_on(async {
        match &outlet.kind {
            OutletKind::Mqtt(settings) => {
                run.send(MqttReceiver::guest(site, settings.clone())).await
            }
            OutletKind::LineProtocol(settings) => {
                run.send(LineProtocolReceiver::new(site, settings.clone()))
                    .await
            }
            OutletKind::LineProtocolFile(_) => Err(a_file(&outlet.name)),
        }
    });
    let done = ended?;
    let taken = done.sent - done.refused;
    written(writeln!(std::io::stdout().lock(), "{taken}"))?;
    match done.refused {
        0 => Ok(ExitCode::SUCCESS),
        refused => Err(Failure::new(format!(
            "outlet `{}`: {refused} of {} readings were refused for good",
            outlet.name, done.sent
        ))),
    }
}

fn times(arguments: &Arguments) -> Result<(i64, i64), Failure> {
    let (zone, now) = (when::zone(), when::now());
    let moment = |text: &str| when::parse(text, now, &zone).map(Timestamp::as_millisecond);
    let (from, to) = (moment(&arguments.from)?, moment(&arguments.to)?);
    if from >= to {
        return Err(Failure::new(
            "`--from` is not before `--to`; exchange them, or write an earlier `--from`",
        ));
    }
    Ok((from, to))
}

fn outlet<'a>(config: &'a Config, name: &str) -> Result<&'a Outlet, Failure> {
    let found = config.outlets.iter().find(|outlet| outlet.name == name);
    found.ok_or_else(|| {
        let names: Vec<&str> = config.outlets.iter().map(|it| it.name.as_str()).collect();
        let there = match names.as_slice() {
            [] => "the configuration has none".to_owned(),
            names => format!("there is `{}`", names.join("`, `")),
        };
        Failure::new(format!("no outlet `{name}`; {there}"))
    })
}

fn a_file(name: &str) -> Failure {
    Failure::new(format!(
        "outlet `{name}` is a file, which two programs must not write at once; use `nightbench \
         readings PROBE --format line-protocol` and send its output to a file of its own"
    ))
}

fn open(config: &Config) -> Result<Query, Failure> {
    let path = &config.log.path;
    if !path.exists() {
        let what = "there is no such file; has the service run yet?";
        return Err(Failure::new(format!("log {}: {what}", path.display())));
    }
    Query::open(path).map_err(in_log)
}

fn in_log(error: crate::log::LogError) -> Failure {
    Failure::new(format!("log: {error}"))
}

/// One stretch of readings on its way.
struct Run<'a> {
    outlet: &'a str,
    /// What is known of the readings that are done with.
    done_with: &'static str,
    rate: u32,
    query: Query,
    stretch: Stretch,
    /// Number of the last reading that is done with.
    after: u64,
    /// Its time, milliseconds since 1970.
    up_to_ms: Option<i64>,
    done: Done,
    told: Instant,
}

/// At QoS 0 a broker says nothing of what it got.
fn done_with(kind: &OutletKind) -> &'static str {
    match kind {
        OutletKind::Mqtt(Mqtt { qos: 0, .. }) => "written, not acknowledged",
        _ => "sent",
    }
}

/// Readings that an answer came for, or that were written where none is asked for.
#[derive(Clone, Copy, Debug, Default)]
struct Done {
    sent: u64,
    /// Of them.
    refused: u64,
}

impl<'a> Run<'a> {
    fn new(outlet: &'a Outlet, query: Query, stretch: Stretch) -> Self {
        Self {
            outlet: &outlet.name,
            done_with: done_with(&outlet.kind),
            rate: outlet.backlog_rate.max(1),
            query,
            stretch,
            after: stretch.first.saturating_sub(1),
            up_to_ms: None,
            done: Done::default(),
            told: Instant::now(),
        }
    }

    async fn send(mut self, mut receiver: impl Receiver) -> Result<Done, Failure> {
        // Parcels of a quarter of a second's allowance: the receiver has others to serve.
        let limit = receiver.batch().min((self.rate / 4).max(1) as usize);
        let connected = receiver.connect().await;
        if let Err(trouble) = connected {
            self.connect_again(&mut receiver, trouble, 1).await?;
        }
        loop {
            let page = self.query.page(&self.stretch, self.after, limit);
            let page = page.map_err(in_log)?;
            let Some(last) = page.last() else { break };
            let next = Instant::now() + self.time_for(page.len());
            let receipt = self.deliver(&mut receiver, &page).await?;
            self.after = last.seq;
            self.up_to_ms = Some(last.at.wall_ms);
            self.note(page.len() as u64, &receipt);
            sleep_until(next).await;
        }
        receiver.close().await;
        self.tell();
        Ok(self.done)
    }

    fn time_for(&self, readings: usize) -> Duration {
        Duration::from_secs_f64(readings as f64 / f64::from(self.rate))
    }

    async fn deliver(
        &self,
        receiver: &mut impl Receiver,
        page: &[Reading],
    ) -> Result<Receipt, Failure> {
        let mut failed = 0;
        loop {
            match receiver.deliver(Parcel::Backlog(page)).await {
                Ok(receipt) => return Ok(receipt),
                Err(trouble) => {
                    failed += 1;
                    failed = self.connect_again(receiver, trouble, failed).await?;
                }
            }
        }
    }

    /// Waits and connects; gives how often it has failed by then.
    async fn connect_again(
        &self,
        receiver: &mut impl Receiver,
        mut trouble: Trouble,
        mut failed: u32,
    ) -> Result<u32, Failure> {
        loop {
            let wait = match &trouble {
                Trouble::Later { after, .. } if failed < TRIES => {
                    after.unwrap_or(FIRST_WAIT * 2u32.pow(failed - 1))
                }
                _ => return Err(self.stopped(&trouble)),
            };
            tracing::warn!("{trouble}; trying again");
            sleep(wait).await;
            match receiver.connect().await {
                Ok(()) => return Ok(failed),
                Err(again) => trouble = again,
            }
            failed += 1;
        }
    }

    fn stopped(&self, trouble: &Trouble) -> Failure {
        let go_on = self.up_to_ms.map_or_else(String::new, |ms| {
            format!(
                "; when that is mended, go on with `--from {}`",
                when::rfc3339_utc(ms)
            )
        });
        Failure::new(format!(
            "outlet `{}`: {trouble}; {} of {} readings were {}{go_on}",
            self.outlet, self.done.sent, self.stretch.readings, self.done_with
        ))
    }

    fn note(&mut self, readings: u64, receipt: &Receipt) {
        self.done.sent += readings;
        for refusal in &receipt.refused {
            self.done.refused += 1;
            if self.done.refused <= REFUSALS_TOLD {
                tracing::warn!("refused: {}", refusal.why);
            }
        }
        if self.told.elapsed() >= TELL_EVERY {
            self.told = Instant::now();
            self.tell();
        }
    }

    fn tell(&self) {
        let up_to = self.up_to_ms.map(when::rfc3339_utc).unwrap_or_default();
        tracing::info!(
            "outlet `{}`: {} of {} readings {}, up to {up_to}",
            self.outlet,
            self.done.sent,
            self.stretch.readings,
            self.done_with
        );
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn said(from: &str, to: &str) -> String {
        let arguments = Arguments {
            outlet: "kitchen".into(),
            from: from.into(),
            to: to.into(),
            config: PathBuf::new(),
        };
        times(&arguments).map_or_else(|failure| failure.to_string(), |_| "fine".into())
    }

    #[test]
    fn the_moments_must_be_in_order() {
        assert_eq!(said("-8h", "now"), "fine");
        assert_eq!(said("2026-11-25T02:14:07Z", "2026-11-25T02:14:08Z"), "fine");
        assert!(said("now", "-8h").starts_with("`--from` is not before `--to`;"));
        assert!(said("now", "now").starts_with("`--from` is not before `--to`;"));
    }

    #[test]
    fn without_acknowledgement_none_is_claimed() {
        let of = |qos| {
            done_with(&OutletKind::Mqtt(Mqtt {
                qos,
                ..crate::outlet::mqtt::tests::settings()
            }))
        };
        assert_eq!((of(0), of(1)), ("written, not acknowledged", "sent"));
    }
}
