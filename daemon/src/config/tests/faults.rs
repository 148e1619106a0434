//! How errors are told. Each snapshot was read aloud once.

use super::{good_and, good_but, shown};
use insta::assert_snapshot;

#[test]
fn one_file_with_many_faults_is_told_all_of_them_at_once() {
    assert_snapshot!(shown(include_str!("faulty.toml")), @r#"
    bath.toml:1:8: the name `wine cellar` contains a space; a name is made of letters A to Z and a to z, digits, `_`, `.` and `-`
    bath.toml:2:1: unknown key `pasword`; the keys here are `board`, `driver`, `drivers`, `log`, `outlet`, `probe`, `site`
    bath.toml:6:10: log: `commit` is 5m; it must be between 100ms and 1m
    bath.toml:8:8: board `bench`: it has no channel; add a table `[board.bench.channel.NAME]` for each input with a probe
    bath.toml:9:10: board `bench`: unknown `source`: `seriel`; there is a similar one: `serial`
    bath.toml:14:8: warning: board `shelf`: `/dev/ttyUSB0` names another board as soon as two are plugged in the other way round; take the name under `/dev/serial/by-id`
    bath.toml:15:8: board `shelf`: `baud` is 0; it must be between 50 and 4000000
    bath.toml:17:11: board `shelf`: the column `a0` is named twice; each column has a name of its own, or `_`
    bath.toml:18:1: board `shelf`: `every` does not belong here: it goes with `source = "replay"`, `"simulated"` or `"file"`; remove it
    bath.toml:20:22: board `shelf`, channel `a0`: `full_scale` is missing; add a line such as `full_scale = 1023`
    bath.toml:22:14: board `shelf`, channel `a0`: unknown `probe_side`: `middle`; it is one of `low`, `high`
    bath.toml:23:12: board `shelf`, channel `a0`: `10 kV` is a voltage, but a resistance in `Ohm` is wanted; write a number with a unit: `"10 kOhm"`
    bath.toml:24:1: board `shelf`, channel `a0`: unknown key `fullscale`; there is a key with a similar name: `full_scale`
    bath.toml:29:11: board `shelf`, channel `a1`: `per_ohm` is 0; it must be above 0
    bath.toml:30:12: board `shelf`, channel `a1`: `overflow` is 20, but zero ohm already gives 24 (`offset`); it must be larger: the count at which the board gives up waiting
    bath.toml:31:1: board `shelf`, channel `a1`: `resistor` does not belong here: it goes with `front_end = "divider"`; remove it
    bath.toml:42:10: probe `mash`: unknown `driver`: `termistor`; there is a similar one: `thermistor`; its `parameters` are looked at once the driver is known
    bath.toml:45:9: probe `bath-left`: unknown `board`: `shelff`; there is a similar one: `shelf`
    bath.toml:48:1: probe `bath-left`: `unit` does not belong here: the driver `thermistor` always gives `Cel`; remove it
    bath.toml:49:10: probe `bath-left`: a median of 4 samples has no middle one; it must be odd: 3 or 5
    bath.toml:50:9: probe `bath-left`: unknown unit `parsec` in `10 parsec`; write a number with ms, s, m, h or d: `"10s"`
    bath.toml:53:8: probe `bath-left`, parameters: unknown `form`: `betta`; there is a similar one: `beta`
    bath.toml:54:6: probe `bath-left`, parameters: `10 lx` is an illuminance, but a resistance in `Ohm` is wanted; write a number with a unit: `"10 kOhm"`
    bath.toml:55:8: probe `bath-left`, parameters: `beta` is 20 K; it must be between 500 K and 20000 K
    bath.toml:57:18: warning: probe `bath-left`: there is a limit, but no alarm `fault` or `stale`; add them: a broken probe or a silent board never reaches a limit
    bath.toml:57:24: warning: probe `bath-left`, alarm `high`: it does not say what to do when it is raised; add `action = "…"`: an alarm that asks for nothing wakes people for nothing
    bath.toml:57:24: warning: probe `bath-left`, alarm `high`: it has neither a deadband nor a delay, so at its limit each wobble of the last digit raises it anew; add a `deadband` of some steps of the reading, or `on_delay = "30s"`
    bath.toml:58:9: `68 Cel` is not in quotes; write `limit = "68 Cel"`
    bath.toml:59:1: probe `bath-left`, alarm `high`: unknown key `dead_band`; there is a key with a similar name: `deadband`
    bath.toml:61:8: probe `deep`: channel `a2` of board `shelf` is already wired to probe `mash`; a channel feeds one probe; name another one
    bath.toml:65:9: probe `deep`: the driver `thermistor` takes no `volt`; it takes `ohm`
    bath.toml:67:13: probe `deep`: driver `thermistor`: the form `beta` needs `r0` and `beta`; correct the probe's `parameters`
    bath.toml:70:13: warning: probe `deep`: there is a limit, but no alarm `fault` or `stale`; add them: a broken probe or a silent board never reaches a limit
    bath.toml:72:12: probe `deep`, alarm `high`: `deadband` is -1 Cel; it is a distance from the limit, 0 or more
    bath.toml:75:19: warning: probe `deep`, alarm `low`: it does not say what to do when it is raised; add `action = "…"`: an alarm that asks for nothing wakes people for nothing
    bath.toml:76:9: probe `deep`, alarm `low`: `40 lx` is an illuminance, but a temperature in `Cel` is wanted; write a number with a unit: `"20 Cel"`
    bath.toml:80:8: outlet `kitchen`: `mqtt://broker` is an address, but a host is wanted; write `host = "broker"`
    bath.toml:81:1: outlet `kitchen`: a password does not belong in the configuration; write it into a file that only the service can read, and name that: `password_file = "outlet.secret"`; or `password_env = "NAME"` for an environment variable
    bath.toml:82:7: outlet `kitchen`: quality of service 2 is not supported; write `qos = 1`: a message that comes twice carries the same sequence number
    bath.toml:83:9: outlet `kitchen`: a topic that is published to cannot hold `#`; remove it; `+` and `#` are for those who subscribe
    bath.toml:84:14: outlet `kitchen`: `keep_alive` is 500ms; it must be between 1s and 65535s
    bath.toml:85:10: outlet `kitchen`: `window` is 0; it must be between 1 and 65535
    bath.toml:86:11: outlet `kitchen`: unknown `payload`: `yaml`; it is one of `json`, `senml`, `plain`
    bath.toml:88:9: outlet `house`: it does not say where to write; write `database = "night"` for `/write`, or `org` and `bucket` for `/api/v2/write`
    bath.toml:90:7: outlet `house`: an address with `ftp` cannot be written to; write it as `url = "http://127.0.0.1:8086"`
    bath.toml:91:9: outlet `house`: `batch` is 0; it must be between 1 and 100000
    bath.toml:92:9: the value is missing, or not in quotes; write `key = "text"` or `key = 5`
    bath.toml:97:1: outlet `card`: `host` does not belong here: it goes with `kind = "mqtt"`; remove it
    bath.toml:99:9: `[outlet.card]` is defined twice; remove one, or give one another name; the first is on line 94
    "#);
}

#[test]
fn a_secret_is_never_shown() {
    let text = include_str!("faulty.toml");
    let (_, problems) = super::read(text);
    for problem in &problems {
        assert!(!problem.to_string().contains("hunter"), "{problem}");
        assert!(!problem.text.contains("hunter"), "{problem}");
    }
    let address = "[outlet.h]\nkind = \"line-protocol\"\nurl = \"http://me:hunter@h\"\n";
    let shown = shown(&good_and(&format!("{address}database = \"n\"\n")));
    assert!(!shown.contains("hunter"));
    assert_snapshot!(shown, @"bath.toml:21:1: outlet `h`: an address in the configuration holds no user and no password; write `user` and `password_file` as keys of their own");
}

#[test]
fn an_empty_text_says_what_is_needed() {
    assert_snapshot!(shown(""), @r#"
    bath.toml:1:1: `site` is missing; add a line such as `site = "cellar"`
    bath.toml:1:1: there is no `[log]` table; add one with the file that readings are kept in: `path = "night.sqlite"`
    bath.toml:1:1: there is no `[probe.NAME]` table, so nothing would be read; add one for each probe
    "#);
}

#[test]
fn a_name_with_a_point_is_written_in_quotes() {
    let text = good_but("[probe.mash]", "[probe.mash.left]");
    assert_snapshot!(shown(&text), @r#"
    bath.toml:12:8: probe `mash`: `board` is missing; add a line such as `board = "bench"`
    bath.toml:12:8: probe `mash`: `channel` is missing; add a line such as `channel = "a0"`
    bath.toml:12:8: probe `mash`: `driver` is missing; add a line such as `driver = "thermistor"`
    bath.toml:12:13: probe `mash`: unknown table `left`; a name with a point in it is written in quotes: `"left.deep"`
    "#);
}

#[test]
fn columns_must_hold_the_channels_fields() {
    let line = "port = \"/dev/serial/by-id/usb-board\"";
    let columns = format!("{line}\nformat = \"columns\"\ncolumns = [\"_\", \"a1\"]");
    assert_snapshot!(shown(&good_but(line, &columns)), @"bath.toml:9:22: board `bench`, channel `a0`: none of the board's columns is `a0`; name the channel after one of `a1`");
}

#[test]
fn a_simulated_probe_needs_a_scene_and_a_scene_needs_a_probe() {
    let simulated = "source = \"simulated\"";
    let text = good_but("source = \"serial\"", simulated);
    let text = text.replace("port = \"/dev/serial/by-id/usb-board\"\n", "");
    assert_snapshot!(shown(&text), @r#"bath.toml:6:22: board `bench`, channel `a0`: its board is simulated, but it has no scene; add a table `scene` below it, for example with `shape = "ice"`"#);
    let other = "[board.bench.channel.b0]\nfront_end = \"none\"\n\
                 [board.bench.channel.b0.scene]\nshape = \"ice\"\n";
    assert_snapshot!(shown(&format!("{text}{other}")), @r#"
    bath.toml:6:22: board `bench`, channel `a0`: its board is simulated, but it has no scene; add a table `scene` below it, for example with `shape = "ice"`
    bath.toml:18:22: board `bench`, channel `b0`: it has a scene, but no probe is wired to it, so its numbers have no unit; add a probe, or remove the scene
    "#);
    let scene = "[board.bench.channel.a0.scene]\nshape = \"ice\"\n";
    assert_snapshot!(shown(&good_and(scene)), @r#"bath.toml:19:25: board `bench`, channel `a0`: `scene` does not belong here: it goes with `source = "simulated"` of the board; remove it"#);
}

#[test]
fn limits_must_be_in_order() {
    let alarms = "[probe.mash.alarm]\nhigh = { limit = 20, action = \"a\" }\n\
                  low = { limit = \"68 [degF]\", action = \"b\" }\n\
                  fault = { action = \"c\" }\nstale = { action = \"d\", limit = 5 }\n";
    assert_snapshot!(shown(&good_and(alarms)), @"
    bath.toml:19:13: probe `mash`: the high limit, 20 Cel, is not above the low one, 20 Cel; one of both alarms would always be raised; set `high` above `low`
    bath.toml:23:25: probe `mash`, alarm `stale`: `limit` does not belong here: only `high` and `low` have a limit; remove it
    ");
    let good = alarms.replace(", limit = 5", "");
    assert_snapshot!(shown(&good_and(&good)), @"bath.toml:19:13: probe `mash`: the high limit, 20 Cel, is not above the low one, 20 Cel; one of both alarms would always be raised; set `high` above `low`");
}

#[test]
fn the_driver_that_leaves_it_open_asks_for_quantity_and_unit() {
    let text = good_but(
        "driver = \"thermistor\"",
        "driver = \"divider\"\nunit = \"degC\"",
    );
    let text = text.replace("r0 = \"10 kOhm\"\nbeta = \"3950 K\"\n", "gain = 100\n");
    assert_snapshot!(shown(&text), @r#"
    bath.toml:12:8: probe `mash`: `quantity` is missing; add a line such as `quantity = "temperature"`
    bath.toml:16:8: probe `mash`: `degC` is not the UCUM code that you mean; write `"Cel"`
    "#);
}

#[test]
fn a_front_end_must_give_what_the_driver_takes() {
    let divider = "front_end = \"divider\"\nprobe_side = \"low\"\nresistor = \"10 kOhm\"\n";
    let voltage = "front_end = \"voltage\"\nreference = \"3.3 V\"\n";
    assert_snapshot!(shown(&good_but(divider, voltage)), @"bath.toml:11:8: probe `mash`: the driver `thermistor` takes `ohm`, the channel's front end gives `volt`, `ratio`; choose another driver, or correct `front_end`");
}

/// Two probes, each with an alarm, and an MQTT outlet with these keys.
fn two_probes(outlet: &str) -> String {
    good_and(&format!(
        "[probe.mash.alarm]\nfault = {{ action = \"a\" }}\n\
         [board.bench.channel.b0]\nfront_end = \"none\"\n\
         [probe.room]\nboard = \"bench\"\nchannel = \"b0\"\ndriver = \"divider\"\n\
         quantity = \"temperature\"\nunit = \"Cel\"\nalarm = {{ fault = {{ action = \"b\" }} }}\n\
         [outlet.kitchen]\nkind = \"mqtt\"\nhost = \"h\"\n{outlet}\n"
    ))
}

#[test]
fn two_things_never_share_a_topic() {
    assert_eq!(shown(&two_probes("")), "");
    assert_snapshot!(shown(&two_probes("topic = \"{site}/{board}\"")), @"bath.toml:33:9: outlet `kitchen`: readings of probe `mash` and readings of probe `room` would be published on the same topic, `cellar/bench`; put `{probe}` into `topic`");
    assert_snapshot!(shown(&two_probes("alarm_topic = \"{probe}\"\nbacklog_topic = \"{probe}\"")), @"bath.toml:33:15: outlet `kitchen`: late readings of probe `mash` and alarm `fault` of probe `mash` would be published on the same topic, `mash`; give `alarm_topic` a topic of its own");
    assert_snapshot!(shown(&two_probes("status_topic = \"{site}/room/late\"")), @"bath.toml:33:16: outlet `kitchen`: late readings of probe `room` and the status would be published on the same topic, `cellar/room/late`; give `status_topic` a topic of its own");
    let line = "message_per = \"line\"\npayload = \"plain\"\ntopic = \"{probe}\"";
    assert_snapshot!(shown(&two_probes(line)), @r#"
    bath.toml:34:11: outlet `kitchen`: a plain number cannot hold a whole line; write `payload = "json"`, or `message_per = "reading"`
    bath.toml:35:9: outlet `kitchen`: nothing is known that could fill `{probe}`; the places of this topic are `{site}`, `{board}`
    "#);
}

#[test]
fn version_and_encryption_must_go_with_the_rest() {
    let outlet = |keys: &str| {
        let start = "[outlet.k]\nkind = \"mqtt\"\n";
        shown(&good_and(&format!("{start}{keys}")))
    };
    assert_snapshot!(outlet("host = \"h\"\nversion = \"4\"\n"), @r#"bath.toml:22:11: outlet `k`: unknown `version`: `4`; it is one of `3.1.1`, `5`"#);
    assert_snapshot!(outlet("host = \"h\"\nexpiry = \"10m\"\nca_file = \"ca.pem\"\n"), @r#"
    bath.toml:22:1: outlet `k`: `expiry` does not belong here: it goes with `version = "5"`; remove it
    bath.toml:23:1: outlet `k`: `ca_file` does not belong here: it goes with `tls = true`; remove it
    "#);
    assert_snapshot!(outlet("host = \"h\"\nversion = \"5\"\nkeep_alive = \"2s\"\n"), @r#"bath.toml:23:14: outlet `k`: with version 5 `keep_alive` is at least 5s; write `keep_alive = "5s"`, or remove the line"#);
    assert_snapshot!(outlet("host = \"fe80::1\"\ntls = true\n"), @"bath.toml:21:8: outlet `k`: `fe80::1` is an IPv6 address, which cannot be checked against a certificate here; write the name that the broker's certificate is made out to");
    assert_snapshot!(outlet("host = \"h\"\ntls = true\nclient_key_file = \"k\"\n"), @"bath.toml:19:9: outlet `k`: there is `client_key_file`, but no `client_certificate_file`; a certificate is of use only with its key; name both");
}

#[test]
fn credentials_must_go_together() {
    let outlet = |keys: &str| {
        let start = "[outlet.h]\nkind = \"line-protocol\"\nurl = \"http://h\"\n";
        shown(&good_and(&format!("{start}{keys}")))
    };
    assert_snapshot!(outlet("org = \"o\"\nuser = \"u\"\n"), @r#"
    bath.toml:19:9: outlet `h`: there is `org`, but no `bucket`; write `database = "night"` for `/write`, or `org` and `bucket` for `/api/v2/write`
    bath.toml:19:9: outlet `h`: there is a `user`, but no password; write a token, or a user and a password
    "#);
    assert_snapshot!(outlet("database = \"d\"\nuser = \"u\"\ntoken_env = \"9 lives\"\n"), @"
    bath.toml:19:9: outlet `h`: there is a `user`, but no password; write a token, or a user and a password
    bath.toml:24:1: outlet `h`: this is no name of an environment variable; write its name, not its value, such as `NIGHT_PASSWORD`
    ");
    assert_snapshot!(outlet("database = \"d\"\ntoken_env = \"T\"\ntoken_file = \"t\"\n"), @"bath.toml:19:9: outlet `h`: `token_file` and `token_env` are both there; keep one of them");
}

#[test]
fn ports_files_and_identifiers_have_one_owner() {
    let more = "[board.twin]\nsource = \"serial\"\nport = \"/dev/serial/by-id/usb-board\"\n\
                [board.twin.channel.a0]\nfront_end = \"none\"\n\
                [probe.twin]\nboard = \"twin\"\nchannel = \"a0\"\ndriver = \"divider\"\n\
                quantity = \"q\"\nunit = \"1\"\n\
                [outlet.card]\nkind = \"line-protocol-file\"\npath = \"cellar.sqlite\"\n\
                [outlet.one]\nkind = \"mqtt\"\nhost = \"h\"\nclient_id = \"n\"\n\
                [outlet.two]\nkind = \"mqtt\"\nhost = \"h\"\nclient_id = \"n\"\n";
    assert_snapshot!(shown(&good_and(more)), @"
    bath.toml:19:8: board `twin`: its port belongs to board `bench` already; a port has one board; correct `port`
    bath.toml:30:9: outlet `card`: its file is that of the log; write another `path`
    bath.toml:37:9: outlet `two`: `client_id` is that of outlet `one` at the same broker; give each its own: a broker closes the older connection of two
    ");
}
