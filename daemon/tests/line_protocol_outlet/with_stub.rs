//! Answers, and missing answers, that databases give on bad days.

use crate::scene::{bucket, database, night, receiver, settings};
use crate::stub::{Reply, Request, Stub, answer, no_content};
use nightbench::config::{LineProtocol, Secret};
use nightbench::outlet::{Parcel, Receipt, Receiver, Trouble};
use std::collections::BTreeSet;
use std::net::TcpListener;
use std::time::Duration;

async fn deliver(settings: LineProtocol, count: u64) -> Result<Receipt, Trouble> {
    let mut receiver = receiver(settings);
    receiver.connect().await?;
    receiver.deliver(Parcel::Live(&night(1, count))).await
}

/// Delivers three readings to a server that answers everything the same way.
async fn against(rule: impl Fn(&Request) -> Reply + Send + Sync + 'static) -> (Trouble, Stub) {
    let stub = Stub::new(rule);
    let trouble = deliver(settings(&stub.url, database("night")), 3)
        .await
        .unwrap_err();
    (trouble, stub)
}

fn after(trouble: &Trouble) -> Option<Duration> {
    match trouble {
        Trouble::Later { after, .. } => *after,
        Trouble::Person { what } => panic!("no matter for a person: {what}"),
    }
}

fn person(trouble: Trouble) -> String {
    match trouble {
        Trouble::Person { what } => what,
        Trouble::Later { what, .. } => panic!("trying again does not help: {what}"),
    }
}

fn secret(text: &str) -> (tempfile::TempDir, Secret) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("token");
    std::fs::write(&path, text).unwrap();
    (folder, Secret::File(path))
}

fn seq(line: &str) -> u64 {
    let (_, rest) = line.split_once("seq=").unwrap();
    rest.split('i').next().unwrap().parse().unwrap()
}

#[tokio::test]
async fn a_token_is_sent_and_where_it_is_refused_a_person_is_asked_without_showing_it() {
    let stub = Stub::new(|_| {
        answer(
            "401 Unauthorized",
            "",
            r#"{"message":"unauthorized access"}"#,
        )
    });
    let (_folder, token) = secret("s3cret\n");
    let settings = LineProtocol {
        token: Some(token),
        ..settings(&stub.url, bucket())
    };
    let what = person(deliver(settings, 3).await.unwrap_err());
    assert!(
        what.contains("401 (unauthorized access)") && what.contains("`token_file`"),
        "{what}"
    );
    assert!(!what.contains("s3cret"));
    let request = &stub.requests()[0];
    assert_eq!(request.headers["authorization"], "Token s3cret");
    assert_eq!(
        request.target,
        "/api/v2/write?org=home&bucket=night&precision=ms"
    );
}

#[tokio::test]
async fn user_and_password_are_sent_to_the_first_interface() {
    let stub = Stub::new(|_| no_content());
    let (_folder, password) = secret("open sesame");
    let settings = LineProtocol {
        user: Some("Aladdin".to_owned()),
        password: Some(password),
        ..settings(&stub.url, database("night"))
    };
    deliver(settings, 3).await.unwrap();
    let request = &stub.requests()[0];
    // Source: RFC 2617, 2, the example of the basic scheme.
    assert_eq!(
        request.headers["authorization"],
        "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ=="
    );
    assert_eq!(request.target, "/write?db=night&precision=ms");
}

#[tokio::test]
async fn a_secret_that_cannot_be_read_is_told_before_anything_is_sent() {
    let stub = Stub::new(|_| no_content());
    let settings = LineProtocol {
        token: Some(Secret::File("no/such/token".into())),
        ..settings(&stub.url, bucket())
    };
    let what = person(deliver(settings, 3).await.unwrap_err());
    assert!(what.contains("secret file `no/such/token`"), "{what}");
    assert_eq!(stub.connections(), 0);
}

