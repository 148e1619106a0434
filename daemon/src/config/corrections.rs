//! `corrections` and `corrections_file` of a board or a channel: counts with what to add to them.

use super::files::Files;
use super::item::{Item, Value};
use super::problem::Fault;
use super::reader::Table;
use crate::measure::corrections::{Corrections, MOST_POINTS, Point, Unusable};
use std::ops::RangeInclusive;

/// Beyond 32 bits there is no converter.
const COUNTS: RangeInclusive<f64> = -4_294_967_296.0..=4_294_967_296.0;

/// The keys.
pub(super) const KEYS: &[&str] = &["corrections", "corrections_file"];

/// Reads the corrections of a table: `Some(None)` where it has none of its own. An empty list is
/// one, and corrects nothing.
pub(super) fn read(table: &Table<'_>, files: &Files<'_>) -> Value<Option<Corrections>> {
    let (list, file) = (table.item("corrections"), table.item("corrections_file"));
    match (list, file) {
        (None, None) => Some(None),
        (Some(list), None) => in_list(&list).map(Some),
        (None, Some(file)) => in_file(&file, files).map(Some),
        (Some(_), Some(file)) => {
            let what = "there are `corrections` beside `corrections_file`";
            file.refuse_key(Fault::new(what, "remove one of them"));
            None
        }
    }
}

fn in_list(item: &Item<'_>) -> Value<Corrections> {
    let example = "corrections = [[512, -3], [1536, -2.5]]";
    let points = item.each("a list of pairs", example, |pair| {
        let numbers = pair.each("a list of pairs", example, |item| item.number(COUNTS))?;
        match numbers[..] {
            [count, correction] => Some(Point { count, correction }),
            _ => pair.refuse(Fault::new(
                format!("{} numbers are no pair", numbers.len()),
                "write a count and what to add to it: `[512, -3]`",
            )),
        }
    })?;
    item.accept(Corrections::new(&points).map_err(|why| unusable(why, &why.to_string())))
}

fn in_file(item: &Item<'_>, files: &Files<'_>) -> Value<Corrections> {
    let path = item.path(files.base())?;
    let shown = path.display();
    let text = files.read(&path).map_err(|why| {
        let what = format!("`{shown}` cannot be read: {why}");
        Fault::new(what, "check the path, the file's owner and mode")
    });
    let text = item.accept(text)?;
    item.accept(points(&text).map_err(|(what, right)| {
        let what = format!("`{shown}`: {what}");
        Fault::new(what, right)
    }))
}

type Wrong = (String, String);

/// `count,correction` a line; `#` remarks, empty lines and a header in words are passed over.
fn points(text: &str) -> Result<Corrections, Wrong> {
    let (mut points, mut lines) = (Vec::new(), Vec::new());
    for (number, line) in (1..).zip(text.lines()) {
        let line = line.trim();
        let is_header = points.is_empty() && line.starts_with(|c: char| c.is_alphabetic());
        if line.is_empty() || line.starts_with('#') || is_header {
            continue;
        }
        points.push(point(line).ok_or_else(|| {
            let what = format!("line {number} is no pair of numbers");
            (
                what,
                "write `count,correction`, such as `512,-3`".to_owned(),
            )
        })?);
        lines.push(number);
    }
    Corrections::new(&points).map_err(|why| {
        let place = why.place().and_then(|place| lines.get(place - 1));
        let what = place.map_or(why.to_string(), |line| format!("line {line}: {why}"));
        let Fault { what, right } = unusable(why, &what);
        (what, right)
    })
}

fn point(line: &str) -> Option<Point> {
    let (count, correction) = line.split_once(',')?;
    let number = |text: &str| {
        let number: f64 = text.trim().parse().ok()?;
        COUNTS.contains(&number).then_some(number)
    };
    Some(Point {
        count: number(count)?,
        correction: number(correction)?,
    })
}

fn unusable(why: Unusable, what: &str) -> Fault {
    let right = match why {
        Unusable::TooMany(_) => format!("leave out some: {MOST_POINTS} are the most"),
        Unusable::NotFinite(_) => "write two plain numbers".to_owned(),
        Unusable::NotIncreasing(_) => "order the points by their counts".to_owned(),
        Unusable::FoldsBack(_) => {
            "two counts would mean the same; correct the point, or leave it out".to_owned()
        }
    };
    Fault::new(what, right)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn wrong(text: &str) -> String {
        let (what, right) = points(text).unwrap_err();
        format!("{what}; {right}")
    }

    #[test]
    fn a_file_of_points_may_have_remarks_and_a_header() {
        let text = "# board 3, beside a 16-bit converter\ncount,correction\n512, -3\n\n1536,-2.5\n";
        let corrections = points(text).unwrap();
        assert!((corrections.correct(1024.0) - 1021.25).abs() < 1e-12);
        assert!(points("").unwrap().is_empty());
    }

    #[test]
    fn what_is_wrong_in_a_file_is_told_with_its_line() {
        insta::assert_snapshot!(wrong("512,-3\n1536;2\n"), @"line 2 is no pair of numbers; write `count,correction`, such as `512,-3`");
        insta::assert_snapshot!(wrong("# x\n512,-3\n512,-2\n"), @"line 3: the count of point 2 is not above the one before; order the points by their counts");
        insta::assert_snapshot!(wrong("512,-3\n514,-9\n"), @"line 2: the corrected count of point 2 is not above the one before; two counts would mean the same; correct the point, or leave it out");
        assert!(wrong("1,inf\n").starts_with("line 1"));
        assert!(wrong("5,5\ncount,correction\n").starts_with("line 2"));
    }
}
