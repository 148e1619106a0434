//! A board's line to the fields that are asked for.
//!
//! Three formats, one rule: a field is a finite number, unreadable, or absent; a line that is not
//! in the board's format is garbage as a whole and fills no field. Nothing here knows what the
//! numbers mean.

mod columns;
mod json;
mod number;
mod pairs;

/// How a board writes its lines.
#[derive(Clone, Debug, PartialEq)]
pub enum Format {
    /// `name=number` pairs, apart by spaces, tabs, commas or semicolons.
    Pairs,
    /// Columns in a fixed order.
    Columns {
        /// What stands between them.
        separator: Separator,
        /// Name of each column, first to last; `_` for one that nobody needs.
        names: Vec<String>,
    },
    /// One JSON object a line; nested objects are reached by dotted names: `adc.a0`.
    Json,
}

/// What stands between columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Separator {
    /// Any run of spaces and tabs.
    Space,
    /// One tab.
    Tab,
    /// One comma, spaces around it ignored.
    Comma,
    /// One semicolon, spaces around it ignored.
    Semicolon,
}

/// What a line says of one wanted field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Slot {
    /// Not named in this line.
    Absent,
    /// A finite number.
    Number(f64),
    /// Named, but what stands there is no finite number.
    Unreadable,
}

/// What a whole line is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    /// At least one wanted field is named.
    Fields,
    /// Empty, or a remark that begins with `#`: boards say who they are this way.
    Remark,
    /// Well formed, but names nothing that is wanted.
    Nothing,
    /// Not in the board's format.
    Garbage,
}

/// Decodes lines of one board into slots, one per wanted field, in the order given.
#[derive(Clone, Debug)]
pub struct Decoder {
    format: Format,
    wanted: Vec<String>,
    slots: Vec<Slot>,
}

impl Decoder {
    /// A decoder for the fields named `wanted`; a name may stand there more than once.
    #[must_use]
    pub fn new(format: Format, wanted: Vec<String>) -> Self {
        let slots = vec![Slot::Absent; wanted.len()];
        Self {
            format,
            wanted,
            slots,
        }
    }

    /// Takes one line without its end, and fills the slots anew. A line with control characters
    /// other than tab, or that is no UTF-8, is garbage: a board that means well sends neither.
    pub fn decode(&mut self, line: &[u8]) -> Line {
        self.slots.fill(Slot::Absent);
        let Ok(line) = std::str::from_utf8(line) else {
            return Line::Garbage;
        };
        let text = line.trim();
        if text.is_empty() || text.starts_with('#') {
            return Line::Remark;
        }
        if line.contains(|c: char| c.is_control() && c != '\t') {
            return Line::Garbage;
        }
        let outcome = self.fill(line);
        if outcome == Line::Garbage {
            self.slots.fill(Slot::Absent);
        }
        outcome
    }

    /// What the last line says of each wanted field, in the order given.
    #[must_use]
    pub fn slots(&self) -> &[Slot] {
        &self.slots
    }

    fn fill(&mut self, line: &str) -> Line {
        let mut targets = Targets {
            wanted: &self.wanted,
            slots: &mut self.slots,
        };
        match &self.format {
            Format::Pairs => pairs::decode(line, &mut targets),
            Format::Columns { separator, names } => {
                columns::decode(line, *separator, names, &mut targets)
            }
            Format::Json => json::decode(line, &mut targets),
        }
    }
}

/// The slots of one line while it is decoded.
struct Targets<'a> {
    wanted: &'a [String],
    slots: &'a mut [Slot],
}

