//! What an outlet has to say in the journal: each trouble once, recovery once, refusals by example
//! and count. A receiver that fails all night must not fill the card with entries.

use crate::clock;
use crate::log::{Batch, Entry, Kind, Log, Progress};
use crate::outlet::{Refusal, Trouble};
use crate::words::counted;
use std::time::Duration;
use tokio::time::Instant;

/// How long an entry may wait for room in the writer's inbox.
const PATIENCE: Duration = Duration::from_secs(1);
/// A trouble that changes its words is told again at most this often.
const TROUBLE_GAP: Duration = Duration::from_secs(60);
/// Refusals are told one by one up to [`REFUSALS`] in this time; the rest is counted.
const REFUSAL_GAP: Duration = Duration::from_secs(600);
/// See [`REFUSAL_GAP`].
const REFUSALS: u32 = 5;

/// What one outlet has told, and has not.
#[derive(Debug)]
pub struct Notes {
    outlet: String,
    log: Log,
    /// The last trouble that was told, and when.
    trouble: Option<(String, Instant)>,
    refusals: Refusals,
    told_working: bool,
}

#[derive(Debug, Default)]
struct Refusals {
    since: Option<Instant>,
    told: u32,
    untold: u64,
}

impl Notes {
    /// Of an outlet that has told nothing yet.
    pub fn new(outlet: &str, log: &Log) -> Self {
        Self {
            outlet: outlet.to_owned(),
            log: log.clone(),
            trouble: None,
            refusals: Refusals::default(),
            told_working: false,
        }
    }

    /// Tells once that the outlet works, so that nobody wonders whether it does.
    pub async fn tell_working(&mut self) {
        if std::mem::replace(&mut self.told_working, true) || self.is_troubled() {
            return;
        }
        let text = format!(
            "outlet `{}`: working, the first delivery is acknowledged",
            self.outlet
        );
        tracing::info!("{text}");
        self.journal(text).await;
    }

    /// Whether a trouble was told, and its end was not.
    pub fn is_troubled(&self) -> bool {
        self.trouble.is_some()
    }

    /// Tells a trouble, unless it is an old story.
    pub async fn tell_trouble(&mut self, trouble: &Trouble) {
        let text = trouble.to_string();
        if let Some((told, when)) = &self.trouble
            && (*told == text || when.elapsed() < TROUBLE_GAP)
        {
            return;
        }
        let rest = match trouble {
            Trouble::Later { .. } => "readings are kept and sent late",
            Trouble::Person { .. } => "readings are kept until this is mended",
        };
        let told = format!("outlet `{}`: {text}; {rest}", self.outlet);
        tracing::warn!("{told}");
        self.journal(told).await;
        self.trouble = Some((text, Instant::now()));
    }

    /// Tells that the trouble is over, where one was told.
    pub async fn tell_recovery(&mut self, progress: &Progress) {
        if self.trouble.take().is_none() {
            return;
        }
        let late: u64 = progress.spans.iter().map(|s| s.until - s.after).sum();
        let rest = match late {
            0 => "everything is sent".to_owned(),
            late => format!("at most {} to send late", counted(late, "reading")),
        };
        let text = format!("outlet `{}`: working again; {rest}", self.outlet);
        tracing::info!("{text}");
        self.journal(text).await;
    }

    /// Tells what will never be taken.
    pub async fn tell_refusals(&mut self, refused: &[Refusal]) {
        for refusal in refused {
            if !self.refusals.may_tell() {
                self.refusals.untold += 1;
                continue;
            }
            let more = match std::mem::take(&mut self.refusals.untold) {
                0 => String::new(),
                untold => format!(" (and {untold} more since the last entry)"),
            };
            let text = format!(
                "outlet `{}`: refused for good, not sent again: {}{more}",
                self.outlet, refusal.why
            );
            self.journal(text).await;
        }
    }

    async fn journal(&self, text: String) {
        let entry = Entry::new(clock::now(), Kind::Outlet, self.outlet.as_str(), text);
        if let Err(lost) = self.log.append(Batch::of(entry), PATIENCE).await {
            for entry in lost.entries {
                tracing::warn!("not journalled: {}", entry.text);
            }
        }
    }
}

impl Refusals {
    fn may_tell(&mut self) -> bool {
        if self
            .since
            .is_none_or(|since| since.elapsed() >= REFUSAL_GAP)
        {
            self.since = Some(Instant::now());
            self.told = 0;
        }
        self.told += 1;
        self.told <= REFUSALS
    }
}
