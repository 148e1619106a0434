//! One client, one address, one way to say who is writing: made at each connect, so that a token
//! that was replaced is read anew. It posts and reads answers; what they mean is
//! [`super::answer`]'s.

use super::answer::{Access, Answer, Server, Verdict, judge};
use super::{failure, target};
use crate::clock;
use crate::config::LineProtocol;
use crate::outlet::secret::{self, Hidden};
use crate::outlet::{Trouble, tls};
use flate2::Compression;
use flate2::write::GzEncoder;
use reqwest::header::{
    AUTHORIZATION, CONTENT_ENCODING, CONTENT_TYPE, DATE, HeaderName, HeaderValue, LOCATION,
    RETRY_AFTER,
};
use reqwest::redirect::Policy;
use reqwest::{Client, RequestBuilder, Response, Url};
use std::io::Write as _;
use std::time::Duration;

/// More than this of an answer's body is not read: a reason is a line or two.
const LONGEST_BODY: usize = 16 * 1024;

/// What is needed to post.
pub(super) struct Session {
    client: Client,
    url: Url,
    credentials: Credentials,
    gzip: bool,
    timeout: Duration,
    /// Where it posts to, as messages name it.
    pub(super) server: Server,
}

enum Credentials {
    Open,
    Token(HeaderValue),
    Password(String, Option<Hidden>),
}

impl Session {
    /// Reads the secrets and makes a client. No connection is opened: a server that is down, or
    /// does not know the token, says so at the first post.
    pub(super) fn open(settings: &LineProtocol) -> Result<Self, Trouble> {
        let url = target::target(settings).map_err(person)?;
        let address = target::address(&url);
        let credentials =
            credentials(settings).map_err(|what| person(format!("{address}: {what}")))?;
        let client = client(&url, settings.timeout).map_err(|why| {
            let why = failure::root(&why);
            person(format!("{address}: no client for this address ({why})"))
        })?;
        let server = Server {
            address,
            write: settings.write.clone(),
            access: credentials.access(),
        };
        Ok(Self {
            client,
            url,
            credentials,
            gzip: settings.gzip,
            timeout: settings.timeout,
            server,
        })
    }

    /// Posts lines together and judges the answer.
    pub(super) async fn post(&self, lines: String) -> Verdict {
        match self.exchange(lines).await {
            Ok(answer) => judge(&answer, &self.server, clock::now().wall_ms),
            Err(error) => {
                Verdict::Trouble(failure::trouble(&error, &self.server.address, self.timeout))
            }
        }
    }

    async fn exchange(&self, lines: String) -> reqwest::Result<Answer> {
        let request = self
            .client
            .post(self.url.clone())
            .header(CONTENT_TYPE, "text/plain; charset=utf-8");
        let request = self.with_body(self.credentials.add_to(request), lines);
        read(request.send().await?).await
    }

    fn with_body(&self, request: RequestBuilder, lines: String) -> RequestBuilder {
        match self.gzip.then(|| gzip(lines.as_bytes())) {
            Some(Ok(packed)) => request.header(CONTENT_ENCODING, "gzip").body(packed),
            _ => request.body(lines),
        }
    }
}

impl Credentials {
    fn access(&self) -> Access {
        match self {
            Self::Open => Access::Open,
            Self::Token(_) => Access::Token,
            Self::Password(..) => Access::Password,
        }
    }

    fn add_to(&self, request: RequestBuilder) -> RequestBuilder {
        match self {
            Self::Open => request,
            Self::Token(header) => request.header(AUTHORIZATION, header.clone()),
            Self::Password(user, password) => {
                request.basic_auth(user, password.as_ref().map(Hidden::expose))
            }
        }
    }
}

fn credentials(settings: &LineProtocol) -> Result<Credentials, String> {
    let fetch = |place| secret::read(place).map_err(|why| why.to_string());
    if let Some(place) = &settings.token {
        let mut header = HeaderValue::from_str(&format!("Token {}", fetch(place)?.expose()))
            .map_err(|_| "the token holds characters that no header can carry".to_owned())?;
        header.set_sensitive(true);
        return Ok(Credentials::Token(header));
    }
    let Some(user) = settings.user.clone() else {
        return Ok(Credentials::Open);
    };
    let password = settings.password.as_ref().map(fetch).transpose()?;
    Ok(Credentials::Password(user, password))
}

fn client(url: &Url, timeout: Duration) -> reqwest::Result<Client> {
    tls::install();
    let mut builder = Client::builder()
        .user_agent(concat!("nightbench/", env!("CARGO_PKG_VERSION")))
        .timeout(timeout)
        .tcp_nodelay(true)
        .no_proxy()
        // A redirected post turns into a get, and a token follows it to another host.
        .redirect(Policy::none())
        .referer(false);
    if url.scheme() == "http" {
        builder = builder.tls_backend_preconfigured(tls::unused());
    }
    builder.build()
}

async fn read(mut response: Response) -> reqwest::Result<Answer> {
    let header = |name: HeaderName| {
        let value = response.headers().get(name)?.to_str().ok()?;
        Some(value.to_owned())
    };
    let mut answer = Answer {
        status: response.status().as_u16(),
        retry_after: header(RETRY_AFTER),
        date: header(DATE),
        location: header(LOCATION),
        body: String::new(),
    };
    let mut body = Vec::new();
    while let Some(chunk) = response.chunk().await? {
        body.extend_from_slice(&chunk);
        if body.len() > LONGEST_BODY {
            body.truncate(LONGEST_BODY);
            break;
        }
    }
    answer.body = String::from_utf8_lossy(&body).into_owned();
    Ok(answer)
}

/// Fast before small: a board's processor is slower than its network.
fn gzip(bytes: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
    packer.write_all(bytes)?;
    packer.finish()
}

fn person(what: String) -> Trouble {
    Trouble::Person { what }
}
