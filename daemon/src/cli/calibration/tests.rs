//! A job on a configuration without a log: what it keeps, shows and refuses. The probe is invented.

use super::arguments::{Arguments, run};
use super::*;
use crate::calibrate::{Captured, Reference, Role, Shape};
use crate::cli::calibrations::Chosen;
use clap::{CommandFactory, FromArgMatches, Parser};
use std::path::PathBuf;

const CONFIGURATION: &str = r#"site = "cellar"
[log]
path = "night.sqlite"
[board.bench]
source = "simulated"
[board.bench.channel.a0]
front_end = "divider"
probe_side = "low"
resistor = "10 kOhm"
full_scale = 65535
scene = { shape = "ramp", start = 20, per_hour = 2 }
[probe.mash]
board = "bench"
channel = "a0"
driver = "thermistor"
[probe.mash.parameters]
r0 = "10 kOhm"
beta = "3950 K"
[probe.mash.alarm.low]
limit = "0 Cel"
[probe.mash.alarm.high]
limit = "60 Cel"
"#;

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("bench.toml"), CONFIGURATION).unwrap();
        Self { folder }
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("bench.toml")
    }

    fn job(&self) -> Job {
        Job::open(&self.file(), "mash").unwrap()
    }
}

/// A point on the configured curve, `off` Cel beside it, by `kitchen`.
fn point(job: &Job, value: f64, off: f64) -> Point {
    let mean = job.nominal().invert(value + off).unwrap();
    Point {
        role: Role::Fit,
        compared: Compared {
            reference: Reference::Instrument {
                name: "kitchen".to_owned(),
            },
            value,
            own: 0.05,
            common: 0.0,
            common_shape: Shape::Normal,
        },
        captured: Captured {
            from_ms: 1_795_550_400_000,
            until_ms: 1_795_550_460_000,
            raw: Vec::new(),
            electrical: vec![mean],
            mean,
            uncertainty: 1.0,
            effective: 10.0,
            drift: (0.0, 0.0),
            evidence: "invented".to_owned(),
        },
    }
}

#[test]
fn a_point_is_kept_once_and_a_calibration_made_once() {
    let bench = Bench::new();
    let mut job = bench.job();
    let points: Vec<Point> = [0.0, 25.0].map(|at| point(&job, at, 0.1)).into();
    for _ in 0..2 {
        let kept = points
            .iter()
            .map(|one| (job.keep_point(one).unwrap(), one.clone()));
        let kept: Vec<_> = kept.collect();
        assert_eq!(
            kept.iter().map(|(number, _)| *number).collect::<Vec<_>>(),
            [1, 2]
        );
        assert_eq!(job.make(&kept).unwrap(), 1);
    }
    job.activate(Chosen::Number(1), "").unwrap();
    // As the log has it.
    let again = bench.job();
    assert_eq!(again.history().active_number(), Some(1));
    assert_eq!(again.history().calibrations().len(), 1);
    let status = standing::text(&again);
    assert!(status.contains("a point that is kept out"), "{status}");
    let unknown = job.activate(Chosen::Number(2), "").unwrap_err();
    assert!(
        unknown
            .to_string()
            .contains("no calibration 2 of probe `mash`"),
        "{unknown}"
    );
}

#[test]
fn what_a_kind_may_be_off_includes_the_resistor_of_its_channel() {
    let job = Bench::new().job();
    // 5 % of the kind and 1 % of the resistor, at T² / B = 22.5 Cel for the whole of it.
    let allowed = job.allowed(10_000.0).unwrap();
    assert!(
        (allowed - 0.06 * 298.15_f64.powi(2) / 3950.0).abs() < 1e-9,
        "{allowed}"
    );
    let near = point(&job, 25.0, 1.2);
    assert_eq!(job.doubt(&near.compared, near.captured.mean), None);
    let far = point(&job, 25.0, 2.0);
    assert!(job.doubt(&far.compared, far.captured.mean).is_some());
    let (tolerance, is_assumed) = job.tolerance(25.0);
    assert!((tolerance - 0.5).abs() < 1e-9 && is_assumed);
}

