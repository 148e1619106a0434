//! A child process whose standard output is the board: started, read line by line, started anew.
//!
//! Any script can be a board this way. It stays in the foreground, and is ended together with
//! everything that it has started. What it says on standard error goes to the journal, so much a
//! minute. No shell takes part, and nothing is written to it.

mod child;
mod ending;
mod session;
mod talk;

use super::retry::{Pace, Retry};
use super::{Event, Sink, Source};
use crate::clock;
use crate::config::Program;
use crate::reading::Moment;
use child::Child;
use session::{Outcome, Session};
use std::future::Future;
use std::pin::Pin;
use std::time::Duration;
use talk::Talk;
use tokio_util::sync::CancellationToken;

/// A program that ends at once is started, and told, ever less often, down to once a minute.
const PACE: Pace = Pace {
    shortest: Duration::from_millis(250),
    longest: Duration::from_secs(60),
};

/// A board that is a program.
#[derive(Clone, Debug)]
pub struct ProgramSource {
    board: String,
    program: Program,
    pace: Pace,
}

impl ProgramSource {
    /// The board of this label. Nothing is started yet.
    #[must_use]
    pub fn new(board: impl Into<String>, program: Program) -> Self {
        Self {
            board: board.into(),
            program,
            pace: PACE,
        }
    }

    /// The same with other waits between starts.
    #[must_use]
    pub fn with_pace(self, pace: Pace) -> Self {
        Self { pace, ..self }
    }

    async fn look_after(self, sink: Sink, stop: CancellationToken) {
        let mut retry = Retry::new(self.pace);
        let mut talk = Talk::new();
        while !stop.is_cancelled() {
            let reason = match Child::start(&self.program) {
                Err(error) => ending::cannot_start(&self.board, &self.program, &error),
                Ok(child) => {
                    let stay = self.stay(child, &mut retry, &mut talk, &sink, &stop);
                    match stay.await {
                        Outcome::Stopped => return,
                        Outcome::Gone(why) => self.gone(&why),
                    }
                }
            };
            let told = match retry.tell(clock::now(), reason) {
                Some(event) => sink.put(event).await,
                None => true,
            };
            if !told || !retry.pause(&stop).await {
                return;
            }
        }
    }

    async fn stay(
        &self,
        child: Child,
        retry: &mut Retry,
        talk: &mut Talk,
        sink: &Sink,
        stop: &CancellationToken,
    ) -> Outcome {
        let since = clock::now();
        retry.found();
        if !sink.put(self.opened(since, &child)).await {
            return Outcome::Stopped;
        }
        let outcome = Session::new(child, talk).run(sink, stop).await;
        retry.lasted(clock::now().boot_ns.saturating_sub(since.boot_ns));
        outcome
    }

    fn opened(&self, at: Moment, child: &Child) -> Event {
        let command = ending::command(&self.program);
        let process = child.process();
        Event::Opened {
            at,
            detail: format!("`{command}` (process {process})"),
            resets_board: false,
        }
    }

    fn gone(&self, why: &str) -> String {
        let command = ending::command(&self.program);
        format!("`{command}` {why}; what came before is kept; starting it again")
    }
}

impl Source for ProgramSource {
    fn run(
        self: Box<Self>,
        sink: Sink,
        stop: CancellationToken,
    ) -> Pin<Box<dyn Future<Output = ()> + Send>> {
        Box::pin(self.look_after(sink, stop))
    }
}
