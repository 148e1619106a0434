//! Where a secret is found. It is never in the configuration itself, and never in a message.

use super::item::{Item, Value};
use super::problem::Fault;
use super::reader::Table;
use std::path::{Path, PathBuf};

/// A secret is never in the configuration: only where to find it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Secret {
    /// `..._file = "PATH"`: the file's first line.
    File(PathBuf),
    /// `..._env = "NAME"`: an environment variable.
    Environment(String),
}

/// The keys that one secret has.
pub(super) struct Keys {
    plain: &'static str,
    file: &'static str,
    environment: &'static str,
}

/// `password`.
pub(super) const PASSWORD: Keys = Keys {
    plain: "password",
    file: "password_file",
    environment: "password_env",
};

/// `token`.
pub(super) const TOKEN: Keys = Keys {
    plain: "token",
    file: "token_file",
    environment: "token_env",
};

impl Keys {
    /// All of them.
    pub(super) fn all(&self) -> [&'static str; 3] {
        [self.plain, self.file, self.environment]
    }
}

/// Reads where a secret is; refuses the secret itself.
pub(super) fn read(table: &Table<'_>, keys: &Keys, base: &Path) -> Value<Option<Secret>> {
    let file = table.optional(keys.file, |item| item.path(base));
    let environment = table.optional(keys.environment, variable);
    refuse_plain(table, keys)?;
    match (file?, environment?) {
        (None, None) => Some(None),
        (Some(path), None) => Some(Some(Secret::File(path))),
        (None, Some(name)) => Some(Some(Secret::Environment(name))),
        (Some(_), Some(_)) => {
            let what = format!("`{}` and `{}` are both there", keys.file, keys.environment);
            table.error(Fault::new(what, "keep one of them"));
            None
        }
    }
}

/// Refuses the secret itself, wherever it stands.
pub(super) fn refuse_plain(table: &Table<'_>, keys: &Keys) -> Value<()> {
    // Asked for, so that it is known, and then forgotten: no message proposes it.
    let Some(item) = table.stray(keys.plain) else {
        return Some(());
    };
    item.refuse_secret(Fault::new(
        format!("a {} does not belong in the configuration", keys.plain),
        format!(
            "write it into a file that only the service can read, and name that: \
             `{} = \"outlet.secret\"`; or `{} = \"NAME\"` for an environment variable",
            keys.file, keys.environment
        ),
    ));
    None
}

/// The name of an environment variable (POSIX.1-2017, 8.1: no `=`, no NUL; a name here is letters,
/// digits and `_`, not beginning with a digit).
fn variable(item: &Item<'_>) -> Value<String> {
    let name = item.filled()?;
    let fits = |c: char| c.is_ascii_alphanumeric() || c == '_';
    if name.chars().all(fits) && !name.starts_with(|c: char| c.is_ascii_digit()) {
        return Some(name.to_owned());
    }
    // What stands there may be the secret itself.
    item.refuse_secret(Fault::new(
        "this is no name of an environment variable",
        "write its name, not its value, such as `NIGHT_PASSWORD`",
    ));
    None
}
