//! The sources beside serial, replayed and simulated ones: what a right text becomes, and how a
//! wrong one is told.

use super::{good_and, good_but, read, shown};
use crate::config::{
    BoardTime, Bridge, PolledFiles, Program, Scaling, Secret, Source, Subscription, TimeUnit,
};
use crate::measure::decode::Format;
use insta::assert_snapshot;
use std::time::Duration;

/// The good text with other lines for its source.
fn with_source(lines: &str) -> String {
    let serial = "source = \"serial\"\nport = \"/dev/serial/by-id/usb-board\"";
    good_but(serial, lines.trim_end())
}

fn source(lines: &str) -> Source {
    let text = with_source(lines);
    let (config, problems) = read(&text);
    assert_eq!(problems, [], "{text}");
    config.unwrap().boards.remove(0).source
}

const TOPIC: &str = "source = \"mqtt\"\nhost = \"broker\"\ntopic = \"boards/+/line\"\n";

#[test]
fn a_topic_gets_the_stated_defaults() {
    let expected = Subscription {
        host: "broker".to_owned(),
        port: 1883,
        client_id: "nightbench-cellar-board-bench".to_owned(),
        user: None,
        password: None,
        topic: "boards/+/line".to_owned(),
        keep_alive: Duration::from_secs(15),
        time: None,
    };
    assert_eq!(source(TOPIC), Source::Mqtt(expected));
}

#[test]
fn a_topic_takes_every_key() {
    let more = "port = 1884\nclient_id = \"me\"\nuser = \"night\"\npassword_env = \"P\"\n\
                keep_alive = \"30s\"\ntime_field = \"t\"\ntime_unit = \"s\"\nformat = \"json\"\n\
                silent_after = \"4s\"\n";
    let Source::Mqtt(subscription) = source(&format!("{TOPIC}{more}")) else {
        panic!("another source");
    };
    assert_eq!(subscription.port, 1884);
    assert_eq!(subscription.client_id, "me");
    assert_eq!(subscription.user.as_deref(), Some("night"));
    let secret = Secret::Environment("P".to_owned());
    assert_eq!(subscription.password, Some(secret));
    assert_eq!(subscription.keep_alive, Duration::from_secs(30));
    let time = BoardTime {
        field: "t".to_owned(),
        unit: TimeUnit::Second,
        format: Format::Json,
        within: Duration::from_secs(2),
    };
    assert_eq!(subscription.time, Some(time), "half of `silent_after`");
}

