//! Answers as servers give them, and what people read of them.

use super::*;
use proptest::prelude::*;
use std::time::Duration;

fn server(access: Access) -> Server {
    Server {
        address: "http://127.0.0.1:8086".to_owned(),
        write: Write::V1 {
            database: "night".to_owned(),
        },
        access,
    }
}

fn answer(status: u16, body: &str) -> Answer {
    Answer {
        status,
        body: body.to_owned(),
        ..Answer::default()
    }
}

fn judged(status: u16, body: &str) -> Verdict {
    judge(&answer(status, body), &server(Access::Open), 0)
}

fn refused(words: &str) -> Verdict {
    let words = words.to_owned();
    Verdict::Refused { words }
}

fn person(what: &str) -> Verdict {
    let what = what.to_owned();
    Verdict::Trouble(Trouble::Person { what })
}

fn later(what: &str, after: Option<u64>) -> Verdict {
    let after = after.map(Duration::from_secs);
    let what = what.to_owned();
    Verdict::Trouble(Trouble::Later { what, after })
}

#[test]
fn stored_lines_are_taken() {
    assert_eq!(judged(204, ""), Verdict::Taken);
    assert_eq!(judged(200, "\n"), Verdict::Taken);
}

#[test]
fn a_page_in_the_place_of_a_database_does_not_swallow_the_night() {
    assert_eq!(
        judged(200, "<html>Welcome</html>"),
        person(
            "http://127.0.0.1:8086: answered 200 (<html>Welcome</html>); a database says nothing \
             when it has stored lines; check host, port and path in `url`"
        )
    );
}

#[test]
fn refused_lines_come_with_the_servers_words() {
    // Source: answers of InfluxDB 1.6.7 to a type conflict, and of the published v2 interface.
    assert_eq!(
        judged(
            400,
            r#"{"error":"partial write: field type conflict dropped=1"}"#
        ),
        refused("partial write: field type conflict dropped=1")
    );
    assert_eq!(
        judged(
            422,
            r#"{"code":"unprocessable entity","message":"outside\n retention"}"#
        ),
        refused("outside retention")
    );
    assert_eq!(judged(400, ""), refused("status 400 without a reason"));
    assert_eq!(
        judged(413, "nginx"),
        refused("too large for the server (413)")
    );
}

#[test]
fn a_server_that_is_busy_is_left_alone_for_as_long_as_it_asks() {
    let mut busy = answer(429, r#"{"message":"too many"}"#);
    busy.retry_after = Some("7".to_owned());
    let said = "http://127.0.0.1:8086: answered 429 (too many)";
    assert_eq!(judge(&busy, &server(Access::Open), 0), later(said, Some(7)));
    let said = "http://127.0.0.1:8086: answered 500";
    assert_eq!(judged(500, ""), later(said, None));
    let said = "http://127.0.0.1:8086: answered 502 (Bad Gateway)";
    assert_eq!(judged(502, "Bad Gateway"), later(said, None));
}

#[test]
fn who_writes_and_where_to_is_a_matter_for_a_person() {
    let text = |status, body, access| match judge(&answer(status, body), &server(access), 0) {
        Verdict::Trouble(Trouble::Person { what }) => what,
        other => panic!("{other:?}"),
    };
    assert_eq!(
        text(401, r#"{"error":"authorization failed"}"#, Access::Password),
        "http://127.0.0.1:8086: answered 401 (authorization failed); it does not accept `user` and \
         its password; check both"
    );
    assert_eq!(
        text(401, "", Access::Token),
        "http://127.0.0.1:8086: answered 401; it does not accept the token; check what \
         `token_file` or `token_env` holds"
    );
    assert_eq!(
        text(401, "", Access::Open),
        "http://127.0.0.1:8086: answered 401; it wants to know who writes: give `token_file`, or \
         `user` and `password_file`"
    );
    assert_eq!(
        text(403, "", Access::Token),
        "http://127.0.0.1:8086: answered 403; it does not allow this writer; grant write access to \
         database `night`"
    );
    assert_eq!(
        text(
            404,
            r#"{"error":"database not found: \"night\""}"#,
            Access::Open
        ),
        "http://127.0.0.1:8086: answered 404 (database not found: \"night\"); it does not have \
         database `night`, or not this interface; create it, or correct its name or the path in \
         `url`"
    );
    assert_eq!(
        text(405, "", Access::Open),
        "http://127.0.0.1:8086: answered 405; that is no answer of a write interface; check `url`, \
         and what stands in between"
    );
}

#[test]
fn a_redirection_is_told_but_not_followed() {
    let mut moved = answer(302, "");
    assert_eq!(
        judge(&moved, &server(Access::Open), 0),
        person(
            "http://127.0.0.1:8086: answered 302; it redirects without saying where to; check `url`"
        )
    );
    moved.location = Some("https://db.example/write?db=night&precision=ms".to_owned());
    assert_eq!(
        judge(&moved, &server(Access::Open), 0),
        person(
            "http://127.0.0.1:8086: answered 302; redirected to `https://db.example/write`: put \
             that address in `url`, without the interface's own path"
        )
    );
}

#[test]
fn a_bucket_is_named_with_its_organisation() {
    let server = Server {
        write: Write::V2 {
            org: "home".to_owned(),
            bucket: "night".to_owned(),
        },
        ..server(Access::Token)
    };
    assert_eq!(place(&server), "bucket `night` of organisation `home`");
}

#[test]
fn a_long_reason_is_cut_between_characters() {
    let long = "é".repeat(1000);
    let words = words(&long);
    assert_eq!(words.chars().count(), LONGEST_WORDS + 1);
    assert!(words.ends_with("é…"));
}

proptest! {
    #[test]
    fn any_answer_is_judged_in_one_bounded_line(
        status in any::<u16>(),
        body in any::<String>(),
        location in prop::option::of(any::<String>()),
        retry_after in prop::option::of(any::<String>()),
    ) {
        let answer = Answer { status, body, location, retry_after, date: None };
        let said = match judge(&answer, &server(Access::Open), 0) {
            Verdict::Taken => String::new(),
            Verdict::Refused { words } => words,
            Verdict::Trouble(trouble) => trouble.to_string(),
        };
        prop_assert!(!said.contains(char::is_control));
        prop_assert!(said.chars().count() < 3 * LONGEST_WORDS);
    }
}
