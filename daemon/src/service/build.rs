//! From a checked configuration to the flow's probes.

use super::ServiceError;
use super::transfer;
use crate::alarm::{Move, Rule, State};
use crate::calibrate::Stated;
use crate::calibrate::history::{self, History};
use crate::config::{Board, Channel, Config, Probe as ProbeTable};
use crate::flow::{self, Flow, Measuring, Setup};
use crate::log::{Batch, Entry, Kind, Log, LogError, Loudness};
use crate::measure::decode::Decoder;
use crate::measure::supply::SupplyChannel;
use crate::reading::{Moment, Series, Stamp};
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::time::Duration;

/// Boards of the configuration by name, with the numbers that their sources know.
pub type Numbers = BTreeMap<String, usize>;

/// A note at the start finds room in the log at once, or waits no longer than a reading would.
const NOTE_PATIENCE: Duration = Duration::from_secs(2);

/// Probes whose calibration in use cannot serve, each with why, in words: they are on their configured
/// parameters.
pub type FallenBack = BTreeMap<String, String>;

/// A flow over the boards of a configuration, and which of its probes fell back.
///
/// # Errors
/// What the log or a driver says.
pub async fn flow(
    config: &Config,
    numbers: &Numbers,
    log: &Log,
    now: Moment,
) -> Result<(Flow, FallenBack), ServiceError> {
    let path = log.path().display().to_string();
    let in_log = |error| ServiceError::Log {
        path: path.clone(),
        error,
    };
    let standing = log.reader().standing_moves().await.map_err(in_log)?;
    let mut boards = Vec::new();
    let mut fallen_back = FallenBack::new();
    for board in &config.boards {
        let mut probes = Vec::new();
        let mut fields = Vec::new();
        for (probe, channel) in probes_of(config, board) {
            let history = History::of(&log.reader().steps(&probe.name).await.map_err(in_log)?);
            let (in_use, why) = in_use(&history, (probe, channel))?;
            if let Some(why) = why {
                note_unusable(probe, &why, log, now).await;
                fallen_back.insert(probe.name.clone(), why);
            }
            let series = series(probe, in_use.number);
            let series = log.series(series).await.map_err(in_log)?;
            let setup = Setup {
                measuring: measuring(probe, channel, in_use.transfer),
                alarms: alarms(probe, &standing),
                boot: log.boot(),
                last_ms: last_ms(log, &probe.name).await.map_err(in_log)?,
                now,
                due_ms: in_use.due_ms,
                series,
            };
            probes.push(flow::Probe::new(setup));
            fields.push(channel.field.clone());
        }
        let supplies = supply_channels(config, board);
        fields.extend(supplies.iter().map(|channel| channel.field.clone()));
        fields.extend(board.clock.iter().map(|clock| clock.field.clone()));
        let decoder = Decoder::new(board.format.clone(), fields);
        let name = board.name.clone();
        let built = flow::Board::new(name, now, decoder, probes, board.silent_after)
            .with_supplies(measured_supplies(board, &supplies, now));
        let built = match &board.clock {
            Some(clock) => built.with_clock(clock.counter),
            None => built,
        };
        if let Some(number) = numbers.get(&board.name) {
            boards.push((*number, built));
        }
    }
    Ok((Flow::new(boards), fallen_back))
}

/// Moves that end alarms which stayed active in the log, but whose rule or probe is no longer
/// configured: nobody would ever end them.
///
/// # Errors
/// What the log says.
pub async fn orphans(config: &Config, log: &Log, now: Moment) -> Result<Batch, ServiceError> {
    let standing = log.reader().standing_moves().await;
    let standing = standing.map_err(|error| ServiceError::Log {
        path: log.path().display().to_string(),
        error,
    })?;
    let mut batch = Batch::default();
    for active in standing
        .iter()
        .filter(|m| m.to == State::Active && !has_rule(config, m))
    {
        let stamp = Stamp {
            wall_ms: now.wall_ms.max(active.at.wall_ms.saturating_add(1)),
            boot_ns: now.boot_ns,
            boot: log.boot(),
        };
        batch.append(Batch::of(flow::withdrawal(now, stamp, active)));
    }
    Ok(batch)
}

fn has_rule(config: &Config, alarm: &Move) -> bool {
    let named = |rule: &Rule| rule.condition.name() == alarm.alarm;
    let has = |probe: &ProbeTable| probe.name == alarm.probe && probe.alarms.iter().any(named);
    config.probes.iter().any(has)
}

/// Each probe of a board with its channel; a checked configuration has one for each.
pub fn probes_of<'a>(
    config: &'a Config,
    board: &'a Board,
) -> impl Iterator<Item = (&'a ProbeTable, &'a Channel)> {
    let on_board = config.probes.iter().filter(|p| p.board == board.name);
    on_board.filter_map(|probe| {
        let channel = board.channels.iter().find(|c| c.name == probe.channel)?;
        Some((probe, channel))
    })
}

