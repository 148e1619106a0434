//! What a right text becomes.

use super::{GOOD, good_and, good_but, read};
use crate::alarm::Condition;
use crate::config::{
    ClientCertificate, Config, Mqtt, MqttVersion, OutletKind, Payload, Scene, Secret,
    SimulatedChannel, Source, Template, Tls, Write,
};
use crate::measure::front_end::{Electrical, FrontEnd, Side};
use std::path::Path;
use std::time::Duration;

fn config(text: &str) -> Config {
    let (config, problems) = read(text);
    let problems: Vec<String> = problems.iter().map(ToString::to_string).collect();
    config.unwrap_or_else(|| panic!("{problems:#?}"))
}

#[test]
fn a_small_text_gets_the_stated_defaults() {
    let config = config(GOOD);
    assert_eq!(config.site, "cellar");
    assert_eq!(config.log.path, Path::new("/night/cellar.sqlite"));
    assert_eq!(config.log.commit, Duration::from_secs(2));
    let board = &config.boards[0];
    assert_eq!(board.silent_after, Duration::from_secs(10));
    let port = "/dev/serial/by-id/usb-board".into();
    assert_eq!(
        board.source,
        Source::Serial {
            port,
            baud: 115_200
        }
    );
    assert_eq!(board.channels[0].field, "a0");
    assert_eq!(
        board.channels[0].front_end,
        FrontEnd::Divider {
            probe: Side::Low,
            resistor_ohm: 10_000.0,
            full_scale: 1023.0
        }
    );
    let probe = &config.probes[0];
    assert_eq!((probe.median, probe.every), (1, None));
    assert_eq!((&*probe.quantity, &*probe.unit), ("temperature", "Cel"));
    assert_eq!(probe.input, Electrical::Ohm);
    assert_eq!(
        probe.parameters[..4],
        [vec![0.0], vec![10_000.0], vec![25.0], vec![3950.0]]
    );
}

#[test]
fn the_same_text_gives_the_same_configuration() {
    // A parameter that is not given must not make a configuration differ from itself.
    assert_eq!(config(GOOD), config(GOOD));
}

#[test]
fn tables_keep_the_order_of_the_file() {
    let more = "[board.bench.channel.z9]\nfront_end = \"none\"\n[board.bench.channel.b0]\n\
                front_end = \"none\"\n";
    let config = config(&good_and(more));
    let names: Vec<&str> = config.boards[0]
        .channels
        .iter()
        .map(|c| c.name.as_str())
        .collect();
    assert_eq!(names, ["a0", "z9", "b0"]);
}

fn limits(alarms: &str) -> Vec<Condition> {
    let config = config(&good_and(alarms));
    config.probes[0]
        .alarms
        .iter()
        .map(|rule| rule.condition)
        .collect()
}

#[test]
fn limits_are_turned_into_the_probes_unit() {
    let alarms = limits(
        "[probe.mash.alarm.high]\nlimit = \"154.4 [degF]\"\ndeadband = \"1.8 [degF]\"\n\
         [probe.mash.alarm.low]\nlimit = \"273.15 K\"\ndeadband = \"1 K\"\n",
    );
    let [Condition::High { limit, deadband }, low] = alarms[..] else {
        panic!("{alarms:?}")
    };
    assert!((limit - 68.0).abs() < 1e-9 && (deadband - 1.0).abs() < 1e-9);
    assert_eq!(
        low,
        Condition::Low {
            limit: 0.0,
            deadband: 1.0
        }
    );
}

#[test]
fn an_open_deadband_is_one_percent_of_the_span_or_a_converter_step() {
    let both = limits("[probe.mash.alarm.high]\nlimit = 60\n[probe.mash.alarm.low]\nlimit = 10\n");
    assert_eq!(
        both[0],
        Condition::High {
            limit: 60.0,
            deadband: 0.5
        }
    );
    // Source: the divider's and the beta equation's own derivatives at 25 Cel, where probe and
    // resistor are equal: dT/dR = -T² / (B R), dR/dcount = 4 R / full scale.
    let step = 298.15_f64.powi(2) / 3950.0 * 4.0 / 1023.0;
    let [Condition::High { deadband, .. }] = limits("[probe.mash.alarm.high]\nlimit = 25\n")[..]
    else {
        panic!("one high alarm is configured")
    };
    assert!((deadband - step).abs() < 1e-6, "{deadband} {step}");
}

#[test]
fn delays_are_milliseconds_and_actions_are_kept() {
    let config = config(&good_and(
        "[probe.mash.alarm.stale]\non_delay = \"90s\"\noff_delay = 0.5\naction = \"look\"\n",
    ));
    let rule = &config.probes[0].alarms[0];
    assert_eq!(
        (rule.on_delay_ms, rule.off_delay_ms, &*rule.action),
        (90_000, 500, "look")
    );
}

#[test]
fn a_simulated_board_has_its_scenes_in_the_probes_unit() {
    let text = good_but(
        "source = \"serial\"\nport = \"/dev/serial/by-id/usb-board\"",
        "source = \"simulated\"\nevery = \"500ms\"\nspeed = 60\nseed = 7",
    ) + "[board.bench.channel.a0.scene]\nshape = \"cooling\"\nstart = \"158 [degF]\"\n\
           ambient = \"18 Cel\"\ntau = \"2h\"\nnoise = 1\n";
    let Source::Simulated {
        scene,
        every,
        speed,
        seed,
    } = config(&text).boards.swap_remove(0).source
    else {
        panic!("the source is simulated")
    };
    assert_eq!((every, speed, seed), (Duration::from_millis(500), 60.0, 7));
    let [
        SimulatedChannel {
            channel,
            scene,
            noise_count,
        },
    ] = &scene[..]
    else {
        panic!("one channel has a scene")
    };
    assert_eq!((channel.as_str(), *noise_count), ("a0", 1.0));
    let Scene::Cooling {
        start,
        ambient,
        tau_s,
    } = *scene
    else {
        panic!("the scene is cooling")
    };
    assert!((start - 70.0).abs() < 1e-9);
    assert_eq!((ambient, tau_s), (18.0, 7200.0));
}

