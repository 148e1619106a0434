//! `[board.NAME.channel.NAME.scene]`: what a simulated board's channel sees.
//!
//! Read after the probes: a scene's numbers are in the unit of the probe on its channel.

use super::item::{Item, Value};
use super::quantity::Kind;
use super::reader::Table;
use super::unit::Unit;
use std::time::Duration;

/// What a simulated board's channel sees.
#[derive(Clone, Debug, PartialEq)]
pub struct SimulatedChannel {
    /// The channel's name in the same board.
    pub channel: String,
    /// The physics.
    pub scene: Scene,
    /// Standard deviation of the converter's noise, counts. Default 0.
    pub noise_count: f64,
}

/// The physics of a simulated channel. Times in seconds, values in the probe's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scene {
    /// Newton's law: from `start` towards `ambient` with a time constant.
    Cooling {
        /// Value at the start.
        start: f64,
        /// Value it tends to.
        ambient: f64,
        /// Time constant, s.
        tau_s: f64,
    },
    /// A stirred ice bath: 0 degC with a slight wander.
    Ice,
    /// Day and night: a sine of 24 h, clipped at `night`.
    Day {
        /// Value at noon.
        noon: f64,
        /// Value in the night.
        night: f64,
        /// Hour of the day at which the scene starts.
        start_hour: f64,
    },
    /// A straight line: `start` + `slope_per_hour` x hours.
    Ramp {
        /// Value at the start.
        start: f64,
        /// Change in an hour.
        slope_per_hour: f64,
    },
}

#[derive(Clone, Copy)]
enum Shape {
    Cooling,
    Ice,
    Day,
    Ramp,
}

const SHAPES: &[(&str, Shape)] = &[
    ("cooling", Shape::Cooling),
    ("ice", Shape::Ice),
    ("day", Shape::Day),
    ("ramp", Shape::Ramp),
];

const TAU: std::ops::RangeInclusive<Duration> =
    Duration::from_secs(1)..=Duration::from_secs(30 * 86_400);

/// Sixteen bits of noise would hide any scene.
const NOISIEST: f64 = 65_536.0;

/// Reads a scene whose values are in `unit`.
pub(super) fn read(channel: &str, table: &Table<'_>, unit: &Unit) -> Value<SimulatedChannel> {
    let shape = table.required("shape", "\"cooling\"", |item| item.choice(SHAPES));
    let noise = table.or("noise", 0.0, |item| item.number(0.0..=NOISIEST));
    let scene = physics(table, shape?, unit);
    table.end();
    Some(SimulatedChannel {
        channel: channel.to_owned(),
        scene: scene?,
        noise_count: noise?,
    })
}

fn physics(table: &Table<'_>, shape: Shape, unit: &Unit) -> Value<Scene> {
    match shape {
        Shape::Cooling => cooling(table, unit),
        Shape::Ice => Some(Scene::Ice),
        Shape::Day => day(table, unit),
        Shape::Ramp => ramp(table, unit),
    }
}

fn value(table: &Table<'_>, key: &'static str, unit: &Unit) -> Value<f64> {
    let example = format!("\"20 {}\"", unit.code());
    table.required(key, &example, |item| item.quantity(unit, Kind::Value))
}

fn cooling(table: &Table<'_>, unit: &Unit) -> Value<Scene> {
    let start = value(table, "start", unit);
    let ambient = value(table, "ambient", unit);
    let tau = table.required("tau", "\"2h\"", |item| item.duration(TAU));
    Some(Scene::Cooling {
        start: start?,
        ambient: ambient?,
        tau_s: tau?.as_secs_f64(),
    })
}

fn day(table: &Table<'_>, unit: &Unit) -> Value<Scene> {
    let noon = value(table, "noon", unit);
    let night = value(table, "night", unit);
    let start_hour = table.or("start_hour", 0.0, |item| item.number(0.0..=24.0));
    Some(Scene::Day {
        noon: noon?,
        night: night?,
        start_hour: start_hour?,
    })
}

fn ramp(table: &Table<'_>, unit: &Unit) -> Value<Scene> {
    let start = value(table, "start", unit);
    let difference = |item: &Item<'_>| item.quantity(unit, Kind::Difference);
    let slope = table.required("per_hour", "\"2 K\"", difference);
    Some(Scene::Ramp {
        start: start?,
        slope_per_hour: slope?,
    })
}
