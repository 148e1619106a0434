//! Checks that no single table can do: names that refer to each other, things that two tables
//! would share, advice that needs probe and board together.

use super::problem::Fault;
use super::{Board, Config, OutletKind, Source};
use super::{board, outlet, probe, resistor, topics};
use std::path::Path;

/// Everything that is in the file, as far as it could be read.
pub(super) struct Drafts<'d, 'a> {
    /// Boards.
    pub(super) boards: &'d [board::Draft<'a>],
    /// Probes.
    pub(super) probes: &'d [probe::Draft<'a>],
    /// Outlets.
    pub(super) outlets: &'d [outlet::Draft<'a>],
}

/// Checks that work on what could be read, also where something else could not.
pub(super) fn check_drafts(drafts: &Drafts<'_, '_>) {
    one_probe_a_channel(drafts.probes);
    one_channel_a_field(drafts.boards);
    boards_in_use(drafts);
    intervals(drafts);
    silences(drafts.boards);
    resistors(drafts.probes);
}

/// Checks on a configuration whose tables are all right by themselves.
pub(super) fn check_whole(config: &Config, drafts: &Drafts<'_, '_>) {
    one_board_a_port(&config.boards, drafts.boards);
    one_owner_a_file(config, drafts);
    one_client_an_id(config, drafts);
    no_board_reads_an_outlet(config, drafts);
    for (outlet, draft) in config.outlets.iter().zip(drafts.outlets) {
        if let OutletKind::Mqtt(mqtt) = &outlet.kind {
            topics::check(config, mqtt, &draft.table);
        }
    }
}

