//! What a site, board, channel, probe or outlet may be called.

use super::problem::Fault;

/// Longest name, bytes: topics and tags stay short.
const LONGEST: usize = 64;

/// A name as the whole program takes it: it goes into topics, tags and file names.
pub(super) fn name(what: &str, text: &str) -> Result<String, Fault> {
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '.' | '-');
    let right = "a name is made of letters A to Z and a to z, digits, `_`, `.` and `-`";
    if text.is_empty() {
        return Err(Fault::new(
            format!("the name of this {what} is empty"),
            right,
        ));
    }
    if text.len() > LONGEST {
        let right = format!("{LONGEST} characters at most");
        return Err(Fault::new(
            format!("the name of this {what} is too long"),
            right,
        ));
    }
    match text.chars().find(|c| !fits(*c)) {
        None => Ok(text.to_owned()),
        Some(c) => Err(Fault::new(
            format!("the name `{text}` contains {}", shown(c)),
            right,
        )),
    }
}

fn shown(c: char) -> String {
    match c {
        ' ' => "a space".to_owned(),
        c => format!("`{}`", c.escape_debug()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_what_topics_tags_and_files_can_hold() {
        for good in ["mash", "bath-left", "a.0", "_", &"x".repeat(LONGEST)] {
            assert_eq!(name("probe", good), Ok(good.to_owned()));
        }
        for bad in [
            "",
            "two words",
            "a/b",
            "a+b",
            "#",
            "é",
            "a\u{0}b",
            &"x".repeat(LONGEST + 1),
        ] {
            assert!(name("probe", bad).is_err(), "{bad}");
        }
    }
}
