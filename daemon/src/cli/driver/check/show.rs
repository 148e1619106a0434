//! What was found of a driver, as text of 80 columns.

use super::time::Speed;
use crate::chart::{Axis, Chart, Mark, Series, terminal};
use crate::cli::drivers::{WIDTH, outputs, quantities, wrapped};
use crate::driver::examine::{Examination, Finding, Verdict};
use crate::driver::{Driver, Model, Monotonic, Parameter, ParameterKind};
use std::fmt::Write;

/// Lines of the curve.
const HEIGHT: u16 = 18;
/// A range of so many decades is drawn in decades.
const DECADES: f64 = 1.5;

/// What a driver says of itself.
pub(super) fn declaration(driver: &Driver) -> String {
    let (major, minor) = driver.interface();
    let mut text = wrapped(&format!("{}: {}", driver.own_name(), driver.summary()), "");
    let _ = writeln!(text, "  {}", quantities(driver));
    text.push_str(&outputs(driver));
    if let Some(way) = promised(driver.monotonic()) {
        let _ = writeln!(text, "  values {way} with the input");
    }
    let _ = writeln!(text, "  interface {major}.{minor}");
    if let Some((_, sha256)) = driver.library() {
        let _ = writeln!(text, "  SHA-256 {sha256}");
    }
    for parameter in driver.parameters() {
        text.push_str(&self::parameter(&parameter));
    }
    text
}

fn promised(monotonic: Monotonic) -> Option<&'static str> {
    match monotonic {
        Monotonic::Unknown => None,
        Monotonic::Rising => Some("rise"),
        Monotonic::Falling => Some("fall"),
    }
}

fn parameter(parameter: &Parameter) -> String {
    let Parameter {
        name,
        summary,
        fitted,
        ..
    } = parameter;
    let kind = match &parameter.kind {
        ParameterKind::Number {
            unit,
            default,
            bounds,
        } => {
            let default = default.map_or_else(|| "to be given".to_owned(), |one| one.to_string());
            format!("{default}; {} to {} {unit}", bounds.0, bounds.1)
        }
        ParameterKind::List { unit, most } => format!("a list of {most} numbers at most, {unit}"),
        ParameterKind::Choice { words, default } => {
            let default = words.get(*default).unwrap_or(&"");
            format!("{default}; one of {}", words.join(", "))
        }
    };
    let fitted = match fitted {
        0 => String::new(),
        rank => format!("; fitted, rank {rank}"),
    };
    wrapped(&format!("`{name}`: {summary} ({kind}{fitted})"), "  ")
}

/// Curve, findings, times.
pub(super) fn examination(
    driver: &Driver,
    model: &Model,
    examination: &Examination,
    speed: Option<Speed>,
) -> String {
    let mut text = curve(driver, model, examination);
    let findings = examination.findings.iter().map(finding);
    text.extend(findings);
    if examination.is_cut_short {
        text.push_str("  the rest was not looked at, as its process ended\n");
    }
    if let Some(Speed { reading, value }) = speed {
        let (reading, value) = (reading * 1e6, value * 1e9);
        let _ = writeln!(
            text,
            "  time        {reading:.0} µs for a reading, {value:.0} ns for a value in a batch of 1000"
        );
    }
    text
}

/// Ends and picture; nothing where there are no values.
fn curve(driver: &Driver, model: &Model, examination: &Examination) -> String {
    let (Some(first), Some(last)) = (examination.curve.first(), examination.curve.last()) else {
        return String::new();
    };
    let input = driver.inputs().first().map_or("", |one| one.word());
    let unit = driver.unit().unwrap_or("");
    let (low, high) = model.range();
    let [low, high, first, last] = [low, high, first.1, last.1].map(short);
    let ends = wrapped(
        &format!("{low} to {high} {input} give {first} to {last} {unit}"),
        "",
    );
    let picture = terminal::draw(&chart(driver, examination), WIDTH as u16, HEIGHT);
    format!("\n{ends}\n{picture}\n\n")
}

/// Something that was noted meanwhile.
pub(super) fn note(text: &str) -> String {
    wrapped(text, "  ")
}

fn finding(
    Finding {
        what,
        verdict,
        text,
    }: &Finding,
) -> String {
    const COLUMN: &str = "                    ";
    let verdict = match verdict {
        Verdict::Fine => "ok",
        Verdict::Noted => "note",
        Verdict::Wrong => "WRONG",
    };
    let lines = wrapped(text, COLUMN);
    let lines = lines.strip_prefix(COLUMN).unwrap_or(&lines);
    format!("  {what:<12}{verdict:<6}{lines}")
}

fn chart(driver: &Driver, examination: &Examination) -> Chart {
    let (curve, input) = (&examination.curve, driver.inputs().first());
    let label = input.map_or("", |one| one.word());
    let decades = |ends: (f64, f64)| ends.0 > 0.0 && (ends.1 / ends.0).log10() > DECADES;
    let axis = |label: &str, ends| match decades(ends) {
        true => Axis::logarithmic(label),
        false => Axis::linear(label),
    };
    let ends = |numbers: &mut dyn Iterator<Item = f64>| {
        numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| {
            (low.min(one), high.max(one))
        })
    };
    Chart {
        title: driver.summary().to_owned(),
        x: axis(label, ends(&mut curve.iter().map(|point| point.0))),
        y: axis(
            driver.unit().unwrap_or("value"),
            ends(&mut curve.iter().map(|point| point.1)),
        ),
        series: vec![Series::new(
            driver.own_name(),
            Mark::Line,
            curve.iter().copied(),
        )],
    }
}

fn short(number: f64) -> String {
    crate::driver::examine::short(number)
}
