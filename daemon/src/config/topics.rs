//! Whether two things would be published on the same topic.

use super::filter;
use super::problem::Fault;
use super::reader::Table;
use super::topic::fill;
use super::{Config, Mqtt};
use std::collections::HashMap;
use std::collections::hash_map::Entry;

/// One topic that will be used: the key of its template, and whose it is.
struct Use {
    topic: String,
    key: &'static str,
    who: String,
}

/// Reports every key whose topic is used twice.
pub(super) fn check(config: &Config, mqtt: &Mqtt, table: &Table<'_>) {
    let mut owners: HashMap<String, Use> = HashMap::new();
    let mut told: Vec<(&str, &str)> = Vec::new();
    for used in uses(config, mqtt) {
        match owners.entry(used.topic.clone()) {
            Entry::Vacant(free) => {
                free.insert(used);
            }
            Entry::Occupied(taken) => {
                let owner = taken.get();
                if !told.contains(&(owner.key, used.key)) {
                    told.push((owner.key, used.key));
                    report(table, owner, &used);
                }
            }
        }
    }
}

/// The first topic that the outlet publishes on and `filter` matches.
pub(super) fn first_match(config: &Config, mqtt: &Mqtt, filter: &str) -> Option<String> {
    let mut topics = uses(config, mqtt).into_iter().map(|used| used.topic);
    topics.find(|topic| filter::matches(filter, topic))
}

fn report(table: &Table<'_>, owner: &Use, used: &Use) {
    let what = format!(
        "{} and {} would be published on the same topic, `{}`",
        owner.who, used.who, used.topic
    );
    if (owner.key, used.key) == ("topic", "backlog_topic") {
        let right =
            "a late reading would look like a new one; give `backlog_topic` a topic of its own";
        return warn(table, used.key, Fault::new(what, right));
    }
    let right = match used.key {
        key if owner.key != key => format!("give `{key}` a topic of its own"),
        "alarm_topic" => "put `{probe}` and `{alarm}` into `alarm_topic`".to_owned(),
        key if owner.who.contains("board") => format!("put `{{board}}` into `{key}`"),
        key => format!("put `{{probe}}` into `{key}`"),
    };
    let fault = Fault::new(what, right);
    match table.item(used.key) {
        Some(item) => {
            item.refuse::<()>(fault);
        }
        None => table.error(fault),
    }
}

fn warn(table: &Table<'_>, key: &'static str, fault: Fault) {
    match table.item(key) {
        Some(item) => item.warn(fault),
        None => table.warning(fault),
    }
}

fn uses(config: &Config, mqtt: &Mqtt) -> Vec<Use> {
    let mut uses = Vec::new();
    if mqtt.per_line {
        uses.extend(
            config
                .boards
                .iter()
                .flat_map(|board| line_uses(config, mqtt, &board.name)),
        );
    } else {
        uses.extend(
            config
                .probes
                .iter()
                .flat_map(|probe| probe_uses(config, mqtt, probe)),
        );
    }
    uses.extend(
        config
            .probes
            .iter()
            .flat_map(|probe| alarm_uses(config, mqtt, probe)),
    );
    uses.push(Use {
        topic: fill(&mqtt.status_topic, &[("site", &config.site)]),
        key: "status_topic",
        who: "the status".to_owned(),
    });
    uses
}

fn line_uses(config: &Config, mqtt: &Mqtt, board: &str) -> [Use; 2] {
    let names = [("site", config.site.as_str()), ("board", board)];
    [
        Use {
            topic: fill(&mqtt.topic, &names),
            key: "topic",
            who: format!("lines of board `{board}`"),
        },
        Use {
            topic: fill(&mqtt.backlog_topic, &names),
            key: "backlog_topic",
            who: format!("late lines of board `{board}`"),
        },
    ]
}

fn probe_uses(config: &Config, mqtt: &Mqtt, probe: &super::Probe) -> [Use; 2] {
    let names = [
        ("site", config.site.as_str()),
        ("board", probe.board.as_str()),
        ("probe", probe.name.as_str()),
    ];
    [
        Use {
            topic: fill(&mqtt.topic, &names),
            key: "topic",
            who: format!("readings of probe `{}`", probe.name),
        },
        Use {
            topic: fill(&mqtt.backlog_topic, &names),
            key: "backlog_topic",
            who: format!("late readings of probe `{}`", probe.name),
        },
    ]
}

fn alarm_uses(config: &Config, mqtt: &Mqtt, probe: &super::Probe) -> Vec<Use> {
    let alarms = probe.alarms.iter().map(|rule| rule.condition.name());
    alarms
        .map(|alarm| Use {
            topic: fill(
                &mqtt.alarm_topic,
                &[
                    ("site", &config.site),
                    ("board", &probe.board),
                    ("probe", &probe.name),
                    ("alarm", alarm),
                ],
            ),
            key: "alarm_topic",
            who: format!("alarm `{alarm}` of probe `{}`", probe.name),
        })
        .collect()
}
