//! The line under all arrivals: how the board's time lies against the host's.
//!
//! Of the straight lines that no arrival lies below, the one that is nearest to all of them on
//! average is the edge of the lower convex hull over the mean of the board's times. Source: S. B.
//! Moon, P. Skelly, D. Towsley, "Estimation and removal of clock skew from network delay
//! measurements", IEEE INFOCOM 1999, the linear programme of its section 4 (from memory). Its slope
//! is the drift, its height the offset. It follows a crystal that warms up since only the last
//! quarter of an hour counts; that is kept in pieces, so that forgetting costs little.

use std::collections::VecDeque;

/// Pieces that are kept beside the one under way.
const PIECES: usize = 16;

/// A piece lasts this long by the board's clock, nanoseconds, …
const PIECE_NS: f64 = 60e9;

/// … and where fewer lines than this came, longer, …
const PIECE_LINES: u64 = 4;

/// … up to this, so that a slow board's crystal is followed too.
const LONGEST_PIECE_NS: f64 = 600e9;

/// No oscillator is off by more, as a share: the RC oscillator of a small controller is off by a
/// tenth (common practice). A steeper line goes through lines that had been held back together.
const STEEPEST: f64 = 0.2;

/// Before a piece is full the slope is that of a few lines; more than this, which a ceramic resonator
/// keeps with ease (common practice), shows their delays.
const STEEPEST_AT_FIRST: f64 = 0.01;

/// Fewer lines have any slope.
const FEWEST_FOR_SLOPE: u64 = 10;

/// One line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    /// The board's time, nanoseconds.
    pub(super) board_ns: f64,
    /// Arrival less board's time, nanoseconds.
    pub(super) behind_ns: f64,
}

/// The arrivals of the last quarter of an hour.
#[derive(Clone, Debug, Default)]
pub(super) struct Envelope {
    pieces: VecDeque<Piece>,
    sums: Sums,
    hull: Hull,
}

#[derive(Clone, Debug, Default)]
struct Piece {
    began_ns: f64,
    sums: Sums,
    hull: Hull,
}

#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    lines: u64,
    board_ns: f64,
    behind_ns: f64,
}

impl Envelope {
    /// Takes a line that is not before the last one by the board's clock.
    pub(super) fn push(&mut self, point: Point) {
        if self.pieces.back().is_none_or(|piece| piece.is_full(point)) {
            self.open_piece(point);
        }
        if let Some(piece) = self.pieces.back_mut() {
            piece.hull.push(point);
            piece.sums.add(point);
        }
        self.hull.push(point);
        self.sums.add(point);
    }

    /// Lines that count.
    pub(super) fn lines(&self) -> u64 {
        self.sums.lines
    }

    /// How much later than the line a point is, nanoseconds; negative for earlier. `None` where all
    /// lines are of one moment.
    pub(super) fn delay_ns(&self, point: Point) -> Option<f64> {
        let (low, slope) = self.edge()?;
        Some(point.behind_ns - low.behind_ns - slope * (point.board_ns - low.board_ns))
    }

    /// Mean of how much later than the line all are, nanoseconds.
    pub(super) fn mean_delay_ns(&self) -> Option<f64> {
        self.delay_ns(self.sums.mean()?).map(|mean| mean.max(0.0))
    }

    /// How late the earliest line of a quarter of them is, in the worst of the quarters, nanoseconds.
    /// Next to nothing where each quarter has its lines in time; much where delays change so slowly
    /// that whole quarters are late. The piece under way does not count: it may be a single line.
    pub(super) fn slow_delay_ns(&self) -> f64 {
        let done = self.pieces.len().saturating_sub(1);
        let quarter = done.div_ceil(4).max(1);
        let earliest = |from: usize| {
            let pieces = self.pieces.range(from..done.min(from + quarter));
            let points = pieces.flat_map(|piece| &piece.hull.0);
            let delays = points.filter_map(|point| self.delay_ns(*point));
            delays.fold(f64::INFINITY, f64::min)
        };
        let quarters = (0..done).step_by(quarter).map(earliest);
        quarters.filter(|ns| ns.is_finite()).fold(0.0, f64::max)
    }

    /// The line's slope: host's time less board's, over the board's.
    pub(super) fn slope(&self) -> Option<f64> {
        self.edge().map(|(_, slope)| slope)
    }

    /// Whether the lines are no clock's: the first ones had been held back together.
    pub(super) fn is_impossible(&self) -> bool {
        let slope = self.slope().filter(|_| self.sums.lines >= FEWEST_FOR_SLOPE);
        slope.is_some_and(|slope| slope.abs() > STEEPEST)
    }

    /// Whether the slope can be that of an oscillator.
    pub(super) fn is_steady(&self) -> bool {
        let steepest = if self.pieces.len() > 1 {
            STEEPEST
        } else {
            STEEPEST_AT_FIRST
        };
        self.slope().is_some_and(|slope| slope.abs() <= steepest)
    }

    fn edge(&self) -> Option<(Point, f64)> {
        self.hull.edge_over(self.sums.mean()?.board_ns)
    }

    fn open_piece(&mut self, point: Point) {
        if self.pieces.len() > PIECES {
            self.pieces.pop_front();
            self.rebuild();
        }
        self.pieces.push_back(Piece {
            began_ns: point.board_ns,
            ..Piece::default()
        });
    }

