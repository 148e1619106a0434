//! The answer in words: what to solder in, what stands beside it, what it does over the range.

use super::plot;
use super::question::Asked;
use crate::calibrate::divider_choice::{Choice, Divider, NoAnswer, Place};

/// Rows of the table.
const ROWS: u32 = 9;
/// Points of a curve.
const POINTS: u32 = 121;

/// The whole answer, at most 80 columns wide.
///
/// # Errors
/// Where a value of the range is none of the probe.
pub(super) fn answer(asked: &Asked, choice: &Choice) -> Result<String, NoAnswer> {
    let best = choice.best.resistor_ohm;
    let mut said = vec![headline(asked, choice), compared(asked, choice)?];
    said.push(table(asked, &asked.question.places(best, ROWS)?));
    let places = asked.question.places(best, POINTS)?;
    said.push(steps(asked, &places));
    if asked.dissipation.is_some() {
        let rise = |place: &Place| heating(asked, place.power_watt);
        said.push(curve(asked, &places, "self-heating, K", rise));
    }
    said.retain(|part| !part.is_empty());
    Ok(said.join("\n"))
}

fn headline(asked: &Asked, choice: &Choice) -> String {
    let question = &asked.question;
    let (from, to) = (
        value(question.range.0, asked),
        value(question.range.1, asked),
    );
    format!(
        "{}, {from} to {to}, full scale {}:\nuse {} ({}): no step of the value is larger than {}\n",
        asked.probe,
        question.full_scale,
        ohms(choice.best.resistor_ohm),
        question.series.name(),
        step(choice.best.worst_step, asked)
    )
}

/// The resistors side by side.
fn compared(asked: &Asked, choice: &Choice) -> Result<String, NoAnswer> {
    let series = format!("best of {}", asked.question.series.name());
    let mut lines = vec![
        line(
            "resistor",
            ["ohms", "worst step", "at", "swing", "most power", "heating"].map(str::to_owned),
        ),
        line(&series, cells(asked, &choice.best)),
        line("largest swing", cells(asked, &choice.swing)),
    ];
    match &choice.linear {
        Some(linear) => lines.push(line("straightest", cells(asked, linear))),
        None => {
            lines.push("straightest: there is none; the ratio bends with any resistor\n".to_owned())
        }
    }
    if let Some(ohm) = asked.present_ohm {
        let present = asked.question.with_resistor(ohm)?;
        lines.push(line("as configured", cells(asked, &present)));
    }
    Ok(lines.concat())
}

fn cells(asked: &Asked, divider: &Divider) -> [String; 6] {
    [
        ohms(divider.resistor_ohm),
        step(divider.worst_step, asked),
        value(divider.worst_at, asked),
        format!("{:.1} %", divider.swing * 100.0),
        watt(divider.power_watt),
        rise(heating(asked, divider.power_watt)),
    ]
}

/// The best one over the range.
fn table(asked: &Asked, places: &[Place]) -> String {
    let heading = ["probe", "step", "ratio", "power", "heating", ""].map(str::to_owned);
    let row = |place: &Place| {
        let cells = [
            ohms(place.ohm),
            step(place.step, asked),
            format!("{:.3}", place.ratio),
            watt(place.power_watt),
            rise(heating(asked, place.power_watt)),
            String::new(),
        ];
        line(&value(place.value, asked), cells)
    };
    let rows: String = places.iter().map(row).collect();
    line("at", heading) + &rows
}

fn steps(asked: &Asked, places: &[Place]) -> String {
    let step = "step of the value with one count";
    if asked.question.relative {
        let percent = |place: &Place| Some(place.step? * 100.0);
        return curve(asked, places, &format!("{step}, % of it"), percent);
    }
    let title = with_unit(format!("{step},"), asked);
    curve(asked, places, title.trim_end_matches(','), |place| {
        place.step
    })
}

/// Where steps count as shares, the value is drawn in decades.
fn curve(
    asked: &Asked,
    places: &[Place],
    title: &str,
    of: impl Fn(&Place) -> Option<f64>,
) -> String {
    let relative = asked.question.relative;
    let x = |value: f64| if relative { value.log10() } else { value };
    let back = |x: f64| if relative { 10_f64.powf(x) } else { x };
    let points: Vec<(f64, f64)> = places
        .iter()
        .filter_map(|place| Some((x(place.value), of(place)?)))
        .collect();
    plot::curve(title, &points, |one| [value(back(one), asked), digits(one)])
}

/// One line of a table: a name and six cells, aligned.
fn line(name: &str, [a, b, c, d, e, f]: [String; 6]) -> String {
    let line = format!("{name:<15}{a:>12}{b:>12}{c:>10}{d:>9}{e:>12}{f:>10}");
    format!("{}\n", line.trim_end())
}

/// Kelvin, where the dissipation constant is known.
fn heating(asked: &Asked, power_watt: Option<f64>) -> Option<f64> {
    Some(power_watt? / asked.dissipation?)
}

fn rise(kelvin: Option<f64>) -> String {
    kelvin.map_or_else(String::new, |kelvin| format!("{} K", digits(kelvin)))
}

fn watt(power: Option<f64>) -> String {
    power.map_or_else(String::new, |watt| format!("{} mW", digits(watt * 1e3)))
}

fn step(step: Option<f64>, asked: &Asked) -> String {
    match step {
        None => "at the rail".to_owned(),
        Some(share) if asked.question.relative => format!("{} %", digits(share * 100.0)),
        Some(step) => with_unit(digits(step), asked),
    }
}

fn value(value: f64, asked: &Asked) -> String {
    let tenths = (value * 10.0).round() / 10.0;
    let plain = if value.abs() >= 10.0 || tenths == value {
        tenths
    } else {
        value
    };
    // Adding 0 makes -0 a 0.
    let said = if plain == tenths {
        (plain + 0.0).to_string()
    } else {
        digits(plain)
    };
    with_unit(said, asked)
}

fn with_unit(number: String, asked: &Asked) -> String {
    match asked.unit.as_str() {
        "" | "1" => number,
        unit => format!("{number} {unit}"),
    }
}

/// Three digits that count.
fn digits(number: f64) -> String {
    if number == 0.0 || !number.is_finite() {
        return "0".to_owned();
    }
    let places = 2 - number.abs().log10().floor().clamp(-9.0, 2.0) as i32;
    format!("{number:.*}", usize::try_from(places).unwrap_or(0))
}

fn ohms(ohm: f64) -> String {
    let (scaled, unit) = match ohm {
        ohm if ohm >= 1e6 => (ohm / 1e6, "MOhm"),
        ohm if ohm >= 1e3 => (ohm / 1e3, "kOhm"),
        ohm => (ohm, "Ohm"),
    };
    format!("{} {unit}", digits(scaled))
}
