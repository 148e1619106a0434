//! How warnings are told: the configuration can be used, but will work badly.

use super::{good_and, good_but, read, shown};
use insta::assert_snapshot;

fn warned(text: &str) -> String {
    assert!(read(text).0.is_some(), "{}", shown(text));
    shown(text)
}

#[test]
fn a_port_that_changes_its_name_is_warned_of() {
    let text = good_but("/dev/serial/by-id/usb-board", "/dev/ttyACM0");
    assert_snapshot!(warned(&text), @"bath.toml:6:8: warning: board `bench`: `/dev/ttyACM0` names another board as soon as two are plugged in the other way round; take the name under `/dev/serial/by-id`");
}

#[test]
fn a_lossy_quality_of_service_is_warned_of() {
    let outlet = "[outlet.k]\nkind = \"mqtt\"\nhost = \"h\"\nqos = 0\n";
    assert_snapshot!(warned(&good_and(outlet)), @"bath.toml:22:7: warning: outlet `k`: with quality of service 0 nobody notices a lost message; write `qos = 1`, unless the readings are only to be looked at");
}

#[test]
fn an_alarm_that_asks_for_nothing_and_a_dead_probe_are_warned_of() {
    assert_snapshot!(warned(&good_and("[probe.mash.alarm.high]\nlimit = 68\n")), @r#"
    bath.toml:19:13: warning: probe `mash`: there is a limit, but no alarm `fault` or `stale`; add them: a broken probe or a silent board never reaches a limit
    bath.toml:19:19: warning: probe `mash`, alarm `high`: it does not say what to do when it is raised; add `action = "…"`: an alarm that asks for nothing wakes people for nothing
    "#);
}

#[test]
fn a_deadband_as_wide_as_the_span_is_warned_of() {
    let alarms = "[probe.mash.alarm]\nhigh = { limit = 22, action = \"a\", deadband = 5 }\n\
                  low = { limit = 18, action = \"b\" }\n\
                  fault = { action = \"c\" }\nstale = { action = \"d\" }\n";
    assert_snapshot!(warned(&good_and(alarms)), @"bath.toml:19:13: warning: probe `mash`: a deadband of 5 Cel reaches from one limit to the other; make it smaller, or an alarm ends only when the other one comes");
}

#[test]
fn a_mean_over_less_than_a_line_is_warned_of() {
    let text = good_but(
        "source = \"serial\"\nport",
        "source = \"replay\"\nevery = \"10s\"\nfile",
    );
    let text = text.replace(
        "channel = \"a0\"\ndriver",
        "channel = \"a0\"\nevery = \"1s\"\ndriver",
    );
    assert_snapshot!(warned(&text), @r#"
    bath.toml:4:8: warning: board `bench`: it sends a line each 10s, but counts as silent after 10s already; make `silent_after` two or three times as long, so that one lost line is no alarm
    bath.toml:13:8: warning: probe `mash`: `every` is 1s, but its board sends a line each 10s; write `every = "10s"` or more, or remove the line
    "#);
}

#[test]
fn a_board_without_a_probe_and_a_field_read_twice_are_warned_of() {
    let more = "[board.bench.channel.b0]\nfield = \"a0\"\nfront_end = \"none\"\n\
                [board.idle]\nsource = \"serial\"\nport = \"/dev/serial/by-id/usb-other\"\n\
                [board.idle.channel.a0]\nfront_end = \"none\"\n";
    assert_snapshot!(warned(&good_and(more)), @"
    bath.toml:19:22: warning: board `bench`, channel `b0`: it reads `a0`, as channel `a0` does; correct `field`, unless both are meant to see the same number
    bath.toml:22:8: warning: board `idle`: no probe is wired to it; add a `[probe.NAME]` for it, or remove the board
    ");
}

#[test]
fn a_resistor_that_wastes_the_converter_is_warned_of_with_the_best_one() {
    // Source: divider algebra. Beta 3950 K, 10 kOhm at 25 Cel: 97 kOhm at -20, 2.5 kOhm at 60; the
    // geometric mean is 15.5 kOhm.
    let text = good_but("resistor = \"10 kOhm\"", "resistor = \"220 Ohm\"");
    assert_snapshot!(warned(&text), @"bath.toml:12:8: warning: probe `mash`: with a resistor of 220 Ohm the range from -20 to 60 Cel moves the converter over 7.9 % of its codes; 16 kOhm would give 73 %");
    let text = good_but("resistor = \"10 kOhm\"", "resistor = \"2 MOhm\"");
    assert_snapshot!(warned(&text), @"bath.toml:12:8: warning: probe `mash`: with a resistor of 2 MOhm the range from -20 to 60 Cel moves the converter over 4.9 % of its codes; 16 kOhm would give 73 %");
    assert_eq!(
        warned(&good_but(
            "resistor = \"10 kOhm\"",
            "resistor = \"47 kOhm\""
        )),
        ""
    );
}

#[test]
fn live_and_late_on_one_topic_are_warned_of() {
    let outlet = "[outlet.k]\nkind = \"mqtt\"\nhost = \"h\"\ntopic = \"{probe}\"\n\
                  backlog_topic = \"{probe}\"\n";
    assert_snapshot!(warned(&good_and(outlet)), @"bath.toml:23:17: warning: outlet `k`: readings of probe `mash` and late readings of probe `mash` would be published on the same topic, `mash`; a late reading would look like a new one; give `backlog_topic` a topic of its own");
}

#[test]
fn a_board_that_may_not_miss_a_line_is_warned_of() {
    let replay = "source = \"replay\"\nfile = \"n.txt\"\nevery = \"1m\"\nspeed = 4\n";
    let text = good_but(
        "source = \"serial\"\nport = \"/dev/serial/by-id/usb-board\"\n",
        replay,
    );
    assert_snapshot!(warned(&text), @"bath.toml:4:8: warning: board `bench`: it sends a line each 15s, but counts as silent after 10s already; make `silent_after` two or three times as long, so that one lost line is no alarm");
    assert_eq!(warned(&text.replace("speed = 4", "speed = 12")), "");
    let text = text.replace("speed = 4", "speed = \"unlimited\"");
    assert_eq!(warned(&text), "");
}

#[test]
fn an_alarm_without_deadband_and_delay_is_warned_of() {
    let alarms = "[probe.mash.alarm]\nhigh = { limit = 68, action = \"a\", deadband = 0 }\n\
                  fault = { action = \"c\" }\nstale = { action = \"d\" }\n";
    assert_snapshot!(warned(&good_and(alarms)), @r#"bath.toml:20:1: warning: probe `mash`, alarm `high`: it has neither a deadband nor a delay, so at its limit each wobble of the last digit raises it anew; add a `deadband` of some steps of the reading, or `on_delay = "30s"`"#);
    for calm in [
        "deadband = 0.5",
        "deadband = 0, on_delay = \"30s\"",
        "off_delay = 5",
    ] {
        let text = good_and(&alarms.replace("deadband = 0", calm));
        assert_eq!(warned(&text), "", "{calm}");
    }
}
