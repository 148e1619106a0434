//! Reads the parts of a table that stand behind pointers, and checks each once.
//!
//! Counts and lengths are limited, so that a table full of junk is refused and not followed.

use crate::codes::{PARAMETER_CHOICE, PARAMETER_LIST, PARAMETER_NUMBER};
use crate::host::version::{self, Grown};
use crate::host::{Flaw, Output, Parameter, ParameterKind};
use crate::pairs::{self, Pair};
use crate::table::{Table, Text};
use crate::{Electrical, Monotonic, Output as OutputRow, Parameter as Row};

/// Far above any real driver: the shipped ones have at most 14 parameters and 3 words.
const MOST_ENTRIES: usize = 256;
/// A table of a whole curve, a row for each step of a converter.
const MOST_PAIRS: usize = 65536;
/// A line for a person is far shorter.
const LONGEST_TEXT: usize = 4096;

/// A text that may be null.
///
/// # Safety
/// `text` is null, or points to `length` bytes that live as long as the library, which is never
/// unloaded.
pub(super) unsafe fn text(text: Text, what: &'static str) -> Result<Option<&'static str>, Flaw> {
    if text.data.is_null() {
        return Ok(None);
    }
    if text.length == 0 || text.length > LONGEST_TEXT {
        return Err(Flaw::Text(what));
    }
    // SAFETY: not null, of a credible length, and the caller vouches for the bytes.
    let bytes = unsafe { std::slice::from_raw_parts(text.data.cast(), text.length) };
    std::str::from_utf8(bytes)
        .map(Some)
        .map_err(|_| Flaw::Encoding(what))
}

/// A text that must be there.
///
/// # Safety
/// As [`text`].
pub(super) unsafe fn required(given: Text, what: &'static str) -> Result<&'static str, Flaw> {
    // SAFETY: the caller's promise is handed on unchanged.
    unsafe { text(given, what) }?.ok_or(Flaw::Text(what))
}

/// The electrical quantities, at least one.
///
/// # Safety
/// `table.inputs` is null, or points to `table.input_count` codes.
pub(super) unsafe fn inputs(table: &Table) -> Result<Vec<Electrical>, Flaw> {
    if table.inputs.is_null() || table.input_count == 0 || table.input_count > MOST_ENTRIES {
        return Err(Flaw::Count("inputs"));
    }
    // SAFETY: not null, of a credible count, and the caller vouches for the codes.
    let codes = unsafe { std::slice::from_raw_parts(table.inputs, table.input_count) };
    codes
        .iter()
        .map(|code| Electrical::from_code(*code).ok_or(Flaw::Input(*code)))
        .collect()
}

/// The declared parameters, perhaps none.
///
/// # Safety
/// `table.parameters` is null, or points to `table.parameter_count` rows, `parameter_size`
/// bytes apart, whose pointers hold what they say.
pub(super) unsafe fn parameters(table: &Table) -> Result<Vec<Parameter>, Flaw> {
    let count = table.parameter_count;
    if count > MOST_ENTRIES || (count > 0 && table.parameters.is_null()) {
        return Err(Flaw::Count("parameters"));
    }
    let stride = table.parameter_size as usize;
    if stride < Row::LEAST || !stride.is_multiple_of(align_of::<Row>()) {
        return Err(Flaw::Size);
    }
    (0..count)
        .map(|index| {
            // SAFETY: the caller vouches for `count` rows, each as long as the way to the next.
            let row = unsafe { version::read(table.parameters.byte_add(index * stride), stride) };
            let row = row.ok_or(Flaw::Size)?;
            // SAFETY: and for what the row points to.
            unsafe { parameter(&row) }
        })
        .collect()
}

/// All outputs; none where there is one, without a name.
///
/// # Safety
/// `table.outputs` is null, or points to `table.output_count` rows whose texts hold what they say.
pub(super) unsafe fn outputs(table: &Table) -> Result<Vec<Output>, Flaw> {
    let count = table.output_count;
    if table.outputs.is_null() && count == 0 {
        return Ok(Vec::new());
    }
    if table.outputs.is_null() || count > MOST_ENTRIES {
        return Err(Flaw::Count("outputs"));
    }
    if count > 1 && table.evaluate_output.is_none() {
        return Err(Flaw::Function("evaluate_output"));
    }
    // SAFETY: not null, of a credible count, and the caller vouches for the rows.
    let rows = unsafe { std::slice::from_raw_parts(table.outputs, count) };
    // SAFETY: and for what they point to.
    rows.iter().map(|row| unsafe { output(row) }).collect()
}

/// # Safety
/// The row's pointers hold what they say.
unsafe fn output(row: &OutputRow) -> Result<Output, Flaw> {
    // SAFETY: the caller vouches for the three texts.
    unsafe {
        Ok(Output {
            name: required(row.name, "name of an output")?,
            quantity: text(row.quantity, "quantity of an output")?,
            unit: text(row.unit, "unit of an output")?,
        })
    }
}

/// Which way the values go.
pub(super) fn monotonic(table: &Table) -> Result<Monotonic, Flaw> {
    Monotonic::from_code(table.monotonic).ok_or(Flaw::Monotonic(table.monotonic))
}

/// The fixed pairs; `None` where there is a formula.
///
/// # Safety
/// `table.pairs` is null, or points to `table.pair_count` rows that live as long as the library.
pub(super) unsafe fn pairs(table: &Table) -> Result<Option<&'static [Pair]>, Flaw> {
    if table.pairs.is_null() && table.pair_count == 0 {
        return Ok(None);
    }
    if table.pairs.is_null() || table.pair_count > MOST_PAIRS {
        return Err(Flaw::Count("pairs"));
    }
    // SAFETY: not null, of a credible count, and the caller vouches for the rows.
    let pairs = unsafe { std::slice::from_raw_parts(table.pairs, table.pair_count) };
    let is_alone = table.evaluate.is_none() && table.slope.is_none();
    (is_alone && pairs::is_sound(pairs))
        .then_some(Some(pairs))
        .ok_or(Flaw::Pairs)
}

/// # Safety
/// The row's pointers hold what they say.
unsafe fn parameter(row: &Row) -> Result<Parameter, Flaw> {
    // SAFETY: the caller vouches for the three texts.
    let (name, summary, unit) = unsafe {
        (
            required(row.name, "name of a parameter")?,
            required(row.summary, "summary of a parameter")?,
            required(row.unit, "unit of a parameter")?,
        )
    };
    let kind = match row.kind {
        PARAMETER_NUMBER => number(row, unit),
        PARAMETER_LIST => Some(ParameterKind::List {
            unit,
            most: row.most,
        }),
        // SAFETY: the caller vouches for the words.
        PARAMETER_CHOICE => choice(row, unsafe { words(row) }?),
        _ => None,
    };
    let fitted = u32::try_from(row.fitted).ok();
    let fitted = fitted.filter(|rank| *rank == 0 || row.kind == PARAMETER_NUMBER);
    let (kind, fitted) = kind.zip(fitted).ok_or(Flaw::Parameter(name))?;
    Ok(Parameter {
        name,
        summary,
        kind,
        fitted,
    })
}

fn number(row: &Row, unit: &'static str) -> Option<ParameterKind> {
    let bounds = (row.lowest, row.highest);
    let default = (!row.fallback.is_nan()).then_some(row.fallback);
    let inside = default.is_none_or(|one| (bounds.0..=bounds.1).contains(&one));
    (bounds.0 <= bounds.1 && inside).then_some(ParameterKind::Number {
        unit,
        default,
        bounds,
    })
}

fn choice(row: &Row, words: Vec<&'static str>) -> Option<ParameterKind> {
    // A cast saturates, and turns NaN to 0; so the index is compared as the number it was.
    let default = row.fallback as usize;
    let known = default < words.len() && default as f64 == row.fallback;
    // As the library itself, its description is never given up.
    known.then(|| ParameterKind::Choice {
        words: words.leak(),
        default,
    })
}

/// # Safety
/// `row.words` is null, or points to `row.word_count` texts.
unsafe fn words(row: &Row) -> Result<Vec<&'static str>, Flaw> {
    if row.words.is_null() || row.word_count == 0 || row.word_count > MOST_ENTRIES {
        return Err(Flaw::Count("words of a choice"));
    }
    // SAFETY: not null, of a credible count, and the caller vouches for the texts.
    let texts = unsafe { std::slice::from_raw_parts(row.words, row.word_count) };
    // SAFETY: as above.
    texts
        .iter()
        .map(|one| unsafe { required(*one, "word of a choice") })
        .collect()
}