#[tokio::test]
async fn lines_are_the_same_packed_or_not_and_one_connection_serves_them_all() {
    for gzip in [true, false] {
        let stub = Stub::new(|_| no_content());
        let mut receiver = receiver(LineProtocol {
            gzip,
            batch: 10,
            ..settings(&stub.url, database("night"))
        });
        receiver.connect().await.unwrap();
        receiver.deliver(Parcel::Live(&night(1, 25))).await.unwrap();
        let requests = stub.requests();
        assert!(
            requests
                .iter()
                .all(|request| request.headers.contains_key("content-encoding") == gzip)
        );
        let counts: Vec<_> = requests.iter().map(|request| request.lines.len()).collect();
        assert_eq!(counts, [10, 10, 5]);
        let lines = requests.iter().flat_map(|request| &request.lines);
        assert!(lines.map(|line| seq(line)).eq(1..=25));
        assert_eq!(stub.connections(), 1);
    }
}

#[tokio::test]
async fn exactly_the_bad_lines_are_refused_whatever_their_places() {
    let bad = BTreeSet::from([2, 77, 78, 500]);
    let is_bad = {
        let bad = bad.clone();
        move |line: &String| bad.contains(&seq(line))
    };
    let rule = is_bad.clone();
    let stub = Stub::new(
        move |request| match request.lines.iter().find(|line| rule(line)) {
            Some(line) => answer("400 Bad Request", "", &format!("unable to parse '{line}'")),
            None => no_content(),
        },
    );
    let receipt = deliver(settings(&stub.url, database("night")), 500)
        .await
        .unwrap();
    assert!(
        receipt
            .refused
            .iter()
            .map(|refusal| refusal.seq)
            .eq(bad.iter().copied())
    );
    assert!(
        receipt.refused[0]
            .why
            .contains("unable to parse 'reading,probe=mash")
    );
    let taken: BTreeSet<_> = stub
        .requests()
        .iter()
        .filter(|request| !request.lines.iter().any(&is_bad))
        .flat_map(|request| {
            request
                .lines
                .iter()
                .map(|line| seq(line))
                .collect::<Vec<_>>()
        })
        .collect();
    assert!(
        taken
            .into_iter()
            .eq((1..=500).filter(|seq| !bad.contains(seq)))
    );
    assert!(
        stub.requests().len() < 100,
        "{} requests",
        stub.requests().len()
    );
}

#[tokio::test]
async fn a_batch_too_large_for_the_server_is_sent_in_smaller_ones() {
    let stub = Stub::new(|request| match request.lines.len() {
        0..=100 => no_content(),
        _ => answer("413 Payload Too Large", "", ""),
    });
    let receipt = deliver(settings(&stub.url, database("night")), 1000)
        .await
        .unwrap();
    assert_eq!(receipt.refused, []);
    let requests = stub.requests();
    let taken = requests.iter().filter(|request| request.lines.len() <= 100);
    let taken: BTreeSet<_> = taken
        .flat_map(|request| &request.lines)
        .map(|line| seq(line))
        .collect();
    assert!(taken.into_iter().eq(1..=1000));
}

#[tokio::test]
async fn a_single_line_too_large_is_refused_alone() {
    let stub = Stub::new(
        |request| match request.lines.iter().any(|line| seq(line) == 3) {
            true => answer("413 Payload Too Large", "", ""),
            false => no_content(),
        },
    );
    let receipt = deliver(settings(&stub.url, database("night")), 5)
        .await
        .unwrap();
    assert_eq!(receipt.refused.len(), 1);
    assert_eq!(receipt.refused[0].seq, 3);
    assert!(
        receipt.refused[0]
            .why
            .ends_with("too large for the server (413)")
    );
}

