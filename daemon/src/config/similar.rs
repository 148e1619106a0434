//! Finds the name that was probably meant.

/// The candidate nearest to `name`, where it is near enough to be worth saying.
///
/// At most one edit for each three characters, at least one: `dead_band` finds `deadband`,
/// `qos` does not find `url`. Capital letters and `-` for `_` cost nothing.
pub(super) fn similar<'a>(
    name: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let name = folded(name);
    let limit = (name.len() / 3).max(1);
    candidates
        .into_iter()
        .map(|candidate| (distance(&name, &folded(candidate)), candidate))
        .filter(|(distance, candidate)| *distance <= limit && *distance < candidate.len())
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// Names longer than this are cut: the cost of a comparison is bounded, whatever the file holds.
const LONGEST: usize = 64;

fn folded(name: &str) -> Vec<char> {
    name.chars()
        .take(LONGEST)
        .map(|c| {
            if c == '-' {
                '_'
            } else {
                c.to_ascii_lowercase()
            }
        })
        .collect()
}

/// Edits (insert, delete, replace, swap neighbours) from one to the other: the optimal string
/// alignment distance.
fn distance(a: &[char], b: &[char]) -> usize {
    let mut before_last: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, from) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, to) in b.iter().enumerate() {
            let replaced = last[j] + usize::from(from != to);
            let mut best = replaced.min(last[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && *from == b[j - 1] && a[i - 1] == *to {
                best = best.min(before_last[j - 1] + 1);
            }
            row.push(best);
        }
        before_last = last;
        last = row;
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn between(a: &str, b: &str) -> usize {
        distance(&folded(a), &folded(b))
    }

    #[test]
    fn edits_are_counted() {
        for (a, b, expected) in [
            ("", "", 0),
            ("", "abc", 3),
            ("kitten", "sitting", 3),
            ("baud", "buad", 1),
            ("Baud", "baud", 0),
            ("probe-side", "probe_side", 0),
        ] {
            assert_eq!(between(a, b), expected, "{a} {b}");
        }
    }

    #[test]
    fn only_near_names_are_proposed() {
        let keys = ["deadband", "limit", "on_delay", "off_delay"];
        for (name, expected) in [
            ("dead_band", Some("deadband")),
            ("limits", Some("limit")),
            ("ondelay", Some("on_delay")),
            ("colour", None),
            ("x", None),
            ("", None),
        ] {
            assert_eq!(similar(name, keys), expected, "{name}");
        }
    }

    proptest! {
        #[test]
        fn distance_is_symmetric_and_never_more_than_the_longer(a in ".{0,12}", b in ".{0,12}") {
            let longer = folded(&a).len().max(folded(&b).len());
            prop_assert_eq!(between(&a, &b), between(&b, &a));
            prop_assert!(between(&a, &b) <= longer);
        }
    }
}
