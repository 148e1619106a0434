//! What all screens share: whose calibration it is above, keys below, what went wrong over them.
//!
//! Colour only repeats what a word says: a terminal without any loses nothing.

use crate::calibrate::session::{Knowledge, Session};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Margin, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

/// What a heading looks like.
pub(super) const HEADING: Style = Style::new().add_modifier(Modifier::BOLD);
/// What stands back.
pub(super) const QUIET: Style = Style::new().add_modifier(Modifier::DIM);
/// What needs a look; the words say so, too.
pub(super) const LOUD: Style = Style::new().fg(Color::Yellow).add_modifier(Modifier::BOLD);
/// What is selected; a mark stands before it, too.
pub(super) const SELECTED: Style = Style::new().add_modifier(Modifier::REVERSED);

/// A key and what it does.
pub(super) type Hint = (&'static str, &'static str);

/// The frame around a screen.
pub(super) struct Page<'a> {
    probe: &'a str,
    place: &'a str,
    trouble: Option<&'a str>,
}

impl<'a> Page<'a> {
    pub fn new<K: Knowledge>(session: &'a Session<K>) -> Self {
        let subject = session.knowledge().subject();
        Self {
            probe: &subject.probe,
            place: &subject.place,
            trouble: session.trouble(),
        }
    }

    /// Draws it, and the body into what is left.
    pub fn draw(
        &self,
        title: &str,
        hints: &[Hint],
        frame: &mut Frame<'_>,
        body: impl FnOnce(Rect, &mut Frame<'_>),
    ) {
        let trouble = u16::from(self.trouble.is_some()) * 2;
        let rows = [
            Constraint::Length(2),
            Constraint::Min(0),
            Constraint::Length(trouble),
            Constraint::Length(keys_height(hints, frame.area().width)),
        ];
        let [head, middle, foot, keys] = Layout::vertical(rows).areas(frame.area());
        frame.render_widget(self.heading(title, head.width), head);
        body(middle.inner(Margin::new(1, 0)), frame);
        if let Some(trouble) = self.trouble {
            let text = Paragraph::new(format!("! {trouble}")).style(LOUD);
            frame.render_widget(
                text.wrap(Wrap { trim: true }),
                foot.inner(Margin::new(1, 0)),
            );
        }
        frame.render_widget(Paragraph::new(keys_lines(hints, keys.width)), keys);
    }

    fn heading(&self, title: &str, width: u16) -> Paragraph<'static> {
        let whose = Line::from(vec![
            Span::styled(format!(" probe `{}`  {title}", self.probe), HEADING),
            Span::styled(format!("  {}", self.place), QUIET),
        ]);
        let rule = Line::styled("─".repeat(usize::from(width)), QUIET);
        Paragraph::new(vec![whose, rule])
    }
}

/// A paragraph that breaks where the terminal ends.
pub(super) fn text(lines: Vec<Line<'_>>) -> Paragraph<'_> {
    Paragraph::new(lines).wrap(Wrap { trim: false })
}

/// A text after a mark, broken so that no line stands under the mark.
pub(super) fn hanging(mark: &str, words: &str, width: u16) -> Vec<Line<'static>> {
    let indent = mark.chars().count();
    let room = usize::from(width).saturating_sub(indent).max(1);
    let mut lines: Vec<String> = vec![String::new()];
    for word in words.split_whitespace() {
        let last = lines.last().map_or(0, |line| line.chars().count());
        if last > 0 && last + 1 + word.chars().count() > room {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    let blank = " ".repeat(indent);
    let marks = std::iter::once(mark).chain(std::iter::repeat(blank.as_str()));
    let both = marks.zip(&lines);
    both.map(|(mark, line)| Line::raw(format!("{mark}{line}")))
        .collect()
}

/// An empty line.
pub(super) fn gap() -> Line<'static> {
    Line::default()
}

/// Keys that cannot be seen cannot be pressed: they take the lines they need.
fn keys_height(hints: &[Hint], width: u16) -> u16 {
    u16::try_from(keys_lines(hints, width).len()).unwrap_or(1)
}

fn keys_lines(hints: &[Hint], width: u16) -> Vec<Line<'static>> {
    let mut lines = vec![Line::default()];
    for (key, does) in hints {
        let hint = [
            Span::styled(format!(" {key}"), HEADING),
            Span::raw(format!(" {does}  ")),
        ];
        let room = usize::from(width).saturating_sub(lines.last().map_or(0, Line::width));
        let needed = key.chars().count() + does.chars().count() + 2;
        if needed > room && lines.last().is_some_and(|line| line.width() > 0) {
            lines.push(Line::default());
        }
        lines
            .iter_mut()
            .last()
            .into_iter()
            .for_each(|line| line.spans.extend(hint.clone()));
    }
    lines
}