#[tokio::test]
async fn a_setting_that_has_everything_refused_loses_few_readings_and_keeps_the_rest() {
    let stub = Stub::new(|_| answer("400 Bad Request", "", r#"{"error":"field type conflict"}"#));
    let mut receiver = receiver(settings(&stub.url, database("night")));
    let mut given_up = 0;
    let what = loop {
        receiver.connect().await.unwrap();
        match receiver.deliver(Parcel::Live(&night(1, 3))).await {
            Ok(receipt) => given_up += receipt.refused.len(),
            Err(trouble) => break person(trouble),
        }
    };
    assert!(given_up <= 8, "{given_up}");
    assert!(
        what.contains("refuses every line for one reason (field type conflict)"),
        "{what}"
    );
    let still = receiver
        .deliver(Parcel::Live(&night(1, 3)))
        .await
        .unwrap_err();
    assert_eq!(person(still), what);
}

#[tokio::test]
async fn a_busy_server_is_left_alone_for_as_long_as_it_asks() {
    let (trouble, _stub) =
        against(|_| answer("429 Too Many Requests", "Retry-After: 7\r\n", "")).await;
    assert_eq!(after(&trouble), Some(Duration::from_secs(7)));
    let (trouble, _stub) = against(|_| {
        let headers = "Date: Sun, 06 Nov 1994 08:49:07 GMT\r\n\
                       Retry-After: Sun, 06 Nov 1994 08:49:37 GMT\r\n";
        answer("503 Service Unavailable", headers, "starting up")
    })
    .await;
    assert_eq!(after(&trouble), Some(Duration::from_secs(30)));
    assert!(
        trouble
            .to_string()
            .ends_with(": answered 503 (starting up)")
    );
    let (trouble, _stub) = against(|_| answer("500 Internal Server Error", "", "timeout")).await;
    assert_eq!(after(&trouble), None);
}

#[tokio::test]
async fn a_redirection_is_not_followed() {
    let elsewhere = Stub::new(|_| no_content());
    let location = format!("Location: {}/write?db=night\r\n", elsewhere.url);
    let (trouble, stub) = against(move |_| answer("302 Found", &location, "")).await;
    let what = person(trouble);
    assert!(
        what.contains(&format!("redirected to `{}/write`", elsewhere.url)),
        "{what}"
    );
    assert_eq!((stub.requests().len(), elsewhere.connections()), (1, 0));
}

#[tokio::test]
async fn half_an_answer_or_none_or_garbage_is_no_acknowledgement() {
    for (bytes, cause) in [
        (
            "HTTP/1.1 204 No Con",
            "connection closed before message completed",
        ),
        (
            "HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\n",
            "end of file before message length reached",
        ),
        (
            "HTTP/1.1 400 Bad Request\r\nContent-Length: 99\r\n\r\n{\"er",
            "end of file before message length reached",
        ),
        ("SSH-2.0-server\r\n", "invalid HTTP version parsed"),
        ("", "connection closed before message completed"),
    ] {
        let (trouble, stub) = against(|_| Reply::Broken(bytes.to_owned())).await;
        let expected = format!(
            "{}: no whole answer ({cause}); check that `url` is the address of a database",
            stub.url
        );
        assert_eq!((after(&trouble), trouble.to_string()), (None, expected));
    }
}

#[tokio::test]
async fn a_server_that_says_nothing_is_given_up_after_the_timeout() {
    let stub = Stub::new(|_| Reply::Silence);
    let settings = LineProtocol {
        timeout: Duration::from_millis(200),
        ..settings(&stub.url, database("night"))
    };
    let trouble = deliver(settings, 3).await.unwrap_err();
    assert_eq!(after(&trouble), None);
    let expected = format!(
        "{}: no answer within 0.2 s; if the server is slow, raise `timeout` or lower `batch`",
        stub.url
    );
    assert_eq!(trouble.to_string(), expected);
}

#[tokio::test]
async fn no_server_and_no_such_host_are_told_apart() {
    let closed = TcpListener::bind("127.0.0.1:0")
        .unwrap()
        .local_addr()
        .unwrap();
    let url = format!("http://{closed}");
    let trouble = deliver(settings(&url, database("night")), 3)
        .await
        .unwrap_err();
    assert_eq!(after(&trouble), None);
    let expected = format!(
        "{url}: no connection (connection refused); check that the server runs, and host and port \
         in `url`"
    );
    assert_eq!(trouble.to_string(), expected);
    // Source: RFC 6761, 6.4: names under `invalid` never resolve.
    let nowhere = settings("http://nowhere.invalid:8086", database("night"));
    let trouble = deliver(nowhere, 3).await.unwrap_err().to_string();
    assert!(
        trouble.contains("lookup") && trouble.contains("check the host name in `url`"),
        "{trouble}"
    );
}
