//! Small wordings that many messages share.

/// Names in backticks: `` `a`, `b` ``.
pub(super) fn list(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("`{name}`")).collect();
    quoted.join(", ")
}

/// Words of the file, any of which would do: `"a"`, `"b"` or `"c"`, ready to stand after the
/// opening backtick of `source = `.
pub(super) fn either(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"`")).collect();
    match quoted.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, others)) => format!("{} or `{last}", others.join(", `")),
        None => String::new(),
    }
}

/// A duration as a person would write it in the file: `90s`, `100ms`, `2h`.
pub(super) fn duration(duration: std::time::Duration) -> String {
    let milliseconds = duration.as_millis();
    let units = [
        (86_400_000, "d"),
        (3_600_000, "h"),
        (60_000, "m"),
        (1000, "s"),
    ];
    units
        .iter()
        .find(|(size, _)| milliseconds >= *size && milliseconds.is_multiple_of(*size))
        .map_or_else(
            || format!("{milliseconds}ms"),
            |(size, unit)| format!("{}{unit}", milliseconds / size),
        )
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn words_of_the_file_are_told_apart() {
        assert_eq!(either(&["a"]), "\"a\"`");
        assert_eq!(either(&["a", "b", "c"]), "\"a\"`, `\"b\"` or `\"c\"`");
    }

    #[test]
    fn durations_are_shown_in_their_largest_whole_unit() {
        for (milliseconds, expected) in [
            (100, "100ms"),
            (90_000, "90s"),
            (7_200_000, "2h"),
            (0, "0ms"),
            (1500, "1500ms"),
        ] {
            assert_eq!(duration(Duration::from_millis(milliseconds)), expected);
        }
    }
}
