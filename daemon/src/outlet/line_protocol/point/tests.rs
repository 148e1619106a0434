//! The encoder against the published lines, the crate's own parser, and a parser written from the
//! published rules alone.

#![allow(clippy::unwrap_used)]
use super::*;
use influxdb_line_protocol::{FieldValue as Parsed, parse_lines};
use proptest::prelude::*;

/// Source: named in the first line of the file.
const PUBLISHED: &str = include_str!("../../../../tests/published/line_protocol.toml");

#[derive(Clone, Debug, PartialEq)]
enum Value {
    Float(f64),
    Integer(i64),
    Text(String),
}

#[derive(Clone, Debug, PartialEq)]
struct Read {
    measurement: String,
    tags: Vec<(String, String)>,
    fields: Vec<(String, Value)>,
    time: i64,
}

/// What a point says once that which has no form is left out.
fn said(point: &Point<'_>) -> Read {
    let owned = |(key, value): &(&str, &str)| ((*key).to_owned(), (*value).to_owned());
    let mut point = point.clone();
    point.leave_out_what_has_no_form();
    let mut tags: Vec<_> = point.tags.iter().map(owned).collect();
    tags.sort();
    let field = |(key, value): &(&str, Field<'_>)| {
        let value = match value {
            Field::Float(number) => Value::Float(*number),
            Field::Integer(number) => Value::Integer(*number),
            Field::Text(text) => Value::Text((*text).to_owned()),
        };
        ((*key).to_owned(), value)
    };
    Read {
        measurement: point.measurement.to_owned(),
        tags,
        fields: point.fields.iter().map(field).collect(),
        time: point.time,
    }
}

fn by_the_crate(line: &str) -> Read {
    let lines: Vec<_> = parse_lines(line).collect::<Result<_, _>>().unwrap();
    let [line] = lines.as_slice() else {
        panic!("{} lines came of one", lines.len());
    };
    let field = |value: &Parsed<'_>| match value {
        Parsed::F64(number) => Value::Float(*number),
        Parsed::I64(number) => Value::Integer(*number),
        Parsed::String(text) => Value::Text(text.to_string()),
        other => panic!("a type that is never written: {other}"),
    };
    let tags = line.series.tag_set.iter().flatten();
    let fields = line.field_set.iter();
    Read {
        measurement: line.series.measurement.to_string(),
        tags: tags.map(|(k, v)| (k.to_string(), v.to_string())).collect(),
        fields: fields.map(|(k, v)| (k.to_string(), field(v))).collect(),
        time: line.timestamp.unwrap(),
    }
}

/// Written from the published rules: a backslash before a special character takes its meaning
/// away, and elsewhere it is itself.
fn by_the_rules(line: &str) -> Read {
    let (series, rest) = cut(line, ' ', In::Series).unwrap();
    let (fields, time) = cut(rest, ' ', In::Fields).unwrap();
    let mut parts = pieces(series, In::Series).into_iter();
    let measurement = plain(parts.next().unwrap(), ", ");
    let pair = |part: &str| {
        let (key, value) = cut(part, '=', In::Series).unwrap();
        (plain(key, ",= "), plain(value, ",= "))
    };
    let field = |part: &str| {
        let (key, value) = cut(part, '=', In::Fields).unwrap();
        (plain(key, ",= "), value_by_the_rules(value))
    };
    Read {
        measurement,
        tags: parts.map(pair).collect(),
        fields: pieces(fields, In::Fields).into_iter().map(field).collect(),
        time: time.parse().unwrap(),
    }
}

fn value_by_the_rules(text: &str) -> Value {
    if let Some(quoted) = text.strip_prefix('"') {
        return Value::Text(plain(quoted.strip_suffix('"').unwrap(), "\"\\"));
    }
    match text.strip_suffix('i') {
        Some(digits) => Value::Integer(digits.parse().unwrap()),
        None => Value::Float(text.parse().unwrap()),
    }
}

/// Whether quotes mean anything: in a field's text they do, in the series they are letters.
#[derive(Clone, Copy, PartialEq)]
enum In {
    Series,
    Fields,
}

/// Cuts at the first separator that is neither escaped nor quoted.
fn cut(text: &str, separator: char, within: In) -> Option<(&str, &str)> {
    let (mut escaped, mut quoted, mut after_equals) = (false, false, false);
    for (at, c) in text.char_indices() {
        if escaped {
            (escaped, after_equals) = (false, false);
            continue;
        }
        match c {
            '\\' => escaped = true,
            '"' if within == In::Fields && (quoted || after_equals) => quoted = !quoted,
            _ if c == separator && !quoted => return Some((&text[..at], &text[at + 1..])),
            _ => {}
        }
        after_equals = c == '=';
    }
    None
}

