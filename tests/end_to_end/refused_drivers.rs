//! Promise: a library that is no driver for this program is refused before anything starts, in words
//! that say what to do.

use nightbench_tests::drivers;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::run;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

/// What `check` says of a probe with the driver `odd`, whose library `make` puts into a folder.
fn refused(make: impl FnOnce(&Path), keys: &str) -> String {
    let mut scene = Scene::new();
    let _board = scene.board("bench");
    make(&drivers::folder(scene.folder()));
    scene
        .add(&format!(
            "[drivers]\nfolders = [\"drivers\"]\n[driver.odd]\n{keys}"
        ))
        .bare("bench", "n")
        .loaded("odd", ("bench", "n"), "odd");
    scene.write();
    let output = run(&["check", &scene.file().display().to_string()]);
    assert!(!output.status.success());
    let said = String::from_utf8(output.stdout).unwrap();
    let folder = scene.folder().display().to_string();
    let line = said.lines().next().unwrap_or_default();
    // Behind file, line and column.
    let text = line.splitn(4, ':').last().unwrap_or_default().trim_start();
    text.replace(&folder, "FOLDER")
}

fn misbehaving(how: &str) -> String {
    refused(|folder| drivers::misbehaving(folder, "odd", how), "")
}

fn bytes(content: &[u8]) -> String {
    refused(|folder| drivers::bytes(folder, "odd", content), "")
}

#[test]
fn what_is_no_driver_is_refused_with_what_to_do() {
    let cases = [
        (
            misbehaving("NO_SYMBOL"),
            "driver `odd`: `libodd.so`: it has no symbol `nightbench_driver`, so it is no driver; \
             export one (`export_driver!` in Rust, `nightbench_driver.h` in C)",
        ),
        (
            misbehaving("MAJOR_2"),
            "driver `odd`: `libodd.so`: built for interface 2.3, this program speaks 1.1; rebuild \
             the driver against 1.x, or use a program that speaks 2.x",
        ),
        (
            misbehaving("NONSENSE"),
            "driver `odd`: `libodd.so`: the summary is no line of at most 300 bytes: \
             `a line\\nand another \\u{1b}[31m`; tell its maker",
        ),
        (
            misbehaving("CRASH_WHEN_LOADED"),
            "driver `odd`: `libodd.so`: crashed (segmentation fault) while it was loaded; tell its \
             maker",
        ),
        (
            bytes(b"int main(void) { return 0; }\n"),
            "driver `odd`: `libodd.so`: it is no shared library, but a text; name the library that \
             was built, not its source",
        ),
        (
            bytes(b""),
            "driver `odd`: `libodd.so`: it is empty; build it again, or copy it again",
        ),
    ];
    for (said, wanted) in cases {
        assert_eq!(said, wanted);
    }
}

/// Source: elf.h: machine 8 is MIPS, which no test host is.
#[test]
fn a_library_for_another_machine_names_both() {
    let mut content = b"\x7fELF\x02\x01\x01".to_vec();
    content.resize(64, 0);
    content[16] = 3;
    content[18] = 8;
    let said = bytes(&content);
    let begin = "driver `odd`: `libodd.so`: it is for another machine (MIPS), this host is ";
    assert!(said.starts_with(begin), "{said}");
    assert!(said.ends_with("; build it for this host"), "{said}");
}

#[test]
fn a_library_that_is_cut_short_is_refused_before_the_loader_crashes_on_it() {
    let said = refused(
        |folder| {
            drivers::misbehaving(folder, "odd", "HEALTHY");
            let whole = fs::read(folder.join("libodd.so")).unwrap();
            drivers::bytes(folder, "odd", &whole[..whole.len() / 8]);
        },
        "",
    );
    assert_eq!(
        said,
        "driver `odd`: `libodd.so`: it ends before its end; copy it again: a copy was cut short"
    );
}

#[test]
fn a_check_that_hangs_is_given_up() {
    assert_eq!(
        misbehaving("HANG_IN_CHECK"),
        "probe `odd`: driver `odd`: it did not answer within 250 ms while it checked its parameters; tell its \
         maker"
    );
}

#[test]
fn a_library_that_others_may_write_is_refused() {
    let open = |path: &Path| fs::set_permissions(path, fs::Permissions::from_mode(0o777)).unwrap();
    let file = refused(
        |folder| {
            drivers::misbehaving(folder, "odd", "HEALTHY");
            open(&folder.join("libodd.so"));
        },
        "",
    );
    assert_eq!(
        file,
        "driver `odd`: `libodd.so`: it may be written by everybody; `chmod go-w \
         FOLDER/drivers/libodd.so`"
    );
    let folder = refused(
        |folder| {
            drivers::misbehaving(folder, "odd", "HEALTHY");
            open(folder);
        },
        "",
    );
    assert_eq!(
        folder,
        "driver `odd`: `libodd.so`: its folder `FOLDER/drivers` may be written by everybody; \
         `chmod go-w FOLDER/drivers`"
    );
}

#[test]
fn another_library_than_the_pinned_one_is_refused() {
    let pinned = format!("sha256 = \"{}\"\n", "0".repeat(64));
    let said = refused(
        |folder| drivers::misbehaving(folder, "odd", "HEALTHY"),
        &pinned,
    );
    assert!(
        said.contains("another than `sha256` says; find out who changed it"),
        "{said}"
    );
}

#[test]
fn a_library_that_is_not_there_or_lies_elsewhere_is_told() {
    assert_eq!(
        refused(|_| (), ""),
        "driver `odd`: `libodd.so`: there is no such file in `FOLDER/drivers`; put it there, or \
         correct `library`"
    );
    assert_eq!(
        refused(|_| (), "library = \"../odd.so\"\n"),
        "driver `odd`: `../odd.so` is no file name; name a file in one of the `folders` of \
         `[drivers]`: `\"libsunny.so\"`"
    );
}
