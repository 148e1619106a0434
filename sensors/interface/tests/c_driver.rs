//! A driver written in C against the header is read like any other, so header and `table.rs` agree.
//!
//! Needs compilers for C and C++: `$CC` and `$CXX`, or `cc`, which links Rust programs on this host,
//! and `c++`.

#![allow(unsafe_code)]

use std::path::{Path, PathBuf};
use std::process::Command;

use libloading::Library;
use nightbench_driver::host::{Binding, Parameter, ParameterKind, View};
use nightbench_driver::{Electrical, Monotonic, SYMBOL, Status, Table};

/// The source, and the folder of the header that it is compiled against.
const TODAY: [&str; 2] = ["tests/c/vane.c", "include"];
/// A driver that is a table.
const RAMP: [&str; 2] = ["tests/c/ramp.c", "include"];
/// Both as they were with interface 1.0. Never changed.
const ONE_ZERO: [&str; 2] = ["tests/c/interface_1_0/vane.c", "tests/c/interface_1_0"];

/// A compiler with its variable, and what makes it take the source as its language.
type Language = (&'static str, &'static str, &'static [&'static str]);

const C: Language = ("CC", "cc", &["-std=c99"]);
// C++ warns of fields that are left out of a table, which is how a driver says that it has none.
const CPP: Language = (
    "CXX",
    "c++",
    &["-x", "c++", "-std=c++20", "-Wno-missing-field-initializers"],
);

fn compile(folder: &Path, [source, header]: [&str; 2], language: Language) -> PathBuf {
    let package = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (variable, usual, language) = language;
    let name = Path::new(source).file_stem().expect("a file").display();
    let library = folder.join(format!("{name}-{usual}.so"));
    let compiler = std::env::var_os(variable).unwrap_or_else(|| usual.into());
    let status = Command::new(compiler)
        .args(language)
        .args(["-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-I"])
        .args([package.join(header), package.join(source), "-o".into()])
        .arg(&library)
        .status()
        .expect("a compiler");
    assert!(status.success());
    library
}

fn load(path: &Path) -> View {
    // SAFETY: the library was just built from this package and has no initialisers.
    let library = unsafe { Library::new(path) }.expect("a shared library");
    // SAFETY: the source exports a pointer to a table under this name.
    let symbol = unsafe { library.get::<*const *const Table>(SYMBOL) }.expect("the symbol");
    // SAFETY: the symbol's address is that of the pointer.
    let table = unsafe { **symbol };
    std::mem::forget(library);
    // SAFETY: the table of `vane.c`, in a library that is never unloaded.
    unsafe { View::from_raw(table) }.expect("a sound table")
}

#[test]
fn a_driver_in_c_is_a_driver_and_so_is_the_same_source_in_cpp() {
    let folder = tempfile::tempdir().expect("a folder");
    for language in [C, CPP] {
        let view = load(&compile(folder.path(), TODAY, language));
        declares(&view, 1);
        calls(&view);
        serves_a_fit(&view);
        gives_more_than_one_value(&view);
        is_a_table(&load(&compile(folder.path(), RAMP, language)));
    }
}

#[test]
fn a_driver_that_was_compiled_against_1_0_is_one_still() {
    let folder = tempfile::tempdir().expect("a folder");
    let view = load(&compile(folder.path(), ONE_ZERO, C));
    declares(&view, 0);
    calls(&view);
    assert!(!view.has_guess() && !view.has_misfit());
}

fn declares(view: &View, fitted: u32) {
    assert_eq!(
        (view.name(), view.quantity(), view.unit()),
        ("vane", Some("angle"), None)
    );
    assert_eq!(view.inputs(), [Electrical::Ratio, Electrical::Number]);
    let number = ParameterKind::Number {
        unit: "deg",
        default: Some(270.0),
        bounds: (0.0, 3600.0),
    };
    let choice = ParameterKind::Choice {
        words: &["left", "right"],
        default: 1,
    };
    let parameters = [
        Parameter {
            name: "turn",
            summary: "angle from end to end",
            kind: number,
            fitted,
        },
        Parameter {
            name: "hand",
            summary: "which way it turns",
            kind: choice,
            fitted: 0,
        },
    ];
    assert_eq!(view.parameters(), parameters);
}

fn calls(view: &View) {
    let bind = |turn: f64| {
        Binding::named(view.parameters(), &[("turn", &[turn])]).expect("declared names")
    };
    let mut values = [0.0; 3];
    let answer = view.evaluate(&bind(300.0), &[0.0, 0.5, 1.5], &mut values);
    assert_eq!(answer, Err(Status::OUT_OF_RANGE));
    assert_eq!(values[..2], [0.0, 150.0]);
    assert!(values[2].is_nan());
    assert_eq!(view.range(&bind(300.0)), Ok((0.0, 1.0)));
    assert_eq!(
        view.check(&bind(0.0)),
        Ok(Some("a `turn` of 0 gives no angle"))
    );
    assert_eq!(view.check(&bind(300.0)), Ok(None));
    assert!(!view.has_slope());
}

fn serves_a_fit(view: &View) {
    let binding = Binding::named(view.parameters(), &[]).expect("declared names");
    let start = view.guess(&binding, &[0.5], &[100.0]);
    assert_eq!(start, Ok(vec![vec![200.0], vec![1.0]]));
    assert_eq!(
        view.guess(&binding, &[0.0], &[0.0]),
        Err(Status::OUT_OF_RANGE)
    );
    let mut misfits = [f64::NAN; 2];
    let answer = view.misfit(&binding, (&[0.5], 1), &[0.5, 0.75], &mut misfits);
    assert_eq!((answer, misfits), (Ok(()), [0.0, 2.5]));
    let mut angle = [f64::NAN];
    let answer = view.evaluate_with(&binding, &[(0, 90.0)], &[0.5], &mut angle);
    assert_eq!((answer, angle), (Ok(()), [45.0]));
}

fn gives_more_than_one_value(view: &View) {
    let binding = Binding::named(view.parameters(), &[]).expect("declared names");
    let outputs = view.outputs().iter();
    let outputs: Vec<_> = outputs
        .map(|one| (one.name, one.quantity, one.unit))
        .collect();
    assert_eq!(
        outputs,
        [
            ("angle", Some("angle"), None),
            ("part", Some("part"), Some("%"))
        ]
    );
    let mut parts = [f64::NAN; 2];
    let answer = view.evaluate_output((&binding, &[]), 1, &[0.0, 0.5], &mut parts);
    assert_eq!((answer, parts), (Ok(()), [0.0, 50.0]));
    assert_eq!(view.monotonic(), Monotonic::Rising);
}

fn is_a_table(view: &View) {
    let binding = Binding::new(Vec::new());
    assert_eq!(view.range(&binding), Ok((0.1, 0.9)));
    let (mut values, mut slopes) = ([f64::NAN; 3], [f64::NAN; 1]);
    assert_eq!(
        view.evaluate(&binding, &[0.1, 0.5, 0.9], &mut values),
        Ok(())
    );
    assert_eq!(values, [0.0, 4.0, 10.0]);
    assert_eq!(view.slope(&binding, &[0.7], &mut slopes), Ok(()));
    assert!((slopes[0] - 15.0).abs() < 1e-12);
}
