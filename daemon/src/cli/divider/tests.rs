//! Tests of `nightbench divider`, from the words on the command line to what is printed.

use super::*;
use clap::Parser;

#[derive(Debug, Parser)]
struct Line {
    #[command(flatten)]
    arguments: Arguments,
}

fn said(words: &str) -> Result<String, String> {
    let line = Line::try_parse_from(std::iter::once("divider").chain(words.split_whitespace()))
        .map_err(|error| error.to_string())?;
    answer(&line.arguments).map_err(|failure| failure.to_string())
}

const THERMISTOR: &str = "--driver thermistor --set r0=10kOhm --set beta=3950K";

#[test]
fn the_answer_is_a_resistor_two_others_a_table_and_curves() {
    let words = format!("{THERMISTOR} --from 0Cel --to 40Cel --supply 5V --dissipation 1.5mW/K");
    insta::assert_snapshot!(said(&words).unwrap());
}

#[test]
fn no_line_is_wider_than_a_terminal() {
    for rest in [
        "--from -20Cel --to 100Cel --supply 3300mV --dissipation 8mW/K --series E96 --bits 12",
        "--from 32[degF] --to 104[degF] --full-scale 65535 --probe-side high --series e12",
    ] {
        let said = said(&format!("{THERMISTOR} {rest}")).unwrap();
        assert!(
            said.lines().all(|line| line.chars().count() <= 80),
            "{said}"
        );
    }
}

#[test]
fn light_is_told_in_shares() {
    let cell = "--driver photoresistor --set r10=20kOhm --set gamma=0.7 --from 10lx --to 1000lx";
    let said = said(cell).unwrap();
    assert!(
        said.contains("no step of the value is larger than 1.02 %"),
        "{said}"
    );
    // A decade takes as much room as the next.
    assert!(said.contains("\n100 lx "), "{said}");
}

#[test]
fn a_probe_of_a_configuration_brings_its_converter_and_its_resistor() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bench.toml");
    let text = "site = \"cellar\"\n[log]\npath = \"night.sqlite\"\n\
        [board.bench]\nsource = \"serial\"\nport = \"/dev/ttyUSB0\"\nformat = \"pairs\"\n\
        [board.bench.channel.a0]\nfront_end = \"divider\"\nprobe_side = \"high\"\n\
        resistor = \"22 kOhm\"\nfull_scale = 4095\n\
        [probe.vat]\nboard = \"bench\"\nchannel = \"a0\"\ndriver = \"thermistor\"\n\
        [probe.vat.parameters]\nr0 = \"10 kOhm\"\nbeta = \"3950 K\"\n";
    std::fs::write(&file, text).unwrap();
    let ask = |probe: &str| {
        said(&format!(
            "--config {} --probe {probe} --from 0Cel --to 40Cel",
            file.display()
        ))
    };
    let told = ask("vat").unwrap();
    assert!(
        told.starts_with("probe `vat`, 0 Cel to 40 Cel, full scale 4095:"),
        "{told}"
    );
    let configured = told.lines().find(|line| line.starts_with("as configured"));
    assert!(
        configured.is_some_and(|line| line.contains("22.0 kOhm")),
        "{told}"
    );
    assert!(
        ask("vet")
            .unwrap_err()
            .contains("has no probe `vet`; it has `vat`")
    );
}

#[test]
fn what_is_wrong_is_said_with_what_would_be_right() {
    let wrong = |words: &str| said(words).unwrap_err();
    let range = "--from 0Cel --to 40Cel";
    for (words, wanted) in [
        (
            format!("--driver thermister {range}"),
            "there is no driver `thermister`; there are `thermistor`, `photoresistor`, `divider`",
        ),
        (
            format!("--driver thermistor {range}"),
            "driver `thermistor`: the form `beta` needs `r0` and `beta`; give parameters with \
             --set NAME=VALUE",
        ),
        (
            format!("--driver thermistor --set r0 {range}"),
            "--set r0: write it as `--set r0=10kOhm`",
        ),
        (
            format!("--driver thermistor --set form=betta {range}"),
            "--set form=betta: it must be one of beta, steinhart-hart, four-term",
        ),
        (
            format!("{THERMISTOR} --from 0V --to 40Cel"),
            "--from: `V` does not turn into `Cel`; write `Cel`",
        ),
        (
            format!("{THERMISTOR} --from 0Cel --to 400Cel"),
            "driver `thermistor`: no resistance of this probe gives 400; take a range within the \
             driver's, or correct the parameters",
        ),
    ] {
        assert_eq!(wrong(&words), wanted);
    }
    let unknown = wrong(&format!("--driver thermistor --set r1=1kOhm {range}"));
    assert!(
        unknown.contains("has no parameter `r1`; it has `form`, `r0`"),
        "{unknown}"
    );
    for impossible in [
        range.to_owned(),
        format!("{THERMISTOR} {range} --bits 10 --full-scale 1023"),
        format!("{THERMISTOR} {range} --dissipation 1.5mW/K"),
        format!("{THERMISTOR} {range} --config a.toml --probe vat"),
        format!("{THERMISTOR} {range} --full-scale nan"),
    ] {
        assert!(said(&impossible).is_err(), "{impossible}");
    }
}
