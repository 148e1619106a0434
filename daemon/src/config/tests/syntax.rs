//! Texts that are no TOML: what the person did is told, and nothing that only follows from it.

use super::{good_but, shown};
use insta::assert_snapshot;

/// What is said of [`super::GOOD`] with another line in the place of one.
fn with(old: &str, new: &str) -> String {
    shown(&good_but(old, new)).replace("bath.toml:", "")
}

#[test]
fn a_word_without_quotes_is_told_as_such_whatever_it_begins_with() {
    let driver = |value: &str| with("driver = \"thermistor\"", &format!("driver = {value}"));
    assert_snapshot!(driver("thermistor"), @r#"15:10: `thermistor` is not in quotes; a word needs quotes: `driver = "thermistor"`"#);
    assert_snapshot!(driver("fotoresistor"), @r#"15:10: `fotoresistor` is not in quotes; a word needs quotes: `driver = "fotoresistor"`"#);
    assert_snapshot!(driver("divider # or another"), @r#"
    12:8: probe `mash`: `quantity` is missing; add a line such as `quantity = "temperature"`
    12:8: probe `mash`: `unit` is missing; add a line such as `unit = "Cel"`
    15:10: `divider` is not in quotes; a word needs quotes: `driver = "divider"`
    17:1: probe `mash`, parameters: unknown key `r0`; the keys here are `coefficients`, `form`, `gain`, `highest`, `lowest`, `offset`, `table_x`, `table_y`
    18:1: probe `mash`, parameters: unknown key `beta`; the keys here are `coefficients`, `form`, `gain`, `highest`, `lowest`, `offset`, `table_x`, `table_y`
    "#);
    assert_snapshot!(driver("\u{201c}thermistor\u{201d}"), @r#"15:10: `“thermistor”` has curly quotes; write straight ones: `driver = "thermistor"`"#);
    assert_snapshot!(driver("\"thermistor"), @r#"15:21: the quotes of `"thermistor` do not go together; write `driver = "thermistor"`"#);
    assert_snapshot!(driver("thermistor\""), @r#"15:10: the quotes of `thermistor"` do not go together; write `driver = "thermistor"`"#);
    assert_snapshot!(driver(""), @r#"15:10: `driver` has no value; write `driver = "text"` or `driver = 5`"#);
}

#[test]
fn numbers_are_written_with_a_point() {
    let full_scale = |value: &str| with("= 1023", &format!("= {value}"));
    assert_snapshot!(full_scale("1023,0"), @"11:18: `1023,0` has a comma (the decimal mark is a point, thousands have none); write `full_scale = 1023.0`");
    assert_snapshot!(full_scale("1,023"), @"11:15: `1,023` has a comma (the decimal mark is a point, thousands have none); write `full_scale = 1023` or `full_scale = 1.023`");
    assert_snapshot!(full_scale("01023"), @"11:14: `01023` is no number; write `full_scale = 1023`");
    assert_snapshot!(full_scale(".5"), @"11:14: `.5` is no number; write `full_scale = 0.5`");
    assert_snapshot!(full_scale("True"), @"11:14: `True` is written in small letters; write `full_scale = true`");
}

#[test]
fn a_colon_is_told_with_the_line_as_it_should_be() {
    assert_snapshot!(with("site = \"cellar\"", "site: \"cellar\""), @r#"1:7: between a key and its value stands `=`, not `:`; write `site = "cellar"`"#);
    assert_snapshot!(with("site = \"cellar\"", "site: cellar"), @r#"1:7: between a key and its value stands `=`, not `:`; write `site = "cellar"`"#);
    assert_snapshot!(with("[log]\npath =", "log:\n  path:"), @r#"
    2:5: `log:` is neither a heading nor a line with `=`; write the heading `[log]`; what stands below is looked at once this is mended
    3:9: between a key and its value stands `=`, not `:`; write `path = "cellar.sqlite"`
    "#);
    assert_snapshot!(shown("{\n  \"site\": \"cellar\",\n  \"log\": { \"path\": \"x\" }\n}\n"), @r#"bath.toml:1:1: this is no TOML, but looks like JSON; write lines such as `site = "cellar"` under headings such as `[log]`, without braces"#);
}

#[test]
fn a_broken_heading_hides_what_stands_below_and_says_so() {
    assert_snapshot!(with("[log]", "[log"), @"2:5: `[log` is no heading; write `[log]`; what stands below is looked at once this is mended");
    assert_snapshot!(with("[probe.mash]", "[probe mash]"), @"12:7: `[probe mash]` is no heading; write names with points between them in one pair of brackets: `[probe.mash]`; what stands below is looked at once this is mended");
    assert_snapshot!(with("[board.bench]", "[board.bench]]"), @"4:14: `[board.bench]]` is no heading; write `[board.bench]`; what stands below is looked at once this is mended");
    assert_snapshot!(with("[log]", "log"), @r#"2:4: `log` is neither a heading nor a line with `=`; write `log = "text"` or `log = 5`, or the heading `[log]`; what stands below is looked at once this is mended"#);
}

#[test]
fn lists_and_texts_that_do_not_end_are_told_once() {
    assert_snapshot!(with("full_scale = 1023", "full_scale = [1023"), @"
    11:14: board `bench`, channel `a0`: `full_scale` must be a number, but is a list; write a number between 1 and 4294967296
    12:1: a list before this is not closed, or lacks a comma; write it as `key = [1, 2, 3]`; what stands below is looked at once this is mended
    ");
    assert_snapshot!(with("path = \"cellar.sqlite\"", "path = \"C:\\logs\\n.sqlite\""), @r#"3:12: `\` has a meaning of its own between `"`; write `path = 'C:\logs\n.sqlite'`"#);
    assert_snapshot!(with("[log]\n", "log = { path = \"x\"\n"), @"3:1: a table in braces before this is not closed, or lacks a comma; write it as `key = { a = 1, b = 2 }`; what stands below is looked at once this is mended");
}

#[test]
fn what_is_there_twice_is_told_with_the_first_line() {
    let twice = "source = \"serial\"\nbaud = 9600\nsource = \"serial\"";
    assert_snapshot!(with("source = \"serial\"", twice), @"7:1: `source` is defined twice; remove one; the first is on line 5");
    assert_snapshot!(with("[probe.mash]", "[board.bench]\nport = \"x\"\n[probe.mash]"), @"12:8: `[board.bench]` is defined twice; remove one, or give one another name; the first is on line 4");
}

#[test]
fn what_else_is_wrong_is_told_beside_it() {
    let text = good_but("site = \"cellar\"", "site: \"cellar\"").replace("beta = \"3950 K\"", "");
    assert_snapshot!(shown(&text), @r#"
    bath.toml:1:7: between a key and its value stands `=`, not `:`; write `site = "cellar"`
    bath.toml:16:13: probe `mash`: driver `thermistor`: the form `beta` needs `r0` and `beta`; correct the probe's `parameters`
    "#);
}

#[test]
fn a_secret_in_a_line_that_is_no_toml_is_not_shown() {
    for line in [
        "password = hunter2",
        "password: hunter2",
        "token hunter2",
        "secret = “hunter2”",
    ] {
        let shown = shown(&super::good_and(&format!(
            "[outlet.o]\nkind = \"mqtt\"\n{line}\n"
        )));
        assert!(!shown.is_empty() && !shown.contains("hunter"), "{shown}");
    }
}
