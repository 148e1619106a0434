//! A chart as text: into a terminal's buffer, or as plain lines.
//!
//! Series differ by their signs, so that nothing is lost where there are no colours.

use super::{Chart, Mark, Series, Span};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Color, Style};
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span as Styled};
use ratatui::widgets::{self, Dataset, GraphType, Widget};

/// Rows between two numbers at the y axis, about.
const ROWS_PER_TICK: u16 = 4;
/// Columns between two numbers at the x axis, about.
const COLUMNS_PER_TICK: u16 = 14;

/// Signs of points, in the order of the series.
const SIGNS: [char; 4] = ['●', 'x', '◆', '+'];
/// Colours in the order of the series; the terminal's own, so that they fit its background.
const COLOURS: [Color; 4] = [Color::Blue, Color::Red, Color::Green, Color::Magenta];

/// Draws a chart as plain lines of text, without colours and without blanks at the ends.
#[must_use]
pub fn draw(chart: &Chart, width: u16, height: u16) -> String {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    render(chart, area, &mut buffer);
    let rows = (0..height).map(|y| {
        let row: String = (0..width).map(|x| symbol(&buffer, x, y)).collect();
        row.trim_end().to_owned()
    });
    rows.collect::<Vec<String>>().join("\n")
}

/// Draws a chart into a part of a terminal's buffer.
pub fn render(chart: &Chart, area: Rect, buffer: &mut Buffer) {
    let area = area.intersection(buffer.area);
    let [title, body, legend] = rows(area);
    let ticks = (
        usize::from(area.width / COLUMNS_PER_TICK),
        usize::from(area.height / ROWS_PER_TICK),
    );
    let (x, y) = chart.spans(ticks);
    let plots = plots(chart, &x, &y);
    let sets = plots.iter().map(Plot::dataset).collect();
    Line::from(chart.title.as_str())
        .centered()
        .render(title, buffer);
    widgets::Chart::new(sets)
        .x_axis(axis(&chart.x.label, &x))
        .y_axis(axis(&chart.y.label, &y))
        .legend_position(None)
        .render(body, buffer);
    self::legend(chart).render(legend, buffer);
}

/// Title, chart, legend.
fn rows(area: Rect) -> [Rect; 3] {
    let row = |y: u16, height: u16| Rect::new(area.x, y, area.width, height).intersection(area);
    let inner = area.height.saturating_sub(2);
    [
        row(area.y, 1),
        row(area.y + 1, inner),
        row(area.y + 1 + inner, 1),
    ]
}

fn symbol(buffer: &Buffer, x: u16, y: u16) -> &str {
    buffer.cell((x, y)).map_or(" ", |cell| cell.symbol())
}

/// Data in scaled numbers, ready to be drawn.
struct Plot {
    data: Vec<(f64, f64)>,
    graph: GraphType,
    marker: Marker,
    style: Style,
}

impl Plot {
    fn dataset(&self) -> Dataset<'_> {
        Dataset::default()
            .data(&self.data)
            .graph_type(self.graph)
            .marker(self.marker)
            .style(self.style)
    }
}

fn plots(chart: &Chart, x: &Span, y: &Span) -> Vec<Plot> {
    let numbered = chart.series.iter().enumerate();
    let (lines, points): (Vec<_>, Vec<_>) =
        numbered.partition(|(_, series)| series.mark != Mark::Points);
    // Signs of points stand on top of what goes through them.
    let bars = points.iter().flat_map(|(n, series)| bars(*n, series, x, y));
    let below: Vec<Plot> = lines.iter().map(|(n, s)| plot(*n, s, x, y)).collect();
    let above = points.iter().map(|(n, series)| plot(*n, series, x, y));
    below.into_iter().chain(bars).chain(above).collect()
}

fn plot(n: usize, series: &Series, x: &Span, y: &Span) -> Plot {
    let scaled = |(x_value, y_value)| Some((x.scaled(x_value)?, y.scaled(y_value)?));
    let data = series.data.iter().map(|datum| (datum.x, datum.y));
    Plot {
        data: data.filter_map(scaled).collect(),
        graph: match series.mark {
            Mark::Line => GraphType::Line,
            Mark::Dashes | Mark::Points => GraphType::Scatter,
        },
        marker: marker(n, series.mark),
        style: style(n),
    }
}

fn bars(n: usize, series: &Series, x: &Span, y: &Span) -> Vec<Plot> {
    let barred = series.data.iter().filter(|datum| datum.half > 0.0);
    barred
        .filter_map(|datum| {
            let place = x.scaled(datum.x)?;
            let ends = [datum.y - datum.half, datum.y + datum.half];
            let [low, high] = [y.scaled(ends[0])?, y.scaled(ends[1])?];
            Some(Plot {
                data: vec![(place, low), (place, high)],
                graph: GraphType::Line,
                marker: Marker::Braille,
                style: style(n),
            })
        })
        .collect()
}

fn marker(n: usize, mark: Mark) -> Marker {
    match mark {
        Mark::Line => Marker::Braille,
        Mark::Dashes => Marker::Dot,
        Mark::Points => Marker::Custom(SIGNS[n % SIGNS.len()]),
    }
}

fn style(n: usize) -> Style {
    Style::new().fg(COLOURS[n % COLOURS.len()])
}

fn axis<'a>(label: &'a str, span: &Span) -> widgets::Axis<'a> {
    let ticks = span.ticks().into_iter();
    widgets::Axis::default()
        .title(label)
        .bounds(span.bounds())
        .labels(ticks.map(|(_, text)| text))
}

/// `⣀ curve   ● points`.
fn legend(chart: &Chart) -> Line<'_> {
    let entries = chart.series.iter().enumerate().flat_map(|(n, series)| {
        let sign = match marker(n, series.mark) {
            Marker::Braille => "⣀⣀".to_owned(),
            Marker::Custom(sign) => sign.to_string(),
            _ => "• •".to_owned(),
        };
        let gap = if n == 0 { "" } else { "   " };
        [
            Styled::raw(gap),
            Styled::styled(sign, style(n)),
            Styled::raw(" "),
            Styled::raw(series.name.as_str()),
        ]
    });
    Line::from(entries.collect::<Vec<_>>()).centered()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::testing::example;

    #[test]
    fn a_chart_is_readable_without_colours() {
        insta::assert_snapshot!(draw(&example(), 64, 16), @r#"
                       Resistance <of> "a" probe
    100k│resistance, Ohm
        │
        │⡄
    32k │x⠉⠒⠒⠤⢄⣀
        │       ⠉⠑⠒⠢⠤⢄⣀
        │              ⠉⠑⠒⠤⢄⣀
    10k │                    ⠉⠉⠑x⠢⠤⣀⡀
        │                           ⠈⠉⠒⠒⠤⠤⣀⡀
        │                                  ⠈⠉⠒⠢⠤⠤⣀⣀
    3200│                                          ⠉⠑⠒⠤⢄⣀
        │                                                ⠉⠒⠒⠢⠤⢄⣀
    1000│                                           temperature, Cel
        └───────────────────────────────────────────────────────────
        0                            50                          100
                          ⣀⣀ curve   x points
    "#);
    }

    #[test]
    fn no_size_is_too_small() {
        for (width, height) in [(0, 0), (1, 1), (3, 2), (10, 3), (200, 1)] {
            let drawn = draw(&example(), width, height);
            assert_eq!(drawn.split('\n').count(), usize::from(height).max(1));
        }
    }
}
