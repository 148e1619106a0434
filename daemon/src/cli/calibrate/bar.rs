//! A bar for how far something has come, with the number beside it.

use ratatui::text::{Line, Span};

const CELLS: usize = 24;

/// `name  ━━━━━━╌╌╌╌  40 %  words`; without a number where nobody knows.
pub(super) fn line(name: &str, share: Option<f64>, words: &str) -> Line<'static> {
    let known = share.unwrap_or(0.0).clamp(0.0, 1.0);
    let full = (known * CELLS as f64).round() as usize;
    let percent = share.map_or("     ".to_owned(), |_| format!("{:3.0} %", known * 100.0));
    Line::from(vec![
        Span::raw(format!("{name:<9}")),
        Span::raw("━".repeat(full)),
        Span::raw("╌".repeat(CELLS - full)),
        Span::raw(format!(" {percent}  {words}")),
    ])
}
