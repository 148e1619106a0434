//! What a driver is: the model from a probe's electrical quantity to a physical one.
//!
//! A driver names itself, says which electrical quantity it takes, which parameters it has and
//! which inputs it can turn into a value, and computes that value. Nothing else: fitting,
//! uncertainty, simulation and checks come from the host for free. It opens nothing, keeps no state
//! and asks for no time, so the same parameters and input always give the same number.
//!
//! # A first driver
//!
//! A potentiometer on a wind vane: the ratio of the divider to an angle.
//!
//! ```
//! use nightbench_driver::{Driver, Electrical, Parameter, Values, driver_table};
//!
//! /// Angle of a potentiometer's shaft.
//! pub struct Vane;
//!
//! impl Driver for Vane {
//!     const NAME: &'static str = "vane";
//!     const SUMMARY: &'static str = "angle of a potentiometer's shaft";
//!     const INPUTS: &'static [Electrical] = &[Electrical::Ratio];
//!     const QUANTITY: Option<&'static str> = Some("angle");
//!     const UNIT: Option<&'static str> = Some("deg");
//!     const PARAMETERS: &'static [Parameter] = &[
//!         Parameter::number("turn", "angle from end to end", "deg").or(270.0).within(1.0, 3600.0),
//!     ];
//!
//!     fn range(_: Values<'_>) -> Option<(f64, f64)> {
//!         Some((0.0, 1.0))
//!     }
//!
//!     fn evaluate(values: Values<'_>, ratio: f64) -> Option<f64> {
//!         (0.0..=1.0).contains(&ratio).then(|| values.number("turn") * ratio)
//!     }
//! }
//!
//! driver_table!(Vane);
//!
//! // The host's side: check the table once, hand over the parameters, ask for values.
//! use nightbench_driver::host::{Binding, View};
//! let vane = View::new(&TABLE)?;
//! let binding = Binding::named(vane.parameters(), &[("turn", &[300.0])]).expect("declared");
//! let mut angles = [f64::NAN; 2];
//! vane.evaluate(&binding, &[0.0, 0.5], &mut angles)?;
//! assert_eq!(angles, [0.0, 150.0]);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # For calibration
//!
//! The host fits parameters to reference points from [`Driver::evaluate`] alone. A driver says which
//! numbers may become free, and in which order, by [`Parameter::fitted`]; and it may add what only
//! it can know: [`Driver::GUESS`], where a fit starts and in which form, and [`Driver::MISFIT`], how
//! far a probe of the kind may lie from the fitted curve between its points and beyond them.
//!
//! ```
//! # use nightbench_driver::{Driver, Electrical, Guess, Parameter, Values, driver_table};
//! # struct Line;
//! # impl Driver for Line {
//! #     const NAME: &'static str = "line";
//! #     const SUMMARY: &'static str = "a line through the origin";
//! #     const INPUTS: &'static [Electrical] = &[Electrical::Ratio];
//! #     const QUANTITY: Option<&'static str> = None;
//! #     const UNIT: Option<&'static str> = None;
//! const PARAMETERS: &'static [Parameter] = &[
//!     Parameter::number("gain", "value of the whole ratio", "1").or(1.0).fitted(1),
//! ];
//! const GUESS: Option<Guess> = Some(|_, points, start| {
//!     let (ratio, value) = points.iter().next()?;
//!     start.set("gain", value / ratio);
//!     Some(())
//! });
//! #     fn range(_: Values<'_>) -> Option<(f64, f64)> { Some((0.0, 1.0)) }
//! #     fn evaluate(values: Values<'_>, ratio: f64) -> Option<f64> {
//! #         (0.0..=1.0).contains(&ratio).then(|| values.number("gain") * ratio)
//! #     }
//! # }
//! # driver_table!(Line);
//! # use nightbench_driver::host::{Binding, View};
//! # let line = View::new(&TABLE)?;
//! # let binding = Binding::named(line.parameters(), &[]).expect("declared");
//! // The host's side: the gain that starts at the first point.
//! assert_eq!(line.guess(&binding, &[0.5], &[100.0])?, [[200.0]]);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # As a shared library
//!
//! The table is made by [`driver_table!`] in the library; the one exported symbol by
//! [`export_driver!`] in a `cdylib` target of its own, because two drivers that both export the
//! symbol could not be linked into one program:
//!
//! ```toml
//! [[example]]
//! name = "vane_shared"
//! path = "examples/shared.rs"
//! crate-type = ["cdylib"]
//! ```
//!
//! # What crosses the border
//!
//! Only [`Table`]: plain C structs that carry their own size, strings and lists as pointer and
//! length, functions that answer with a [`Status`]. No allocation changes hands, no panic crosses,
//! and everything a table points to lives as long as its library, which is never unloaded.
//!
//! Within one major version fields are only appended: a library that was built against 1.0 loads as
//! it is (it has no guess, no misfit and one output, and none of its numbers is fitted), and so does one that was
//! built against a later minor version.
//!
//! - [`Driver`], [`Parameter`], [`Values`]: what a maker writes against.
//! - [`Points`], [`Start`], [`Fit`]: what the two functions for a fit are handed;
//!   [`NodePolynomial`]: what a misfit can be made of.
//! - [`Outputs`]: several values for one input; [`Monotonic`]: which way the values go;
//!   [`pairs`]: a fixed table instead of a formula.
//! - [`Table`], [`Text`], [`Slice`], [`Status`]: what crosses; see `table.rs` for the layout.
//! - [`host`]: the safe side that reads a table.
//! - `include/nightbench_driver.h`: the same for a maker who writes C.
//!
//! # What it does not do
//!
//! It does not find or load libraries, and does not protect the host from a library that breaks the
//! contract with a wild pointer: that takes a process of its own.

#![deny(missing_docs)]
// The one crate that may: everything unsafe stands behind `host::View` and `Table::of`.
#![allow(unsafe_code)]

mod codes;
mod driver;
mod electrical;
mod export;
mod fit;
pub mod host;
mod monotonic;
mod node_polynomial;
mod output;
pub mod pairs;
mod parameter;
mod table;

pub use driver::{Check, Driver, Slope, Values};
pub use electrical::Electrical;
pub use fit::{Fit, Guess, Misfit, Points, Start};
pub use monotonic::Monotonic;
pub use node_polynomial::NodePolynomial;
pub use output::{Output, OutputValue, Outputs};
pub use parameter::Parameter;
pub use table::{MAJOR, MINOR, SYMBOL, Slice, Status, Table, Text};
