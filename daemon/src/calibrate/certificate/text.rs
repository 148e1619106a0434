//! A certificate as text, 80 columns wide. Charts are left out: their numbers stand in the tables.

use super::document::{Block, Column, Section, Table};

/// Columns of a terminal, and of most mail.
const WIDTH: usize = 80;
/// Between two columns of a table.
const GAP: usize = 2;
/// Words are not broken into columns narrower than this.
const NARROWEST: usize = 12;

/// The whole text.
pub(super) fn render(title: &str, sections: &[Section]) -> String {
    let title = printable(title);
    let mut lines = vec![title.clone(), "=".repeat(width(&title).min(WIDTH))];
    for section in sections {
        lines.extend([String::new(), section.title.to_owned()]);
        lines.push("-".repeat(width(section.title)));
        let blocks = section.blocks.iter().map(block);
        let blocks: Vec<Vec<String>> = blocks.filter(|lines| !lines.is_empty()).collect();
        lines.extend(blocks.join(&String::new()));
    }
    lines.push(String::new());
    lines.join("\n")
}

fn block(block: &Block) -> Vec<String> {
    match block {
        Block::Paragraph(text) => wrapped(text, WIDTH),
        Block::Facts(facts) => self::facts(facts),
        Block::List(items) => items.iter().flat_map(|item| hanging("- ", item)).collect(),
        Block::Table(table) => self::table(table),
        Block::Chart(_) => Vec::new(),
    }
}

fn facts(facts: &[(&'static str, String)]) -> Vec<String> {
    let widest = facts.iter().map(|(name, _)| width(name)).max().unwrap_or(0);
    let each = facts.iter().map(|(name, value)| {
        let pad = " ".repeat(widest - width(name) + GAP);
        hanging(&format!("{name}{pad}"), value)
    });
    each.flatten().collect()
}

/// Text beside a first word, its further lines set in.
fn hanging(first: &str, text: &str) -> Vec<String> {
    let inset = width(first);
    let lines = wrapped(text, WIDTH.saturating_sub(inset));
    let numbered = lines.into_iter().enumerate();
    numbered
        .map(|(n, line)| match n {
            0 => format!("{first}{line}"),
            _ => format!("{}{line}", " ".repeat(inset)),
        })
        .collect()
}

fn table(table: &Table) -> Vec<String> {
    let heads: Vec<String> = table.columns.iter().map(|one| one.name.clone()).collect();
    let widths = widths(table, &heads);
    let mut lines = row(&heads, &table.columns, &widths);
    for cells in &table.rows {
        lines.extend(row(cells, &table.columns, &widths));
    }
    lines
}

/// As wide as their contents; where that is too much, the widest column of words gives way.
fn widths(table: &Table, heads: &[String]) -> Vec<usize> {
    let rows: Vec<&[String]> = std::iter::once(heads)
        .chain(table.rows.iter().map(Vec::as_slice))
        .collect();
    let widest = |n: usize| {
        rows.iter()
            .filter_map(|row| row.get(n))
            .map(|cell| width(cell))
            .max()
    };
    let mut widths: Vec<usize> = (0..heads.len()).map(|n| widest(n).unwrap_or(0)).collect();
    loop {
        let total: usize = widths.iter().sum::<usize>() + GAP * widths.len().saturating_sub(1);
        let words = widths.iter_mut().zip(&table.columns);
        let words = words.filter(|(width, column)| !column.numeric && **width > NARROWEST);
        match words.map(|(width, _)| width).max() {
            Some(widest) if total > WIDTH => {
                *widest = widest.saturating_sub(total - WIDTH).max(NARROWEST);
            }
            _ => return widths,
        }
    }
}

/// One row; it takes as many lines as its tallest cell.
fn row(cells: &[String], columns: &[Column], widths: &[usize]) -> Vec<String> {
    let columns = columns.iter().zip(widths);
    let columns: Vec<(Vec<String>, bool, usize)> = cells
        .iter()
        .zip(columns)
        .map(|(cell, (column, width))| (wrapped(cell, *width), column.numeric, *width))
        .collect();
    let tallest = columns
        .iter()
        .map(|(lines, ..)| lines.len())
        .max()
        .unwrap_or(0);
    let lines = (0..tallest).map(|n| {
        let cells = columns.iter().map(|(lines, numeric, width)| {
            let text = lines.get(n).map_or("", String::as_str);
            padded(text, *numeric, *width)
        });
        let line = cells.collect::<Vec<_>>().join(&" ".repeat(GAP));
        line.trim_end().to_owned()
    });
    lines.collect()
}

fn padded(text: &str, right: bool, to: usize) -> String {
    let pad = " ".repeat(to.saturating_sub(width(text)));
    if right {
        format!("{pad}{text}")
    } else {
        format!("{text}{pad}")
    }
}

/// Lines no wider than `most`; a word that is wider stands alone, and is broken.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let most = most.max(1);
    let mut lines: Vec<String> = Vec::new();
    for word in printable(text).split(' ').filter(|word| !word.is_empty()) {
        let letters: Vec<char> = word.chars().collect();
        for piece in letters.chunks(most) {
            let piece: String = piece.iter().collect();
            match lines.last_mut() {
                Some(line) if width(line) + 1 + width(&piece) <= most => {
                    line.push(' ');
                    line.push_str(&piece);
                }
                _ => lines.push(piece),
            }
        }
    }
    lines
}

/// What a person wrote must not break a line, nor turn a terminal's text round.
fn printable(text: &str) -> String {
    let harmful =
        |c: char| c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.replace(harmful, " ")
}

fn width(text: &str) -> usize {
    text.chars().count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn words_give_way_and_numbers_stay_whole() {
        let table = Table {
            columns: vec![Column::number("point"), Column::words("evidence")],
            rows: vec![vec!["1".to_owned(), "settled ".repeat(20)]],
        };
        let lines = super::table(&table);
        assert_eq!(lines.len(), 4);
        assert!(lines.iter().all(|line| width(line) <= WIDTH));
        assert!(lines[1].starts_with("    1  settled"));
        assert!(lines[2].starts_with("       settled"));
    }

    proptest! {
        #[test]
        fn no_text_leaves_its_width(text in ".{0,200}", most in 1usize..90) {
            for line in wrapped(&text, most) {
                prop_assert!(width(&line) <= most && !line.contains('\n'));
            }
        }
    }
}
