//! `source = "program"`: a child process whose standard output is the board.

use super::super::item::{Item, Value};
use super::super::problem::Fault;
use super::super::reader::Table;
use std::path::{Path, PathBuf};

/// A program and how it is started. No shell takes part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Program {
    /// The program and its arguments; never empty. A program with a `/` in it is relative to the
    /// configuration, one without is looked for in `PATH`.
    pub command: Vec<String>,
    /// Where it runs; default the configuration's folder.
    pub folder: PathBuf,
    /// Variables that it gets beside the service's own, sorted by name.
    pub environment: Vec<(String, String)>,
}

pub(super) fn read(table: &Table<'_>, base: &Path) -> Value<Program> {
    let example = "[\"python3\", \"read.py\"]";
    let command = table.required("command", example, |item| command(item, base));
    let folder = table.or("folder", here(base), |item| item.path(base));
    let environment = environment(table);
    Some(Program {
        command: command?,
        folder: folder?,
        environment: environment?,
    })
}

/// A folder that can be entered: a configuration named without one lies in the current folder.
fn here(base: &Path) -> PathBuf {
    if base.as_os_str().is_empty() {
        PathBuf::from(".")
    } else {
        base.to_owned()
    }
}

fn command(item: &Item<'_>, base: &Path) -> Value<Vec<String>> {
    let wanted = "a list of texts: the program, then its arguments";
    let example = "command = [\"python3\", \"read.py\"]";
    let texts = item.each(wanted, example, Item::text)?;
    if texts.iter().any(|text| text.contains('\0')) {
        return item.refuse(Fault::new("a command holds no NUL", "remove it"));
    }
    let Some((program, arguments)) = texts.split_first().filter(|(first, _)| !first.is_empty())
    else {
        let fault = Fault::new("`command` names no program", format!("write `{example}`"));
        return item.refuse(fault);
    };
    let program = if program.contains('/') {
        base.join(program).to_string_lossy().into_owned()
    } else {
        (*program).to_owned()
    };
    let arguments = arguments.iter().map(|text| (*text).to_owned());
    Some(std::iter::once(program).chain(arguments).collect())
}

fn environment(table: &Table<'_>) -> Value<Vec<(String, String)>> {
    let right = "write it as `environment = { NAME = \"text\" }`";
    let Some(entries) = table.entries_of("environment", "variable", right)? else {
        return Some(Vec::new());
    };
    let read: Vec<Value<(String, String)>> =
        entries.iter().map(|(item, _)| variable(item)).collect();
    let mut variables: Vec<_> = read.into_iter().collect::<Option<_>>()?;
    variables.sort();
    Some(variables)
}

/// POSIX.1-2017, 8.1: a name holds no `=`, name and value no NUL.
fn variable(item: &Item<'_>) -> Value<(String, String)> {
    let (name, text) = (item.key(), item.text()?);
    if name.is_empty() || name.contains(['=', '\0']) || text.contains('\0') {
        item.refuse_key(Fault::new(
            "this is no environment variable",
            "a name has no `=` in it, and neither name nor text holds NUL",
        ));
        return None;
    }
    Some((name.to_owned(), text.to_owned()))
}
