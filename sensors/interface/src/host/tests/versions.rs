//! Tables of other minor versions: an older one as it was laid out then, byte for byte, and newer
//! ones with more at their end.

use super::*;
use crate::host::version::Grown;
use crate::table::{CheckFn, EvaluateFn, RangeFn};

/// A row as interface 1.0 had it. Never changed.
#[repr(C)]
struct RowOneZero {
    name: Text,
    summary: Text,
    unit: Text,
    kind: u32,
    default: f64,
    lowest: f64,
    highest: f64,
    most: usize,
    words: *const Text,
    word_count: usize,
}

/// A table as interface 1.0 had it. Never changed.
#[repr(C)]
struct TableOneZero {
    head: Head,
    name: Text,
    summary: Text,
    quantity: Text,
    unit: Text,
    inputs: *const u32,
    input_count: usize,
    parameters: *const RowOneZero,
    parameter_count: usize,
    evaluate: Option<EvaluateFn>,
    slope: Option<EvaluateFn>,
    range: Option<RangeFn>,
    check: Option<CheckFn>,
}

fn row_one_zero(row: &Row) -> RowOneZero {
    RowOneZero {
        name: row.name,
        summary: row.summary,
        unit: row.unit,
        kind: row.kind,
        default: row.fallback,
        lowest: row.lowest,
        highest: row.highest,
        most: row.most,
        words: row.words,
        word_count: row.word_count,
    }
}

/// [`Power`] as a library that was built against 1.0 holds it: nothing stands behind its end.
fn one_zero() -> *const Table {
    let rows: Vec<RowOneZero> = Power::PARAMETERS.iter().map(row_one_zero).collect();
    let rows = rows.leak();
    let new = Table::of::<Power>();
    let head = Head {
        size: size_of::<TableOneZero>() as u32,
        major: 1,
        minor: 0,
        parameter_size: size_of::<RowOneZero>() as u32,
    };
    let old = TableOneZero {
        head,
        name: new.name,
        summary: new.summary,
        quantity: new.quantity,
        unit: new.unit,
        inputs: new.inputs,
        input_count: new.input_count,
        parameters: rows.as_ptr(),
        parameter_count: rows.len(),
        evaluate: new.evaluate,
        slope: new.slope,
        range: new.range,
        check: new.check,
    };
    std::ptr::from_ref(Box::leak(Box::new(old))).cast()
}

#[test]
fn new_fields_begin_where_interface_1_0_ended() {
    assert_eq!(Table::LEAST, size_of::<TableOneZero>());
    assert_eq!(Row::LEAST, size_of::<RowOneZero>());
    assert_eq!(align_of::<Row>(), align_of::<RowOneZero>());
}

#[test]
fn a_table_of_interface_1_0_still_loads_and_has_nothing_new() {
    // SAFETY: a table of 1.0 as its head says, never given up.
    let old = unsafe { View::from_raw(one_zero()) }.expect("readable");
    let new = view();
    assert_eq!((old.name(), old.inputs()), (new.name(), new.inputs()));
    let unfitted = |one: &Parameter| Parameter {
        fitted: 0,
        ..one.clone()
    };
    let wanted: Vec<_> = new.parameters().iter().map(unfitted).collect();
    assert_eq!(old.parameters(), wanted);
    assert!(!old.has_guess() && !old.has_misfit() && old.outputs().is_empty());
    assert_eq!(old.monotonic(), Monotonic::Unknown);
    let (cube, mut values) = (binding(1.0, 2.0, &[]), [0.0; 2]);
    assert_eq!(old.evaluate(&cube, &[1.0, 3.0], &mut values), Ok(()));
    assert_eq!(values, [2.0, 54.0]);
    assert_eq!(
        old.guess(&cube, &[1.0], &[2.0]),
        Err(Status::WRONG_CALL),
        "a function that is not there is not called"
    );
}

#[test]
fn a_newer_minor_version_with_longer_structs_is_read() {
    /// A row of an invented later version.
    #[repr(C)]
    struct Longer(Row, u64);
    let rows = [
        Longer(Row::number("one", "first", "1"), u64::MAX),
        Longer(Row::number("two", "second", "1").fitted(3), u64::MAX),
    ];
    let mut table = Table::of::<Power>();
    table.minor = 7;
    table.parameter_size = size_of::<Longer>() as u32;
    (table.parameters, table.parameter_count) = (Box::leak(Box::new(rows)).as_ptr().cast(), 2);
    /// A table of that version.
    #[repr(C)]
    struct LongerTable(Table, [u64; 8]);
    table.size = size_of::<LongerTable>() as u32;
    let longer = Box::leak(Box::new(LongerTable(table, [u64::MAX; 8])));
    let view = View::new(&longer.0).expect("readable");
    let said: Vec<_> = view
        .parameters()
        .iter()
        .map(|p| (p.name, p.fitted))
        .collect();
    assert_eq!(said, [("one", 0), ("two", 3)]);
    assert!(view.has_guess() && view.has_misfit());
}

#[test]
fn half_a_field_is_no_field() {
    let table = Box::leak(Box::new(Table::of::<Power>()));
    table.size = offset_of!(Table, outputs) as u32 - 1;
    let view = View::new(table).expect("readable");
    assert!(view.has_guess() && !view.has_misfit());
}