fn one_probe_a_channel(probes: &[probe::Draft<'_>]) {
    for (at, probe) in probes.iter().enumerate() {
        let Some((board, channel)) = &probe.wired_to else {
            continue;
        };
        let before = probes[..at]
            .iter()
            .find(|earlier| earlier.wired_to == probe.wired_to);
        if let Some(earlier) = before {
            let what = format!(
                "channel `{channel}` of board `{board}` is already wired to probe `{}`",
                earlier.name
            );
            probe.table.error(Fault::new(
                what,
                "a channel feeds one probe; name another one",
            ));
        }
    }
}

fn one_channel_a_field(boards: &[board::Draft<'_>]) {
    for board in boards {
        for (at, draft) in board.channels.iter().enumerate() {
            let Some(channel) = &draft.channel else {
                continue;
            };
            let mut earlier = board.channels[..at]
                .iter()
                .filter_map(|c| c.channel.as_ref());
            if let Some(same) = earlier.find(|earlier| earlier.field == channel.field) {
                let what = format!(
                    "it reads `{}`, as channel `{}` does",
                    channel.field, same.name
                );
                let right = "correct `field`, unless both are meant to see the same number";
                draft.table.warning(Fault::new(what, right));
            }
        }
    }
}

fn boards_in_use(drafts: &Drafts<'_, '_>) {
    let used = |name: &str| {
        let mut probes = drafts.probes.iter();
        // A probe whose wiring could not be read may be the one.
        probes.any(|probe| {
            probe
                .wired_to
                .as_ref()
                .is_none_or(|(board, _)| board == name)
        })
    };
    for board in drafts.boards.iter().filter(|board| !used(&board.name)) {
        let right = "add a `[probe.NAME]` for it, or remove the board";
        board
            .table
            .warning(Fault::new("no probe is wired to it", right));
    }
}

/// A mean over less than one line is that line, and a stated interval that is not kept.
fn intervals(drafts: &Drafts<'_, '_>) {
    for draft in drafts.probes {
        let Some(probe) = &draft.probe else { continue };
        let board = drafts.boards.iter().find(|board| board.name == probe.board);
        let (Some(every), Some(interval)) = (probe.every, board.and_then(board::Draft::interval))
        else {
            continue;
        };
        if every < interval {
            let [every, interval] = [every, interval].map(super::words::duration);
            let what = format!("`every` is {every}, but its board sends a line each {interval}");
            let right = format!("write `every = \"{interval}\"` or more, or remove the line");
            draft.table.warning(Fault::new(what, right));
        }
    }
}

/// A board that may be silent for two lines only is silent whenever one is lost.
fn silences(boards: &[board::Draft<'_>]) {
    for board in boards {
        let (Some(every), Some(after)) = (board.real_interval(), board.silent_after()) else {
            continue;
        };
        if after < every.saturating_mul(2) {
            let [every, after] = [every, after].map(super::words::duration);
            let what =
                format!("it sends a line each {every}, but counts as silent after {after} already");
            let right = "make `silent_after` two or three times as long, so that one lost line is \
                         no alarm";
            board.table.warning(Fault::new(what, right));
        }
    }
}

fn resistors(probes: &[probe::Draft<'_>]) {
    for draft in probes {
        let (Some(probe), Some(chain)) = (&draft.probe, &draft.chain) else {
            continue;
        };
        if let Some(fault) = resistor::advice(chain, &probe.alarms, &probe.unit) {
            draft.table.warning(fault);
        }
    }
}

fn one_board_a_port(boards: &[Board], drafts: &[board::Draft<'_>]) {
    let port = |board: &Board| match &board.source {
        Source::Serial { port, .. } => Some(port.display().to_string()),
        // Most bridges serve one client; of two, each gets half of the bytes, or throws the other out.
        Source::Tcp(bridge) => Some(format!("{}:{}", bridge.host, bridge.port)),
        _ => None,
    };
    for (at, (board, draft)) in boards.iter().zip(drafts).enumerate() {
        let Some(own) = port(board) else { continue };
        let before = boards[..at]
            .iter()
            .find(|earlier| port(earlier).as_ref() == Some(&own));
        if let Some(earlier) = before {
            let what = format!("its port belongs to board `{}` already", earlier.name);
            draft
                .table
                .error(Fault::new(what, "a port has one board; correct `port`"));
        }
    }
}

/// The log and the files of outlets must not write over each other, nor over what is replayed.
fn one_owner_a_file(config: &Config, drafts: &Drafts<'_, '_>) {
    let mut taken: Vec<(&Path, String)> = vec![(&config.log.path, "the log".to_owned())];
    for board in &config.boards {
        if let Source::Replay { file, .. } = &board.source {
            taken.push((file, format!("board `{}`", board.name)));
        }
    }
    for (outlet, draft) in config.outlets.iter().zip(drafts.outlets) {
        let OutletKind::LineProtocolFile(file) = &outlet.kind else {
            continue;
        };
        if let Some((_, owner)) = taken.iter().find(|(path, _)| *path == file.path) {
            let what = format!("its file is that of {owner}");
            draft.table.error(Fault::new(what, "write another `path`"));
        }
        taken.push((&file.path, format!("outlet `{}`", outlet.name)));
    }
}

/// A broker closes the older of two connections with one identifier (MQTT 3.1.1, 3.1.4-2): they
/// would throw each other out for ever.
fn one_client_an_id(config: &Config, drafts: &Drafts<'_, '_>) {
    let boards = config.boards.iter().zip(drafts.boards);
    let boards = boards.filter_map(|(board, draft)| match &board.source {
        Source::Mqtt(mqtt) => Some((
            (&*mqtt.host, mqtt.port, &*mqtt.client_id),
            format!("board `{}`", board.name),
            &draft.table,
        )),
        _ => None,
    });
    let outlets = config.outlets.iter().zip(drafts.outlets);
    let outlets = outlets.filter_map(|(outlet, draft)| match &outlet.kind {
        OutletKind::Mqtt(mqtt) => Some((
            (&*mqtt.host, mqtt.port, &*mqtt.client_id),
            format!("outlet `{}`", outlet.name),
            &draft.table,
        )),
        _ => None,
    });
    let mut taken = Vec::new();
    for (client, who, table) in boards.chain(outlets) {
        if let Some((_, other)) = taken.iter().find(|(earlier, _)| *earlier == client) {
            let what = format!("`client_id` is that of {other} at the same broker");
            let right = "give each its own: a broker closes the older connection of two";
            table.error(Fault::new(what, right));
        }
        taken.push((client, who));
    }
}

/// A board that is subscribed to what an outlet publishes would read the program's own readings.
fn no_board_reads_an_outlet(config: &Config, drafts: &Drafts<'_, '_>) {
    for (board, draft) in config.boards.iter().zip(drafts.boards) {
        let Source::Mqtt(subscription) = &board.source else {
            continue;
        };
        let heard = config.outlets.iter().find_map(|outlet| match &outlet.kind {
            OutletKind::Mqtt(mqtt)
                if (&mqtt.host, mqtt.port) == (&subscription.host, subscription.port) =>
            {
                let topic = topics::first_match(config, mqtt, &subscription.topic)?;
                Some((&outlet.name, topic))
            }
            _ => None,
        });
        if let Some((outlet, topic)) = heard {
            let what =
                format!("its `topic` also matches `{topic}`, where outlet `{outlet}` publishes");
            let right = "give the boards a topic of their own, such as `boards/#`";
            draft.table.warning(Fault::new(what, right));
        }
    }
}
