//! What a database's answer means for the lines that were posted. Pure: what arrived is a value,
//! and so is what time it is. How a refused batch is cut down to its bad lines is
//! [`super::halving`]'s.

use super::retry_after;
use crate::config::Write;
use crate::outlet::Trouble;

/// Where lines are posted to, as messages name it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Server {
    /// `http://host:port`, without path, query or password.
    pub address: String,
    /// The interface with its names.
    pub write: Write,
    /// How this program says who it is.
    pub access: Access,
}

/// How a request says who sent it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Access {
    /// Not at all.
    Open,
    /// By a token.
    Token,
    /// By user and password.
    Password,
}

/// A whole answer. Headers are `None` where absent or not text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Answer {
    /// The status code.
    pub status: u16,
    /// `Retry-After`.
    pub retry_after: Option<String>,
    /// `Date`.
    pub date: Option<String>,
    /// `Location`.
    pub location: Option<String>,
    /// The body's beginning.
    pub body: String,
}

/// What became of the lines that were posted together.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// All are stored.
    Taken,
    /// At least one was refused. The others may be stored already, as InfluxDB 1 does on a
    /// `partial write`: posting them again is harmless, because a point is known by its series and
    /// its time.
    Refused {
        /// The server's reason, one line.
        words: String,
    },
    /// None can be judged for now.
    Trouble(Trouble),
}

/// Judges an answer. `now_ms` is the host's wall clock, for a `Retry-After` that is a date.
#[must_use]
pub fn judge(answer: &Answer, server: &Server, now_ms: i64) -> Verdict {
    match answer.status {
        204 => Verdict::Taken,
        200 => judge_ok(answer, server),
        400 | 422 => Verdict::Refused {
            words: or_status(words(&answer.body), answer.status),
        },
        413 => Verdict::Refused {
            words: "too large for the server (413)".to_owned(),
        },
        300..=399 => Verdict::Trouble(redirected(answer, server)),
        408 | 425 | 429 | 500..=599 => Verdict::Trouble(busy(answer, server, now_ms)),
        status => Verdict::Trouble(person(answer, server, what_to_do(status, server))),
    }
}

/// A 200 that carries words comes from something else than a write interface: a web page's
/// catch-all would swallow a whole night.
fn judge_ok(answer: &Answer, server: &Server) -> Verdict {
    if answer.body.trim().is_empty() {
        return Verdict::Taken;
    }
    let advice =
        "a database says nothing when it has stored lines; check host, port and path in `url`";
    Verdict::Trouble(person(answer, server, advice.to_owned()))
}

fn redirected(answer: &Answer, server: &Server) -> Trouble {
    let to = answer.location.as_deref().map(words).unwrap_or_default();
    let to = to.split('?').next().unwrap_or_default();
    let advice = if to.is_empty() {
        "it redirects without saying where to; check `url`".to_owned()
    } else {
        format!("redirected to `{to}`: put that address in `url`, without the interface's own path")
    };
    person(answer, server, advice)
}

fn busy(answer: &Answer, server: &Server, now_ms: i64) -> Trouble {
    let named = answer.retry_after.as_deref();
    let date = answer.date.as_deref();
    Trouble::Later {
        what: said(answer, server),
        after: named.and_then(|text| retry_after::wait(text, date, now_ms)),
    }
}

fn person(answer: &Answer, server: &Server, advice: String) -> Trouble {
    let said = said(answer, server);
    Trouble::Person {
        what: format!("{said}; {advice}"),
    }
}

/// `http://localhost:8086: answered 404 (database not found: "night")`.
fn said(answer: &Answer, server: &Server) -> String {
    let (address, status) = (&server.address, answer.status);
    match words(&answer.body) {
        words if words.is_empty() => format!("{address}: answered {status}"),
        words => format!("{address}: answered {status} ({words})"),
    }
}

fn what_to_do(status: u16, server: &Server) -> String {
    let place = place(server);
    match status {
        401 | 407 => not_accepted(server.access).to_owned(),
        403 => format!("it does not allow this writer; grant write access to {place}"),
        404 => format!(
            "it does not have {place}, or not this interface; create it, or correct its name or \
             the path in `url`"
        ),
        _ => "that is no answer of a write interface; check `url`, and what stands in between"
            .to_owned(),
    }
}

fn not_accepted(access: Access) -> &'static str {
    match access {
        Access::Open => {
            "it wants to know who writes: give `token_file`, or `user` and `password_file`"
        }
        Access::Token => {
            "it does not accept the token; check what `token_file` or `token_env` holds"
        }
        Access::Password => "it does not accept `user` and its password; check both",
    }
}

fn place(server: &Server) -> String {
    match &server.write {
        Write::V1 { database } => format!("database `{database}`"),
        Write::V2 { org, bucket } => format!("bucket `{bucket}` of organisation `{org}`"),
    }
}

/// Longest text of a server that is passed on, in characters.
const LONGEST_WORDS: usize = 300;

/// The reason in a body, on one line and bounded: the text of `error` or `message` where it is
/// JSON, else the text itself.
#[must_use]
pub fn words(body: &str) -> String {
    let json = serde_json::from_str::<serde_json::Value>(body).ok();
    let named = json.as_ref().and_then(|json| {
        // InfluxDB 2 puts a code beside the `message`; 1 has `error` alone.
        let text = json.get("message").or_else(|| json.get("error"))?;
        text.as_str()
    });
    one_line(named.unwrap_or(body))
}

fn one_line(text: &str) -> String {
    let text = text.replace(char::is_control, " ");
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    match text.char_indices().nth(LONGEST_WORDS) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    }
}

fn or_status(words: String, status: u16) -> String {
    if words.is_empty() {
        format!("status {status} without a reason")
    } else {
        words
    }
}

#[cfg(test)]
mod tests;
