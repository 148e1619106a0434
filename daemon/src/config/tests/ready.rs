//! The ready configurations in `config/`: each is right, and together they show what there is.

use super::read;
use crate::alarm::Condition;
use crate::config::{Config, OutletKind};
use crate::measure::decode::Format;
use crate::measure::front_end::{FrontEnd, Side};
use std::collections::BTreeSet;

const READY: &[(&str, &str)] = &[
    ("absolute", include_str!("../../../../config/absolute.toml")),
    ("bath", include_str!("../../../../config/bath.toml")),
    ("bench", include_str!("../../../../config/bench.toml")),
    (
        "fermentation",
        include_str!("../../../../config/fermentation.toml"),
    ),
    (
        "greenhouse",
        include_str!("../../../../config/greenhouse.toml"),
    ),
];

fn ready() -> Vec<Config> {
    let parsed = READY.iter().map(|(name, text)| {
        let (config, problems) = read(text);
        let problems: Vec<String> = problems.iter().map(ToString::to_string).collect();
        assert_eq!(problems, Vec::<String>::new(), "{name}");
        config.unwrap()
    });
    parsed.collect()
}

#[test]
fn every_ready_configuration_is_right_without_a_warning() {
    assert_eq!(ready().len(), READY.len());
}

#[test]
fn every_ready_configuration_says_that_it_is_no_safety_device() {
    for (name, text) in READY {
        let text = text.to_lowercase();
        assert!(text.contains("not a safety device"), "{name}");
        assert!(text.contains("invented"), "{name}");
    }
}

#[test]
fn together_they_show_drivers_front_ends_formats_outlets_and_alarms() {
    let mut seen = BTreeSet::new();
    for config in ready() {
        for board in &config.boards {
            seen.insert(match board.format {
                Format::Pairs => "pairs",
                Format::Columns { .. } => "columns",
                Format::Json => "json",
            });
            seen.extend(board.clock.as_ref().map(|_| "clock"));
            let mut channels = board.channels.iter();
            let corrected = channels.any(|channel| !channel.corrections.is_empty());
            seen.extend(corrected.then_some("corrections"));
            seen.extend(
                board
                    .channels
                    .iter()
                    .map(|channel| front_end(&channel.front_end)),
            );
        }
        for probe in &config.probes {
            seen.insert(probe.driver.name());
            seen.extend(probe.alarms.iter().map(|rule| rule.condition.name()));
            seen.extend((probe.median > 1).then_some("median"));
            seen.extend(probe.every.map(|_| "every"));
        }
        seen.extend(config.outlets.iter().map(|outlet| match outlet.kind {
            OutletKind::Mqtt(_) => "mqtt",
            OutletKind::LineProtocol(_) => "line-protocol",
            OutletKind::LineProtocolFile(_) => "line-protocol-file",
        }));
    }
    for feature in [
        "thermistor",
        "photoresistor",
        "divider",
        "probe low",
        "probe high",
        "charge-time",
        "voltage",
        "absolute",
        "corrections",
        "clock",
        "pairs",
        "columns",
        "json",
        "mqtt",
        "line-protocol",
        "line-protocol-file",
        "median",
        "every",
        "high",
        "low",
        "fault",
        "stale",
    ] {
        assert!(seen.contains(feature), "{feature}");
    }
}

fn front_end(front_end: &FrontEnd) -> &'static str {
    match front_end {
        FrontEnd::Divider {
            probe: Side::Low, ..
        } => "probe low",
        FrontEnd::Divider {
            probe: Side::High, ..
        } => "probe high",
        FrontEnd::AbsoluteDivider(_) => "absolute",
        FrontEnd::ChargeTime { .. } => "charge-time",
        FrontEnd::Voltage { .. } => "voltage",
        FrontEnd::None => "none",
    }
}

#[test]
fn the_baths_limit_is_the_published_one() {
    // Source: NHS Estates, highest at a bath's outlet, and HSE, whole-body immersion: 44 Cel.
    let place = READY.iter().position(|(name, _)| *name == "bath").unwrap();
    let bath = ready().swap_remove(place);
    let high = bath.probes[0].alarms[0].condition;
    assert_eq!(
        high,
        Condition::High {
            limit: 44.0,
            deadband: 0.5
        }
    );
}
