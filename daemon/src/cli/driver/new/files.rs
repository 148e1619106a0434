//! The files of a new driver: the templates with its name, and the interface that they need.

use std::path::{Path, PathBuf};

/// A file that is to be made.
pub(super) struct File {
    /// Below the driver's folder.
    pub(super) path: PathBuf,
    /// What is in it.
    pub(super) text: String,
}

/// What stands for the name in templates.
const PLACE: &str = "my_driver";

macro_rules! interface {
    ($path:literal) => {
        include_str!(concat!("../../../../../sensors/interface/", $path))
    };
}

macro_rules! sources {
    ($($path:literal),* $(,)?) => {
        [$(($path, interface!($path))),*]
    };
}

/// The interface's own files, for a driver that stands alone.
const INTERFACE: [(&str, &str); 29] = sources![
    "src/codes.rs",
    "src/driver.rs",
    "src/electrical.rs",
    "src/export.rs",
    "src/export/fit.rs",
    "src/export/output.rs",
    "src/fit.rs",
    "src/host/binding.rs",
    "src/host/flaw.rs",
    "src/host/mod.rs",
    "src/host/read.rs",
    "src/host/tests.rs",
    "src/host/tests/fit.rs",
    "src/host/tests/output.rs",
    "src/host/tests/pairs.rs",
    "src/host/tests/versions.rs",
    "src/host/version.rs",
    "src/host/view.rs",
    "src/host/view/fit.rs",
    "src/host/view/output.rs",
    "src/lib.rs",
    "src/monotonic.rs",
    "src/node_polynomial.rs",
    "src/output.rs",
    "src/pairs.rs",
    "src/parameter.rs",
    "src/table.rs",
    "README.md",
    "include/nightbench_driver.h",
];

const RUST: [(&str, &str); 5] = [
    ("Cargo.toml", interface!("template/rust/driver.toml")),
    ("src/lib.rs", interface!("template/rust/src/lib.rs")),
    (
        "tests/published.rs",
        interface!("template/rust/tests/published.rs"),
    ),
    ("README.md", interface!("template/rust/README.md")),
    (".gitignore", interface!("template/rust/gitignore")),
];

const C: [(&str, &str); 6] = [
    ("my_driver.c", interface!("template/c/my_driver.c")),
    ("test.c", interface!("template/c/test.c")),
    ("Makefile", interface!("template/c/Makefile")),
    ("README.md", interface!("template/c/README.md")),
    (".gitignore", interface!("template/c/gitignore")),
    (
        "nightbench_driver.h",
        interface!("include/nightbench_driver.h"),
    ),
];

/// A driver in C, with the header.
pub(super) fn in_c(name: &str) -> Vec<File> {
    named(&C, name).collect()
}

/// A crate with a copy of the interface in it.
pub(super) fn in_rust(name: &str) -> Vec<File> {
    let copy = |(path, text): &(&str, &str)| File {
        path: Path::new("nightbench-driver").join(path),
        text: (*text).to_owned(),
    };
    let manifest = ("Cargo.toml", interface!("template/rust/interface.toml"));
    let interface = INTERFACE.iter().chain(std::iter::once(&manifest)).map(copy);
    named(&RUST, name).chain(interface).collect()
}

/// A crate that uses the interface of a clone.
pub(super) fn in_rust_beside(name: &str, interface: &Path) -> Vec<File> {
    // As TOML writes it: quotes and backslashes are escaped in the same way.
    let path = format!("path = {:?}", interface.display().to_string());
    let mut files: Vec<File> = named(&RUST, name).collect();
    files[0].text = files[0].text.replace("path = \"nightbench-driver\"", &path);
    files
}

fn named(files: &[(&str, &str)], name: &str) -> impl Iterator<Item = File> {
    files.iter().map(move |(path, text)| File {
        path: PathBuf::from(path.replace(PLACE, name)),
        text: text.replace(PLACE, name),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::collections::BTreeSet;
    use std::fs;

    fn files_below(folder: &Path, all: &mut BTreeSet<PathBuf>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                files_below(&path, all);
            } else {
                all.insert(path);
            }
        }
    }

    #[test]
    fn the_copy_of_the_interface_is_whole() {
        let interface = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sensors/interface");
        let mut there = BTreeSet::new();
        files_below(&interface.join("src"), &mut there);
        let copied = INTERFACE
            .iter()
            .filter(|(path, _)| path.starts_with("src/"));
        let copied: BTreeSet<_> = copied.map(|(path, _)| interface.join(path)).collect();
        assert_eq!(copied, there, "name the new file in `INTERFACE`");
    }

    #[test]
    fn no_template_keeps_the_name_that_stands_for_the_drivers() {
        for file in in_c("vane").into_iter().chain(in_rust("vane")) {
            assert!(!file.text.contains(PLACE) && !file.path.to_string_lossy().contains(PLACE));
        }
    }
}
