//! `source = "file"`: numbers that stand in files, as the kernel shows its converters.

use super::super::Channel;
use super::super::item::{Item, Value};
use super::super::name::name;
use super::super::problem::Fault;
use super::super::reader::Table;
use super::super::words;
use super::{Around, DEFAULT_EVERY};
use crate::measure::front_end::FrontEnd;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Files that hold one number each.
#[derive(Clone, Debug, PartialEq)]
pub struct PolledFiles {
    /// The files, 1 to 40.
    pub files: Vec<PolledFile>,
    /// How often they are read, 10 ms to a day, default 1 s.
    pub every: Duration,
}

/// One file with a number in it.
#[derive(Clone, Debug, PartialEq)]
pub struct PolledFile {
    /// The field that it fills.
    pub field: String,
    /// The file.
    pub path: PathBuf,
    /// What its number becomes.
    pub scaling: Scaling,
}

/// What a file's number becomes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scaling {
    /// Taken as it stands.
    Plain,
    /// `(number + offset) * scale`, as the kernel's industrial I/O defines them.
    Given {
        /// The factor, not 0.
        scale: f64,
        /// What is added first.
        offset: f64,
    },
    /// As [`Scaling::Given`], with the scale and offset that the kernel shows in files beside it,
    /// and then in the unit itself: volts, ohms, degrees Celsius.
    Kernel,
}

const EVERY: RangeInclusive<Duration> = Duration::from_millis(10)..=Duration::from_secs(86_400);

/// All their numbers must fit into one line.
const MOST_FILES: usize = 40;

/// Larger factors and offsets are slips of the hand.
const SENSIBLE: RangeInclusive<f64> = -1e12..=1e12;

impl PolledFiles {
    /// A converter's counts become a quantity only where no front end asks for counts.
    pub(super) fn for_channels(mut self, channels: &[Channel]) -> Self {
        for file in &mut self.files {
            let mut readers = channels.iter().filter(|it| it.field == file.field);
            let is_bare = readers.any(|channel| channel.front_end == FrontEnd::None);
            if file.scaling == Scaling::Plain && is_bare && is_converter(&file.path) {
                file.scaling = Scaling::Kernel;
            }
        }
        self
    }
}

pub(super) fn read(table: &Table<'_>, around: &Around<'_>) -> Value<PolledFiles> {
    let why = "with `source = \"file\"` the lines are made from the files";
    table.foreign(&["format", "columns", "separator"], why);
    let files = files(table, around.base);
    let every = table.or("every", DEFAULT_EVERY, |item| item.duration(EVERY));
    Some(PolledFiles {
        files: files?,
        every: every?,
    })
}

/// Whether a channel's field is filled by one of the files.
pub(in super::super) fn check_field(files: &PolledFiles, field: &str) -> Result<(), Fault> {
    let fields: Vec<&str> = files.files.iter().map(|file| &*file.field).collect();
    if fields.contains(&field) {
        return Ok(());
    }
    Err(Fault::new(
        format!("none of the board's files is `{field}`"),
        format!(
            "name the channel, or its `field`, after one of {}",
            words::list(&fields)
        ),
    ))
}

fn files(table: &Table<'_>, base: &Path) -> Value<Vec<PolledFile>> {
    const EXAMPLE: &str = "`files = { a0 = \"/sys/…\" }`";
    let entries = table.entries_of("files", "file", &format!("write it as {EXAMPLE}"))?;
    let Some(entries) = entries else {
        let right = format!("add a line such as {EXAMPLE}");
        table.error(Fault::new("`files` is missing", right));
        return None;
    };
    if !(1..=MOST_FILES).contains(&entries.len()) {
        let what = format!("it reads {} files", entries.len());
        let right = format!("name 1 to {MOST_FILES}: {EXAMPLE}");
        table.error(Fault::new(what, right));
        return None;
    }
    let read: Vec<Value<PolledFile>> = entries
        .iter()
        .map(|(item, table)| file(item, table.as_ref(), base))
        .collect();
    read.into_iter().collect()
}

fn file(item: &Item<'_>, table: Option<&Table<'_>>, base: &Path) -> Value<PolledFile> {
    let field = name("file", item.key()).map_err(|fault| item.refuse_key(fault));
    let (path, scaling) = match table {
        None => (item.path(base), Some(Scaling::Plain)),
        Some(table) => {
            let path = table.required("path", "\"/sys/…\"", |item| item.path(base));
            let scaling = scaling(table);
            table.end();
            (path, scaling)
        }
    };
    let (path, scaling) = (path?, scaling?);
    warn_of_thousandths(item, &path, scaling);
    Some(PolledFile {
        field: field.ok()?,
        path,
        scaling,
    })
}

fn scaling(table: &Table<'_>) -> Value<Scaling> {
    let scale = table.optional("scale", |item| match item.number(SENSIBLE)? {
        0.0 => item.refuse(Fault::new("a scale of 0 makes every number 0", "write 1")),
        scale => Some(scale),
    });
    let offset = table.optional("offset", |item| item.number(SENSIBLE));
    Some(match (scale?, offset?) {
        (None, None) => Scaling::Plain,
        (scale, offset) => Scaling::Given {
            scale: scale.unwrap_or(1.0),
            offset: offset.unwrap_or(0.0),
        },
    })
}

/// Source: the kernel's ABI/testing/sysfs-driver-w1_therm, `temperature`: thousandths of a degree.
fn warn_of_thousandths(item: &Item<'_>, path: &Path, scaling: Scaling) {
    if scaling == Scaling::Plain && path.file_name().is_some_and(|it| it == "temperature") {
        item.warn(Fault::new(
            "the kernel writes thousandths of a degree into a file `temperature`",
            "write `{ path = \"…\", scale = 0.001 }`",
        ));
    }
}

/// Whether the kernel shows a converter's counts there: `in_…_raw`.
fn is_converter(path: &Path) -> bool {
    let name = path.file_name().map(|name| name.to_string_lossy());
    name.is_some_and(|name| name.starts_with("in_") && name.ends_with("_raw"))
}
