//! Bytes as a person can read them: text as it is, all else as an escape that can do no harm to a
//! terminal.

/// Whether a line could be meant as text: not empty, UTF-8, no control characters but tabs.
#[must_use]
pub fn is_readable(line: &[u8]) -> bool {
    std::str::from_utf8(line)
        .is_ok_and(|text| !text.is_empty() && !text.chars().any(|c| c != '\t' && is_harmful(c)))
}

/// The bytes as one line of text. Control characters, and those that turn a terminal's text round,
/// are shown as escapes (`\x07`, `\u{202e}`), bytes that are no UTF-8 as `\xff`.
#[must_use]
pub fn readable(bytes: &[u8]) -> String {
    let mut shown = String::with_capacity(bytes.len());
    for chunk in bytes.utf8_chunks() {
        chunk.valid().chars().for_each(|c| push(&mut shown, c));
        for byte in chunk.invalid() {
            shown.push_str(&format!("\\x{byte:02x}"));
        }
    }
    shown
}

fn push(shown: &mut String, c: char) {
    match c {
        '\t' => shown.push_str("\\t"),
        '\r' => shown.push_str("\\r"),
        '\n' => shown.push_str("\\n"),
        c if c.is_ascii_control() => shown.push_str(&format!("\\x{:02x}", u32::from(c))),
        c if is_harmful(c) => shown.extend(c.escape_unicode()),
        c => shown.push(c),
    }
}

fn is_harmful(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn text_stays_and_all_else_is_escaped() {
        let table: [(&[u8], &str); 5] = [
            (b"a0=512", "a0=512"),
            ("21 °C".as_bytes(), "21 °C"),
            (b"\x1b[2J\x07\tx\r", "\\x1b[2J\\x07\\tx\\r"),
            (b"\xff\xfea", "\\xff\\xfea"),
            ("\u{202e}abc".as_bytes(), "\\u{202e}abc"),
        ];
        for (bytes, shown) in table {
            assert_eq!(readable(bytes), shown);
        }
    }

    proptest! {
        #[test]
        fn no_bytes_reach_the_terminal_as_control(bytes in any::<Vec<u8>>()) {
            prop_assert!(!readable(&bytes).chars().any(char::is_control));
        }
    }
}
