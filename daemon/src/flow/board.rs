//! One board in the flow: its lines are dated and go to its probes, its silence becomes theirs.

use super::feeds::Feeds;
use super::notes::{Allowance, BadLines, Greeting};
use super::probe::Probe;
use super::time_notes;
use crate::log::{Batch, Entry, Kind, Loudness};
use crate::measure::board_clock::Counter;
use crate::measure::dating::Dating;
use crate::measure::decode::{Decoder, Line, Slot};
use crate::measure::supply::SupplyChannel;
use crate::reading::{Moment, Quality};
use crate::source::Event;
use std::time::Duration;

/// One board with the probes wired to it.
#[derive(Debug)]
pub struct Board {
    name: String,
    decoder: Decoder,
    /// In the order of the decoder's first slots.
    probes: Vec<Probe>,
    /// In the order of the slots behind.
    feeds: Feeds,
    silent_after_ns: u64,
    /// When lines began. Two lines of one read come apart by a nanosecond at least, so that each is
    /// a line of its own in the log. How well the times are known is in the journal.
    dating: Dating,
    talk: Talk,
    greeting: Greeting,
    bad: BadLines,
    allowance: Allowance,
    opened: u64,
}

/// Whether the board talks, and since when.
#[derive(Clone, Copy, Debug)]
struct Talk {
    /// Boot time of the last usable line, or of the start.
    last_ns: u64,
    /// Boot time at which silence was logged last, while it lasts.
    silent: Option<u64>,
}

