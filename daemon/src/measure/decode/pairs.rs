//! `a0=512, a1=3.2e1 t=17`: pairs in any order, apart by spaces, tabs, commas or semicolons.
//!
//! Strict on purpose: one word without `=` makes the whole line garbage, since a flipped bit can
//! turn `a0=512` into `a0=5 2`.

use super::{Line, Targets, number};

const APART: [char; 4] = [' ', '\t', ',', ';'];

pub(super) fn decode(line: &str, targets: &mut Targets<'_>) -> Line {
    let mut pairs = 0_usize;
    for word in line.split(APART).filter(|word| !word.is_empty()) {
        match word.split_once('=') {
            Some((name, text)) if !name.is_empty() => targets.set(name, || number::parse(text)),
            _ => return Line::Garbage,
        }
        pairs += 1;
    }
    if pairs == 0 {
        Line::Garbage
    } else {
        targets.outcome()
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::check;
    use super::super::{Format, Line, Slot};
    use Slot::{Absent, Number, Unreadable};

    #[test]
    fn pairs_are_found_by_their_exact_name() {
        for (line, expected, slots) in [
            (
                "a0=512, a1=3.2e1 t=17",
                Line::Fields,
                [Number(512.0), Number(32.0)],
            ),
            ("a1=7;a0=-1", Line::Fields, [Number(-1.0), Number(7.0)]),
            ("\ta0=5\t", Line::Fields, [Number(5.0), Absent]),
            ("A0=5 a00=6", Line::Nothing, [Absent, Absent]),
            ("a0= a1=21C", Line::Fields, [Unreadable, Unreadable]),
            ("a0=nan", Line::Fields, [Unreadable, Absent]),
            ("a0=1=2", Line::Fields, [Unreadable, Absent]),
            ("t=x", Line::Nothing, [Absent, Absent]),
        ] {
            check(&Format::Pairs, line.as_bytes(), expected, &slots);
        }
    }

    #[test]
    fn of_a_field_named_twice_the_last_counts() {
        let slots = [Number(2.0), Absent];
        check(&Format::Pairs, b"a0=1 a0=2", Line::Fields, &slots);
        let slots = [Unreadable, Absent];
        check(&Format::Pairs, b"a0=1 a0=x", Line::Fields, &slots);
    }

    #[test]
    fn a_word_without_an_equals_sign_spoils_the_line() {
        for line in ["a0=5 2", "hello", "a0=1 =2", ",,;", "a0 = 512", "rst:0x1"] {
            check(&Format::Pairs, line.as_bytes(), Line::Garbage, &[Absent; 2]);
        }
    }
}