impl Targets<'_> {
    /// Fills every slot of this name; of two values the later one counts, as in the order of
    /// the line.
    fn set(&mut self, name: &str, value: impl Fn() -> Slot) {
        for (wanted, slot) in self.wanted.iter().zip(self.slots.iter_mut()) {
            if wanted == name {
                *slot = value();
            }
        }
    }

    /// Asks for every slot by its name.
    fn set_each(&mut self, value: impl Fn(&str) -> Option<Slot>) {
        for (wanted, slot) in self.wanted.iter().zip(self.slots.iter_mut()) {
            *slot = value(wanted).unwrap_or(Slot::Absent);
        }
    }

    /// Of a well-formed line: whether it names anything that is wanted.
    fn outcome(&self) -> Line {
        if self.slots.iter().all(|slot| *slot == Slot::Absent) {
            Line::Nothing
        } else {
            Line::Fields
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Decodes one line, asking for these fields.
    pub(super) fn decoded(format: &Format, wanted: &[&str], line: &[u8]) -> (Line, Vec<Slot>) {
        let wanted = wanted.iter().map(|name| (*name).to_owned()).collect();
        let mut decoder = Decoder::new(format.clone(), wanted);
        let outcome = decoder.decode(line);
        (outcome, decoder.slots().to_vec())
    }

    /// Asks for `a0` and `a1`.
    pub(super) fn check(format: &Format, line: &[u8], expected: Line, slots: &[Slot]) {
        let text = String::from_utf8_lossy(&line[..line.len().min(80)]);
        let outcome = decoded(format, &["a0", "a1"], line);
        assert_eq!(outcome, (expected, slots.to_vec()), "`{text}`");
    }

    fn columns(separator: Separator) -> Format {
        let names = ["a0", "a1"].map(str::to_owned).to_vec();
        Format::Columns { separator, names }
    }

    fn formats() -> Vec<Format> {
        vec![
            Format::Pairs,
            Format::Json,
            columns(Separator::Space),
            columns(Separator::Tab),
            columns(Separator::Comma),
            columns(Separator::Semicolon),
        ]
    }

    fn encode(format: &Format, a0: f64, a1: f64) -> String {
        match format {
            Format::Pairs => format!("a0={a0} a1={a1:e}"),
            Format::Json => serde_json::json!({"a0": a0, "a1": a1}).to_string(),
            Format::Columns { separator, .. } => match separator {
                Separator::Space => format!("{a0}  {a1:e}"),
                Separator::Tab => format!("{a0}\t{a1:e}"),
                Separator::Comma => format!("{a0}, {a1:e}"),
                Separator::Semicolon => format!("{a0};{a1:e}"),
            },
        }
    }

    #[test]
    fn empty_lines_and_remarks_say_nothing_in_any_format() {
        for format in formats() {
            for line in ["", "  ", "\t", "# board bench 1.2", "  # a0=5"] {
                check(&format, line.as_bytes(), Line::Remark, &[Slot::Absent; 2]);
            }
        }
    }

    #[test]
    fn control_characters_and_broken_text_are_garbage() {
        for line in [&b"a0=5\x00"[..], b"a0=5\ra0=6", b"\xff\xfe", b"a0=1 b=\xc3"] {
            check(&Format::Pairs, line, Line::Garbage, &[Slot::Absent; 2]);
        }
    }

    #[test]
    fn garbage_in_its_second_half_fills_no_field() {
        check(&Format::Pairs, b"a0=5 x", Line::Garbage, &[Slot::Absent; 2]);
    }

    #[test]
    fn a_field_that_is_wanted_twice_fills_both_slots() {
        for format in formats() {
            let line = encode(&format, 5.0, 6.0);
            let outcome = decoded(&format, &["a1", "a1"], line.as_bytes());
            assert_eq!(outcome, (Line::Fields, vec![Slot::Number(6.0); 2]));
        }
    }

    proptest! {
        #[test]
        fn any_bytes_decode_to_finite_numbers_or_none(line in any::<Vec<u8>>()) {
            for format in formats() {
                let (outcome, slots) = decoded(&format, &["a0", "a1", ""], &line);
                let empty = slots.iter().all(|slot| *slot == Slot::Absent);
                prop_assert_eq!(outcome != Line::Fields, empty);
                for slot in slots {
                    prop_assert!(!matches!(slot, Slot::Number(x) if !x.is_finite()));
                }
            }
        }

        #[test]
        fn near_misses_of_lines_never_panic(line in "[a01=.,;e{}:\"# \t-]{0,40}") {
            for format in formats() {
                decoded(&format, &["a0", "a1", "a.0"], line.as_bytes());
            }
        }

        #[test]
        fn numbers_survive_the_round_trip(
            a0 in proptest::num::f64::NORMAL | proptest::num::f64::ZERO,
            a1 in proptest::num::f64::NORMAL | proptest::num::f64::SUBNORMAL,
        ) {
            for format in formats() {
                let line = encode(&format, a0, a1);
                check(
                    &format,
                    line.as_bytes(),
                    Line::Fields,
                    &[Slot::Number(a0), Slot::Number(a1)],
                );
            }
        }
    }
}
