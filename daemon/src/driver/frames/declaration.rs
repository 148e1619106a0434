//! What a driver says of itself, on its way from the child.
//!
//! Whether it makes sense is not judged here.

use super::{Bytes, Frame, Malformed};
use nightbench_driver::host::{Output, Parameter, ParameterKind, View};
use nightbench_driver::{Electrical, Monotonic};

/// More entries than any list of a declaration has (the interface's own bound).
const MOST: usize = 256;

/// What a driver says of itself.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::driver) struct Declaration {
    /// Version of the interface that it was built against, major and minor.
    pub(in crate::driver) interface: (u32, u32),
    /// What the library calls its driver.
    pub(in crate::driver) name: &'static str,
    /// One line for a person.
    pub(in crate::driver) summary: &'static str,
    /// What it measures; `None` where the configuration says.
    pub(in crate::driver) quantity: Option<&'static str>,
    /// UCUM code of its unit; `None` where the configuration says.
    pub(in crate::driver) unit: Option<&'static str>,
    /// The electrical quantities it takes, the preferred one first.
    pub(in crate::driver) inputs: Vec<Electrical>,
    /// Its parameters, in its order.
    pub(in crate::driver) parameters: Vec<Parameter>,
    /// Whether it has a formula for the slope.
    pub(in crate::driver) has_slope: bool,
    /// Whether it can say where a fit starts.
    pub(in crate::driver) has_guess: bool,
    /// Whether it knows how wrong its model can be.
    pub(in crate::driver) has_misfit: bool,
    /// All that it gives for an input; empty where its own value is the only one.
    pub(in crate::driver) outputs: Vec<Output>,
    /// Which way its values go.
    pub(in crate::driver) monotonic: Monotonic,
}

impl Declaration {
    /// That of a table in this process.
    pub(in crate::driver) fn of(view: &View) -> Self {
        Self {
            interface: view.version(),
            name: view.name(),
            summary: view.summary(),
            quantity: view.quantity(),
            unit: view.unit(),
            inputs: view.inputs().to_vec(),
            parameters: view.parameters().to_vec(),
            has_slope: view.has_slope(),
            has_guess: view.has_guess(),
            has_misfit: view.has_misfit(),
            outputs: view.outputs().to_vec(),
            monotonic: view.monotonic(),
        }
    }

    /// That of a frame which is kept for the life of the process, as a library's own texts are.
    pub(in crate::driver) fn decode(frame: &'static [u8]) -> Result<Self, Malformed> {
        let mut bytes = Bytes::new(frame);
        let declaration = Self {
            interface: (bytes.count()?, bytes.count()?),
            name: bytes.text()?,
            summary: bytes.text()?,
            quantity: perhaps(bytes.text()?),
            unit: perhaps(bytes.text()?),
            inputs: list(&mut bytes, input)?,
            parameters: list(&mut bytes, parameter)?,
            has_slope: bytes.flag()?,
            has_guess: bytes.flag()?,
            has_misfit: bytes.flag()?,
            outputs: list(&mut bytes, output)?,
            monotonic: Monotonic::from_code(bytes.count()?).ok_or(Malformed)?,
        };
        bytes.end().map(|()| declaration)
    }
}

/// Ends a hello with a declaration.
pub(in crate::driver) fn encode(frame: &mut Frame, declaration: &Declaration) {
    frame
        .byte(1)
        .count(declaration.interface.0)
        .count(declaration.interface.1)
        .text(declaration.name)
        .text(declaration.summary)
        .text(declaration.quantity.unwrap_or_default())
        .text(declaration.unit.unwrap_or_default())
        .length(declaration.inputs.len());
    for input in &declaration.inputs {
        frame.count(*input as u32);
    }
    frame.length(declaration.parameters.len());
    for parameter in &declaration.parameters {
        encode_parameter(frame, parameter);
    }
    let Declaration {
        has_slope,
        has_guess,
        has_misfit,
        ..
    } = declaration;
    for flag in [has_slope, has_guess, has_misfit] {
        frame.byte(u8::from(*flag));
    }
    frame.length(declaration.outputs.len());
    for output in &declaration.outputs {
        frame
            .text(output.name)
            .text(output.quantity.unwrap_or_default())
            .text(output.unit.unwrap_or_default());
    }
    frame.count(declaration.monotonic as u32);
}

fn encode_parameter(frame: &mut Frame, parameter: &Parameter) {
    frame
        .text(parameter.name)
        .text(parameter.summary)
        .count(parameter.fitted);
    match &parameter.kind {
        ParameterKind::Number {
            unit,
            default,
            bounds,
        } => frame
            .byte(0)
            .text(unit)
            .number(default.unwrap_or(f64::NAN))
            .number(bounds.0)
            .number(bounds.1),
        ParameterKind::List { unit, most } => frame.byte(1).text(unit).length(*most),
        ParameterKind::Choice { words, default } => {
            frame.byte(2).length(*default).length(words.len());
            words.iter().fold(frame, |frame, word| frame.text(word))
        }
    };
}

/// No text of a declaration is empty: that stands for none.
fn perhaps(text: &'static str) -> Option<&'static str> {
    (!text.is_empty()).then_some(text)
}

fn list<T>(
    bytes: &mut Bytes<'static>,
    one: fn(&mut Bytes<'static>) -> Result<T, Malformed>,
) -> Result<Vec<T>, Malformed> {
    let count = bytes.length(1)?;
    if count > MOST {
        return Err(Malformed);
    }
    (0..count).map(|_| one(bytes)).collect()
}

fn input(bytes: &mut Bytes<'static>) -> Result<Electrical, Malformed> {
    Electrical::from_code(bytes.count()?).ok_or(Malformed)
}

fn parameter(bytes: &mut Bytes<'static>) -> Result<Parameter, Malformed> {
    Ok(Parameter {
        name: bytes.text()?,
        summary: bytes.text()?,
        fitted: bytes.count()?,
        kind: kind(bytes)?,
    })
}

fn output(bytes: &mut Bytes<'static>) -> Result<Output, Malformed> {
    Ok(Output {
        name: bytes.text()?,
        quantity: perhaps(bytes.text()?),
        unit: perhaps(bytes.text()?),
    })
}

fn kind(bytes: &mut Bytes<'static>) -> Result<ParameterKind, Malformed> {
    Ok(match bytes.byte()? {
        0 => ParameterKind::Number {
            unit: bytes.text()?,
            default: Some(bytes.number()?).filter(|number| !number.is_nan()),
            bounds: (bytes.number()?, bytes.number()?),
        },
        1 => ParameterKind::List {
            unit: bytes.text()?,
            most: bytes.count()? as usize,
        },
        2 => ParameterKind::Choice {
            default: bytes.count()? as usize,
            // As the library itself, its description is never given up.
            words: list(bytes, Bytes::text)?.leak(),
        },
        _ => return Err(Malformed),
    })
}
