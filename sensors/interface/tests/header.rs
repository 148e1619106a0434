//! The C header is what the interface's source says, so a maker in C is told of each change.

use std::fs;
use std::path::Path;

/// Where the types and numbers stand that cross.
const SOURCES: [&str; 5] = [
    "src/codes.rs",
    "src/table.rs",
    "src/parameter.rs",
    "src/output.rs",
    "src/pairs.rs",
];
const HEADER: &str = "include/nightbench_driver.h";
/// Set to write the header instead of comparing it.
const RENEW: &str = "NIGHTBENCH_RENEW_HEADER";

fn made() -> String {
    let package = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().expect("a folder");
    let config = cbindgen::Config::from_file(package.join("cbindgen.toml")).expect("readable");
    let mut builder = cbindgen::Builder::new().with_config(config);
    for (index, source) in SOURCES.iter().enumerate() {
        let text = fs::read_to_string(package.join(source)).expect("a source");
        let path = folder.path().join(format!("{index}.rs"));
        fs::write(&path, for_c(&text)).expect("writable");
        builder = builder.with_src(path);
    }
    let mut text = Vec::new();
    builder.generate().expect("bindings").write(&mut text);
    String::from_utf8(text).expect("UTF-8")
}

/// A source as C can have it: any pointer to a function may be null there (cbindgen does not see that
/// through the functions' names), and examples in Rust are left out.
fn for_c(source: &str) -> String {
    let mut is_example = false;
    let mut lines = Vec::new();
    for line in source.lines() {
        let is_fence = line.trim_start() == "/// ```";
        if !is_fence && !is_example {
            let function = line.strip_suffix("Fn>,");
            let bare = function.map(|line| line.replace("Option<", "") + "Fn,");
            lines.push(bare.unwrap_or_else(|| line.to_owned()));
        }
        if is_fence && !is_example {
            lines.pop_if(|line| line.trim_start() == "///");
        }
        is_example ^= is_fence;
    }
    lines.join("\n")
}

#[test]
fn the_header_is_what_the_source_says() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(HEADER);
    if std::env::var_os(RENEW).is_some() {
        fs::write(&path, made()).expect("writable");
    }
    let there = fs::read_to_string(&path).expect("the header");
    assert!(
        there == made(),
        "{HEADER} is not what the interface's source says; renew it with\n\
         {RENEW}=1 cargo test --package nightbench-driver --test header\n\
         and look at what changed: within one major version fields are only appended"
    );
}
