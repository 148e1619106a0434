//! What a person did in a line that is no TOML, and how it would be right.
//!
//! Sees one line at a time. Every line that is proposed was read back first.

use crate::config::hint::spellings;
use crate::config::problem::Fault;
use toml::de::DeTable;

/// A line that could not be read.
pub(super) struct Judged {
    /// What is lost with it.
    pub(super) kind: Kind,
    /// What is wrong with it.
    pub(super) fault: Fault,
}

/// What is lost with a line.
pub(super) enum Kind {
    /// The value of this key.
    Value {
        /// The key.
        key: String,
    },
    /// Which table the lines below stand in.
    Astray,
    /// The same, by something above it: the line itself is right.
    Beyond,
}

/// Judges a line; `message` is the parser's own, for what is wrong with none of its usual faults.
pub(super) fn judge(line: &str, message: &str) -> Judged {
    if is_toml(line) || message.contains("array elements") {
        return astray(Kind::Beyond, unclosed(message));
    }
    if line.starts_with('[') {
        return astray(Kind::Astray, heading(line));
    }
    let (sign, at) = match (line.find('='), line.find(':')) {
        (Some(equal), Some(colon)) if colon < equal => (':', colon),
        (Some(equal), _) => ('=', equal),
        (None, Some(colon)) => (':', colon),
        (None, None) => return astray(Kind::Astray, bare(line)),
    };
    let (key, value) = (line[..at].trim(), line[at + 1..].trim());
    if sign == ':' && value.is_empty() {
        return astray(Kind::Astray, table(key));
    }
    let fault = match sign {
        ':' => colon(key.trim_matches('"'), value),
        _ if !is_key(key) => Fault::new(
            format!("`{key}` is no key"),
            "a key is made of letters A to Z and a to z, digits, `_` and `-`",
        ),
        _ => equal(key, value, message),
    };
    keyed(key, fault)
}

fn astray(kind: Kind, fault: Fault) -> Judged {
    let right = match &*fault.right {
        "" => "what stands below is looked at once this is mended".to_owned(),
        right => format!("{right}; what stands below is looked at once this is mended"),
    };
    Judged {
        kind,
        fault: Fault { right, ..fault },
    }
}

fn keyed(key: &str, fault: Fault) -> Judged {
    Judged {
        kind: Kind::Value {
            key: key.trim_matches('"').to_owned(),
        },
        fault,
    }
}

fn heading(line: &str) -> Fault {
    let inside = line.split(['#', ']']).next().unwrap_or(line);
    let name = inside.trim_matches(['[', ' ']);
    let proposed = format!("[{name}]");
    let right = if is_toml(&proposed) && !name.is_empty() {
        format!("write `{proposed}`")
    } else {
        "write names with points between them in one pair of brackets: `[probe.mash]`".to_owned()
    };
    Fault::new(format!("`{line}` is no heading"), right)
}

fn unclosed(message: &str) -> Fault {
    if message.contains("array") {
        let right = "write it as `key = [1, 2, 3]`";
        return Fault::new("a list before this is not closed, or lacks a comma", right);
    }
    if message.contains("inline table") || message.contains("key-value pairs") {
        let right = "write it as `key = { a = 1, b = 2 }`";
        return Fault::new(
            "a table in braces before this is not closed, or lacks a comma",
            right,
        );
    }
    Fault::new(format!("this is no TOML: {message}"), "")
}

fn bare(line: &str) -> Fault {
    let what = format!("`{line}` is neither a heading nor a line with `=`");
    let right = if is_key(line) {
        format!("write `{line} = \"text\"` or `{line} = 5`, or the heading `[{line}]`")
    } else {
        "write `key = \"text\"` or `key = 5`; a remark begins with `#`".to_owned()
    };
    Fault::new(what, right)
}

/// `key:` above what other formats indent.
fn table(key: &str) -> Fault {
    let what = format!("`{key}:` is neither a heading nor a line with `=`");
    Fault::new(what, format!("write the heading `[{key}]`"))
}

/// `key: value`, as other formats have it.
fn colon(key: &str, value: &str) -> Fault {
    let what = "between a key and its value stands `=`, not `:`";
    let value = value.trim_start_matches('=').trim_end_matches(',').trim();
    let quoted = format!("\"{value}\"");
    let mut proposed = [value, &quoted].into_iter();
    let right = proposed.find_map(|value| written(key, value));
    Fault::new(
        what,
        right.map_or("write `key = \"text\"`".to_owned(), |line| {
            format!("write {line}")
        }),
    )
}

