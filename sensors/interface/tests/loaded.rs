//! The shipped drivers as shared libraries give, bit for bit, what they give linked in.
//!
//! The libraries are built here, and their paths read from what cargo says it built: no path under
//! the target folder is guessed.

#![allow(unsafe_code)]

use std::path::PathBuf;
use std::process::Command;

use libloading::Library;
use nightbench_driver::host::{Binding, View};
use nightbench_driver::{SYMBOL, Table};
use serde_json::Value;

/// Builds the shared library of a driver and says where it is.
fn build(package: &str, example: &str) -> PathBuf {
    let output = Command::new(env!("CARGO"))
        .args([
            "build",
            "--package",
            package,
            "--example",
            example,
            "--message-format",
            "json",
        ])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let said = String::from_utf8(output.stdout).expect("UTF-8");
    let built = said
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok());
    let library = built
        .filter(|message| message["target"]["name"] == example)
        .find_map(|message| message["filenames"][0].as_str().map(PathBuf::from));
    library.expect("cargo names the library it built")
}

/// The view of a driver's shared library, which stays loaded for ever.
fn load(package: &str, example: &str) -> View {
    let path = build(package, example);
    // SAFETY: the library was just built from this workspace; its initialisers are Rust's own.
    let library = unsafe { Library::new(&path) }.expect("a shared library");
    // SAFETY: `export_driver!` exports a reference to a table under this name.
    let symbol = unsafe { library.get::<*const *const Table>(SYMBOL) }.expect("the symbol");
    // SAFETY: the symbol's address is that of the reference.
    let table = unsafe { **symbol };
    std::mem::forget(library);
    // SAFETY: a table made by `Table::of`, in a library that is never unloaded.
    unsafe { View::from_raw(table) }.expect("a sound table")
}

/// Inputs from one end of the range to the other, evenly in steps or in decades, and some beyond.
fn inputs((low, high): (f64, f64)) -> Vec<f64> {
    let parts = (0..=1000).map(|part| f64::from(part) / 1000.0);
    let even = parts.clone().map(|part| low + part * (high - low));
    let decades = parts.map(|part| low * (high / low).powf(part));
    let beyond = [
        f64::NAN,
        f64::INFINITY,
        0.0,
        -1.0,
        f64::MAX,
        low / 2.0,
        high * 2.0,
    ];
    even.chain(decades).chain(beyond).collect()
}

/// What one input gives, as bits; a refusal as its status.
fn answers(view: &View, given: &[(&str, &[f64])], slope: bool) -> Vec<Result<u64, i32>> {
    let binding = Binding::named(view.parameters(), given).expect("declared names");
    let range = view.range(&binding).expect("a range");
    let one = |input: f64| {
        let mut value = [f64::NAN];
        let function = if slope { View::slope } else { View::evaluate };
        let answer = function(view, &binding, &[input], &mut value);
        answer
            .map(|()| value[0].to_bits())
            .map_err(|status| status.code())
    };
    inputs(range).into_iter().map(one).collect()
}

/// Where a fit to these points starts and what is said of the model's own error, as bits.
fn fitted(view: &View, given: &[(&str, &[f64])]) -> (Vec<u64>, Vec<Result<u64, i32>>) {
    let binding = Binding::named(view.parameters(), given).expect("declared names");
    let (low, high) = view.range(&binding).expect("a range");
    let nodes = [0.4, 0.5, 0.6].map(|part| low * (high / low).powf(part));
    let mut values = [f64::NAN; 3];
    view.evaluate(&binding, &nodes, &mut values)
        .expect("in range");
    let start = (1..=3).map(|count| view.guess(&binding, &nodes[..count], &values[..count]));
    let start = start.flat_map(|one| one.expect("a start").concat());
    let misfit = |input: f64| {
        let mut misfit = [f64::NAN];
        let answer = view.misfit(&binding, (&nodes, 2), &[input], &mut misfit);
        answer
            .map(|()| misfit[0].to_bits())
            .map_err(|status| status.code())
    };
    let misfits = inputs((low, high)).into_iter().map(misfit).collect();
    (start.map(f64::to_bits).collect(), misfits)
}

fn check(linked: &'static Table, package: &str, example: &str, forms: &[&[(&str, &[f64])]]) {
    let (linked, loaded) = (
        View::new(linked).expect("a sound table"),
        load(package, example),
    );
    assert_ne!(linked.address(), loaded.address());
    assert_eq!(linked.name(), loaded.name());
    assert_eq!(linked.parameters(), loaded.parameters());
    for given in forms {
        for slope in [false, true] {
            let (here, there) = (
                answers(&linked, given, slope),
                answers(&loaded, given, slope),
            );
            assert!(here.iter().any(Result::is_ok) && here.iter().any(Result::is_err));
            assert_eq!(here, there, "{package} {given:?}");
        }
        let (here, there) = (fitted(&linked, given), fitted(&loaded, given));
        assert_eq!(linked.has_misfit(), here.1.iter().any(Result::is_ok));
        assert_eq!(here, there, "{package} {given:?}");
    }
}

#[test]
fn the_thermistor_is_the_same_linked_and_loaded() {
    check(
        &nightbench_thermistor::TABLE,
        "nightbench-thermistor",
        "thermistor_shared",
        &[
            &[("r0", &[1e4]), ("beta", &[3950.0])],
            &[
                ("form", &[1.0]),
                ("a", &[1.129241e-3]),
                ("b", &[2.341077e-4]),
                ("c", &[8.775468e-8]),
            ],
        ],
    );
}

#[test]
fn the_photoresistor_is_the_same_linked_and_loaded() {
    check(
        &nightbench_photoresistor::TABLE,
        "nightbench-photoresistor",
        "photoresistor_shared",
        &[&[("r10", &[5e4]), ("gamma", &[0.7])]],
    );
}

#[test]
fn the_divider_is_the_same_linked_and_loaded() {
    check(
        &nightbench_divider::TABLE,
        "nightbench-divider",
        "divider_shared",
        &[
            &[("gain", &[2.0]), ("lowest", &[0.1]), ("highest", &[0.9])],
            &[
                ("form", &[2.0]),
                ("table_x", &[0.1, 0.4, 0.9]),
                ("table_y", &[1.0, 7.0, -3.0]),
            ],
        ],
    );
}
