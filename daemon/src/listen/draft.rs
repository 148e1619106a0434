//! The configuration that would read what was heard, as text for a person to check.
//!
//! How a probe is wired, what its resistor is and which probe it is cannot be heard: every such
//! value is marked as a guess.

use super::manner::{Clock, Field, Manner};
use super::names::Taken;
use super::{Recognised, Unrecognised, readable};
use crate::measure::decode::{Format, Separator};
use std::fmt::{self, Write};
use std::path::PathBuf;

/// Where the lines come from, for the board's table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A serial port, by the name that should stand in the configuration.
    Serial {
        /// The port.
        port: PathBuf,
        /// Its baud rate.
        baud: u32,
    },
    /// A recorded file.
    Recorded {
        /// The file.
        file: PathBuf,
    },
    /// Bytes that were piped in: the port is not known.
    Piped,
}

/// What becomes of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    /// A channel with a probe.
    Probe,
    /// The same behind comment marks: it did not move, or it may be a counter.
    Doubtful,
    /// Nothing: a clock, or no number.
    LeftOut,
}

/// A configuration text that `nightbench check` accepts.
///
/// # Errors
/// Where no field is a measurement.
pub fn draft(found: &Recognised, origin: &Origin) -> Result<String, Unrecognised> {
    let roles = roles(&found.fields).ok_or(Unrecognised::NothingMeasured)?;
    let mut text = String::new();
    let written = write_all(&mut text, found, origin, &roles);
    // Writing to a text does not fail.
    written
        .map(|()| text)
        .map_err(|_| Unrecognised::NothingMeasured)
}

/// Where nothing moves, what may be a probe in a quiet room is one; where nothing else is there,
/// so is what may be a counter.
fn roles(fields: &[Field]) -> Option<Vec<Role>> {
    let as_counters = |counter: Role, constant: Role| -> Vec<Role> {
        let roles = fields.iter().map(|field| match field.manner {
            Manner::Moving | Manner::Noisy => Role::Probe,
            Manner::Constant => constant,
            Manner::Counter(Clock::Unknown) => counter,
            Manner::Counter(_) | Manner::Unreadable => Role::LeftOut,
        });
        roles.collect()
    };
    let choices = [
        as_counters(Role::Doubtful, Role::Doubtful),
        as_counters(Role::Doubtful, Role::Probe),
        as_counters(Role::Probe, Role::Probe),
    ];
    choices
        .into_iter()
        .find(|roles| roles.contains(&Role::Probe))
}

fn write_all(
    text: &mut String,
    found: &Recognised,
    origin: &Origin,
    roles: &[Role],
) -> fmt::Result {
    head(text, found)?;
    board(text, found, origin)?;
    let full_scale = full_scale(&found.fields, roles);
    let mut taken = Taken::default();
    for (at, (field, role)) in found.fields.iter().zip(roles).enumerate() {
        let name = taken.name(&field.name, &format!("field-{}", at + 1));
        writeln!(text, "\n# `{}`: {field}", readable(field.name.as_bytes()))?;
        match role {
            Role::LeftOut => {}
            Role::Probe => text.push_str(&tables(field, &name, full_scale)?),
            Role::Doubtful => {
                writeln!(
                    text,
                    "# If a probe hangs on it, take the `# ` away from these lines:"
                )?;
                text.push_str(&commented(&tables(field, &name, full_scale)?));
            }
        }
    }
    Ok(())
}

/// Characters of the example line that are repeated, at most.
const LONGEST_EXAMPLE: usize = 120;

fn head(text: &mut String, found: &Recognised) -> fmt::Result {
    writeln!(
        text,
        "# Made by `nightbench listen` from {} lines such as:\n#\n#     {}\n#\n\
         # What is marked GUESS cannot be heard: compare it with the wiring and the probe's sheet.\n\
         # Not a safety device: do not let anything depend on it that can hurt or burn.\n\n\
         site = \"bench\"                  # name of the place: letters, digits, _ . -\n\n\
         [log]\npath = \"bench.sqlite\"           # beside this file",
        found.lines,
        readable(found.example.as_bytes())
            .chars()
            .take(LONGEST_EXAMPLE)
            .collect::<String>(),
    )
}

fn board(text: &mut String, found: &Recognised, origin: &Origin) -> fmt::Result {
    writeln!(text, "\n[board.bench]")?;
    match origin {
        Origin::Serial { port, baud } => {
            let port = quoted(&port.to_string_lossy());
            writeln!(text, "source = \"serial\"\nport = {port}\nbaud = {baud}")?;
        }
        Origin::Recorded { file } => {
            let file = quoted(&file.to_string_lossy());
            writeln!(
                text,
                "source = \"replay\"               # the recording; for the board itself: \"serial\" with its `port`\nfile = {file}"
            )?;
        }
        Origin::Piped => writeln!(
            text,
            "source = \"serial\"\nport = \"/dev/serial/by-id/PUT-YOUR-BOARD-HERE\"   # `nightbench ports` prints it"
        )?,
    }
    format(text, &found.format)?;
    clock(text, found)?;
    match found.interval_ms.map(silent_after_s) {
        Some(seconds) if seconds > DEFAULT_SILENT_AFTER_S => writeln!(
            text,
            "silent_after = \"{seconds}s\"           # three times the time between its lines"
        ),
        _ => Ok(()),
    }
}

