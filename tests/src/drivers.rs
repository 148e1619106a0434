//! Shared libraries of drivers, made on the spot: C compiled by the host's compiler, Rust by cargo.

use crate::binary::project;
use serde_json::Value;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Compiles `tests/hostile/misbehaving.c` so that it misbehaves in one way (`SEGFAULT`, see there),
/// into `folder`/lib`name`.so.
///
/// # Panics
/// Where there is no C compiler, or it refuses the source.
pub fn misbehaving(folder: &Path, name: &str, how: &str) {
    let include = project().join("sensors/interface/include");
    let source = project().join("tests/hostile/misbehaving.c");
    compile(
        (&source, &include),
        &[&format!("-DHOW={how}")],
        (folder, name),
    );
}

/// Compiles a driver against the header of interface 1.0, as it was.
///
/// # Panics
/// As [`misbehaving`].
pub fn vane_1_0(folder: &Path, name: &str) {
    let old = project().join("sensors/interface/tests/c/interface_1_0");
    compile((&old.join("vane.c"), &old), &[], (folder, name));
}

/// Compiles a driver of the interface's own tests (`vane` with two outputs, `ramp` from fixed pairs),
/// into `folder`/lib`source`.so.
///
/// # Panics
/// As [`misbehaving`].
pub fn in_c(folder: &Path, source: &str) {
    let interface = project().join("sensors/interface");
    let file = interface.join(format!("tests/c/{source}.c"));
    compile((&file, &interface.join("include")), &[], (folder, source));
}

fn compile((source, include): (&Path, &Path), more: &[&str], (folder, name): (&Path, &str)) {
    let made = folder.join(format!("{name}.new"));
    let compiler = std::env::var_os("CC").unwrap_or_else(|| "cc".into());
    let status = Command::new(compiler)
        .args([
            "-std=c99",
            "-D_POSIX_C_SOURCE=199309L",
            "-Wall",
            "-Wextra",
            "-Werror",
        ])
        .args(["-O1", "-shared", "-fPIC", "-I"])
        .args([include, source])
        .args(more)
        .arg("-o")
        .arg(&made)
        .status()
        .expect("a C compiler");
    assert!(status.success(), "{} does not compile", source.display());
    put(&made, folder, name);
}

/// Builds the shared library of a package's example, into `folder`/lib`name`.so.
///
/// # Panics
/// Where it does not build.
pub fn example(folder: &Path, name: &str, (package, example): (&str, &str)) {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .args(["build", "--package", package, "--example", example])
        .args(["--message-format", "json-render-diagnostics"])
        .current_dir(project())
        .output()
        .expect("cargo runs these tests, so cargo can be started");
    assert!(output.status.success(), "{example} does not build");
    let said = String::from_utf8_lossy(&output.stdout);
    let built = said
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok());
    let library = built
        .filter(|message| message["target"]["name"] == example)
        .find_map(|message| message["filenames"][0].as_str().map(PathBuf::from));
    put(
        &library.expect("cargo names the library it built"),
        folder,
        name,
    );
}

/// Puts bytes into `folder`/lib`name`.so.
///
/// # Panics
/// Where the folder is not writable.
pub fn bytes(folder: &Path, name: &str, bytes: &[u8]) {
    let made = folder.join(format!("{name}.new"));
    fs::write(&made, bytes).expect("the folder is writable");
    put(&made, folder, name);
}

/// A copy that nobody else may write, in one step, as a maker should put it there.
fn put(from: &Path, folder: &Path, name: &str) {
    let copy = folder.join(format!("{name}.copy"));
    fs::copy(from, &copy).expect("the folder is writable");
    fs::set_permissions(&copy, fs::Permissions::from_mode(0o644)).expect("it is ours");
    fs::rename(&copy, folder.join(format!("lib{name}.so"))).expect("the folder is writable");
}

/// An empty folder for libraries, which nobody else may write.
///
/// # Panics
/// Where it cannot be made.
#[must_use]
pub fn folder(scene: &Path) -> PathBuf {
    let folder = scene.join("drivers");
    fs::create_dir(&folder).expect("the scene's folder is writable");
    fs::set_permissions(&folder, fs::Permissions::from_mode(0o755)).expect("it is ours");
    folder
}