fn pieces(mut text: &str, within: In) -> Vec<&str> {
    let mut pieces = Vec::new();
    while let Some((piece, rest)) = cut(text, ',', within) {
        pieces.push(piece);
        text = rest;
    }
    pieces.push(text);
    pieces
}

fn plain(text: &str, special: &str) -> String {
    let mut plain = String::new();
    let mut left = text.chars().peekable();
    while let Some(c) = left.next() {
        match left.peek() {
            Some(next) if c == '\\' && special.contains(*next) => plain.extend(left.next()),
            _ => plain.push(c),
        }
    }
    plain
}

fn text<'a>(table: &'a toml::Value, key: &str) -> &'a str {
    table.get(key).and_then(toml::Value::as_str).unwrap()
}

fn pair(tag: &toml::Value) -> (&str, &str) {
    let pair = tag.as_array().unwrap();
    (pair[0].as_str().unwrap(), pair[1].as_str().unwrap())
}

/// `None` for the types that the encoder never writes (unsigned, boolean).
fn field(field: &toml::Value) -> Option<(&str, Field<'_>)> {
    let value = text(field, "value");
    let value = match text(field, "type") {
        "float" => Field::Float(value.parse().unwrap()),
        "integer" => Field::Integer(value.parse().unwrap()),
        "string" => Field::Text(value),
        _ => return None,
    };
    Some((text(field, "key"), value))
}

fn point(case: &toml::Value) -> Option<Point<'_>> {
    let list = |key| case.get(key).and_then(toml::Value::as_array).unwrap();
    let time = case.get("timestamp_ns").and_then(toml::Value::as_str);
    Some(Point {
        measurement: text(case, "measurement"),
        tags: list("tags").iter().map(pair).collect(),
        fields: list("fields").iter().map(field).collect::<Option<_>>()?,
        time: time.map_or(0, |time| time.parse().unwrap()),
    })
}

#[test]
fn every_published_line_that_can_be_expressed_is_written_as_published() {
    let published: toml::Table = PUBLISHED.parse().unwrap();
    let cases = published["encode"].as_array().unwrap();
    let (mut same, mut refused, mut other_types) = (0, 0, 0);
    for case in cases {
        let Some(point) = point(case) else {
            other_types += 1;
            continue;
        };
        let mut expected = text(case, "line").to_owned();
        if case.get("timestamp_ns").is_none() {
            expected.push_str(" 0"); // this encoder always says when
        }
        match point.clone().line() {
            // Numbers may be spelled otherwise (1.0 and 1), so what they say is compared too.
            Ok(line) if line != expected => {
                assert_eq!(by_the_rules(&line), by_the_rules(&expected), "{line}");
                same += 1;
            }
            Ok(line) => {
                assert_eq!(by_the_rules(&line), said(&point), "{line}");
                same += 1;
            }
            // `field_k\ey`: the crate doubles the backslash of a key, the page does not.
            Err(Unwritable::Backslash { .. }) => refused += 1,
            Err(other) => panic!("{other}: {expected}"),
        }
    }
    assert_eq!((same, refused, other_types), (19, 1, 5));
}

#[test]
fn published_texts_with_backslashes_are_read_back_from_our_own_lines() {
    let published: toml::Table = PUBLISHED.parse().unwrap();
    let mut seen = 0;
    for case in published["decode"].as_array().unwrap() {
        let Some(content) = case.get("string_field_value") else {
            continue;
        };
        let content = content.as_str().unwrap();
        assert_eq!(
            by_the_rules(text(case, "line")).fields[0].1,
            Value::Text(content.to_owned())
        );
        let point = Point {
            measurement: "weather",
            tags: vec![("location", "us-midwest")],
            fields: vec![("temperature_str", Field::Text(content))],
            time: 1,
        };
        let line = point.clone().line().unwrap();
        assert_eq!(by_the_rules(&line), said(&point));
        assert_eq!(by_the_crate(&line), said(&point));
        seen += 1;
    }
    assert_eq!(seen, 6);
}