/// A board's own counter of time dates its lines better than their arrival.
fn clock(text: &mut String, found: &Recognised) -> fmt::Result {
    let named = |field: &Field| match &found.format {
        Format::Pairs | Format::Json => true,
        Format::Columns { names, .. } => names.contains(&field.name),
    };
    let clock = found.fields.iter().find_map(|field| match field.manner {
        Manner::Counter(Clock::Milliseconds) if named(field) => Some((&field.name, "")),
        Manner::Counter(Clock::Microseconds) if named(field) => {
            Some((&field.name, "clock_unit = \"us\"\n"))
        }
        _ => None,
    });
    match clock {
        Some((field, unit)) => write!(text, "clock = {}\n{unit}", quoted(field)),
        None => Ok(()),
    }
}

/// What the configuration takes where it says nothing, seconds.
const DEFAULT_SILENT_AFTER_S: u64 = 10;

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a day, which is the configuration's bound too"
)]
fn silent_after_s(interval_ms: f64) -> u64 {
    (interval_ms * 3.0 / 1000.0).ceil().clamp(0.0, 86_400.0) as u64
}

fn format(text: &mut String, format: &Format) -> fmt::Result {
    match format {
        Format::Pairs => writeln!(text, "format = \"pairs\""),
        Format::Json => writeln!(text, "format = \"json\""),
        Format::Columns { separator, names } => {
            let names: Vec<String> = names.iter().map(|name| quoted(name)).collect();
            let separator = match separator {
                Separator::Space => "space",
                Separator::Tab => "tab",
                Separator::Comma => "comma",
                Separator::Semicolon => "semicolon",
            };
            writeln!(
                text,
                "format = \"columns\"\ncolumns = [{}]   # `_`: not needed\nseparator = \"{separator}\"",
                names.join(", ")
            )
        }
    }
}

fn tables(field: &Field, name: &str, full_scale: f64) -> Result<String, fmt::Error> {
    let mut text = String::new();
    writeln!(text, "[board.bench.channel.{name}]")?;
    if field.name != name {
        writeln!(text, "field = {}", quoted(&field.name))?;
    }
    if field.looks_like_counts() {
        counts(&mut text, name, full_scale)?;
    } else {
        finished(&mut text, name)?;
    }
    Ok(text)
}

fn counts(text: &mut String, name: &str, full_scale: f64) -> fmt::Result {
    writeln!(
        text,
        "front_end = \"divider\"\n\
         probe_side = \"low\"              # GUESS: probe from input to ground; \"high\": from input to supply\n\
         resistor = \"10 kOhm\"            # GUESS: the fixed resistor; measure it\n\
         full_scale = {full_scale:<18} # GUESS: the least that fits; 1023 for 10 bits, 4095 for 12, 65535 for 16\n\n\
         [probe.{name}]{}# rename it after what it measures\n\
         board = \"bench\"\nchannel = \"{name}\"\n\
         driver = \"thermistor\"           # GUESS: or \"photoresistor\", \"divider\"\n\n\
         [probe.{name}.parameters]{}# GUESS: take them from the probe's sheet\n\
         form = \"beta\"\nr0 = \"10 kOhm\"                  # resistance ...\n\
         t0 = \"25 Cel\"                   # ... at this temperature\nbeta = \"3950 K\"",
        " ".repeat(24_usize.saturating_sub(name.len()).max(1)),
        " ".repeat(13_usize.saturating_sub(name.len()).max(1)),
    )
}

fn finished(text: &mut String, name: &str) -> fmt::Result {
    writeln!(
        text,
        "front_end = \"none\"              # GUESS: no converter's count, but a finished number\n\n\
         [probe.{name}]{}# rename it after what it measures\n\
         board = \"bench\"\nchannel = \"{name}\"\ndriver = \"divider\"\ninput = \"number\"\n\
         quantity = \"number\"             # GUESS: what it is, as in \"temperature\"\n\
         unit = \"1\"                      # GUESS: its UCUM code, as in \"Cel\", \"V\", \"lx\"",
        " ".repeat(24_usize.saturating_sub(name.len()).max(1)),
    )
}

/// Full scales of 10, 12, 16 and 24 bits.
const FULL_SCALES: [f64; 4] = [1023.0, 4095.0, 65_535.0, 16_777_215.0];

/// The least that fits the highest count: a board has one converter.
fn full_scale(fields: &[Field], roles: &[Role]) -> f64 {
    let probes = fields
        .iter()
        .zip(roles)
        .filter(|(field, role)| **role == Role::Probe && field.looks_like_counts());
    let highest = probes.filter_map(|(field, _)| field.range());
    let highest = highest.fold(0.0, |highest: f64, (_, high)| highest.max(high));
    let fits = FULL_SCALES.into_iter().find(|scale| highest <= *scale);
    fits.unwrap_or(FULL_SCALES[3])
}

fn commented(tables: &str) -> String {
    let lines = tables
        .lines()
        .map(|line| format!("# {line}").trim_end().to_owned() + "\n");
    lines.collect()
}

/// A TOML basic string: its escapes are JSON's, and it takes no DEL (TOML 1.0.0, String).
fn quoted(text: &str) -> String {
    serde_json::Value::from(text)
        .to_string()
        .replace('\u{7f}', "\\u007f")
}

#[cfg(test)]
mod tests;
