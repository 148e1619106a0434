//! `[board.NAME]`: what digitises.

use super::absolute;
use super::channel::{self, Channel, Shared};
use super::clock::{self, Clock};
use super::corrections;
use super::files::Files;
use super::format;
use super::item::Value;
use super::problem::Fault;
use super::reader::Table;
use super::scene::{self, SimulatedChannel};
use super::source::{self, Around, Source, SourceKind};
use super::unit::Unit;
use crate::measure::decode::Format;
use crate::measure::front_end::FrontEnd;
use std::ops::RangeInclusive;
use std::time::Duration;

/// `[board.NAME]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Board {
    /// The board's label.
    pub name: String,
    /// Where its lines come from.
    pub source: Source,
    /// How it writes them.
    pub format: Format,
    /// After how long without a readable line it counts as silent. 100 ms to a day, default 10 s.
    pub silent_after: Duration,
    /// The counter of its own time in its lines, where it sends one. Without it a reading is dated by
    /// its arrival, with a standard uncertainty of 1 ms, or of 16 ms / sqrt(12) through an adapter
    /// that holds bytes back for 16 ms.
    pub clock: Option<Clock>,
    /// What feeds its dividers, volt, where that is stated; only self-heating needs it.
    pub supply_volt: Option<f64>,
    /// `[board.NAME.channel.NAME]` tables.
    pub channels: Vec<Channel>,
}

const SILENT_AFTER: RangeInclusive<Duration> =
    Duration::from_millis(100)..=Duration::from_secs(86_400);
/// From a cell to what a divider can bear.
const SUPPLY: RangeInclusive<f64> = 0.5..=60.0;
const DEFAULT_SILENT_AFTER: Duration = Duration::from_secs(10);

/// A board as far as it could be read. Its name, and those of its channels, stand in any case, so
/// that one fault in a board does not look like a fault in each of its probes.
pub(super) struct Draft<'a> {
    /// The board's label.
    pub(super) name: String,
    /// Its table.
    pub(super) table: Table<'a>,
    /// Its channels.
    pub(super) channels: Vec<ChannelDraft<'a>>,
    kind: Option<SourceKind>,
    source: Value<Source>,
    format: Value<Format>,
    silent_after: Value<Duration>,
    clock: Value<Option<Clock>>,
    supply_volt: Value<Option<f64>>,
    /// Whether its corrections and its supply channels are right.
    whole: Value<()>,
}

/// A channel as far as it could be read.
pub(super) struct ChannelDraft<'a> {
    /// The channel's name.
    pub(super) name: String,
    /// Its table.
    pub(super) table: Table<'a>,
    /// The channel, where it is right.
    pub(super) channel: Value<Channel>,
}

/// What is known of the unit of a channel's probe.
pub(super) enum ProbeUnit {
    /// No probe is wired to the channel.
    NoProbe,
    /// There is one, but its own table is at fault.
    Unknown,
    /// Its unit.
    Known(Unit),
}

/// Reads every `[board.NAME]`, but for the scenes.
pub(super) fn read_all<'a>(
    root: &Table<'a>,
    site: Option<&str>,
    files: &Files<'_>,
) -> Vec<Draft<'a>> {
    root.named("board", "board")
        .into_iter()
        .map(|(name, table)| read(name, table, site, files))
        .collect()
}

fn read<'a>(name: String, table: Table<'a>, site: Option<&str>, files: &Files<'_>) -> Draft<'a> {
    let kind = source::kind(&table);
    let format = match kind {
        // The source itself writes the lines.
        Some(SourceKind::File) => Some(Format::Pairs),
        _ => format::read(&table),
    };
    let silent_after = table.or("silent_after", DEFAULT_SILENT_AFTER, |item| {
        item.duration(SILENT_AFTER)
    });
    let around = Around {
        board: &name,
        site,
        base: files.base(),
        format: format.as_ref(),
        silent_after,
    };
    let source = match kind {
        Some(kind) => source::read(&table, kind, &around),
        None => {
            source::know_all(&table);
            None
        }
    };
    let clock = clock::read(&table, format.as_ref());
    let supply_volt = table.optional("supply", |item| {
        item.quantity_within(&Unit::of("V"), &SUPPLY, "V")
    });
    let corrections = corrections::read(&table, files);
    let shared = Shared {
        format: format.as_ref(),
        corrections: corrections.as_ref().and_then(Option::as_ref),
    };
    let channels = channels(&table, &name, shared, files);
    check_fields(source.as_ref(), &channels);
    let supplies = supplies(&channels, kind);
    table.end();
    Draft {
        name,
        table,
        channels,
        kind,
        source,
        format,
        silent_after,
        clock,
        supply_volt,
        whole: corrections.and(supplies),
    }
}