#[test]
fn faults_of_a_topic_are_told() {
    let wrong = |lines: &str| shown(&with_source(lines));
    assert_snapshot!(wrong("source = \"mqtt\"\nprt = 5"), @r#"
    bath.toml:4:8: board `bench`: `host` is missing; add a line such as `host = "127.0.0.1"`
    bath.toml:4:8: board `bench`: `topic` is missing; add a line such as `topic = "boards/attic/line"`
    bath.toml:6:1: board `bench`: unknown key `prt`; there is a key with a similar name: `port`
    "#);
    assert_snapshot!(wrong("source = \"mqtt\"\nhost = \"h\"\ntopic = \"a/#/b\"\ntime_unit = \"s\"\npassword = \"hunter2\""), @r#"
    bath.toml:7:9: board `bench`: `#` stands alone, and only at the end of a topic; write it as `boards/#`, or `+` for one level
    bath.toml:8:1: board `bench`: `time_unit` does not belong here: it goes with `time_field`; remove it
    bath.toml:9:1: board `bench`: a password does not belong in the configuration; write it into a file that only the service can read, and name that: `password_file = "outlet.secret"`; or `password_env = "NAME"` for an environment variable
    "#);
    let columns =
        "time_field = \"t\"\ntime_unit = \"us\"\nformat = \"columns\"\ncolumns = [\"a0\"]";
    assert_snapshot!(wrong(&format!("{TOPIC}{columns}")), @"
    bath.toml:8:14: board `bench`: none of the board's columns is `t`; name `time_field` after one of `a0`
    bath.toml:9:13: board `bench`: unknown `time_unit`: `us`; there is a similar one: `ms`
    ");
}

#[test]
fn a_board_and_an_outlet_at_one_broker_do_not_disturb_each_other() {
    let outlet = "[outlet.k]\nkind = \"mqtt\"\nhost = \"broker\"\n\
                  client_id = \"nightbench-cellar-board-bench\"\n";
    let all = "source = \"mqtt\"\nhost = \"broker\"\ntopic = \"#\"\n";
    let text = format!("{}{outlet}", with_source(all));
    assert_snapshot!(shown(&text), @"
    bath.toml:4:8: warning: board `bench`: its `topic` also matches `cellar/mash/reading`, where outlet `k` publishes; give the boards a topic of their own, such as `boards/#`
    bath.toml:20:9: outlet `k`: `client_id` is that of board `bench` at the same broker; give each its own: a broker closes the older connection of two
    ");
    let elsewhere = text.replace(
        "host = \"broker\"\nclient_id",
        "host = \"other\"\nclient_id",
    );
    assert_eq!(shown(&elsewhere), "");
}

#[test]
fn a_bridge_is_given_up_after_three_silences() {
    let expected = Bridge {
        host: "bridge".to_owned(),
        port: 2000,
        silence: Duration::from_secs(30),
    };
    let lines = "source = \"tcp\"\nhost = \"bridge\"\nport = 2000\n";
    assert_eq!(source(lines), Source::Tcp(expected));
    let twin = "[board.twin]\nsource = \"tcp\"\nhost = \"bridge\"\nport = 2000\n\
                [board.twin.channel.a0]\nfront_end = \"none\"\n\
                [probe.twin]\nboard = \"twin\"\nchannel = \"a0\"\ndriver = \"divider\"\n\
                quantity = \"q\"\nunit = \"1\"\n";
    assert_snapshot!(shown(&format!("{}{twin}", with_source(lines))), @"bath.toml:20:8: board `twin`: its port belongs to board `bench` already; a port has one board; correct `port`");
    assert_snapshot!(shown(&with_source("source = \"tcp\"\nhost = \"tcp://h\"\nport = 0\nbaud = 9600\n")), @r#"
    bath.toml:6:8: board `bench`: `tcp://h` is an address, but a host is wanted; write `host = "h"`
    bath.toml:7:8: board `bench`: `port` is 0; it must be between 1 and 65535
    bath.toml:8:1: board `bench`: `baud` does not belong here: it goes with `source = "serial"`; remove it
    "#);
}

#[test]
fn a_program_runs_in_the_configurations_folder() {
    let expected = |command: [&str; 2], folder: &str, environment: &[(&str, &str)]| {
        let owned = |(name, text): &(&str, &str)| ((*name).to_owned(), (*text).to_owned());
        Source::Program(Program {
            command: command.map(str::to_owned).to_vec(),
            folder: folder.into(),
            environment: environment.iter().map(owned).collect(),
        })
    };
    let lines = "source = \"program\"\ncommand = [\"python3\", \"read.py\"]\n";
    let bare = expected(["python3", "read.py"], "/night", &[]);
    assert_eq!(source(lines), bare);
    let lines = "source = \"program\"\ncommand = [\"bin/read\", \"-v\"]\nfolder = \"data\"\n\
                 environment = { Z = \"1\", A = \"\" }\n";
    let variables = [("A", ""), ("Z", "1")];
    let full = expected(["/night/bin/read", "-v"], "/night/data", &variables);
    assert_eq!(source(lines), full);
}

#[test]
fn faults_of_a_program_are_told() {
    let wrong = |lines: &str| shown(&with_source(&format!("source = \"program\"\n{lines}")));
    assert_snapshot!(wrong("command = \"python3 read.py\""), @r#"bath.toml:6:11: board `bench`: `command` must be a list of texts: the program, then its arguments, but is a text; write it as `command = ["python3", "read.py"]`"#);
    assert_snapshot!(wrong("command = []"), @r#"bath.toml:6:11: board `bench`: `command` names no program; write `command = ["python3", "read.py"]`"#);
    assert_snapshot!(wrong("command = [\"a\", 5]"), @r#"bath.toml:6:17: board `bench`: `command` must be a text in quotes, but is a whole number; write it as `"5"`"#);
    assert_snapshot!(wrong("command = [\"a\"]\nenvironment = { A = 5, \"B=\" = \"\" }"), @r#"
    bath.toml:7:21: board `bench`: `A` must be a text in quotes, but is a whole number; write it as `A = "5"`
    bath.toml:7:24: board `bench`: this is no environment variable; a name has no `=` in it, and neither name nor text holds NUL
    "#);
    assert_snapshot!(wrong("command = [\"a\"]\nenvironment = \"A=5\"\ntopic = \"t\""), @r#"
    bath.toml:7:1: board `bench`: `environment` must be a table, but is a text; write it as `environment = { NAME = "text" }`
    bath.toml:8:1: board `bench`: `topic` does not belong here: it goes with `source = "mqtt"`; remove it
    "#);
}

fn files(text: &str) -> PolledFiles {
    let (config, problems) = read(text);
    let Some(Source::File(files)) = config.map(|mut config| config.boards.remove(0).source) else {
        panic!("{problems:?}");
    };
    files
}

fn scalings(text: &str) -> Vec<Scaling> {
    files(text).files.iter().map(|file| file.scaling).collect()
}

#[test]
fn counts_of_a_file_stay_counts_where_a_front_end_wants_them() {
    let lines = "source = \"file\"\nevery = \"2s\"\nfiles = { a0 = \"in_voltage0_raw\" }\n";
    let text = with_source(lines);
    let files = files(&text);
    assert_eq!(files.every, Duration::from_secs(2));
    assert_eq!(files.files[0].field, "a0");
    assert_eq!(
        files.files[0].path,
        std::path::Path::new("/night/in_voltage0_raw")
    );
    assert_eq!(files.files[0].scaling, Scaling::Plain);
}

#[test]
fn a_bare_channel_gets_the_kernels_scale_unless_one_is_given() {
    let lines = "source = \"file\"\n[board.bench.files]\na0 = \"in_voltage0_raw\"\n\
                 b0 = \"in_voltage1_raw\"\nb1 = { path = \"in_voltage1_raw\", scale = 2 }\n\
                 b2 = { path = \"in_voltage1_raw\", offset = -5 }\nb3 = \"number\"\n";
    let channels: Vec<String> = (0..4)
        .map(|n| format!("[board.bench.channel.b{n}]\nfront_end = \"none\"\n"))
        .collect();
    let text = format!("{}{}", with_source(lines), channels.concat());
    let given = |scale, offset| Scaling::Given { scale, offset };
    let expected = [
        Scaling::Plain,
        Scaling::Kernel,
        given(2.0, 0.0),
        given(1.0, -5.0),
        Scaling::Plain,
    ];
    assert_eq!(scalings(&text), expected);
}

#[test]
fn faults_of_files_are_told() {
    let wrong = |lines: &str| shown(&with_source(&format!("source = \"file\"\n{lines}")));
    assert_snapshot!(wrong(""), @r#"bath.toml:4:8: board `bench`: `files` is missing; add a line such as `files = { a0 = "/sys/…" }`"#);
    assert_snapshot!(wrong("files = { \"a 0\" = \"x\", b0 = { path = \"x\", scale = 0, skale = 1 }, b1 = {} }"), @r#"
    bath.toml:6:11: board `bench`: the name `a 0` contains a space; a name is made of letters A to Z and a to z, digits, `_`, `.` and `-`
    bath.toml:6:51: board `bench`, file `b0`: a scale of 0 makes every number 0; write 1
    bath.toml:6:54: board `bench`, file `b0`: unknown key `skale`; there is a key with a similar name: `scale`
    bath.toml:6:67: board `bench`, file `b1`: `path` is missing; add a line such as `path = "/sys/…"`
    "#);
    assert_snapshot!(wrong("files = { b0 = \"x\" }\nformat = \"json\"\nspeed = 2"), @r#"
    bath.toml:7:1: board `bench`: `format` does not belong here: with `source = "file"` the lines are made from the files; remove it
    bath.toml:8:1: board `bench`: `speed` does not belong here: it goes with `source = "replay"` or `"simulated"`; remove it
    bath.toml:9:22: board `bench`, channel `a0`: none of the board's files is `a0`; name the channel, or its `field`, after one of `b0`
    "#);
}

#[test]
fn what_will_surprise_is_warned_of() {
    let lines = "source = \"file\"\nfiles = { a0 = \"28-0316/temperature\" }\nevery = \"10s\"\n";
    assert_snapshot!(shown(&with_source(lines)), @r#"
    bath.toml:4:8: warning: board `bench`: it sends a line each 10s, but counts as silent after 10s already; make `silent_after` two or three times as long, so that one lost line is no alarm
    bath.toml:6:16: warning: board `bench`: the kernel writes thousandths of a degree into a file `temperature`; write `{ path = "…", scale = 0.001 }`
    "#);
}

#[test]
fn a_key_of_another_source_says_which() {
    assert_snapshot!(shown(&good_but("port", "host = \"h\"\nport")), @r#"bath.toml:6:1: board `bench`: `host` does not belong here: it goes with `source = "mqtt"` or `"tcp"`; remove it"#);
    let unknown = with_source("source = \"bluetooth\"\ntopic = \"a\"\ncommand = [\"x\"]\n");
    assert_snapshot!(shown(&unknown), @"bath.toml:5:10: board `bench`: unknown `source`: `bluetooth`; it is one of `serial`, `replay`, `simulated`, `mqtt`, `program`, `file`, `tcp`");
    let idle = good_and("[board.b]\nsource = \"tcp\"\n");
    assert!(shown(&idle).contains("`port` is missing; add a line such as `port = 2000`"));
}
