//! A source under way, and what it tells.

use nightbench::source::{Discard, Event, Sink, Source};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// Longest wait for an event, on a loaded host.
pub const DEADLINE: Duration = Duration::from_secs(20);

pub struct Watch {
    pub events: mpsc::Receiver<(usize, Event)>,
    pub stop: CancellationToken,
    pub running: JoinHandle<()>,
}

impl Watch {
    pub fn over(source: impl Source + 'static) -> Self {
        let (to, events) = mpsc::channel(8);
        let stop = CancellationToken::new();
        let running = tokio::spawn(Box::new(source).run(Sink::new(0, to), stop.clone()));
        Self {
            events,
            stop,
            running,
        }
    }

    pub async fn next(&mut self) -> Event {
        let event = timeout(DEADLINE, self.events.recv()).await;
        event.expect("an event in time").expect("the source runs").1
    }

    /// The detail of the opening that comes next.
    pub async fn opened(&mut self) -> String {
        match self.next().await {
            Event::Opened {
                detail,
                resets_board: false,
                ..
            } => detail,
            other => panic!("not opened: {other:?}"),
        }
    }

    pub async fn line(&mut self) -> String {
        match self.next().await {
            Event::Line { bytes, .. } => String::from_utf8(bytes).unwrap(),
            other => panic!("no line: {other:?}"),
        }
    }

    pub async fn remark(&mut self) -> String {
        match self.next().await {
            Event::Remark { text, .. } => text,
            other => panic!("no remark: {other:?}"),
        }
    }

    pub async fn lost(&mut self) -> String {
        match self.next().await {
            Event::Lost { reason, .. } => reason,
            other => panic!("not lost: {other:?}"),
        }
    }

    /// Passes over what comes before the next loss.
    pub async fn loses_in_the_end(&mut self) -> String {
        loop {
            if let Event::Lost { reason, .. } = self.next().await {
                return reason;
            }
        }
    }

    /// Takes events up to this line; bytes that were thrown away for their length are counted.
    pub async fn too_long_before(&mut self, line: &str) -> u64 {
        let mut thrown_away = 0;
        loop {
            match self.next().await {
                Event::Line { bytes, .. } if bytes == line.as_bytes() => return thrown_away,
                Event::Discarded {
                    bytes,
                    why: Discard::TooLong,
                } => thrown_away += bytes,
                other => panic!("{other:?}"),
            }
        }
    }

    /// Asserts that nothing is told for so long.
    pub async fn is_silent_for(&mut self, time: Duration) {
        let told = timeout(time, self.events.recv()).await;
        assert!(told.is_err(), "told: {told:?}");
    }

    /// Stops the source; what it told after the last look.
    pub async fn stop(mut self) -> Vec<Event> {
        self.stop.cancel();
        let mut rest = Vec::new();
        while let Some((_, event)) = timeout(DEADLINE, self.events.recv()).await.unwrap() {
            rest.push(event);
        }
        timeout(DEADLINE, self.running).await.unwrap().unwrap();
        rest
    }
}
