//! One board in the flow: its lines go to its probes, its silence becomes theirs.

use super::notes::{BadLines, Greeting};
use super::probe::Probe;
use crate::log::{Batch, Entry, Kind, Loudness};
use crate::measure::decode::{Decoder, Line};
use crate::reading::{Moment, Quality};
use crate::source::Event;
use std::time::Duration;

/// One board with the probes wired to it.
#[derive(Debug)]
pub struct Board {
    name: String,
    decoder: Decoder,
    /// In the order of the decoder's slots.
    probes: Vec<Probe>,
    silent_after_ns: u64,
    /// Boot time of the last line: two lines of one read come apart by a nanosecond, so that each
    /// is a line of its own in the log.
    line_ns: u64,
    talk: Talk,
    greeting: Greeting,
    bad: BadLines,
    opened: u64,
}

/// Whether the board talks, and since when.
#[derive(Clone, Copy, Debug)]
struct Talk {
    /// Boot time of the last usable line, or of the start.
    last_ns: u64,
    /// Boot time at which silence began, and at which it was logged last.
    silent: Option<(u64, u64)>,
}

impl Board {
    /// A board that has not spoken yet. `decoder` asks for one field per probe, in their order.
    #[must_use]
    pub fn new(
        name: String,
        now: Moment,
        decoder: Decoder,
        probes: Vec<Probe>,
        silent_after: Duration,
    ) -> Self {
        Self {
            name,
            decoder,
            probes,
            silent_after_ns: u64::try_from(silent_after.as_nanos()).unwrap_or(u64::MAX),
            line_ns: 0,
            talk: Talk {
                last_ns: now.boot_ns,
                silent: None,
            },
            greeting: Greeting::default(),
            bad: BadLines::default(),
            opened: 0,
        }
    }

    /// Takes an event of its source.
    pub fn event(&mut self, event: &Event, batch: &mut Batch) {
        match event {
            Event::Line { at, bytes } => self.line(*at, bytes, batch),
            Event::Discarded { why, bytes } => {
                self.bad.count_discarded(*why);
                self.greeting.count_discarded(*why, *bytes);
            }
            Event::Opened {
                at,
                detail,
                resets_board,
            } => self.was_opened(*at, detail, *resets_board, batch),
            Event::Remark { at, text } => self.warn(*at, text, batch),
            Event::Lost { at, reason } => self.was_lost(*at, reason, batch),
            Event::Ended { at } => self.note(*at, "its recording has come to its end", batch),
        }
    }

    /// Looks whether the board, or one of its probes, has been silent for too long.
    pub fn tick(&mut self, now: Moment, batch: &mut Batch) {
        self.bad.tell(&self.name, now, batch);
        let unheard = now.boot_ns.saturating_sub(self.talk.last_ns);
        match self.talk.silent {
            Some((_, logged)) if now.boot_ns.saturating_sub(logged) >= self.silent_after_ns => {
                self.log_silence(now, batch);
            }
            None if unheard >= self.silent_after_ns => {
                let instead = self.bad.instead();
                let text = format!(
                    "no usable line for {} s; {instead}",
                    unheard / 1_000_000_000
                );
                self.warn(now, &text, batch);
                self.log_silence(now, batch);
            }
            Some(_) => {}
            None => self.log_stale(now, batch),
        }
    }

    /// Ends the means under way.
    pub fn flush(&mut self, batch: &mut Batch) {
        for probe in &mut self.probes {
            probe.flush(batch);
        }
    }

    /// The probe with this label, where it is wired to this board.
    pub fn probe_named(&mut self, name: &str) -> Option<&mut Probe> {
        self.probes.iter_mut().find(|p| p.name() == name)
    }

    /// Gives its probes away, to a flow under a new configuration.
    pub fn take_probes(&mut self) -> Vec<Probe> {
        std::mem::take(&mut self.probes)
    }

    /// Its source goes on under a new configuration, so its silence and its counts do too.
    pub fn goes_on(&mut self, before: &Self) {
        self.talk = before.talk;
        self.line_ns = before.line_ns;
        self.opened = before.opened;
    }

    fn line(&mut self, at: Moment, bytes: &[u8], batch: &mut Batch) {
        let kind = self.decoder.decode(bytes);
        if kind != Line::Fields {
            if self.greeting.takes(at) {
                self.bad.saw(bytes);
            } else {
                self.bad.count(kind, bytes);
            }
            return;
        }
        self.bad.good_line();
        self.first_good_line(at, batch);
        let at = self.apart(at);
        self.talk.last_ns = at.boot_ns;
        if let Some((since, _)) = self.talk.silent.take() {
            let seconds = at.boot_ns.saturating_sub(since) / 1_000_000_000;
            self.note(at, &format!("talks again after {seconds} s"), batch);
        }
        for (probe, slot) in self.probes.iter_mut().zip(self.decoder.slots()) {
            probe.take(at, *slot, batch);
        }
    }

    fn first_good_line(&mut self, at: Moment, batch: &mut Batch) {
        if let Some(text) = self.greeting.end(at) {
            self.note(at, &text, batch);
        }
    }

    fn apart(&mut self, at: Moment) -> Moment {
        let boot_ns = at.boot_ns.max(self.line_ns.saturating_add(1));
        self.line_ns = boot_ns;
        Moment { boot_ns, ..at }
    }

    fn was_opened(&mut self, at: Moment, detail: &str, resets: bool, batch: &mut Batch) {
        self.opened += 1;
        self.greeting = Greeting::after_opening(at);
        let reset = if resets {
            "; opening resets most boards, so its first lines are passed over"
        } else {
            ""
        };
        let text = format!("opened {detail} (opening no. {}){reset}", self.opened);
        self.note(at, &text, batch);
    }

    fn was_lost(&mut self, at: Moment, reason: &str, batch: &mut Batch) {
        let probes = self.probes.len();
        let what = if self.opened == 0 {
            "not found"
        } else {
            "lost"
        };
        let text = format!("{what}: {reason}; its {probes} probes read `board silent`");
        self.warn(at, &text, batch);
        if self.talk.silent.is_none() {
            self.log_silence(at, batch);
        }
    }

    /// Silence is logged when it begins and then again and again, so that a delay of an alarm can
    /// pass and no reader takes the last value for today's.
    fn log_silence(&mut self, at: Moment, batch: &mut Batch) {
        let since = self.talk.silent.map_or(at.boot_ns, |(since, _)| since);
        self.talk.silent = Some((since, at.boot_ns));
        for probe in &mut self.probes {
            probe.fault(at, Quality::BoardSilent, batch);
        }
    }

    fn log_stale(&mut self, now: Moment, batch: &mut Batch) {
        let limit = self.silent_after_ns;
        let stale = |p: &&mut Probe| p.unheard_ns(now) >= limit;
        for probe in self.probes.iter_mut().filter(stale) {
            probe.fault(now, Quality::Stale, batch);
        }
    }

    fn note(&self, at: Moment, text: &str, batch: &mut Batch) {
        batch.entries.push(self.entry(at, text));
    }

    fn warn(&self, at: Moment, text: &str, batch: &mut Batch) {
        let entry = self.entry(at, text).loud(Loudness::Warning);
        batch.entries.push(entry);
    }

    fn entry(&self, at: Moment, text: &str) -> Entry {
        let text = format!("board `{}`: {text}", self.name);
        Entry::new(at, Kind::Board, self.name.as_str(), text)
    }
}
