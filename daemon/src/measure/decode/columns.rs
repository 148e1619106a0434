//! `512,17,798`: columns in a fixed order.
//!
//! A line with another number of columns is garbage, never shifted into place; a board that ends
//! its lines with a separator has one more, empty column, to be named `_`.

use super::{Line, Separator, Slot, Targets, number};

/// What boards' own print functions write in place of a number; not the words of a header.
const NO_NUMBER: [&str; 8] = [
    "nan", "inf", "infinity", "ovf", "null", "none", "err", "error",
];

pub(super) fn decode(
    line: &str,
    separator: Separator,
    names: &[String],
    targets: &mut Targets<'_>,
) -> Line {
    match separator {
        Separator::Space => {
            let is_space = |letter| matches!(letter, ' ' | '\t');
            let cells = line.split(is_space).filter(|cell| !cell.is_empty());
            take(cells, names, targets)
        }
        Separator::Tab => take(line.split('\t'), names, targets),
        Separator::Comma => take(line.split(','), names, targets),
        Separator::Semicolon => take(line.split(';'), names, targets),
    }
}

fn take<'a>(
    cells: impl Iterator<Item = &'a str> + Clone,
    names: &[String],
    targets: &mut Targets<'_>,
) -> Line {
    if cells.clone().count() != names.len() {
        return Line::Garbage;
    }
    let cells = cells.map(|cell| cell.trim_matches([' ', '\t']));
    if cells.clone().all(is_label) {
        return Line::Nothing;
    }
    for (name, cell) in names.iter().zip(cells) {
        if name != "_" {
            targets.set(name, || number::parse(cell));
        }
    }
    targets.outcome()
}

/// Whether a cell can stand in a header: a word, and none that stands for a missing number.
fn is_label(cell: &str) -> bool {
    let is_word = cell.starts_with(|c: char| c.is_alphabetic() || matches!(c, '_' | '"' | '\''));
    is_word
        && number::parse(cell) == Slot::Unreadable
        && !NO_NUMBER.iter().any(|word| cell.eq_ignore_ascii_case(word))
}

#[cfg(test)]
mod tests {
    use super::super::tests::check;
    use super::super::{Format, Line, Separator, Slot};
    use Slot::{Absent, Number, Unreadable};

    fn columns(separator: Separator) -> Format {
        let names = ["a0", "_", "a1"].map(str::to_owned).to_vec();
        Format::Columns { separator, names }
    }

    #[test]
    fn columns_are_found_by_their_place() {
        let slots = [Number(512.0), Number(-3.5)];
        for (separator, line) in [
            (Separator::Space, "  512 x \t -3.5 "),
            (Separator::Tab, "512\t\t-3.5"),
            (Separator::Comma, "512, x ,-3.5"),
            (Separator::Semicolon, "512;;-3.5"),
        ] {
            check(&columns(separator), line.as_bytes(), Line::Fields, &slots);
        }
    }

    #[test]
    fn another_number_of_columns_is_garbage() {
        for line in ["512", "512,1", "512,1,2,3", "512,1,2,", ",", "Hello, world"] {
            let comma = columns(Separator::Comma);
            check(&comma, line.as_bytes(), Line::Garbage, &[Absent; 2]);
        }
    }

    #[test]
    fn a_header_names_nothing() {
        for line in ["light,time,temp", "\"a\", \"b\", \"c\"", "a0,_,a1"] {
            let comma = columns(Separator::Comma);
            check(&comma, line.as_bytes(), Line::Nothing, &[Absent; 2]);
        }
    }

    #[test]
    fn columns_without_a_number_are_unreadable_and_no_header() {
        for line in ["nan,x,ovf", ",,", "21C,1,-nan", "NULL,a,Err"] {
            let comma = columns(Separator::Comma);
            check(&comma, line.as_bytes(), Line::Fields, &[Unreadable; 2]);
        }
    }
}
