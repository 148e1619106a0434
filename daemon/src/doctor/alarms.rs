//! Alarms: is anybody told? What is wrong within an alarm is the configuration's own to say.

use super::finding::Finding;
use crate::config::Config;

const PLACE: &str = "configuration";

/// Looks at the alarms of a configuration.
#[must_use]
pub fn examine(config: &Config) -> Vec<Finding> {
    let alarms: usize = config.probes.iter().map(|probe| probe.alarms.len()).sum();
    judge(alarms, config.outlets.len())
}

fn judge(alarms: usize, outlets: usize) -> Vec<Finding> {
    let what = match alarms {
        0 => "no probe has an alarm: nobody is told of a broken probe or a silent board".to_owned(),
        1 => "there is 1 alarm".to_owned(),
        alarms => format!("there are {alarms} alarms"),
    };
    let none = "add `[probe.NAME.alarm.fault]` and `[probe.NAME.alarm.stale]` at least";
    match (alarms, outlets) {
        (0, _) => vec![Finding::advice(PLACE, what, none)],
        (_, 0) => vec![Finding::advice(
            PLACE,
            format!("{what}, but no outlet: only who looks at stderr is told"),
            "add an `[outlet.NAME]`",
        )],
        _ => vec![Finding::ok(PLACE, what)],
    }
}

#[cfg(test)]
mod tests {
    use super::super::finding::Severity::{Advice, Ok};
    use super::*;

    #[test]
    fn an_alarm_needs_somebody_who_hears_it() {
        for (alarms, outlets, expected) in
            [(0, 0, Advice), (0, 1, Advice), (2, 0, Advice), (2, 1, Ok)]
        {
            assert_eq!(
                judge(alarms, outlets)[0].severity,
                expected,
                "{alarms} {outlets}"
            );
        }
    }
}