/// The channels of a board that measure the supply of one of its probes, each once.
fn supply_channels<'a>(config: &'a Config, board: &'a Board) -> Vec<&'a Channel> {
    let wanted: Vec<&str> = probes_of(config, board)
        .filter_map(|(_, channel)| channel.supply_channel.as_deref())
        .collect();
    let channels = board.channels.iter();
    channels
        .filter(|channel| wanted.contains(&channel.name.as_str()))
        .collect()
}

fn measured_supplies(board: &Board, channels: &[&Channel], now: Moment) -> Vec<SupplyChannel> {
    let supply = |channel: &&Channel| {
        let wiring = (channel.front_end, channel.corrections.clone());
        let name = channel.name.clone();
        SupplyChannel::new(name, wiring, board.silent_after, now.boot_ns)
    };
    channels.iter().map(supply).collect()
}

fn measuring(probe: &ProbeTable, channel: &Channel, transfer: Stated) -> Measuring {
    Measuring {
        front_end: channel.front_end,
        corrections: channel.corrections.clone(),
        supply: channel.supply_channel.clone(),
        input: probe.input,
        transfer,
        median: probe.median,
        every: probe.every,
    }
}

/// What a probe's values are made by.
struct InUse {
    /// Of the calibration; 0 for the configured parameters.
    number: u32,
    due_ms: Option<i64>,
    transfer: Stated,
}

/// The calibration in use, or the configured parameters; with why, where the calibration does not fit
/// the probe any more and the night goes on with the configured ones.
fn in_use(
    history: &History,
    (probe, channel): (&ProbeTable, &Channel),
) -> Result<(InUse, Option<String>), ServiceError> {
    let why = match by_calibration(history, probe, channel) {
        Ok(Some(in_use)) => return Ok((in_use, None)),
        Ok(None) => None,
        Err(why) => Some(why),
    };
    let configured = InUse {
        number: 0,
        due_ms: None,
        transfer: transfer::configured(probe, channel),
    };
    Ok((configured, why))
}

/// `None` where none is in use; in words why the one that is cannot serve.
fn by_calibration(
    history: &History,
    probe: &ProbeTable,
    channel: &Channel,
) -> Result<Option<InUse>, String> {
    let Some((number, calibration)) = history::active(history, probe)? else {
        return Ok(None);
    };
    let transfer = transfer::calibrated(probe, channel, calibration)
        .map_err(|error| format!("calibration {number} cannot be used ({error})"))?;
    Ok(Some(InUse {
        number,
        due_ms: calibration.due_ms,
        transfer,
    }))
}

async fn note_unusable(probe: &ProbeTable, why: &str, log: &Log, now: Moment) {
    let text = format!(
        "probe {}: {why}; the configured parameters are used instead, so calibrate it again, or \
         correct its table",
        probe.name
    );
    let entry = Entry::new(now, Kind::Calibration, &probe.name, text).loud(Loudness::Warning);
    entry.say();
    // Where the log has no room, it was said all the same.
    let _ = log.append(Batch::of(entry), NOTE_PATIENCE).await;
}

fn series(probe: &ProbeTable, calibration: u32) -> Series {
    Series {
        id: 0,
        probe: probe.name.clone(),
        board: probe.board.clone(),
        channel: probe.channel.clone(),
        driver: probe.driver.name().to_owned(),
        quantity: probe.quantity.clone(),
        unit: probe.unit.clone(),
        electrical_unit: probe.input.unit().to_owned(),
        calibration,
    }
}

fn alarms(probe: &ProbeTable, standing: &[Move]) -> Vec<(Rule, State)> {
    let state = |alarm: &str| {
        let last = standing
            .iter()
            .find(|m| m.probe == probe.name && m.alarm == alarm);
        last.map_or(State::Normal, |m| m.to)
    };
    let rules = probe.alarms.iter().cloned();
    rules
        .map(|rule| (rule.clone(), state(rule.condition.name())))
        .collect()
}

async fn last_ms(log: &Log, probe: &str) -> Result<Option<i64>, LogError> {
    log.reader().last_time_of(probe).await
}

/// What is to be said where the service before this one did not stop properly.
pub async fn unclean_end(log: &Log) -> Option<String> {
    let end = log.reader().last_end().await.ok().flatten()?;
    if end.stopped {
        return None;
    }
    let last = end
        .last_reading_ms
        .and_then(|ms| Timestamp::from_millisecond(ms).ok())
        .map_or("it left no reading".to_owned(), |time| {
            format!("its last reading is of {time}")
        });
    Some(format!(
        "the one before ended without stopping (power cut, or killed); {last}, nothing was watched since"
    ))
}
