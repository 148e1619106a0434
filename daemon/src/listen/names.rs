//! Names for channels and probes, made from whatever a board calls its fields.

use std::collections::BTreeSet;

/// Longest name that is made, characters: it goes into topics and tables.
const LONGEST: usize = 32;

/// The names that were given so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Taken(BTreeSet<String>);

impl Taken {
    /// A name near `wanted`, of letters, digits, `_` and `-`, that was not given before; near
    /// `instead` where nothing of `wanted` can stay.
    pub(super) fn name(&mut self, wanted: &str, instead: &str) -> String {
        let base = match plain(wanted) {
            name if name.is_empty() => instead.to_owned(),
            name => name,
        };
        let name = if self.0.contains(&base) {
            let numbered = (2..).map(|n| format!("{base}-{n}"));
            let free = numbered.into_iter().find(|name| !self.0.contains(name));
            free.unwrap_or_default()
        } else {
            base
        };
        self.0.insert(name.clone());
        name
    }
}

/// Letters, digits, `_` and `-` stay, all else becomes one `-`; at the ends it is left out.
fn plain(wanted: &str) -> String {
    let mut name = String::new();
    for c in wanted.chars() {
        let fits = c.is_ascii_alphanumeric() || c == '_';
        if fits {
            name.push(c);
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
    }
    let name: String = name.chars().take(LONGEST).collect();
    let name = name.trim_matches('-');
    // A column of this name is one that nobody needs.
    if name == "_" {
        String::new()
    } else {
        name.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stay_near_what_the_board_says_and_are_given_once() {
        let mut taken = Taken::default();
        let table = [
            ("a0", "a0"),
            ("adc.a0", "adc-a0"),
            ("a0", "a0-2"),
            ("Licht (°)", "Licht"),
            ("°", "c4"),
            ("_", "c4-2"),
            ("", "c4-3"),
        ];
        for (wanted, expected) in table {
            assert_eq!(taken.name(wanted, "c4"), expected, "{wanted}");
        }
    }
}
