//! The outlet that posts line protocol to a database over HTTP, by either of the two write
//! interfaces. When to try again, and with what, is the shared loop's business.

use super::answer::Verdict;
use super::halving::{Halving, Outcome, RefusesAll, Succession};
use super::lines::{Line, lines};
use super::session::Session;
use crate::config::LineProtocol;
use crate::outlet::{Parcel, Receipt, Receiver, Refusal, Trouble};
use std::time::Duration;

/// Posts to one database. What was sent and not acknowledged may be sent again: the same series and
/// time is the same point.
pub struct LineProtocolReceiver {
    site: String,
    settings: LineProtocol,
    session: Option<Session>,
    /// Outlives a connection: a refusal of everything is not forgotten by trying again.
    succession: Succession,
}

impl LineProtocolReceiver {
    /// Opens nothing yet.
    #[must_use]
    pub fn new(site: String, settings: LineProtocol) -> Self {
        Self {
            site,
            settings,
            session: None,
            succession: Succession::default(),
        }
    }

    /// Posts lines until each is either taken or refused alone.
    async fn send(&mut self, lines: &[Line]) -> Result<Vec<Refusal>, Trouble> {
        let session = match self.session.take() {
            Some(session) => session,
            None => Session::open(&self.settings)?,
        };
        let session = self.session.insert(session);
        let suspect = |RefusesAll { words }| refuses_all(session, &words);
        let outcome = halve(session, lines).await?;
        self.succession
            .take(&outcome, |at| &lines[at].text)
            .map_err(suspect)?;
        let refused = outcome.refused.into_iter();
        let refusal = |(at, words): (usize, String)| refusal(session, &lines[at], &words);
        Ok(refused.map(refusal).collect())
    }
}

impl Receiver for LineProtocolReceiver {
    async fn connect(&mut self) -> Result<(), Trouble> {
        self.session = None;
        self.session = Some(Session::open(&self.settings)?);
        Ok(())
    }

    async fn deliver(&mut self, parcel: Parcel<'_>) -> Result<Receipt, Trouble> {
        let (lines, mut refused) = lines(parcel, &self.site, &self.settings.measurement);
        for batch in lines.chunks(self.batch()) {
            refused.extend(self.send(batch).await?);
        }
        Ok(Receipt { refused })
    }

    async fn close(&mut self) {
        self.session = None;
    }

    fn live_every(&self) -> Duration {
        self.settings.every
    }

    fn batch(&self) -> usize {
        self.settings.batch.max(1)
    }
}

async fn halve(session: &Session, lines: &[Line]) -> Result<Outcome, Trouble> {
    let mut halving = Halving::new(lines.len());
    while let Some(range) = halving.to_post() {
        match session.post(body(&lines[range.clone()])).await {
            Verdict::Taken => halving.taken(),
            Verdict::Refused { words } => halving
                .refused(range, &words, |at| &lines[at].text)
                .map_err(|RefusesAll { words }| refuses_all(session, &words))?,
            Verdict::Trouble(trouble) => return Err(trouble),
        }
    }
    Ok(halving.finish())
}

fn body(lines: &[Line]) -> String {
    let mut body = String::with_capacity(lines.iter().map(|line| line.text.len() + 1).sum());
    for line in lines {
        body.push_str(&line.text);
        body.push('\n');
    }
    body
}

fn refusal(session: &Session, line: &Line, words: &str) -> Refusal {
    let (address, text) = (&session.server.address, &line.text);
    Refusal {
        seq: line.seq,
        why: format!("{address} refuses `{text}`: {words}"),
    }
}

fn refuses_all(session: &Session, words: &str) -> Trouble {
    let address = &session.server.address;
    Trouble::Person {
        what: format!(
            "{address}: refuses every line for one reason ({words}); what waits is kept and goes \
             out when that is put right; check the database, or choose another `measurement`"
        ),
    }
}
