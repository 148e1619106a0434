//! Whether a calibration in use fits the probe of a configuration.

use super::testing::{activated, calibration, captured, chain, recorded};
use super::{History, active};
use crate::calibrate::{Calibration, Role, Step};
use crate::config::{self, Probe};
use std::path::Path;

/// Invented.
const CELLAR: &str = "site = \"cellar\"\n[log]\npath = \"night.sqlite\"\n\
     [board.bench]\nsource = \"simulated\"\n[board.bench.channel.a0]\n\
     front_end = \"divider\"\nprobe_side = \"low\"\nresistor = \"10 kOhm\"\nfull_scale = 1023\n\
     scene = { shape = \"ramp\", start = 1, per_hour = 2 }\n\
     [probe.vat]\nboard = \"bench\"\nchannel = \"a0\"\ndriver = \"thermistor\"\n\
     parameters = { r0 = \"10 kOhm\", beta = \"3950 K\" }\n";

fn probe() -> Probe {
    let (config, problems) = config::parse(CELLAR, Path::new(""));
    let mut config = config.unwrap_or_else(|| {
        let said: Vec<_> = problems.iter().map(ToString::to_string).collect();
        panic!("{}", said.join("\n"))
    });
    config.probes.remove(0)
}

fn in_use(change: fn(&mut Calibration)) -> Result<Option<u32>, String> {
    let mut made = calibration(&[], 0.0);
    change(&mut made);
    let calibration = Box::new(made);
    let steps = recorded([Step::Made { calibration }, activated(Some(1))]);
    let history = History::of(&steps);
    active(&history, &probe()).map(|found| found.map(|(number, _)| number))
}

#[test]
fn the_one_in_use_is_given_with_its_number_where_it_fits() {
    let history = History::of(&chain());
    let found = active(&history, &probe()).unwrap();
    let made = history.calibration(2).unwrap();
    assert_eq!(found, Some((2, &made.calibration)));
}

#[test]
fn without_an_activation_the_configured_parameters_are_in_use() {
    let history = History::of(&recorded([captured(Role::Fit)]));
    assert_eq!(active(&history, &probe()), Ok(None));
    let mut back = chain();
    back.extend(recorded([activated(None)]));
    assert_eq!(active(&History::of(&back), &probe()), Ok(None));
}

#[test]
fn one_that_does_not_fit_says_why() {
    let refused = [
        in_use(|c| c.driver = "photoresistor".to_owned()),
        in_use(|c| c.input = "volt".to_owned()),
        in_use(|c| c.unit = "K".to_owned()),
    ];
    let refused = refused.map(|why| why.unwrap_err());
    insta::assert_snapshot!(refused.join("\n"), @r"
    calibration 1 is of driver `photoresistor`, but the probe is configured for `thermistor`
    calibration 1 is of input `volt`, but the probe is configured for `ohm`
    calibration 1 is of unit `K`, but the probe is configured for `Cel`
    ");
    let lost = Step::Unreadable {
        made: true,
        why: "expected value".to_owned(),
    };
    let lost = History::of(&recorded([lost, activated(Some(1))]));
    assert_eq!(
        active(&lost, &probe()),
        Err("calibration 1 cannot be read".to_owned())
    );
}
