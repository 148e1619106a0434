//! Plain HTTP to the test databases: a status and a text.
//!
//! HTTP/1.0 by hand, so that the tests' own dependencies cannot change which features of a client
//! library the program is built with.

use std::fmt::Write as _;
use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::time::Duration;

/// A status code and a body.
#[derive(Clone, Debug)]
pub struct Answer {
    /// Status code.
    pub status: u16,
    /// Body.
    pub text: String,
}

/// Asks with GET; `None` where nobody answers.
#[must_use]
pub fn get(port: u16, path: &str, query: &[(&str, &str)]) -> Option<Answer> {
    ask(port, "GET", &address(path, query), "").ok()
}

/// Asks with POST; `None` where nobody answers.
#[must_use]
pub fn post(port: u16, path: &str, query: &[(&str, &str)], body: &str) -> Option<Answer> {
    ask(port, "POST", &address(path, query), body).ok()
}

fn ask(port: u16, method: &str, address: &str, body: &str) -> io::Result<Answer> {
    let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port))?;
    stream.set_read_timeout(Some(Duration::from_secs(10)))?;
    let length = body.len();
    write!(
        stream,
        "{method} {address} HTTP/1.0\r\nContent-Length: {length}\r\n\r\n{body}"
    )?;
    let mut bytes = Vec::new();
    stream.read_to_end(&mut bytes)?;
    parse(&String::from_utf8_lossy(&bytes)).ok_or(io::ErrorKind::InvalidData.into())
}

fn parse(answer: &str) -> Option<Answer> {
    let (head, text) = answer.split_once("\r\n\r\n")?;
    let status = head.split(' ').nth(1)?.parse().ok()?;
    Some(Answer {
        status,
        text: text.to_owned(),
    })
}

fn address(path: &str, query: &[(&str, &str)]) -> String {
    let mut address = path.to_owned();
    for (number, (name, value)) in query.iter().enumerate() {
        address.push(if number == 0 { '?' } else { '&' });
        address.push_str(&(percent(name) + "=" + &percent(value)));
    }
    address
}

/// Percent-encodes all but unreserved characters (RFC 3986, 2.1 and 2.3).
fn percent(text: &str) -> String {
    let mut encoded = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            encoded.push(char::from(byte));
        } else {
            // Writing to a text does not fail.
            let _ = write!(encoded, "%{byte:02X}");
        }
    }
    encoded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_encoded_and_an_answer_taken_apart() {
        let query = [("q", "SELECT * FROM a"), ("match[]", "{x}")];
        assert_eq!(
            address("/p", &query),
            "/p?q=SELECT%20%2A%20FROM%20a&match%5B%5D=%7Bx%7D"
        );
        let answer = parse("HTTP/1.0 200 OK\r\nA: b\r\n\r\nbody\r\n\r\n").expect("well formed");
        assert_eq!((answer.status, answer.text.as_str()), (200, "body\r\n\r\n"));
        assert!(parse("HTTP/1.0").is_none());
    }
}
