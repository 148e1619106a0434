//! A small curve in plain characters, 78 columns wide: no colours, no terminal.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::symbols::Marker;
use ratatui::widgets::{Axis, Chart, Dataset, GraphType, Widget};

const AREA: Rect = Rect::new(0, 0, 78, 14);

/// The curve through these points, with a title and the ends of both axes. The scale of y begins at
/// 0, since a step of nothing would be best.
pub(super) fn curve(
    title: &str,
    points: &[(f64, f64)],
    labels: impl Fn(f64) -> [String; 2],
) -> String {
    let (first, last) = match points {
        [first, .., last] => (first.0, last.0),
        _ => return String::new(),
    };
    let top = points.iter().map(|point| point.1).fold(0.0, f64::max) * 1.05;
    let y = |share: f64| labels(top * share)[1].clone();
    let x = |value: f64| labels(value)[0].clone();
    let line = Dataset::default()
        .marker(Marker::Braille)
        .graph_type(GraphType::Line)
        .data(points);
    let (low, high) = (first.min(last), first.max(last));
    let across = [x(low), x(f64::midpoint(low, high)), x(high)];
    let chart = Chart::new(vec![line])
        .x_axis(Axis::default().bounds([low, high]).labels(across))
        .y_axis(
            Axis::default()
                .bounds([0.0, top])
                .labels([y(0.0), y(0.5), y(1.0)]),
        );
    let mut buffer = Buffer::empty(AREA);
    chart.render(AREA, &mut buffer);
    format!("{title}\n{}", text(&buffer))
}

/// The buffer's characters, line by line, without blanks at the ends.
fn text(buffer: &Buffer) -> String {
    let row = |y: u16| {
        let cells = (0..AREA.width).map(|x| buffer[(x, y)].symbol());
        format!("{}\n", cells.collect::<String>().trim_end())
    };
    (0..AREA.height).map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_has_its_title_its_axes_and_a_line() {
        let points: Vec<(f64, f64)> = (0..=40)
            .map(|x| (f64::from(x), 1.0 + f64::from(x)))
            .collect();
        let drawn = curve("rising", &points, |one| {
            [format!("{one} Cel"), format!("{one:.1}")]
        });
        assert!(drawn.starts_with("rising\n"), "{drawn}");
        for label in ["0 Cel", "20 Cel", "40 Cel", "43.1", "21.5"] {
            assert!(drawn.contains(label), "{label}: {drawn}");
        }
        let dots = drawn
            .chars()
            .filter(|one| ('\u{2801}'..='\u{28ff}').contains(one))
            .count();
        assert!(dots > 30, "{drawn}");
        assert!(drawn.lines().all(|line| line.chars().count() <= 78));
    }

    #[test]
    fn without_points_there_is_no_curve() {
        assert_eq!(curve("none", &[], |_| Default::default()), "");
    }
}