#[test]
fn what_the_published_pages_call_invalid_cannot_be_written() {
    // An empty tag is left out, a point without a field is refused; quoted times and single quotes
    // have no place in a `Point`.
    let empty_tag = Point {
        measurement: "weather",
        tags: vec![("location", "")],
        fields: vec![("temperature", Field::Float(82.0))],
        time: 5,
    };
    assert_eq!(empty_tag.line().unwrap(), "weather temperature=82 5");
    let bare = Point {
        measurement: "weather",
        tags: vec![("location", "us-midwest")],
        fields: vec![("temperature", Field::Float(f64::NAN))],
        time: 5,
    };
    assert_eq!(bare.line(), Err(Unwritable::NoField));
}

#[test]
fn names_that_the_builder_would_ruin_are_refused_with_their_part_and_text() {
    let with = |measurement, tag: (&'static str, &'static str), key| {
        let fields = vec![(key, Field::Integer(1))];
        let tags = vec![tag];
        Point {
            measurement,
            tags,
            fields,
            time: 1,
        }
        .line()
        .unwrap_err()
        .to_string()
    };
    let check = |said: String, expected: &str| assert_eq!(said, expected);
    check(with("", ("a", "b"), "k"), "the measurement is empty");
    check(
        with("#m", ("a", "b"), "k"),
        "the measurement `#m` is reserved; it must not start with `#` or `_`, nor be `time`",
    );
    check(
        with("_m", ("a", "b"), "k"),
        "the measurement `_m` is reserved; it must not start with `#` or `_`, nor be `time`",
    );
    check(
        with("m", ("time", "b"), "k"),
        "the tag key `time` is reserved; it must not start with `#` or `_`, nor be `time`",
    );
    check(
        with("m", ("a", "b\tc"), "k"),
        "the tag value `b\\tc` holds a control character; line protocol cannot carry it",
    );
    check(
        with("m", ("a", "b\nm v=1"), "k"),
        "the tag value `b\\nm v=1` holds a control character; line protocol cannot carry it",
    );
    check(
        with("m", ("a", "b\\"), "k"),
        "the tag value `b\\` holds a backslash; servers do not agree on how to read it",
    );
    check(
        with("m", ("a", "b"), "_k"),
        "the field key `_k` is reserved; it must not start with `#` or `_`, nor be `time`",
    );
}

#[test]
fn a_key_that_stands_twice_is_refused() {
    let point = Point {
        measurement: "m",
        tags: vec![("a", "1"), ("b", "2"), ("a", "3")],
        fields: vec![("v", Field::Integer(1))],
        time: 1,
    };
    assert_eq!(
        point.line().unwrap_err().to_string(),
        "the tag key `a` stands twice"
    );
}

/// Names that go through, with everything that must be escaped among them, and any text at all.
fn name() -> impl Strategy<Value = String> {
    prop_oneof![3 => "[a-z ,=\"'%/.é🍭-]{1,8}", 1 => any::<String>()]
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![any::<f64>(), any::<u64>().prop_map(f64::from_bits)]
}

proptest! {
    #[test]
    fn any_point_is_refused_or_says_the_same_when_read_back(
        measurement in name(),
        tags in prop::collection::vec((name(), name()), 0..4),
        floats in prop::collection::vec((name(), number()), 0..3),
        integer in any::<i64>(),
        words in name(),
        time in any::<i64>(),
    ) {
        let mut fields: Vec<_> =
            floats.iter().map(|(key, number)| (key.as_str(), Field::Float(*number))).collect();
        fields.push(("seq", Field::Integer(integer)));
        fields.push(("quality", Field::Text(&words)));
        let tags = tags.iter().map(|(key, value)| (key.as_str(), value.as_str())).collect();
        let point = Point { measurement: &measurement, tags, fields, time };
        if let Ok(line) = point.clone().line() {
            prop_assert!(!line.contains('\n'));
            prop_assert_eq!(by_the_crate(&line), said(&point));
            prop_assert_eq!(by_the_rules(&line), said(&point));
        }
    }

    #[test]
    fn plain_names_and_finite_numbers_are_never_refused(
        measurement in "[A-Za-z0-9.-][A-Za-z0-9_.-]{0,20}",
        probe in "[A-Za-z0-9_.-]{1,20}",
        number in number().prop_filter("finite", |number| number.is_finite()),
        time in any::<i64>(),
    ) {
        let point = Point {
            measurement: &measurement,
            tags: vec![("probe", &probe)],
            fields: vec![("value", Field::Float(number))],
            time,
        };
        let line = point.clone().line().unwrap();
        prop_assert_eq!(by_the_crate(&line), said(&point));
    }
}
