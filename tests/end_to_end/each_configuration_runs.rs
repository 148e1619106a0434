//! Promise: each ready configuration in `config/` runs as it is but for what a person has to put in:
//! its serial ports are pseudo-terminals here, and its outlets are left out.

use crate::command_line::configurations;
use nightbench_tests::board::Board;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::Service;
use std::fs;
use std::path::Path;
use toml::{Table, Value};

#[test]
fn each_ready_configuration_reads_a_board_in_its_format() {
    for file in configurations() {
        runs(&file);
    }
}

fn runs(file: &Path) {
    let name = file.file_name().unwrap().to_string_lossy().into_owned();
    let mut scene = Scene::new();
    let mut config: Table = fs::read_to_string(file).unwrap().parse().unwrap();
    config.remove("outlet");
    let log = Table::from_iter([
        ("path".to_owned(), Value::from("cellar.sqlite")),
        ("commit".to_owned(), Value::from("200ms")),
    ]);
    config.insert("log".to_owned(), Value::Table(log));
    let mut boards = plug_in(&mut config, scene.folder());
    log_every_line(&mut config);
    scene.replace(&toml::to_string(&config).unwrap());

    let mut heard: Vec<&mut Board> = boards.iter_mut().map(|(board, _)| board).collect();
    let service = Service::start_with(&scene, &mut heard);
    for (board, line) in &mut boards {
        board.send_line(line);
    }
    for probe in config["probe"].as_table().unwrap().keys() {
        service.has_logged(1, probe);
        let reading = service.log().of(probe).swap_remove(0);
        assert!(reading.raw.is_some(), "{name}: {reading:?}");
        assert_eq!(reading.quality, 0, "{name}: {reading:?}");
    }
    service.stop();
}

/// A pseudo-terminal for each serial board, with a line that it could send.
fn plug_in(config: &mut Table, folder: &Path) -> Vec<(Board, String)> {
    let tables = config["board"].as_table_mut().unwrap();
    let serial = tables
        .iter_mut()
        .filter(|(_, table)| table["source"].as_str() == Some("serial"));
    serial
        .map(|(name, table)| {
            let board = Board::plugged_in(name, folder);
            let port = board.port().to_str().unwrap().to_owned();
            let table = table.as_table_mut().unwrap();
            table.insert("port".to_owned(), port.into());
            let line = line(table);
            (board, line)
        })
        .collect()
}

/// Means over an interval are another test's business: here every line is a reading.
fn log_every_line(config: &mut Table) {
    for (_, probe) in config["probe"].as_table_mut().unwrap() {
        let probe = probe.as_table_mut().unwrap();
        probe.remove("every");
        probe.remove("median");
    }
}

fn line(board: &Table) -> String {
    let channels = board["channel"].as_table().unwrap();
    let fields: Vec<(String, f64)> = channels
        .iter()
        .map(|(name, channel)| {
            let field = channel.get("field").and_then(Value::as_str).unwrap_or(name);
            (field.to_owned(), plausible(channel.as_table().unwrap()))
        })
        .collect();
    match board.get("format").and_then(Value::as_str) {
        Some("columns") => columns(board, &fields),
        Some("json") => json(&fields),
        _ => pairs(&fields),
    }
}

/// Half of the scale: a probe that is about as large as its resistor. Twenty, where the number is
/// taken as it is.
fn plausible(channel: &Table) -> f64 {
    let number = |key: &str| channel.get(key).and_then(as_number);
    match channel.get("front_end").and_then(Value::as_str) {
        Some("divider" | "voltage") => (number("full_scale").unwrap() / 2.0).round(),
        Some("charge-time") => {
            let offset = number("offset").unwrap();
            offset + number("per_ohm").unwrap() * 10_000.0
        }
        _ => 20.0,
    }
}

fn as_number(value: &Value) -> Option<f64> {
    value
        .as_float()
        .or_else(|| value.as_integer().map(|whole| whole as f64))
}

fn pairs(fields: &[(String, f64)]) -> String {
    let pairs: Vec<String> = fields
        .iter()
        .map(|(name, value)| format!("{name}={value}"))
        .collect();
    pairs.join(" ")
}

fn columns(board: &Table, fields: &[(String, f64)]) -> String {
    let separator = match board.get("separator").and_then(Value::as_str) {
        Some("tab") => "\t",
        Some("comma") => ",",
        Some("semicolon") => ";",
        _ => " ",
    };
    let names = board["columns"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_str);
    let number = |name| {
        fields
            .iter()
            .find(|(own, _)| own == name)
            .map_or(0.0, |(_, value)| *value)
    };
    let cells: Vec<String> = names.map(|name| number(name).to_string()).collect();
    cells.join(separator)
}

/// Dotted names are nested objects.
fn json(fields: &[(String, f64)]) -> String {
    let mut whole = serde_json::json!({});
    for (name, value) in fields {
        let mut place = &mut whole;
        for part in name.split('.') {
            place = &mut place[part];
        }
        *place = (*value).into();
    }
    whole.to_string()
}