    fn rebuild(&mut self) {
        self.hull = Hull::default();
        self.sums = Sums::default();
        for piece in &self.pieces {
            piece.hull.0.iter().for_each(|point| self.hull.push(*point));
            self.sums.join(piece.sums);
        }
    }
}

impl Piece {
    fn is_full(&self, next: Point) -> bool {
        let lasted_ns = next.board_ns - self.began_ns;
        let enough = lasted_ns >= PIECE_NS && self.sums.lines >= PIECE_LINES;
        enough || lasted_ns >= LONGEST_PIECE_NS
    }
}

impl Sums {
    fn add(&mut self, point: Point) {
        self.join(Self {
            lines: 1,
            board_ns: point.board_ns,
            behind_ns: point.behind_ns,
        });
    }

    fn join(&mut self, other: Self) {
        self.lines += other.lines;
        self.board_ns += other.board_ns;
        self.behind_ns += other.behind_ns;
    }

    fn mean(self) -> Option<Point> {
        let lines = self.lines as f64;
        (self.lines > 0).then(|| Point {
            board_ns: self.board_ns / lines,
            behind_ns: self.behind_ns / lines,
        })
    }
}

/// A lower convex hull, left to right.
///
/// Source: A. M. Andrew, "Another efficient algorithm for convex hulls in two dimensions",
/// Information Processing Letters 9 (1979) 216-219.
#[derive(Clone, Debug, Default)]
struct Hull(Vec<Point>);

impl Hull {
    /// Takes a point that is not left of the last one.
    fn push(&mut self, point: Point) {
        while let Some(last) = self.0.last() {
            let is_above = match self.0.len().checked_sub(2).and_then(|at| self.0.get(at)) {
                Some(before) => !turns_up(*before, *last, point),
                None => false,
            };
            let hides = last.board_ns >= point.board_ns && last.behind_ns >= point.behind_ns;
            if !is_above && !hides {
                break;
            }
            self.0.pop();
        }
        let is_hidden = self
            .0
            .last()
            .is_some_and(|last| last.board_ns >= point.board_ns);
        if !is_hidden {
            self.0.push(point);
        }
    }

    /// The edge over a place: its left end and its slope.
    fn edge_over(&self, board_ns: f64) -> Option<(Point, f64)> {
        let right = self.0.partition_point(|point| point.board_ns < board_ns);
        let right = right.clamp(1, self.0.len().saturating_sub(1).max(1));
        let (low, high) = (self.0.get(right - 1)?, self.0.get(right)?);
        let slope = (high.behind_ns - low.behind_ns) / (high.board_ns - low.board_ns);
        slope.is_finite().then_some((*low, slope))
    }
}

/// Whether the way from `a` over `b` to `c` turns upwards at `b`.
fn turns_up(a: Point, b: Point, c: Point) -> bool {
    (b.behind_ns - a.behind_ns) * (c.board_ns - b.board_ns)
        < (c.behind_ns - b.behind_ns) * (b.board_ns - a.board_ns)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point((board, behind): (u32, u32)) -> Point {
        Point {
            board_ns: f64::from(board),
            behind_ns: f64::from(behind),
        }
    }

    #[test]
    fn the_edge_under_the_middle_is_the_line() {
        // Behind by 100 and a tenth of the board's time; two of five are late by 30 and 40.
        let mut envelope = Envelope::default();
        for at in [(0, 100), (10, 131), (20, 102), (30, 143), (40, 104)] {
            envelope.push(point(at));
        }
        assert!((envelope.slope().unwrap() - 0.1).abs() < 1e-12);
        let late = envelope.delay_ns(point((30, 143))).unwrap();
        assert!((late - 40.0).abs() < 1e-9, "{late}");
        let mean = envelope.mean_delay_ns().unwrap();
        assert!((mean - (30.0 + 40.0) / 5.0).abs() < 1e-9, "{mean}");
    }

    #[test]
    fn lines_of_one_moment_say_nothing() {
        let mut envelope = Envelope::default();
        for behind in [5, 3, 9] {
            envelope.push(point((7, behind)));
        }
        assert_eq!(envelope.slope(), None);
        assert_eq!(envelope.hull.0, [point((7, 3))]);
    }

    #[test]
    fn what_is_old_is_forgotten() {
        let mut envelope = Envelope::default();
        let at = |second: u32, behind: f64| Point {
            board_ns: f64::from(second) * 1e9,
            behind_ns: behind,
        };
        envelope.push(at(0, 0.0));
        (1..1200).for_each(|second| envelope.push(at(second, 1e6)));
        assert!(envelope.delay_ns(at(1200, 1e6)).unwrap().abs() < 1.0);
        assert!(envelope.lines() <= 17 * 60 + 1);
        assert!(envelope.hull.0.len() < 10);
    }

    proptest! {
        #[test]
        fn no_arrival_lies_below_the_line(
            steps in proptest::collection::vec((0_u32..1000, 0_u32..100_000), 2..80),
        ) {
            let mut envelope = Envelope::default();
            let mut board = 0;
            let mut points = Vec::new();
            for (by, behind) in steps {
                board += by;
                points.push(point((board, behind)));
                envelope.push(point((board, behind)));
            }
            for point in points {
                if let Some(delay) = envelope.delay_ns(point) {
                    prop_assert!(delay >= -1e-6, "{delay}");
                }
            }
        }
    }
}
