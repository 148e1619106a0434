//! Topic filters: what a board's lines are subscribed to, and what they would match.
//!
//! Source of the rules: OASIS MQTT 3.1.1, clauses 4.7.1 to 4.7.3.

use super::item::{Item, Value};
use super::problem::Fault;

/// Longest topic filter, bytes (4.7.3).
const LONGEST: usize = 65_535;

/// Reads a topic filter.
pub(super) fn read(item: &Item<'_>) -> Value<String> {
    let text = item.text()?;
    item.accept(check(text))?;
    Some(text.to_owned())
}

/// Whether a message on `topic` comes to a subscriber of `filter`; both are taken as valid.
pub(super) fn matches(filter: &str, topic: &str) -> bool {
    // 4.7.2: a wildcard in the first place matches no topic of the broker's own.
    if topic.starts_with('$') && filter.starts_with(['+', '#']) {
        return false;
    }
    let mut levels = topic.split('/');
    for wanted in filter.split('/') {
        match (wanted, levels.next()) {
            ("#", _) => return true,
            ("+", Some(_)) => {}
            (wanted, Some(level)) if wanted == level => {}
            _ => return false,
        }
    }
    levels.next().is_none()
}

fn check(text: &str) -> Result<(), Fault> {
    if text.is_empty() {
        let what = "the topic is empty";
        return Err(Fault::new(what, "a topic has at least one character"));
    }
    if text.len() > LONGEST {
        let what = format!("the topic has {} bytes", text.len());
        return Err(Fault::new(what, format!("MQTT takes {LONGEST} at most")));
    }
    if text.contains('\0') {
        return Err(Fault::new("a topic holds no NUL", "remove it"));
    }
    let levels: Vec<&str> = text.split('/').collect();
    let last = levels.len() - 1;
    for (at, level) in levels.iter().enumerate() {
        check_level(level, at == last)?;
    }
    Ok(())
}

fn check_level(level: &str, is_last: bool) -> Result<(), Fault> {
    if level.contains('#') && (level != "#" || !is_last) {
        return Err(Fault::new(
            "`#` stands alone, and only at the end of a topic",
            "write it as `boards/#`, or `+` for one level",
        ));
    }
    if level.contains('+') && level != "+" {
        return Err(Fault::new(
            "`+` stands for a whole level of a topic",
            "write it alone between two `/`: `boards/+/line`",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Source: tests/published/mqtt_filter_validity.csv, with its own source in its first line.
    #[test]
    fn filters_are_valid_as_the_standard_says() {
        let table = include_str!("../../tests/published/mqtt_filter_validity.csv");
        let mut checked = 0;
        for line in table.lines().filter(|line| line.starts_with('"')) {
            let (filter, rest) = line[1..].split_once("\",").unwrap_or_default();
            let filter = filter.replace("\\u0000", "\0");
            assert_eq!(
                check(&filter).is_ok(),
                rest.starts_with("true"),
                "{filter:?}"
            );
            checked += 1;
        }
        assert_eq!(checked, 13);
    }

    /// Source: OASIS MQTT 3.1.1, the examples in 4.7.1.2, 4.7.1.3 and 4.7.2 (from memory).
    #[test]
    fn filters_match_as_the_standards_examples_do() {
        for (filter, topic, expected) in [
            ("sport/tennis/player1/#", "sport/tennis/player1", true),
            (
                "sport/tennis/player1/#",
                "sport/tennis/player1/ranking",
                true,
            ),
            ("sport/#", "sport", true),
            ("sport/tennis/+", "sport/tennis/player1", true),
            ("sport/tennis/+", "sport/tennis/player1/ranking", false),
            ("sport/+", "sport", false),
            ("sport/+", "sport/", true),
            ("+/+", "/finance", true),
            ("/+", "/finance", true),
            ("+", "/finance", false),
            ("#", "$SYS/monitor", false),
            ("+/monitor", "$SYS/monitor", false),
            ("$SYS/#", "$SYS/monitor", true),
            ("a", "b", false),
        ] {
            assert_eq!(matches(filter, topic), expected, "{filter} {topic}");
        }
    }

    #[test]
    fn the_length_is_limited() {
        assert!(check(&"x".repeat(LONGEST)).is_ok());
        assert!(check(&"x".repeat(LONGEST + 1)).is_err());
    }

    proptest! {
        #[test]
        fn no_filter_panics(text in "\\PC{0,12}|[+#/$a]{0,12}", topic in "[a/$]{0,9}") {
            let _ = check(&text);
            let _ = matches(&text, &topic);
        }

        #[test]
        fn a_topic_matches_itself_and_everything(topic in "[a-z/]{1,12}") {
            prop_assert!(matches(&topic, &topic) && matches("#", &topic));
        }
    }
}