/// Checks that the channels which are to measure a supply can do so.
fn supplies(channels: &[ChannelDraft<'_>], kind: Option<SourceKind>) -> Value<()> {
    let mut all = Some(());
    for draft in channels {
        let Some(item) = draft.table.stray("supply_channel") else {
            continue;
        };
        let others: Vec<(&str, Option<&FrontEnd>)> = channels
            .iter()
            .filter(|other| other.name != draft.name)
            .map(|other| {
                let front_end = other.channel.as_ref().map(|channel| &channel.front_end);
                (other.name.as_str(), front_end)
            })
            .collect();
        let checked = match kind {
            Some(SourceKind::Simulated) => item.refuse(Fault::new(
                "a simulated board has no supply to measure",
                "state it: `supply = \"3.3 V\"`",
            )),
            _ => absolute::check_channel(&item, &others),
        };
        all = all.and(checked);
    }
    all
}

fn channels<'a>(
    table: &Table<'a>,
    board: &str,
    shared: Shared<'_>,
    files: &Files<'_>,
) -> Vec<ChannelDraft<'a>> {
    let channels: Vec<ChannelDraft<'a>> = table
        .named("channel", "channel")
        .into_iter()
        .map(|(name, table)| {
            let channel = channel::read(&name, &table, shared, files);
            table.know(&["scene"]);
            table.end();
            ChannelDraft {
                name,
                table,
                channel,
            }
        })
        .collect();
    if channels.is_empty() && table.item("channel").is_none() {
        let right =
            format!("add a table `[board.{board}.channel.NAME]` for each input with a probe");
        table.missing("channel", Fault::new("it has no channel", right));
    }
    channels
}

/// A channel of a board that reads files names one of them.
fn check_fields(source: Option<&Source>, channels: &[ChannelDraft<'_>]) {
    let Some(Source::File(files)) = source else {
        return;
    };
    for draft in channels {
        if let Some(channel) = &draft.channel
            && let Err(fault) = source::check_file(files, &channel.field)
        {
            draft.table.error(fault);
        }
    }
}

impl<'a> Draft<'a> {
    /// The channel of this name.
    pub(super) fn channel(&self, name: &str) -> Option<&ChannelDraft<'a>> {
        self.channels.iter().find(|channel| channel.name == name)
    }

    /// What feeds its dividers, where that is stated.
    pub(super) fn supply_volt(&self) -> Option<f64> {
        self.supply_volt.flatten()
    }

    /// The interval between its lines, where that is known.
    pub(super) fn interval(&self) -> Option<Duration> {
        self.source.as_ref().and_then(Source::interval)
    }

    /// The same by the host's clock: a board may run faster than life.
    pub(super) fn real_interval(&self) -> Option<Duration> {
        self.source.as_ref().and_then(Source::real_interval)
    }

    /// After how long it counts as silent, where that is right.
    pub(super) fn silent_after(&self) -> Value<Duration> {
        self.silent_after
    }

    /// Reads the scenes and puts the board together. `unit` gives what is known of the unit of the
    /// probe on a channel.
    pub(super) fn finish(&self, unit: impl Fn(&str) -> ProbeUnit) -> Value<Board> {
        let scenes: Vec<Value<Option<SimulatedChannel>>> = self
            .channels
            .iter()
            .map(|channel| self.scene(channel, unit(&channel.name)))
            .collect();
        let scenes: Option<Vec<_>> = scenes.into_iter().collect();
        let channels = self.channels.iter().map(|draft| draft.channel.clone());
        let channels: Vec<Channel> = channels.collect::<Option<_>>()?;
        let scenes = scenes?.into_iter().flatten().collect();
        self.whole?;
        Some(Board {
            name: self.name.clone(),
            source: self.source.clone()?.with_channels(&channels, scenes),
            format: self.format.clone()?,
            silent_after: self.silent_after?,
            clock: self.clock.clone()?,
            supply_volt: self.supply_volt?,
            channels,
        })
    }

    /// The scene of a channel: `Some(None)` where none is wanted.
    fn scene(
        &self,
        channel: &ChannelDraft<'a>,
        unit: ProbeUnit,
    ) -> Value<Option<SimulatedChannel>> {
        let simulated = self.kind? == SourceKind::Simulated;
        match (channel.table.item("scene").is_some(), simulated, unit) {
            (false, false, _) | (false, true, ProbeUnit::NoProbe) => Some(None),
            (true, false, _) => {
                let why = "it goes with `source = \"simulated\"` of the board";
                channel.table.foreign(&["scene"], why);
                None
            }
            (true, true, ProbeUnit::Known(unit)) => {
                scene::read(&channel.name, &channel.table.table("scene")?, &unit).map(Some)
            }
            (_, true, ProbeUnit::Unknown) => None,
            (true, true, ProbeUnit::NoProbe) => refuse(channel, NO_PROBE),
            (false, true, ProbeUnit::Known(_)) => refuse(channel, NO_SCENE),
        }
    }
}

const NO_PROBE: (&str, &str) = (
    "it has a scene, but no probe is wired to it, so its numbers have no unit",
    "add a probe, or remove the scene",
);
const NO_SCENE: (&str, &str) = (
    "its board is simulated, but it has no scene",
    "add a table `scene` below it, for example with `shape = \"ice\"`",
);

fn refuse<T>(channel: &ChannelDraft<'_>, (what, right): (&str, &str)) -> Value<T> {
    channel.table.error(Fault::new(what, right));
    None
}
