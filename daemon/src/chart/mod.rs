//! Lines and points on two axes: as text for a terminal, as SVG for a page.
//!
//! Knows nothing of probes. What is no finite number, or not above zero on a logarithmic axis, is left
//! out; nothing here fails.

mod axis;
pub mod svg;
pub mod terminal;

use axis::Span;
pub use axis::{Axis, Scale};

/// A chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// What it shows, in a few words.
    pub title: String,
    /// To the right.
    pub x: Axis,
    /// Upwards.
    pub y: Axis,
    /// Drawn in this order.
    pub series: Vec<Series>,
}

/// Data that belong together.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// What they are, for the legend.
    pub name: String,
    /// How they are drawn.
    pub mark: Mark,
    /// In the order in which a line goes through them.
    pub data: Vec<Datum>,
}

/// How a series is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// A line through all.
    Line,
    /// A broken line: limits.
    Dashes,
    /// A sign at each.
    Points,
}

/// One place in a chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Datum {
    /// On the x axis.
    pub x: f64,
    /// On the y axis.
    pub y: f64,
    /// Half the length of an upright bar through it, in the unit of y; 0 for none.
    pub half: f64,
}

impl Datum {
    /// A place without a bar.
    #[must_use]
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y, half: 0.0 }
    }
}

impl Series {
    /// A series of places without bars.
    #[must_use]
    pub fn new(
        name: impl Into<String>,
        mark: Mark,
        data: impl IntoIterator<Item = (f64, f64)>,
    ) -> Self {
        Self {
            name: name.into(),
            mark,
            data: data.into_iter().map(|(x, y)| Datum::new(x, y)).collect(),
        }
    }
}

impl Chart {
    /// What each axis must hold, widened to whole ticks of which there are about so many.
    fn spans(&self, ticks: (usize, usize)) -> (Span, Span) {
        let data = || self.series.iter().flat_map(|series| &series.data);
        let xs = data().map(|datum| datum.x);
        let ys = data().flat_map(|datum| [datum.y - datum.half, datum.y, datum.y + datum.half]);
        (
            Span::over(xs, self.x.scale, ticks.0),
            Span::over(ys, self.y.scale, ticks.1),
        )
    }
}

#[cfg(test)]
mod testing {
    //! A chart for tests. Invented.
    use super::*;

    pub(super) fn example() -> Chart {
        let curve = (0..=20).map(|n| f64::from(n) * 5.0);
        Chart {
            title: "Resistance <of> \"a\" probe".to_owned(),
            x: Axis::linear("temperature, Cel"),
            y: Axis::logarithmic("resistance, Ohm"),
            series: vec![
                Series::new(
                    "curve",
                    Mark::Line,
                    curve.map(|t| (t, 32_000.0 * (-t / 30.0).exp())),
                ),
                Series {
                    name: "points".to_owned(),
                    mark: Mark::Points,
                    data: vec![
                        Datum {
                            x: 0.0,
                            y: 32_000.0,
                            half: 4000.0,
                        },
                        Datum::new(40.0, 8500.0),
                        Datum::new(f64::NAN, -1.0),
                    ],
                },
            ],
        }
    }
}