#[test]
fn the_next_point_follows_from_those_at_hand() {
    let bench = Bench::new();
    let mut job = bench.job();
    let ice = point(&job, 0.0, 0.0);
    job.keep_point(&ice).unwrap();
    insta::assert_snapshot!(standing::text(&job), @"
    mash            in use: the configured parameters
      point 1       beside `kitchen`, 0.00 ± 0.10 Cel, probe read 33620.6 ± 2.0 Ohm
      next          near 60 Cel by reference thermometer: the upper end of the range
                    of use has no point yet
    ");
}

#[test]
fn what_the_service_did_not_take_is_not_said_to_be_in_use() {
    let mut job = Bench::new().job();
    assert!(show::in_use(&job).contains("are in use, from"));
    job.remark = Some("calibration 1 cannot be used".to_owned());
    let text = show::in_use(&job).replace('\n', " ");
    assert!(
        text.contains("not taken: calibration 1 cannot be used") && !text.contains("is in use"),
        "{text}"
    );
}

#[test]
fn a_range_that_is_assumed_is_said_to_be() {
    let bench = Bench::new();
    let high = "[probe.mash.alarm.high]\nlimit = \"60 Cel\"\n";
    std::fs::write(bench.file(), CONFIGURATION.replace(high, "")).unwrap();
    let text = standing::text(&bench.job());
    assert!(
        text.contains("0 to 60 Cel is assumed as the range of use"),
        "{text}"
    );
    assert!(!standing::text(&Bench::new().job()).contains("assumed"));
}

#[test]
fn what_was_made_is_told_in_eighty_columns() {
    let bench = Bench::new();
    let mut job = bench.job();
    let points: Vec<Point> = [0.0, 25.0, 50.0].map(|at| point(&job, at, 0.2)).into();
    let kept: Vec<(u64, Point)> = points
        .into_iter()
        .map(|one| (job.keep_point(&one).unwrap(), one))
        .collect();
    let number = job.make(&kept).unwrap();
    let text = show::made(&job, number).unwrap() + &show::how_to_activate(&job, number);
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    for part in [
        "Fit",
        "Residuals, with U (k = 2)",
        "95 %",
        "steinhart-hart",
        "--use 1",
    ] {
        assert!(text.contains(part), "no `{part}` in:\n{text}");
    }
    assert_eq!(show::questioned(&job, &kept), "");
}

#[test]
fn a_channel_that_reads_a_known_resistor_wrongly_is_questioned() {
    let bench = Bench::new();
    let mut job = bench.job();
    let mut resistor = point(&job, 25.0, 0.0);
    resistor.compared.reference = Reference::Resistor {
        what: "10 kOhm, 0.1 %".to_owned(),
    };
    (resistor.compared.value, resistor.compared.own) = (10_000.0, 5.0);
    resistor.captured.mean = 10_400.0;
    let number = job.keep_point(&resistor).unwrap();
    let questioned = show::questioned(&job, &[(number, resistor)]);
    assert!(questioned.contains("divider's resistor"), "{questioned}");
    insta::assert_snapshot!(job.resistors(), @r#"
    channel bench/a0: 1 known resistor in the probe's place
          1  10000 ± 10 Ohm, read as 10400.0 ± 2.0 Ohm
    the divider's resistor is 9615.4 Ohm, expanded uncertainty 9.8 Ohm (k = 2); one
    point says nothing of the converter: a second, of another value, would; write
    `resistor = "9615.4 Ohm"` and `resistor_tolerance = "0.089 %"` in the channel's
    table, and calibrate again what was calibrated on it
    "#);
}

#[derive(Debug, Parser)]
struct Line {
    #[command(flatten)]
    arguments: Arguments,
}

#[test]
fn one_thing_is_done_at_a_time() {
    let is_understood = |words: &str| {
        let words = format!("calibrate mash --config a.toml {words}");
        Line::command()
            .try_get_matches_from(words.split_whitespace())
            .is_ok()
    };
    for good in [
        "",
        "--points p.toml",
        "--points p.toml --activate",
        "--use 2 --why x",
        "--status",
    ] {
        assert!(is_understood(good), "{good}");
    }
    for bad in [
        "--activate",
        "--use 1 --withdraw 3",
        "--points p --use 1",
        "--status --use 1",
    ] {
        assert!(!is_understood(bad), "{bad}");
    }
}

#[test]
fn an_unknown_probe_is_refused_with_those_that_are_there() {
    let bench = Bench::new();
    let file = bench.file();
    let words = [
        "calibrate",
        "vat",
        "--status",
        "--config",
        file.to_str().unwrap(),
    ];
    let matches = Line::command().try_get_matches_from(words).unwrap();
    let line = Line::from_arg_matches(&matches).unwrap();
    let failure = run(&line.arguments).unwrap_err().to_string();
    assert!(
        failure.ends_with("no probe `vat`; there is `mash`"),
        "{failure}"
    );
}
