//! A certificate as one HTML page, to read on any screen and to print: no script, nothing from outside.
//!
//! Whatever a person wrote is escaped; the page forbids itself to load anything.

use super::document::{Block, Section, Table};
use crate::chart::svg::{self, escape};
use std::fmt::Write;

/// Size that a chart is drawn for; it scales with the page.
const CHART: (f64, f64) = (400.0, 300.0);

const STYLE: &str = "\
:root { color-scheme: light dark; --paper: #ffffff; --ink: #1b1b1b; --quiet: #555555; --line: #c8c8c8; }
@media screen and (prefers-color-scheme: dark) {
  :root { --paper: #171717; --ink: #ececec; --quiet: #b3b3b3; --line: #4a4a4a; }
}
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 56rem; padding: 1rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.5 system-ui, sans-serif; }
h1 { font-size: 1.6rem; line-height: 1.25; overflow-wrap: anywhere; }
h2 { font-size: 1.15rem; margin: 2rem 0 0.5rem; border-bottom: 1px solid var(--line); }
p, li, dd { overflow-wrap: anywhere; }
.first { border-left: 4px solid var(--ink); padding-left: 0.75rem; }
dl { display: grid; grid-template-columns: minmax(8rem, max-content) 1fr; gap: 0.2rem 1.25rem; }
dt { color: var(--quiet); }
dd { margin: 0; }
.wide { overflow-x: auto; margin: 0.75rem 0; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: 0.25rem 1rem 0.25rem 0; border-bottom: 1px solid var(--line); }
th { font-weight: 600; }
.n { text-align: right; white-space: nowrap; }
.chart { display: block; width: 100%; max-width: 32rem; height: auto; margin: 1rem 0; }
@media print {
  @page { margin: 18mm; }
  body { max-width: none; padding: 0; font-size: 10pt; }
  h2, dl, table, .chart { break-inside: avoid; }
  h2 { break-after: avoid; }
  .wide { overflow: visible; }
}
";

/// The whole page.
pub(super) fn render(title: &str, sections: &[Section]) -> String {
    let title = escape(title);
    let mut page = format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}</title>\n<style>\n{STYLE}{}</style>\n</head>\n<body>\n<h1>{title}</h1>\n",
        svg::STYLE
    );
    for (n, section) in sections.iter().enumerate() {
        let class = if n == 0 { " class=\"first\"" } else { "" };
        let heading = escape(section.title);
        let _ = writeln!(page, "<section{class}>\n<h2>{heading}</h2>");
        for one in &section.blocks {
            block(&mut page, one);
        }
        page.push_str("</section>\n");
    }
    page.push_str("</body>\n</html>\n");
    page
}

fn block(page: &mut String, block: &Block) {
    match block {
        Block::Paragraph(text) => {
            let _ = writeln!(page, "<p>{}</p>", escape(text));
        }
        Block::Facts(facts) => {
            page.push_str("<dl>\n");
            for (name, value) in facts {
                let _ = writeln!(page, "<dt>{}</dt><dd>{}</dd>", escape(name), escape(value));
            }
            page.push_str("</dl>\n");
        }
        Block::List(items) => {
            page.push_str("<ul>\n");
            for item in items {
                let _ = writeln!(page, "<li>{}</li>", escape(item));
            }
            page.push_str("</ul>\n");
        }
        Block::Table(one) => table(page, one),
        Block::Chart(chart) => page.push_str(&svg::draw(chart, CHART.0, CHART.1)),
    }
}

fn table(page: &mut String, table: &Table) {
    let class = |n: usize| {
        let numeric = table.columns.get(n).is_some_and(|column| column.numeric);
        if numeric { " class=\"n\"" } else { "" }
    };
    // It scrolls sideways on a narrow screen, by keys as well.
    page.push_str("<div class=\"wide\" tabindex=\"0\"><table>\n<thead><tr>");
    for (n, column) in table.columns.iter().enumerate() {
        let _ = write!(
            page,
            "<th scope=\"col\"{}>{}</th>",
            class(n),
            escape(&column.name)
        );
    }
    page.push_str("</tr></thead>\n<tbody>\n");
    for row in &table.rows {
        page.push_str("<tr>");
        for (n, cell) in row.iter().enumerate() {
            let _ = write!(page, "<td{}>{}</td>", class(n), escape(cell));
        }
        page.push_str("</tr>\n");
    }
    page.push_str("</tbody>\n</table></div>\n");
}
