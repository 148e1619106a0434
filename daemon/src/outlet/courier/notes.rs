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
    /// [`TROUBLE_GAP`]; tests shorten it.
    trouble_gap: Duration,
    /// The last trouble that was told, and when.
    trouble: Option<(String, Instant)>,
    refusals: Refusals,
    told_working: bool,
}

#[derive(Debug)]
struct Refusals {
    /// [`REFUSAL_GAP`]; tests shorten it.
    gap: Duration,
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
            trouble_gap: TROUBLE_GAP,
            trouble: None,
            refusals: Refusals {
                gap: REFUSAL_GAP,
                since: None,
                told: 0,
                untold: 0,
            },
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
            && (*told == text || when.elapsed() < self.trouble_gap)
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

    /// Tells what will never be taken; nothing new, and it only looks whether a count is due.
    pub async fn tell_refusals(&mut self, refused: &[Refusal]) {
        if self.refusals.begin_again() {
            self.tell_untold_refusals().await;
        }
        for refusal in refused {
            if self.refusals.may_tell() {
                self.tell_refused(&refusal.why).await;
            } else {
                self.refusals.untold += 1;
            }
        }
    }

    /// Tells how many refusals were not told one by one, where there are any.
    pub async fn tell_untold_refusals(&mut self) {
        let untold = std::mem::take(&mut self.refusals.untold);
        if untold > 0 {
            self.tell_refused(&format!("{untold} more")).await;
        }
    }

    async fn tell_refused(&self, what: &str) {
        let outlet = &self.outlet;
        let text = format!("outlet `{outlet}`: refused for good, not sent again: {what}");
        tracing::warn!("{text}");
        self.journal(text).await;
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
    /// Whether the time of those told before is over.
    fn begin_again(&mut self) -> bool {
        let over = self.since.is_some_and(|since| since.elapsed() >= self.gap);
        if over {
            self.since = None;
            self.told = 0;
        }
        over
    }

    fn may_tell(&mut self) -> bool {
        self.since.get_or_insert_with(Instant::now);
        self.told += 1;
        self.told <= REFUSALS
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::log::testing::Bench;

    fn later(what: &str) -> Trouble {
        Trouble::Later {
            what: what.to_owned(),
            after: None,
        }
    }

    fn refusals(seqs: std::ops::RangeInclusive<u64>) -> Vec<Refusal> {
        let refusal = |seq| Refusal {
            seq,
            why: format!("reading {seq}: field type conflict"),
        };
        seqs.map(refusal).collect()
    }

    async fn told(bench: &Bench) -> String {
        bench.journal(Kind::Outlet).await.join("\n")
    }

    #[tokio::test]
    async fn a_trouble_that_changes_its_words_is_told_again_after_a_while() {
        let bench = Bench::new().await;
        let mut notes = Notes::new("kitchen", &bench.log);
        notes.tell_trouble(&later("connection refused")).await;
        notes.tell_trouble(&later("the broker is busy")).await;
        notes.tell_trouble(&later("connection refused")).await;
        notes.trouble_gap = Duration::ZERO;
        notes.tell_trouble(&later("connection refused")).await;
        let what = "the broker refuses the password; check `password_file`".to_owned();
        notes.tell_trouble(&Trouble::Person { what }).await;
        insta::assert_snapshot!(told(&bench).await, @r"
        outlet `kitchen`: connection refused; readings are kept and sent late
        outlet `kitchen`: the broker refuses the password; check `password_file`; readings are kept until this is mended
        ");
    }

    #[tokio::test]
    async fn recovery_is_told_once_with_what_is_still_to_be_sent() {
        let bench = Bench::new().await;
        let mut notes = Notes::new("kitchen", &bench.log);
        let mut progress = Progress::default();
        notes.tell_recovery(&progress).await;
        for newest in [0, 40] {
            progress.reconnected(newest);
            notes.tell_trouble(&later("connection refused")).await;
            assert!(notes.is_troubled());
            notes.tell_recovery(&progress).await;
            notes.tell_recovery(&progress).await;
        }
        insta::assert_snapshot!(told(&bench).await, @r"
        outlet `kitchen`: connection refused; readings are kept and sent late
        outlet `kitchen`: working again; everything is sent
        outlet `kitchen`: connection refused; readings are kept and sent late
        outlet `kitchen`: working again; at most 40 readings to send late
        ");
    }

    #[tokio::test]
    async fn refusals_beyond_the_fifth_are_counted_and_the_count_is_told_when_its_time_is_over() {
        let bench = Bench::new().await;
        let mut notes = Notes::new("kitchen", &bench.log);
        notes.tell_refusals(&refusals(1..=4)).await;
        notes.tell_refusals(&refusals(5..=900)).await;
        notes.tell_refusals(&[]).await;
        notes.refusals.gap = Duration::ZERO;
        notes.tell_refusals(&[]).await;
        notes.tell_refusals(&refusals(901..=901)).await;
        notes.tell_untold_refusals().await;
        insta::assert_snapshot!(told(&bench).await, @r"
        outlet `kitchen`: refused for good, not sent again: reading 1: field type conflict
        outlet `kitchen`: refused for good, not sent again: reading 2: field type conflict
        outlet `kitchen`: refused for good, not sent again: reading 3: field type conflict
        outlet `kitchen`: refused for good, not sent again: reading 4: field type conflict
        outlet `kitchen`: refused for good, not sent again: reading 5: field type conflict
        outlet `kitchen`: refused for good, not sent again: 895 more
        outlet `kitchen`: refused for good, not sent again: reading 901: field type conflict
        ");
    }
}