#[test]
fn a_replay_can_be_as_fast_as_it_goes() {
    let text = good_but(
        "source = \"serial\"\nport = \"/dev/serial/by-id/usb-board\"",
        "source = \"replay\"\nfile = \"night.txt\"\nspeed = \"unlimited\"",
    );
    let expected = Source::Replay {
        file: "/night/night.txt".into(),
        every: Duration::from_secs(1),
        speed: f64::INFINITY,
    };
    assert_eq!(config(&text).boards[0].source, expected);
}

fn outlet(text: &str) -> OutletKind {
    config(&good_and(text)).outlets.swap_remove(0).kind
}

#[test]
fn an_mqtt_outlet_gets_the_stated_defaults() {
    let template = |text: &str| Template(text.to_owned());
    let expected = Mqtt {
        version: MqttVersion::V3,
        host: "127.0.0.1".to_owned(),
        port: 1883,
        tls: None,
        client_id: "nightbench-cellar-kitchen".to_owned(),
        user: None,
        password: None,
        qos: 1,
        topic: template("{site}/{probe}/reading"),
        backlog_topic: template("{site}/{probe}/late"),
        alarm_topic: template("{site}/{probe}/alarm/{alarm}"),
        status_topic: template("{site}/status"),
        payload: Payload::Json,
        per_line: false,
        window: 100,
        keep_alive: Duration::from_secs(15),
        expiry: None,
    };
    let got = outlet("[outlet.kitchen]\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\n");
    assert_eq!(got, OutletKind::Mqtt(expected));
}

#[test]
fn version_five_over_tls_has_a_port_of_its_own_and_files_beside_the_configuration() {
    let got = outlet(
        "[outlet.k]\nkind = \"mqtt\"\nhost = \"h\"\nversion = \"5\"\nexpiry = \"10m\"\n\
         tls = true\nca_file = \"ca.pem\"\nclient_certificate_file = \"me.pem\"\n\
         client_key_file = \"/keys/me.key\"\n",
    );
    let OutletKind::Mqtt(mqtt) = got else {
        panic!("the outlet is MQTT")
    };
    assert_eq!((mqtt.version, mqtt.port), (MqttVersion::V5, 8883));
    assert_eq!(mqtt.expiry, Some(Duration::from_secs(600)));
    let expected = Tls {
        ca_file: Some("/night/ca.pem".into()),
        client: Some(ClientCertificate {
            certificate_file: "/night/me.pem".into(),
            key_file: "/keys/me.key".into(),
        }),
    };
    assert_eq!(mqtt.tls, Some(expected));
}

#[test]
fn messages_per_line_have_topics_of_their_own() {
    let got = outlet("[outlet.k]\nkind = \"mqtt\"\nhost = \"h\"\nmessage_per = \"line\"\n");
    let OutletKind::Mqtt(mqtt) = got else {
        panic!("the outlet is MQTT")
    };
    assert!(mqtt.per_line);
    assert_eq!(mqtt.topic.0, "{site}/{board}/line");
    assert_eq!(mqtt.backlog_topic.0, "{site}/{board}/late");
}

#[test]
fn secrets_are_named_not_written() {
    let got = outlet(
        "[outlet.house]\nkind = \"line-protocol\"\nurl = \"https://db.example/x\"\norg = \"o\"\n\
         bucket = \"b\"\ntoken_env = \"NIGHT_TOKEN\"\n",
    );
    let OutletKind::LineProtocol(house) = got else {
        panic!("the outlet is line protocol")
    };
    assert_eq!(
        house.token,
        Some(Secret::Environment("NIGHT_TOKEN".to_owned()))
    );
    assert_eq!(
        house.write,
        Write::V2 {
            org: "o".to_owned(),
            bucket: "b".to_owned()
        }
    );
    assert_eq!((house.batch, house.gzip), (2000, true));
}

#[test]
fn a_file_outlet_rotates_at_a_size_in_bytes() {
    let got = outlet("[outlet.card]\nkind = \"line-protocol-file\"\npath = \"n.lp\"\nkeep = 0\n");
    let OutletKind::LineProtocolFile(file) = got else {
        panic!("the outlet is a file")
    };
    assert_eq!((file.rotate_at, file.keep), (10 * 1024 * 1024, 0));
    assert_eq!(file.path, Path::new("/night/n.lp"));
}

#[test]
fn both_outlets_of_line_protocol_take_how_often_they_send() {
    let got =
        outlet("[outlet.card]\nkind = \"line-protocol-file\"\npath = \"n.lp\"\nevery = \"1m\"\n");
    let OutletKind::LineProtocolFile(file) = got else {
        panic!("the outlet is a file")
    };
    assert_eq!(file.every.as_secs(), 60);
    let house = "[outlet.house]\nkind = \"line-protocol\"\nurl = \"http://127.0.0.1:8086\"\n\
        database = \"night\"\n";
    for (every, seconds) in [("", 1), ("every = \"30s\"\n", 30)] {
        let OutletKind::LineProtocol(database) = outlet(&format!("{house}{every}")) else {
            panic!("the outlet is a database")
        };
        assert_eq!(database.every.as_secs(), seconds);
    }
}