/// `key = value`, where the value is none.
fn equal(key: &str, value: &str, message: &str) -> Fault {
    let value = without_remark(value);
    if value.is_empty() {
        let right = format!("write `{key} = \"text\"` or `{key} = 5`");
        return Fault::new(format!("`{key}` has no value"), right);
    }
    curly(key, value)
        .or_else(|| decimal(key, value))
        .or_else(|| flag(key, value))
        .or_else(|| quotes(key, value))
        .or_else(|| word(key, value))
        .unwrap_or_else(|| Fault::new(format!("this is no TOML: {message}"), ""))
}

/// Quotes that a word processor put there.
fn curly(key: &str, value: &str) -> Option<Fault> {
    let is_curly =
        |c: char| "\u{201c}\u{201d}\u{201e}\u{201f}\u{2018}\u{2019}\u{ab}\u{bb}".contains(c);
    if !value.starts_with(is_curly) && !value.ends_with(is_curly) {
        return None;
    }
    let inside = value.trim_matches(|c| is_curly(c) || c == '"');
    let line = written(key, &format!("\"{inside}\""))?;
    let what = format!("`{value}` has curly quotes");
    Some(Fault::new(what, format!("write straight ones: {line}")))
}

/// A number in another country's spelling, or with a digit too many or too few.
fn decimal(key: &str, value: &str) -> Option<Fault> {
    if !value
        .bytes()
        .all(|byte| byte.is_ascii_digit() || b"+-.,".contains(&byte))
    {
        return None;
    }
    let number = |spelling: String| match spelling.parse::<f64>() {
        // As it is written, where the file takes it: `1023.0`.
        Ok(_) if written(key, &spelling).is_some() => written(key, &spelling),
        Ok(number) => written(key, &number.to_string()),
        Err(_) => None,
    };
    let lines: Vec<String> = spellings(value).into_iter().filter_map(number).collect();
    let what = if value.contains(',') {
        format!("`{value}` has a comma (the decimal mark is a point, thousands have none)")
    } else {
        format!("`{value}` is no number")
    };
    (!lines.is_empty()).then(|| Fault::new(what, format!("write {}", lines.join(" or "))))
}

fn flag(key: &str, value: &str) -> Option<Fault> {
    let small = value.to_ascii_lowercase();
    let flag = match &*small {
        "true" | "false" => small.as_str(),
        _ => return None,
    };
    let what = format!("`{value}` is written in small letters");
    Some(Fault::new(what, format!("write `{key} = {flag}`")))
}

/// Quotes that do not go together, and escapes.
fn quotes(key: &str, value: &str) -> Option<Fault> {
    let is_quote = |c: &char| matches!(c, '"' | '\'');
    let first = value.chars().next().filter(is_quote);
    let quote = first.or_else(|| value.chars().last().filter(is_quote))?;
    let inside = value.trim_matches(quote);
    if value.contains('\\') {
        let right = written(key, &format!("'{inside}'"));
        let right = right.map_or(String::new(), |line| format!("write {line}"));
        let what = format!("`\\` has a meaning of its own between `{quote}`");
        return Some(Fault::new(what, right));
    }
    if value.matches(quote).count() == 2 && !value.ends_with(quote) {
        let what = format!("something stands behind the text of `{key}`");
        return Some(Fault::new(
            what,
            "one line holds one key; a remark begins with `#`",
        ));
    }
    let line = written(key, &format!("{quote}{inside}{quote}"))?;
    let what = format!("the quotes of `{value}` do not go together");
    Some(Fault::new(what, format!("write {line}")))
}

fn word(key: &str, value: &str) -> Option<Fault> {
    let line = written(key, &format!("\"{value}\""))?;
    let right = if value.chars().all(char::is_alphabetic) {
        format!("a word needs quotes: {line}")
    } else {
        format!("write {line}")
    };
    Some(Fault::new(format!("`{value}` is not in quotes"), right))
}

fn without_remark(value: &str) -> &str {
    let end = if value.starts_with(['"', '\'']) {
        None
    } else {
        value.find('#')
    };
    value[..end.unwrap_or(value.len())].trim()
}

/// The line in backticks, where it can be read.
fn written(key: &str, value: &str) -> Option<String> {
    let line = format!("{key} = {value}");
    (is_key(key) && is_toml(&line)).then(|| format!("`{line}`"))
}

fn is_key(text: &str) -> bool {
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '.');
    !text.is_empty() && text.chars().all(fits)
}

fn is_toml(line: &str) -> bool {
    DeTable::parse_recoverable(line).1.is_empty()
}
