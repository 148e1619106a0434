//! A chart as SVG: for a page, or a file of its own. No script, nothing from outside.
//!
//! Colours are custom properties, for light and dark; they are those of M. Okabe and K. Ito, "Color
//! Universal Design" (2008), from memory, which people tell apart whatever colours they see. Series
//! differ by shape as well.

use super::{Chart, Datum, Mark, Series, Span};
use std::fmt::Write;

/// The style of every chart: once in a page, in its `<style>`.
pub const STYLE: &str = "\
.chart { --ink: var(--chart-ink, #1b1b1b); --rule: var(--chart-rule, #d5d5d5); --c0: var(--chart-c0, #0072b2); \
--c1: var(--chart-c1, #b34e00); --c2: var(--chart-c2, #00775a); --c3: var(--chart-c3, #8f4a76); }
@media screen and (prefers-color-scheme: dark) { .chart { --ink: var(--chart-ink, #ececec); \
--rule: var(--chart-rule, #4a4a4a); --c0: var(--chart-c0, #56b4e9); --c1: var(--chart-c1, #e69f00); \
--c2: var(--chart-c2, #2fc79a); --c3: var(--chart-c3, #d99cc0); } }
.chart text { fill: var(--ink); font: 13px system-ui, sans-serif; }
.chart .title { font-weight: 600; }
.chart .grid { stroke: var(--rule); stroke-width: 1; }
.chart .data { fill: none; stroke-width: 2; stroke-linejoin: round; }
.chart .dashes { stroke-dasharray: 5 4; }
.chart .s0 { stroke: var(--c0); } .chart .s1 { stroke: var(--c1); } \
.chart .s2 { stroke: var(--c2); } .chart .s3 { stroke: var(--c3); }
";

/// Colours and signs there are; further series begin again.
const STYLES: usize = 4;
/// Width of a character in units of the drawing, about: 13 px of a plain face.
const CHARACTER: f64 = 6.8;
/// Room for the title and the label of the y axis, the legend between them aside.
const ABOVE: f64 = 50.0;
/// Room for a line of the legend.
const LEGEND_LINE: f64 = 19.0;
/// From the left edge to title, legend and label of the y axis.
const EDGE: f64 = 4.0;
/// Room for numbers and label of the x axis.
const BELOW: f64 = 46.0;
/// Room for the numbers of the y axis.
const BESIDE: f64 = 54.0;
/// Room at the right for half a number.
const RIGHT: f64 = 18.0;
/// Smallest drawing: below it there is no room for numbers.
const SMALLEST: (f64, f64) = (200.0, 120.0);
/// Units between two numbers at an axis, about.
const PER_TICK: (f64, f64) = (70.0, 45.0);

/// A chart for a page that has [`STYLE`]; it scales with the page from `width` x `height`.
#[must_use]
pub fn draw(chart: &Chart, width: f64, height: f64) -> String {
    drawn(chart, width, height, "")
}

/// A chart as a file of its own.
#[must_use]
pub fn file(chart: &Chart, width: f64, height: f64) -> String {
    drawn(chart, width, height, &format!("<style>\n{STYLE}</style>\n"))
}

/// Text as XML and HTML hold it, between tags and in quoted attributes. Characters that XML has not
/// (control characters) become the replacement character.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            '\n' | '\t' => escaped.push(c),
            c if is_harmful(c) => escaped.push('\u{fffd}'),
            c => escaped.push(c),
        }
    }
    escaped
}

/// Control characters, those that turn text round, and the two that XML 1.0 excludes (2.2).
fn is_harmful(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}')
}

fn drawn(chart: &Chart, width: f64, height: f64, style: &str) -> String {
    let frame = Frame::new(chart, width, height);
    let mut svg = String::new();
    let label = format!(
        "{}: {} against {}",
        chart.title, chart.y.label, chart.x.label
    );
    let _ = writeln!(
        svg,
        "<svg class=\"chart\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\">",
        frame.width,
        frame.height,
        escape(&label)
    );
    svg.push_str(style);
    heading(&mut svg, chart, &frame.legend);
    frame.grid(&mut svg, chart);
    for (n, series) in chart.series.iter().enumerate() {
        frame.series(&mut svg, n % STYLES, series);
    }
    svg.push_str("</svg>\n");
    svg
}

/// Title, and the legend under it.
fn heading(svg: &mut String, chart: &Chart, places: &[(f64, f64)]) {
    text(svg, (EDGE, 16.0), "class=\"title\"", &chart.title);
    for (n, (series, (x, y))) in chart.series.iter().zip(places).enumerate() {
        let class = n % STYLES;
        match series.mark {
            Mark::Points => sign(svg, class, (x + 9.0, *y)),
            mark => {
                let path = format!("M{x:.1} {y:.1}h18");
                line(svg, class, mark, &path);
            }
        }
        text(svg, (x + 24.0, y + 4.5), "", &series.name);
    }
}

/// Where each series stands in the legend: in lines, as many as it takes.
fn legend(series: &[Series], width: f64) -> Vec<(f64, f64)> {
    let (mut x, mut y) = (EDGE, 33.5);
    let places = series.iter().map(|series| {
        let own = 42.0 + CHARACTER * series.name.chars().count() as f64;
        if x > EDGE && x + own > width {
            (x, y) = (EDGE, y + LEGEND_LINE);
        }
        let place = (x, y);
        x += own;
        place
    });
    places.collect()
}

fn text(svg: &mut String, (x, y): (f64, f64), attributes: &str, words: &str) {
    let space = if attributes.is_empty() { "" } else { " " };
    let _ = writeln!(
        svg,
        "<text x=\"{x:.1}\" y=\"{y:.1}\"{space}{attributes}>{}</text>",
        escape(words)
    );
}

fn line(svg: &mut String, class: usize, mark: Mark, path: &str) {
    let dashes = if mark == Mark::Dashes { " dashes" } else { "" };
    let _ = writeln!(svg, "<path class=\"data s{class}{dashes}\" d=\"{path}\"/>");
}

/// Circle, cross, diamond or plus.
fn sign(svg: &mut String, class: usize, (x, y): (f64, f64)) {
    let shape = match class {
        0 => "m-4 0a4 4 0 1 0 8 0a4 4 0 1 0 -8 0",
        1 => "m-4 -4l8 8m0 -8l-8 8",
        2 => "m0 -5l5 5l-5 5l-5 -5z",
        _ => "m-5 0h10m-5 -5v10",
    };
    let _ = writeln!(
        svg,
        "<path class=\"data s{class}\" d=\"M{x:.1} {y:.1}{shape}\"/>"
    );
}

/// The drawing's size and axes.
struct Frame {
    width: f64,
    height: f64,
    /// From the top to where the drawing begins.
    above: f64,
    legend: Vec<(f64, f64)>,
    x: Span,
    y: Span,
}

impl Frame {
    fn new(chart: &Chart, width: f64, height: f64) -> Self {
        // Also for NaN.
        let width = width.max(SMALLEST.0);
        let legend = legend(&chart.series, width);
        let above = ABOVE + legend.last().map_or(0.0, |(_, y)| y - 16.0);
        let height = height.max(SMALLEST.1 + above);
        let ticks = (width / PER_TICK.0, height / PER_TICK.1);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few; a cast saturates"
        )]
        let (x, y) = chart.spans((ticks.0 as usize, ticks.1 as usize));
        Self {
            width,
            height,
            above,
            legend,
            x,
            y,
        }
    }

    /// From the left, of a place from 0 to 1.
    fn across(&self, place: f64) -> f64 {
        BESIDE + place * (self.width - BESIDE - RIGHT)
    }

    /// From the top.
    fn down(&self, place: f64) -> f64 {
        self.above + (1.0 - place) * (self.height - self.above - BELOW)
    }

    fn at(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        Some((self.across(self.x.place(x)?), self.down(self.y.place(y)?)))
    }

    fn grid(&self, svg: &mut String, chart: &Chart) {
        let (left, right) = (self.across(0.0), self.across(1.0));
        let (top, bottom) = (self.down(1.0), self.down(0.0));
        let mut lines = String::new();
        for (place, number) in self.x.ticks() {
            let x = self.across(place);
            let _ = write!(lines, "M{x:.1} {top:.1}V{bottom:.1}");
            text(svg, (x, bottom + 18.0), "text-anchor=\"middle\"", &number);
        }
        for (place, number) in self.y.ticks() {
            let y = self.down(place);
            let _ = write!(lines, "M{left:.1} {y:.1}H{right:.1}");
            text(svg, (left - 6.0, y + 4.5), "text-anchor=\"end\"", &number);
        }
        let _ = writeln!(svg, "<path class=\"grid\" d=\"{lines}\"/>");
        text(svg, (EDGE, top - 10.0), "", &chart.y.label);
        let middle = ((left + right) / 2.0, self.height - 8.0);
        text(svg, middle, "text-anchor=\"middle\"", &chart.x.label);
    }

    fn series(&self, svg: &mut String, class: usize, series: &Series) {
        if series.mark != Mark::Points {
            let path = self.path(&series.data);
            line(svg, class, series.mark, &path);
            return;
        }
        for datum in &series.data {
            let Some(place) = self.at(datum.x, datum.y) else {
                continue;
            };
            self.bar(svg, class, datum);
            sign(svg, class, place);
        }
    }

    /// A place that is missing breaks the line.
    fn path(&self, data: &[Datum]) -> String {
        let mut path = String::new();
        let mut pen = 'M';
        for datum in data {
            match self.at(datum.x, datum.y) {
                Some((x, y)) => {
                    let _ = write!(path, "{pen}{x:.1} {y:.1}");
                    pen = 'L';
                }
                None => pen = 'M',
            }
        }
        path
    }

    fn bar(&self, svg: &mut String, class: usize, datum: &Datum) {
        let ends = [datum.y - datum.half, datum.y + datum.half].map(|y| self.at(datum.x, y));
        if let [Some((x, low)), Some((_, high))] = ends
            && datum.half > 0.0
        {
            let path = format!("M{x:.1} {low:.1}V{high:.1}");
            line(svg, class, Mark::Line, &path);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::testing::example;
    use proptest::prelude::*;

    #[test]
    fn a_chart_scales_is_described_and_asks_for_nothing() {
        let svg = file(&example(), 480.0, 320.0);
        assert!(svg.starts_with("<svg class=\"chart\" xmlns="));
        assert!(svg.contains("viewBox=\"0 0 480 320\" role=\"img\""));
        assert!(svg.contains("aria-label=\"Resistance &lt;of&gt; &quot;a&quot; probe: resistance"));
        for never in ["script", "href", "url(", "@import", "NaN", "inf"] {
            assert!(!svg.contains(never), "{never}");
        }
        // Two points have a place, one of them a bar; the legend shows the sign and the line.
        assert_eq!(svg.matches("<path class=\"data s1\"").count(), 2 + 1 + 1);
        assert_eq!(svg.matches("<path class=\"data s0\"").count(), 1 + 1);
    }

    #[test]
    fn a_long_legend_takes_another_line() {
        let long = |name: &str| Series::new(name.repeat(6), Mark::Points, []);
        let places = legend(&[long("left"), long("right"), long("deep")], 480.0);
        assert_eq!(places[0].1, places[1].1);
        assert_eq!(places[2], (EDGE, places[0].1 + LEGEND_LINE));
    }

    #[test]
    fn a_missing_value_breaks_the_line() {
        let mut chart = example();
        chart.series[0].data[10].y = f64::NAN;
        let svg = draw(&chart, 480.0, 320.0);
        let curve = svg.lines().rfind(|line| line.contains("data s0"));
        assert_eq!(curve.map_or(0, |curve| curve.matches('M').count()), 2);
    }

    #[test]
    fn what_people_write_stays_text() {
        assert_eq!(
            escape("<b>'\"&\u{0}\u{202e}°"),
            "&lt;b&gt;&#39;&quot;&amp;\u{fffd}\u{fffd}°"
        );
    }

    proptest! {
        #[test]
        fn no_chart_panics_or_writes_what_is_no_number(
            data in prop::collection::vec((any::<f64>(), any::<f64>()), 0..6),
            (width, height) in (any::<f64>(), any::<f64>()),
            mark in prop::sample::select(vec![Mark::Line, Mark::Dashes, Mark::Points]),
        ) {
            let mut chart = example();
            chart.series.push(Series::new("chance", mark, data));
            let svg = draw(&chart, width.clamp(0.0, 1e4), height.clamp(0.0, 1e4));
            prop_assert!(!svg.contains("NaN") && !svg.contains("inf"));
        }
    }
}
