//! What a fit asks of a driver is answered through a process of its own with the bits that it is
//! answered with linked in. Readings through a process are the end-to-end tests' part.

#![allow(clippy::unwrap_used)]

use nightbench::driver::{self, Driver, Model, Settings};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

/// Ohm and degrees Celsius: an invented probe near 10 kOhm at 25 °C.
const POINTS: [(f64, f64); 3] = [(32_650.0, 0.0), (10_000.0, 25.0), (3_603.0, 50.0)];

#[test]
fn guess_misfit_and_changed_parameters_have_the_bits_of_the_linked_in_driver() {
    let folder = tempfile::tempdir().unwrap();
    let linked = bound(&driver::find("thermistor").unwrap());
    let away = bound(&open(&library(folder.path())));
    for count in 1..=POINTS.len() {
        let guessed = [&linked, &away].map(|model| model.guess(&POINTS[..count]).unwrap());
        assert_eq!(parameters(&guessed[0]), parameters(&guessed[1]), "{count}");
        assert_ne!(parameters(&guessed[0]), parameters(&linked), "{count}");
        let nodes: Vec<f64> = POINTS[..count].iter().map(|point| point.0).collect();
        for ohm in (1..60).map(|step| f64::from(step) * 1e3) {
            let misfits = guessed.each_ref().map(|model| {
                let misfit = model.misfit(&nodes, count, ohm);
                misfit.unwrap().to_bits()
            });
            assert_eq!(misfits[0], misfits[1], "{count} {ohm}");
        }
    }
    for beta in [3_000.0, 3_950.0, 4_400.0] {
        let changes = [(index(&linked, "beta"), beta)];
        let answers = [&linked, &away].map(|model| {
            let value = model.evaluate_with(&changes, 8_123.4).unwrap();
            (
                value.to_bits(),
                model.slope_with(&changes, 8_123.4).unwrap().to_bits(),
            )
        });
        assert_eq!(answers[0], answers[1], "{beta}");
    }
    assert_eq!(linked.fitted(), away.fitted());
}

fn parameters(model: &Model) -> Vec<Vec<u64>> {
    let bits = |values: Vec<f64>| values.into_iter().map(f64::to_bits).collect();
    let all = model.parameters().into_iter();
    all.map(|(_, values)| bits(values)).collect()
}

fn index(model: &Model, name: &str) -> usize {
    let all = model.driver().parameters();
    all.iter().position(|one| one.name == name).unwrap()
}

fn bound(driver: &Driver) -> Model {
    let given = |name: &str| match name {
        "r0" => vec![9_000.0],
        "beta" => vec![3_900.0],
        _ => Vec::new(),
    };
    let declared = driver.parameters();
    let values = declared.iter().map(|one| given(one.name)).collect();
    driver.bind_for("vat", values).unwrap()
}

fn open(library: &Path) -> Driver {
    let settings = Settings {
        library: library.to_owned(),
        sha256: None,
        in_process: false,
        deadline: Duration::from_secs(2),
        memory: 64 << 20,
    };
    let program = Path::new(env!("CARGO_BIN_EXE_nightbench"));
    driver::open("warm", &settings, program).unwrap()
}

/// The shipped driver's library, where nobody else may write.
fn library(folder: &Path) -> PathBuf {
    let output = Command::new(env!("CARGO"))
        .args(["build", "--package", "nightbench-thermistor"])
        .args(["--example", "thermistor_shared", "--message-format", "json"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    let messages = said
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok());
    let built = messages
        .filter(|message| message["target"]["name"] == "thermistor_shared")
        .find_map(|message| message["filenames"][0].as_str().map(PathBuf::from))
        .unwrap();
    let copy = folder.join("libwarm.so");
    std::fs::copy(built, &copy).unwrap();
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o644);
    std::fs::set_permissions(&copy, mode).unwrap();
    copy
}