impl Board {
    /// A board that has not spoken yet. `decoder` asks for one field per probe, in their order, then
    /// for one per supply ([`Board::with_supplies`]), then for the board's own clock
    /// ([`Board::with_clock`]).
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
            feeds: Feeds::default(),
            silent_after_ns: u64::try_from(silent_after.as_nanos()).unwrap_or(u64::MAX),
            dating: Dating::new(None),
            talk: Talk {
                last_ns: now.boot_ns,
                silent: None,
            },
            greeting: Greeting::default(),
            bad: BadLines::default(),
            allowance: Allowance::default(),
            opened: 0,
        }
    }

    /// The same with channels that measure the supply of its probes' dividers.
    #[must_use]
    pub fn with_supplies(mut self, channels: Vec<SupplyChannel>) -> Self {
        let wanted: Vec<Option<&str>> = self.probes.iter().map(Probe::supply).collect();
        self.feeds = Feeds::new(channels, &wanted);
        self
    }

    /// The same with a counter of its own time in its lines.
    #[must_use]
    pub fn with_clock(self, counter: Counter) -> Self {
        let dating = Dating::new(Some(counter));
        Self { dating, ..self }
    }

    /// Takes an event of its source.
    pub fn event(&mut self, event: &Event, batch: &mut Batch) {
        match event {
            Event::Held { at, driver, hold } => {
                self.dating.held_for(*hold);
                let text = time_notes::held(driver, *hold, self.dating.uncertainty());
                self.note(*at, &text, batch);
            }
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
        self.tell_lateness(now, batch);
        let unheard = now.boot_ns.saturating_sub(self.talk.last_ns);
        match self.talk.silent {
            Some(logged) if now.boot_ns.saturating_sub(logged) >= self.silent_after_ns => {
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
        self.dating.goes_on(&before.dating);
        self.feeds.goes_on(&before.feeds);
        self.opened = before.opened;
    }

    fn line(&mut self, at: Moment, bytes: &[u8], batch: &mut Batch) {
        let kind = self.decode(bytes);
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
        let before = std::mem::replace(&mut self.talk.last_ns, at.boot_ns);
        if self.talk.silent.take().is_some() {
            let seconds = at.boot_ns.saturating_sub(before) / 1_000_000_000;
            self.note(at, &format!("talks again after {seconds} s"), batch);
            self.feeds.restart(at);
        }
        let began = self.dating.date(at, self.clock_slot());
        self.hand_out(began, batch);
    }

    /// A line that holds the board's time and nothing else names nothing that is wanted.
    fn decode(&mut self, bytes: &[u8]) -> Line {
        let kind = self.decoder.decode(bytes);
        let measured = self.probes.len() + self.feeds.len();
        let mut slots = self.decoder.slots().iter().take(measured);
        if kind == Line::Fields && slots.all(|slot| *slot == Slot::Absent) {
            Line::Nothing
        } else {
            kind
        }
    }

    fn clock_slot(&self) -> Slot {
        let place = self.probes.len() + self.feeds.len();
        let slot = self.decoder.slots().get(place);
        slot.copied().unwrap_or(Slot::Absent)
    }

    fn hand_out(&mut self, began: Moment, batch: &mut Batch) {
        let (of_probes, behind) = self.decoder.slots().split_at(self.probes.len());
        let news = self.feeds.take(began, behind);
        for (place, (probe, slot)) in self.probes.iter_mut().zip(of_probes).enumerate() {
            probe.take(began, *slot, self.feeds.of(place), batch);
        }
        for text in news {
            self.note(began, &text, batch);
        }
    }

    fn tell_lateness(&mut self, now: Moment, batch: &mut Batch) {
        let known = self.dating.uncertainty();
        let Some(clock) = self.dating.clock() else {
            return;
        };
        let late = clock.delays().tell(now.boot_ns);
        let fast_ppm = clock.fast_ppm();
        if let Some(late) = late {
            let text = time_notes::own_clock(late, fast_ppm, known);
            self.note(now, &text, batch);
        }
    }

    fn first_good_line(&mut self, at: Moment, batch: &mut Batch) {
        if let Some(text) = self.greeting.end(at) {
            self.note(at, &text, batch);
        }
    }

    fn was_opened(&mut self, at: Moment, detail: &str, resets: bool, batch: &mut Batch) {
        self.opened += 1;
        self.greeting = Greeting::after_opening(at);
        self.dating.restart();
        self.feeds.restart(at);
        let reset = if resets {
            "; opening resets most boards, so its first lines are passed over"
        } else {
            ""
        };
        let text = format!("opened {detail} (opening no. {}){reset}", self.opened);
        self.note(at, &text, batch);
    }

    fn was_lost(&mut self, at: Moment, reason: &str, batch: &mut Batch) {
        let what = if self.opened == 0 {
            "not found"
        } else {
            "lost"
        };
        let probes = match self.probes.len() {
            1 => "1 probe reads".to_owned(),
            probes => format!("{probes} probes read"),
        };
        let text = format!("{what}: {reason}; its {probes} `board silent`");
        self.warn(at, &text, batch);
        if self.talk.silent.is_none() {
            self.log_silence(at, batch);
        }
    }

    /// Silence is logged when it begins and then again and again, so that a delay of an alarm can
    /// pass and no reader takes the last value for today's.
    fn log_silence(&mut self, at: Moment, batch: &mut Batch) {
        self.talk.silent = Some(at.boot_ns);
        self.dating.keep_after(at);
        for probe in &mut self.probes {
            probe.fault(at, Quality::BoardSilent, batch);
        }
    }

    fn log_stale(&mut self, now: Moment, batch: &mut Batch) {
        let limit = self.silent_after_ns;
        let stale = |p: &&mut Probe| p.unheard_ns(now) >= limit;
        for probe in self.probes.iter_mut().filter(stale) {
            self.dating.keep_after(now);
            probe.fault(now, Quality::Stale, batch);
        }
    }

    fn note(&mut self, at: Moment, text: &str, batch: &mut Batch) {
        self.tell(at, text, Loudness::Info, batch);
    }

    fn warn(&mut self, at: Moment, text: &str, batch: &mut Batch) {
        self.tell(at, text, Loudness::Warning, batch);
    }

    fn tell(&mut self, at: Moment, text: &str, loudness: Loudness, batch: &mut Batch) {
        let Some(more) = self.allowance.take(at) else {
            return;
        };
        let text = format!("board `{}`: {text}{more}", self.name);
        let entry = Entry::new(at, Kind::Board, self.name.as_str(), text).loud(loudness);
        batch.entries.push(entry);
    }
}
