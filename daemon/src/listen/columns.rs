//! Columns that lines could be cut into: how many, which of them hold numbers, and what a header
//! calls them.

use super::candidate::{Candidate, MAX_FIELDS};
use super::names;
use crate::measure::decode::{Format, Separator};
use std::collections::BTreeMap;

/// What a column that nobody needs is called.
const UNUSED: &str = "_";

/// The columns that most lines have with this separator, where any of them holds numbers.
pub(super) fn candidate(separator: Separator, lines: &[&str]) -> Option<Candidate> {
    let rows: Vec<Vec<&str>> = lines.iter().map(|line| cells(line, separator)).collect();
    let numeric: Vec<&Vec<&str>> = rows.iter().filter(|row| is_numeric_row(row)).collect();
    let width = commonest(numeric.iter().map(|row| row.len()))?;
    if width > MAX_FIELDS {
        return None;
    }
    let holds_numbers: Vec<bool> = (0..width)
        .map(|at| {
            let mut rows = numeric.iter().filter(|row| row.len() == width);
            rows.any(|row| is_number(row[at]))
        })
        .collect();
    let header = rows.iter().find(|row| is_header(row, width));
    let names = named(&holds_numbers, header.map(Vec::as_slice));
    let fields = names.iter().filter(|name| *name != UNUSED).cloned();
    Some(Candidate {
        fields: fields.collect(),
        format: Format::Columns { separator, names },
    })
}

fn named(holds_numbers: &[bool], header: Option<&[&str]>) -> Vec<String> {
    let mut taken = names::Taken::default();
    let columns = holds_numbers.iter().enumerate();
    columns
        .map(|(at, holds)| {
            if !holds {
                return UNUSED.to_owned();
            }
            let label = header.and_then(|cells| cells.get(at)).copied();
            let name = label.map(|label| label.trim_matches(['"', '\'']));
            taken.name(name.unwrap_or_default(), &format!("c{}", at + 1))
        })
        .collect()
}

fn cells(line: &str, separator: Separator) -> Vec<&str> {
    let cut: Vec<&str> = match separator {
        Separator::Space => {
            let cells = line.split([' ', '\t']);
            return cells.filter(|cell| !cell.is_empty()).collect();
        }
        Separator::Tab => line.split('\t').collect(),
        Separator::Comma => line.split(',').collect(),
        Separator::Semicolon => line.split(';').collect(),
    };
    cut.iter()
        .map(|cell| cell.trim_matches([' ', '\t']))
        .collect()
}

/// Holds a number, and no cell that was cut at the wrong place: `512,` or `2;5`.
fn is_numeric_row(row: &[&str]) -> bool {
    row.iter().any(|cell| is_number(cell)) && !row.iter().any(|cell| is_cut_wrongly(cell))
}

fn is_cut_wrongly(cell: &str) -> bool {
    let of_numbers = |c: char| c.is_ascii_digit() || "+-.,;eE \t".contains(c);
    cell.contains(|c: char| c.is_ascii_digit()) && cell.chars().all(of_numbers) && !is_number(cell)
}

/// The decoder decides in the end; this only sorts out what cannot be meant.
fn is_number(cell: &str) -> bool {
    let plain = |c: char| c.is_ascii_digit() || "+-.eE".contains(c);
    cell.chars().all(plain) && cell.parse::<f64>().is_ok_and(f64::is_finite)
}

fn is_header(row: &[&str], width: usize) -> bool {
    let starts_a_word = |c: char| c.is_alphabetic() || matches!(c, '_' | '"' | '\'');
    row.len() == width && row.iter().all(|cell| cell.starts_with(starts_a_word))
}

/// The commonest number; of several the smallest.
fn commonest(numbers: impl Iterator<Item = usize>) -> Option<usize> {
    let mut counts = BTreeMap::new();
    for number in numbers {
        *counts.entry(number).or_insert(0_usize) += 1;
    }
    let most = counts.values().copied().max()?;
    counts
        .into_iter()
        .find_map(|(number, count)| (count == most).then_some(number))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn columns(separator: Separator, lines: &[&str]) -> Option<Vec<String>> {
        candidate(separator, lines).map(|it| match it.format {
            Format::Columns { names, .. } => names,
            Format::Pairs | Format::Json => Vec::new(),
        })
    }

    #[test]
    fn a_header_names_the_columns_that_hold_numbers() {
        let lines = [
            "time,place,\"light level\",light",
            "1,desk,512,7",
            "2,desk,513,7",
        ];
        let expected = ["time", "_", "light-level", "light"].map(str::to_owned);
        assert_eq!(columns(Separator::Comma, &lines), Some(expected.to_vec()));
    }

    #[test]
    fn without_a_header_columns_are_numbered() {
        let lines = ["boot", "512 x 3", "513 x 4", "7 8"];
        let expected = ["c1", "_", "c3"].map(str::to_owned);
        assert_eq!(columns(Separator::Space, &lines), Some(expected.to_vec()));
    }

    #[test]
    fn numbers_cut_at_the_wrong_place_are_no_columns() {
        assert_eq!(columns(Separator::Space, &["512, 3", "513, 4"]), None);
        for separator in [Separator::Comma, Separator::Semicolon] {
            assert_eq!(columns(separator, &["3,2;5,1", "3,3;5,2"]), None);
        }
    }
}
