//! One run of a program, from its start to its last word.

use super::child::Child;
use super::ending;
use super::talk::Talk;
use crate::clock;
use crate::measure::lines::LineSplitter;
use crate::source::stream::{Stream, put_all};
use crate::source::{Event, Sink};
use std::future::Future;
use std::io;
use std::process::ExitStatus;
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio::process::{ChildStderr, ChildStdout};
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

/// How long a program may take to end when it is asked to, or after it has closed its output.
const GRACE: Duration = Duration::from_secs(2);

/// How long what it has written may take to be read when it is gone: a process that has left its
/// group can hold the pipe open.
const LAST_WORDS: Duration = Duration::from_millis(500);

/// How a run ended.
#[derive(Debug)]
pub enum Outcome {
    /// By the stop, or by the flow's end.
    Stopped,
    /// The program has ended; in words.
    Gone(String),
}

/// A program under way.
pub struct Session<'t> {
    child: Child,
    pipes: Option<Pipes<'t>>,
}

struct Pipes<'t> {
    out: Stream<ChildStdout>,
    err: ChildStderr,
    heard: Vec<u8>,
    out_is_open: bool,
    err_is_open: bool,
    talk: &'t mut Talk,
}

enum Heard {
    Out(io::Result<usize>),
    Err(io::Result<usize>),
}

impl<'t> Session<'t> {
    /// A program that was just started.
    #[must_use]
    pub fn new(mut child: Child, talk: &'t mut Talk) -> Self {
        let pipes = child.outputs().map(|(out, err)| Pipes {
            out: Stream::new(out, LineSplitter::new()),
            err,
            heard: vec![0; 1024],
            out_is_open: true,
            err_is_open: true,
            talk,
        });
        Self { child, pipes }
    }

    /// Reads until the program has ended, or ends it when the stop comes. Nothing that it has
    /// started is left behind.
    pub async fn run(mut self, sink: &Sink, stop: &CancellationToken) -> Outcome {
        let Some(mut pipes) = self.pipes.take() else {
            return Outcome::Gone("has no output".to_owned());
        };
        let child = &mut self.child;
        let status = match pipes.follow(child, sink, stop.cancelled()).await {
            Followed::CutShort => {
                pipes.wind_up(child, sink).await;
                return Outcome::Stopped;
            }
            Followed::FlowEnded => return Outcome::Stopped,
            Followed::Ended(status) => status,
        };
        child.kill();
        pipes.last_words(sink).await;
        pipes.close(sink).await;
        Outcome::Gone(in_words(status))
    }
}

enum Followed {
    /// What was waited for beside it came first.
    CutShort,
    /// The flow takes no more events.
    FlowEnded,
    /// The program has ended; `None` where it closed its output and stayed.
    Ended(Option<ExitStatus>),
}

fn in_words(status: Option<ExitStatus>) -> String {
    status.map_or_else(
        || "closed its output without ending, and was ended".to_owned(),
        ending::of,
    )
}

impl Pipes<'_> {
    /// Reads until the program ends or closes its output, or `until` comes; what was read is put
    /// in any case.
    async fn follow(
        &mut self,
        child: &mut Child,
        sink: &Sink,
        until: impl Future<Output = ()>,
    ) -> Followed {
        tokio::pin!(until);
        while self.out_is_open {
            let heard = tokio::select! {
                biased;
                () = &mut until => return Followed::CutShort,
                status = child.wait() => return Followed::Ended(status.ok()),
                heard = self.next() => heard,
            };
            if !self.take(heard, sink).await {
                return Followed::FlowEnded;
            }
        }
        let status = timeout(GRACE, child.wait()).await;
        Followed::Ended(status.ok().and_then(Result::ok))
    }

    /// The next bytes of either output; for ever where both are closed.
    async fn next(&mut self) -> Heard {
        tokio::select! {
            read = self.out.read(), if self.out_is_open => Heard::Out(read),
            read = self.err.read(&mut self.heard), if self.err_is_open => Heard::Err(read),
            else => std::future::pending().await,
        }
    }

    /// Passes on what was heard; false where the flow has ended.
    async fn take(&mut self, heard: Heard, sink: &Sink) -> bool {
        let at = clock::now();
        match heard {
            Heard::Out(Ok(n @ 1..)) => self.out.pass_on(n, at, sink).await,
            Heard::Err(Ok(n @ 1..)) => {
                let bytes = self.heard.get(..n).unwrap_or_default();
                let told = self.talk.hear(bytes, at.boot_ns);
                remark(told, sink).await
            }
            Heard::Out(_) => {
                self.out_is_open = false;
                true
            }
            Heard::Err(_) => {
                self.err_is_open = false;
                true
            }
        }
    }

    /// Asks the program to end, reads on meanwhile, and ends it where it does not.
    async fn wind_up(&mut self, child: &mut Child, sink: &Sink) {
        child.terminate();
        let followed = self.follow(child, sink, sleep(GRACE)).await;
        if !matches!(followed, Followed::Ended(Some(_))) {
            tracing::warn!("a program did not end within 2 s when asked to, and is killed");
        }
        child.kill();
        self.last_words(sink).await;
    }

    /// Reads what still lies in the pipes of a program that is gone. Where that takes longer,
    /// somebody else holds them.
    async fn last_words(&mut self, sink: &Sink) {
        let late = sleep(LAST_WORDS);
        tokio::pin!(late);
        while self.out_is_open || self.err_is_open {
            let heard = tokio::select! {
                biased;
                () = &mut late => return,
                heard = self.next() => heard,
            };
            if !self.take(heard, sink).await {
                return;
            }
        }
    }

    async fn close(self, sink: &Sink) {
        let at = clock::now();
        // Where the flow has ended the next event tells.
        remark(self.talk.ends(at.boot_ns), sink).await;
        self.out.finish(at, sink).await;
    }
}

async fn remark(told: Vec<String>, sink: &Sink) -> bool {
    let at = clock::now();
    let remark = |text| Event::Remark { at, text };
    put_all(told.into_iter().map(remark).collect(), sink).await
}
