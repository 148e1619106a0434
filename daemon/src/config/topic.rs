//! Topics of messages, with places in them that are filled in.

use super::item::{Item, Value};
use super::problem::Fault;
use super::similar::similar;
use super::words;

/// A topic with `{site}`, `{board}`, `{probe}`, `{alarm}` in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template(pub String);

/// Longest topic, bytes (MQTT 3.1.1, 4.7.3).
const LONGEST_TOPIC: usize = 65_535;

/// Room that is left for what is filled in: four names of 64 bytes each, and the braces are gone.
const ROOM_FOR_NAMES: usize = 256;

/// Reads a topic that may hold the places in `allowed`.
pub(super) fn read(item: &Item<'_>, allowed: &[&str]) -> Value<Template> {
    let text = item.text()?;
    item.accept(check(text, allowed))?;
    Some(Template(text.to_owned()))
}

/// The topic with its places filled in; a place without a value stays as it is.
pub(super) fn fill(template: &Template, values: &[(&str, &str)]) -> String {
    values
        .iter()
        .fold(template.0.clone(), |topic, (place, value)| {
            topic.replace(&format!("{{{place}}}"), value)
        })
}

fn check(text: &str, allowed: &[&str]) -> Result<(), Fault> {
    check_topic(text)?;
    let mut rest = text;
    while let Some(open) = rest.find(['{', '}']) {
        let inside = rest[open..].strip_prefix('{');
        let (place, after) = inside
            .and_then(|inside| inside.split_once('}'))
            .ok_or_else(|| unbalanced(text))?;
        if !allowed.contains(&place) {
            return Err(unknown(place, allowed));
        }
        rest = after;
    }
    Ok(())
}

/// What MQTT asks of a topic name (3.1.1, 4.7.1 to 4.7.3).
fn check_topic(text: &str) -> Result<(), Fault> {
    if text.is_empty() {
        return Err(Fault::new(
            "the topic is empty",
            "a topic has at least one character",
        ));
    }
    if text.len() + ROOM_FOR_NAMES > LONGEST_TOPIC {
        let what = format!("the topic has {} bytes", text.len());
        return Err(Fault::new(
            what,
            "MQTT takes 65535 at most, names filled in",
        ));
    }
    if text.starts_with('$') {
        let right = "begin it with another character";
        return Err(Fault::new(
            "topics that begin with `$` are the broker's own",
            right,
        ));
    }
    match text.chars().find(|c| matches!(c, '+' | '#' | '\0')) {
        None => Ok(()),
        Some(c) => Err(Fault::new(
            format!(
                "a topic that is published to cannot hold `{}`",
                c.escape_debug()
            ),
            "remove it; `+` and `#` are for those who subscribe",
        )),
    }
}

fn unbalanced(text: &str) -> Fault {
    Fault::new(
        format!("the braces in `{text}` do not go together"),
        "a place is written `{probe}`",
    )
}

fn unknown(place: &str, allowed: &[&str]) -> Fault {
    let right = match similar(place, allowed.iter().copied()) {
        Some(near) => format!("there is a place with a similar name: `{{{near}}}`"),
        None => {
            let places: Vec<String> = allowed.iter().map(|place| format!("{{{place}}}")).collect();
            let places: Vec<&str> = places.iter().map(String::as_str).collect();
            format!("the places of this topic are {}", words::list(&places))
        }
    };
    Fault::new(
        format!("nothing is known that could fill `{{{place}}}`"),
        right,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ALL: &[&str] = &["site", "board", "probe", "alarm"];

    /// Source: OASIS MQTT 3.1.1, 4.7.1 to 4.7.3 (typed from memory, agrees with paho-mqtt 2.2.0),
    /// validity of topic filters; a topic name must in addition hold neither `+` nor `#`.
    const FILTERS: &[(&str, bool)] = &[
        ("#", true),
        ("sport/tennis/#", true),
        ("sport/tennis#", false),
        ("sport/tennis/#/ranking", false),
        ("+", true),
        ("+/tennis/#", true),
        ("sport+", false),
        ("sport/+/player1", true),
        ("/finance", true),
        ("/", true),
        ("", false),
        ("a\u{0}b", false),
        ("Accounts payable", true),
    ];

    #[test]
    fn a_topic_name_is_a_valid_filter_without_wildcards() {
        for (filter, valid) in FILTERS {
            let expected = *valid && !filter.contains(['+', '#']);
            assert_eq!(check(filter, ALL).is_ok(), expected, "{filter:?}");
        }
    }

    #[test]
    fn the_length_is_limited_with_names_filled_in() {
        assert!(check(&"x".repeat(LONGEST_TOPIC - ROOM_FOR_NAMES), ALL).is_ok());
        assert!(check(&"x".repeat(LONGEST_TOPIC), ALL).is_err());
    }

    #[test]
    fn places_must_be_known_and_closed() {
        for (topic, good) in [
            ("{site}/{probe}", true),
            ("{site}/{prob}", false),
            ("{site}/{alarm}", false),
            ("{site", false),
            ("site}", false),
            ("{{site}}", false),
            ("{}", false),
        ] {
            assert_eq!(check(topic, &["site", "probe"]).is_ok(), good, "{topic}");
        }
    }

    #[test]
    fn places_are_filled_in() {
        let template = Template("{site}/{probe}/{site}".to_owned());
        let topic = fill(&template, &[("site", "cellar"), ("probe", "mash")]);
        assert_eq!(topic, "cellar/mash/cellar");
    }

    proptest! {
        #[test]
        fn no_topic_panics(topic in "\\PC{0,12}|[{}a-z/]{0,12}") {
            let _ = check(&topic, ALL);
        }
    }
}
