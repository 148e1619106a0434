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
            Constraint::Length(1),
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
        frame.render_widget(keys_line(hints), keys);
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

/// An empty line.
pub(super) fn gap() -> Line<'static> {
    Line::default()
}

fn keys_line(hints: &[Hint]) -> Paragraph<'static> {
    let spans = hints.iter().flat_map(|(key, does)| {
        [
            Span::styled(format!(" {key}"), HEADING),
            Span::raw(format!(" {does}  ")),
        ]
    });
    Paragraph::new(Line::from(spans.collect::<Vec<_>>()))
}
