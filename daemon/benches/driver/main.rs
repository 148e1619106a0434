//! What a loaded driver costs, beside the same formula as a plain function:
//! `cargo bench -p nightbench --bench driver` (half a minute).
//!
//! The shipped thermistor as a library, called in place and in a process of its own, one reading at
//! a time and in batches; then eight probes at ten readings a second, as a bench has them. Prints;
//! judges nothing.

mod share;

use nightbench::clock;
use nightbench::driver::{self, Driver, Model, Settings};
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

const R0_OHM: f64 = 1e4;
const BETA_K: f64 = 3950.0;
const BATCH: usize = 1000;
const T0_K: f64 = 298.15;

/// The same formula as the driver's, with the same logarithm.
#[inline]
fn plain(ohm: f64) -> f64 {
    1.0 / (1.0 / T0_K + libm::log(ohm / R0_OHM) / BETA_K) - 273.15
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    let library = library(folder.path());
    let bound = |in_process| {
        let driver = open(&library, in_process);
        move |probe: &str| bind(&driver, probe)
    };
    let (here, away) = (bound(true), bound(false));
    let linked = bind(&driver::find("thermistor").expect("linked in"), "");
    println!("one value at a time, ns each");
    one_by_one("plain function", 2_000_000, plain);
    for (name, model, times) in [
        ("linked in", linked.clone(), 1_000_000),
        ("library, in place", here("a"), 1_000_000),
        ("library, own process", away("a"), 20_000),
    ] {
        one_by_one(name, times, |ohm| model.evaluate(ohm).unwrap_or(f64::NAN));
        let both = format!("{name}, with slope");
        one_by_one(&both, times, |ohm| {
            model
                .value_and_slope(ohm)
                .map_or(f64::NAN, |(value, _)| value)
        });
    }
    println!("batches of {BATCH}, ns a value");
    batches("plain function", |ohms, values| {
        ohms.iter()
            .zip(values)
            .for_each(|(ohm, value)| *value = plain(*ohm));
    });
    for (name, model) in [
        ("linked in", linked),
        ("library, in place", here("a")),
        ("library, own process", away("a")),
    ] {
        batches(name, |ohms, values| {
            model.evaluate_all(ohms, values).expect("in range");
        });
    }
    let probes: Vec<Model> = (0..8).map(|probe| away(&format!("p{probe}"))).collect();
    share::print("8 probes at 10 Hz, own processes", &probes);
    share::print(
        "8 probes at 10 Hz, in place",
        &(0..8).map(|_| here("a")).collect::<Vec<_>>(),
    );
}

/// Different inputs, so that nothing is computed once for all.
fn ohm(index: usize) -> f64 {
    5e3 + (index % 997) as f64
}

fn one_by_one(name: &str, times: usize, mut value: impl FnMut(f64) -> f64) {
    let began = clock::now().boot_ns;
    for index in 0..times {
        black_box(value(black_box(ohm(index))));
    }
    print(name, began, times);
}

fn batches(name: &str, mut fill: impl FnMut(&[f64], &mut [f64])) {
    const TIMES: usize = 2000;
    let ohms: Vec<f64> = (0..BATCH).map(ohm).collect();
    let mut values = vec![0.0; BATCH];
    let began = clock::now().boot_ns;
    for _ in 0..TIMES {
        fill(black_box(&ohms), &mut values);
        black_box(&values);
    }
    print(name, began, TIMES * BATCH);
}

fn print(name: &str, began_ns: u64, values: usize) {
    let each = (clock::now().boot_ns - began_ns) as f64 / values as f64;
    println!(
        "  {name:<36} {each:>10.1}   ({:>6.2} million a second)",
        1e3 / each
    );
}

fn open(library: &Path, in_process: bool) -> Driver {
    let settings = Settings {
        library: library.to_owned(),
        sha256: None,
        in_process,
        deadline: Duration::from_secs(1),
        memory: 64 << 20,
    };
    let program = Path::new(env!("CARGO_BIN_EXE_nightbench"));
    driver::open("warm", &settings, program).expect("a driver")
}

fn bind(driver: &Driver, probe: &str) -> Model {
    let given = |name: &str| match name {
        "r0" => vec![R0_OHM],
        "beta" => vec![BETA_K],
        _ => Vec::new(),
    };
    let values = driver
        .parameters()
        .iter()
        .map(|parameter| given(parameter.name))
        .collect();
    driver.bind_for(probe, values).expect("they go together")
}

/// The shipped driver's library, built as cargo builds it for release, where nobody else may write.
fn library(folder: &Path) -> PathBuf {
    let output = Command::new(env!("CARGO"))
        .args(["build", "--release", "--package", "nightbench-thermistor"])
        .args(["--example", "thermistor_shared", "--message-format", "json"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    let said = String::from_utf8_lossy(&output.stdout);
    let messages = said
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok());
    let built = messages
        .filter(|message| message["target"]["name"] == "thermistor_shared")
        .find_map(|message| message["filenames"][0].as_str().map(PathBuf::from))
        .expect("cargo names the library it built");
    let copy = folder.join("libwarm.so");
    std::fs::copy(built, &copy).expect("the folder is writable");
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o644);
    std::fs::set_permissions(&copy, mode).expect("it is ours");
    copy
}
