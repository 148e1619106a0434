//! The program under test: built once per test process, its path read from what cargo says.
//!
//! Guesses no path under `target/`. `NIGHTBENCH_BIN` names another build, for example a packaged one.

use serde_json::Value;
use std::env;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

/// The program's file.
///
/// # Panics
/// Where it does not build; the compiler's words are on stderr.
#[must_use]
pub fn nightbench() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| named().unwrap_or_else(build))
}

/// The project's top folder.
#[must_use]
pub fn project() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn named() -> Option<PathBuf> {
    env::var_os("NIGHTBENCH_BIN").map(PathBuf::from)
}

fn build() -> PathBuf {
    let cargo = env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .args(["build", "--package", "nightbench", "--bin", "nightbench"])
        .args(["--message-format", "json-render-diagnostics"])
        .args((!cfg!(debug_assertions)).then_some("--release"))
        .current_dir(project())
        .stderr(Stdio::inherit())
        .output()
        .expect("cargo runs these tests, so cargo can be started");
    assert!(output.status.success(), "nightbench does not build");
    executable(&String::from_utf8_lossy(&output.stdout))
        .expect("cargo names the executable that it built")
}

fn executable(messages: &str) -> Option<PathBuf> {
    messages
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .filter(|message| message["target"]["name"] == "nightbench")
        .find_map(|message| message["executable"].as_str().map(PathBuf::from))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: The Cargo Book, External tools, "JSON messages", Artifact messages (from memory).
    #[test]
    fn the_executable_is_read_from_the_artifact_message() {
        let messages = concat!(
            r#"{"reason":"compiler-artifact","target":{"name":"nightbench"},"executable":null}"#,
            "\nnot json\n",
            r#"{"reason":"compiler-artifact","target":{"name":"nightbench"},"executable":"/x/y"}"#,
        );
        assert_eq!(executable(messages), Some(PathBuf::from("/x/y")));
        assert_eq!(executable(""), None);
    }
}
