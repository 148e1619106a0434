//! `{"adc":{"a0":512}}`: one object a line, nested fields by dotted names (`adc.a0`).
//!
//! Only JSON numbers count: a number in a string, `true` or `null` is unreadable. Of a key that
//! stands twice the last counts (RFC 8259, clause 4, leaves it open).

use super::{Line, Slot, Targets};
use serde_json::{Map, Value};

pub(super) fn decode(line: &str, targets: &mut Targets<'_>) -> Line {
    let Ok(Value::Object(object)) = serde_json::from_str(line) else {
        return Line::Garbage;
    };
    targets.set_each(|name| find(&object, name).map(number));
    targets.outcome()
}

/// A key that holds the dots itself goes before a nested one.
fn find<'a>(object: &'a Map<String, Value>, name: &str) -> Option<&'a Value> {
    if let Some(value) = object.get(name) {
        return Some(value);
    }
    let (outer, inner) = name.split_once('.')?;
    find(object.get(outer)?.as_object()?, inner)
}

fn number(value: &Value) -> Slot {
    match value.as_f64() {
        Some(number) if number.is_finite() => Slot::Number(number),
        _ => Slot::Unreadable,
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{check, decoded};
    use super::super::{Format, Line, Slot};
    use Slot::{Absent, Number, Unreadable};

    #[test]
    fn numbers_are_found_by_key() {
        for (line, slots) in [
            (r#"{"a0":512,"a1":-3.5e1}"#, [Number(512.0), Number(-35.0)]),
            (r#" {"x":[1],"a1":0.1} "#, [Absent, Number(0.1)]),
            (r#"{"a0":null,"a1":"512"}"#, [Unreadable, Unreadable]),
            (r#"{"a0":[1],"a1":true}"#, [Unreadable, Unreadable]),
            (r#"{"a0":1,"a0":2}"#, [Number(2.0), Absent]),
        ] {
            check(&Format::Json, line.as_bytes(), Line::Fields, &slots);
        }
    }

    #[test]
    fn dotted_names_reach_into_objects() {
        let wanted = ["adc.a0", "adc.b.c", "t"];
        let line = br#"{"adc":{"a0":1,"b":{"c":2},"b.c":3},"t":4}"#;
        let expected = vec![Number(1.0), Number(3.0), Number(4.0)];
        let outcome = decoded(&Format::Json, &wanted, line);
        assert_eq!(outcome, (Line::Fields, expected));
    }

    #[test]
    fn what_is_no_object_is_garbage() {
        for line in [
            "[1]",
            "512",
            "{\"a0\":5",
            "{'a0':5}",
            "{\"a0\":NaN}",
            "{\"a0\":1e999}",
        ] {
            check(&Format::Json, line.as_bytes(), Line::Garbage, &[Absent; 2]);
        }
        check(&Format::Json, b"{\"x\":1}", Line::Nothing, &[Absent; 2]);
        let deep = "{\"a0\":".repeat(100_000);
        check(&Format::Json, deep.as_bytes(), Line::Garbage, &[Absent; 2]);
    }
}
