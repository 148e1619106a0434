//! Topics: templates filled in with names, and the standard's rule for what a topic name is.
//!
//! Which placeholders a topic may hold is checked with the configuration; here a placeholder that
//! has nothing to stand for is an error, never published as it stands.

use crate::config::Template;

/// What a template's placeholders stand for; `None` where the message knows no such thing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Names<'a> {
    /// `{site}`
    pub site: &'a str,
    /// `{board}`
    pub board: Option<&'a str>,
    /// `{probe}`
    pub probe: Option<&'a str>,
    /// `{alarm}`
    pub alarm: Option<&'a str>,
}

/// Why a template gives no topic for a message.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unusable {
    /// A placeholder that is unknown, or that this kind of message has no name for.
    #[error(
        "topic `{template}`: nothing to put in for `{{{placeholder}}}` in this kind of message"
    )]
    Placeholder {
        /// The template.
        template: String,
        /// The placeholder's name without its braces.
        placeholder: String,
    },
    /// What came out is no topic name by MQTT 3.1.1, 4.7.
    #[error(
        "topic `{}` cannot be published to: it needs 1 to {MAX_NAME_BYTES} bytes and none of `+`, `#` and NUL",
        shorten(.0)
    )]
    Name(String),
}

/// OASIS MQTT 3.1.1, 4.7.3: topic names are UTF-8 strings of at most 65535 bytes.
pub const MAX_NAME_BYTES: usize = 65_535;

/// Whether a message can be published to this name (OASIS MQTT 3.1.1, 4.7.1-1, 4.7.3-1 to 4.7.3-3).
#[must_use]
pub fn is_valid_name(name: &str) -> bool {
    (1..=MAX_NAME_BYTES).contains(&name.len()) && !name.contains(['+', '#', '\0'])
}

/// Puts the names in, in one pass: braces inside a name are left alone.
///
/// # Errors
/// [`Unusable`] where a placeholder has no name, or the result is no topic name.
pub fn fill(template: &Template, names: Names<'_>) -> Result<String, Unusable> {
    let mut topic = String::with_capacity(template.0.len());
    let mut rest = template.0.as_str();
    while let Some((before, placeholder, after)) = next_placeholder(rest) {
        topic.push_str(before);
        topic.push_str(names.of(placeholder).ok_or_else(|| Unusable::Placeholder {
            template: template.0.clone(),
            placeholder: placeholder.to_owned(),
        })?);
        rest = after;
    }
    topic.push_str(rest);
    if is_valid_name(&topic) {
        Ok(topic)
    } else {
        Err(Unusable::Name(topic))
    }
}

impl<'a> Names<'a> {
    fn of(self, placeholder: &str) -> Option<&'a str> {
        match placeholder {
            "site" => Some(self.site),
            "board" => self.board,
            "probe" => self.probe,
            "alarm" => self.alarm,
            _ => None,
        }
    }
}

fn next_placeholder(text: &str) -> Option<(&str, &str, &str)> {
    let (before, opened) = text.split_once('{')?;
    let (placeholder, after) = opened.split_once('}')?;
    Some((before, placeholder, after))
}

/// A topic of 65 kB helps nobody in a message.
fn shorten(topic: &str) -> String {
    const SHOWN: usize = 80;
    let mut letters = topic.chars();
    let mut shown: String = letters.by_ref().take(SHOWN).collect();
    if letters.next().is_some() {
        shown.push('…');
    }
    shown.replace('\0', "\\0")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn filled(template: &str) -> Result<String, String> {
        let names = Names {
            site: "cellar",
            board: Some("bench"),
            probe: Some("mash"),
            alarm: None,
        };
        fill(&Template(template.to_owned()), names).map_err(|problem| problem.to_string())
    }

    #[test]
    fn placeholders_are_filled_in_wherever_they_stand() {
        assert_eq!(
            filled("{site}/{probe}/reading").unwrap(),
            "cellar/mash/reading"
        );
        assert_eq!(filled("{site}{board}/x}").unwrap(), "cellarbench/x}");
        assert_eq!(filled("plain {open").unwrap(), "plain {open");
    }

    #[test]
    fn a_placeholder_without_a_name_is_an_error() {
        assert_eq!(
            filled("{site}/{alarm}").unwrap_err(),
            "topic `{site}/{alarm}`: nothing to put in for `{alarm}` in this kind of message"
        );
        assert!(filled("{sight}/a").unwrap_err().contains("`{sight}`"));
    }

    #[test]
    fn a_template_that_gives_no_topic_name_is_an_error() {
        assert!(
            filled("{site}/#")
                .unwrap_err()
                .starts_with("topic `cellar/#` cannot be published")
        );
        let long = filled(&"x".repeat(MAX_NAME_BYTES + 1)).unwrap_err();
        assert!(long.len() < 400, "{long}");
    }

    /// Source: the file's first line; OASIS MQTT 3.1.1, 4.7. A filter without a wildcard is valid
    /// exactly where the same name is; one with a wildcard is never a name.
    #[test]
    fn names_are_judged_as_the_standard_does() {
        let table = include_str!("../../../tests/published/mqtt_filter_validity.csv");
        let rows: Vec<_> = table.lines().filter(|line| line.starts_with('"')).collect();
        assert_eq!(rows.len(), 13);
        for row in rows {
            let (quoted, rest) = row[1..].split_once('"').unwrap();
            let filter = quoted.replace("\\u0000", "\0");
            let valid = rest.starts_with(",true") && !filter.contains(['+', '#']);
            assert_eq!(is_valid_name(&filter), valid, "{row}");
        }
    }

    #[test]
    fn the_length_limit_counts_bytes() {
        assert!(is_valid_name(&"x".repeat(MAX_NAME_BYTES)));
        assert!(!is_valid_name(&"x".repeat(MAX_NAME_BYTES + 1)));
        assert!(!is_valid_name(&"é".repeat(MAX_NAME_BYTES / 2 + 1)));
    }

    proptest! {
        #[test]
        fn names_with_braces_are_never_filled_in_again(probe in "[{}a-z]{0,12}") {
            let names = Names { site: "s", probe: Some(&probe), ..Names::default() };
            let topic = fill(&Template("{site}/{probe}".to_owned()), names).unwrap();
            prop_assert_eq!(topic, format!("s/{}", probe));
        }
    }
}
