//! From a checked configuration to the flow's probes.

use super::ServiceError;
use crate::alarm::{Move, Rule, State};
use crate::config::{Board, Channel, Config, Probe as ProbeTable};
use crate::flow::{self, Flow, Measuring, Setup};
use crate::log::{Batch, Log, LogError};
use crate::measure::decode::Decoder;
use crate::measure::supply::SupplyChannel;
use crate::reading::{Moment, Series, Stamp};
use jiff::Timestamp;
use std::collections::BTreeMap;

/// Boards of the configuration by name, with the numbers that their sources know.
pub type Numbers = BTreeMap<String, usize>;

/// A flow over the boards of a configuration.
///
/// # Errors
/// What the log or a driver says.
pub async fn flow(
    config: &Config,
    numbers: &Numbers,
    log: &Log,
    now: Moment,
) -> Result<Flow, ServiceError> {
    let path = log.path().display().to_string();
    let in_log = |error| ServiceError::Log {
        path: path.clone(),
        error,
    };
    let standing = log.reader().standing_moves().await.map_err(in_log)?;
    let mut boards = Vec::new();
    for board in &config.boards {
        let mut probes = Vec::new();
        let mut fields = Vec::new();
        for (probe, channel) in probes_of(config, board) {
            let series = log.series(series(probe)).await.map_err(in_log)?;
            let setup = Setup {
                measuring: measuring(probe, channel),
                alarms: alarms(probe, &standing),
                boot: log.boot(),
                last_ms: last_ms(log, &probe.name).await.map_err(in_log)?,
                now,
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
    Ok(Flow::new(boards))
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

fn measuring(probe: &ProbeTable, channel: &Channel) -> Measuring {
    Measuring {
        front_end: channel.front_end,
        corrections: channel.corrections.clone(),
        supply: channel.supply_channel.clone(),
        input: probe.input,
        model: probe.model.clone(),
        median: probe.median,
        every: probe.every,
    }
}

fn series(probe: &ProbeTable) -> Series {
    Series {
        id: 0,
        probe: probe.name.clone(),
        board: probe.board.clone(),
        channel: probe.channel.clone(),
        driver: probe.driver.name().to_owned(),
        quantity: probe.quantity.clone(),
        unit: probe.unit.clone(),
        electrical_unit: probe.input.unit().to_owned(),
        calibration: 0,
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
