//! A recorded file of lines, at its own pace or faster.
//!
//! A line may begin with `@SECONDS ` (decimal, since the start of the recording): then it comes at
//! that time, and without the prefix. A line without it comes one interval after the one before;
//! one whose prefix is no such number is passed on as it is; one dated before its predecessor
//! comes with it. Lines that begin with `#` are passed on, as a board's would be.
//!
//! Stamps: at a finite speed a line is stamped with the moment at which it is put. As fast as it
//! goes, it is stamped with the start of the replay and its own time in the recording, so that an
//! overnight recording keeps its intervals, and its stamps run ahead of the clock.

mod recording;
mod timeline;

use super::{Discard, Event, Sink, Source, pace};
use crate::clock;
use crate::measure::lines::{LineSplitter, Piece};
use crate::reading::Moment;
use crate::words;
use recording::Recording;
use std::future::Future;
use std::io;
use std::path::PathBuf;
use std::pin::Pin;
use std::time::Duration;
use timeline::{Timeline, later};
use tokio_util::sync::CancellationToken;

/// Wait before a file that cannot be read is tried again.
pub const RETRY: Duration = Duration::from_secs(5);

/// A recorded file as a source.
#[derive(Clone, Debug)]
pub struct ReplaySource {
    board: String,
    file: PathBuf,
    every: Duration,
    speed: f64,
    retry: Duration,
}

impl ReplaySource {
    /// The recording of the board of this label; `every` lies between lines that carry no time,
    /// `speed` is how many times faster than life (infinite for as fast as the flow takes it; what
    /// is no positive number counts as 1).
    #[must_use]
    pub fn new(board: impl Into<String>, file: PathBuf, every: Duration, speed: f64) -> Self {
        Self {
            board: board.into(),
            file,
            every,
            speed: if speed > 0.0 { speed } else { 1.0 },
            retry: RETRY,
        }
    }

    /// The same with another wait before a file that cannot be read is tried again.
    #[must_use]
    pub fn with_retry(self, retry: Duration) -> Self {
        Self { retry, ..self }
    }

    fn opened(&self, at: Moment) -> Event {
        Event::Opened {
            at,
            detail: format!("recording `{}` {}", self.file.display(), pace(self.speed)),
            resets_board: false,
        }
    }

    fn lost(&self, at: Moment, error: &io::Error) -> Event {
        let reason = format!(
            "recording `{}` cannot be read: {}; correct `file` in `[board.{}]`, or put the \
             file there; trying again every {} s",
            self.file.display(),
            words::system(error),
            self.board,
            self.retry.as_secs_f64()
        );
        Event::Lost { at, reason }
    }
}

impl Source for ReplaySource {
    fn run(
        self: Box<Self>,
        sink: Sink,
        stop: CancellationToken,
    ) -> Pin<Box<dyn Future<Output = ()> + Send>> {
        Box::pin(async move {
            let player = Player::new(*self, sink, stop);
            // `None`: the stop, or the flow's end, came before the file's.
            let _ = player.play().await;
        })
    }
}

/// A replay under way. Its steps give `None` where the stop, or the flow's end, came first.
struct Player {
    source: ReplaySource,
    sink: Sink,
    stop: CancellationToken,
    start: Moment,
    timeline: Timeline,
}

impl Player {
    fn new(source: ReplaySource, sink: Sink, stop: CancellationToken) -> Self {
        Self {
            timeline: Timeline::new(source.every),
            start: clock::now(),
            source,
            sink,
            stop,
        }
    }

    async fn play(mut self) -> Option<()> {
        let mut recording = Recording::new(self.source.file.clone());
        let mut splitter = LineSplitter::new();
        self.open(&mut recording).await?;
        loop {
            let chunk = match recording.next_chunk().await {
                Ok(chunk) => chunk,
                Err(error) => {
                    self.say_lost(&error).await?;
                    self.open(&mut recording).await?;
                    continue;
                }
            };
            for piece in cut(&mut splitter, &chunk) {
                self.put_piece(piece).await?;
            }
            if chunk.is_empty() {
                let at = self.moment();
                return self.put(Event::Ended { at }).await;
            }
        }
    }

    /// Opens the recording, however long it takes; each change of reason is told once.
    async fn open(&mut self, recording: &mut Recording) -> Option<()> {
        let mut told = None;
        while let Err(error) = recording.open().await {
            if told.replace(error.kind()) != Some(error.kind()) {
                self.say_lost(&error).await?;
            }
            self.pause(self.source.retry).await?;
        }
        let now = clock::now();
        if self.timeline.is_at_start() {
            self.start = now;
        }
        self.put(self.source.opened(now)).await
    }

    async fn say_lost(&self, error: &io::Error) -> Option<()> {
        self.put(self.source.lost(clock::now(), error)).await
    }

    async fn put_piece(&mut self, piece: Owned) -> Option<()> {
        let event = match piece {
            Owned::Discarded { bytes, why } => Event::Discarded { bytes, why },
            Owned::Line(line) => {
                let bytes = self.timeline.date(&line).to_vec();
                self.wait_until_due().await?;
                let at = self.moment();
                Event::Line { at, bytes }
            }
        };
        self.put(event).await
    }

    async fn wait_until_due(&self) -> Option<()> {
        if self.source.speed.is_infinite() {
            return (!self.stop.is_cancelled()).then_some(());
        }
        let due = later(self.start, self.timeline.now().div_f64(self.source.speed));
        let left = due.boot_ns.saturating_sub(clock::now().boot_ns);
        self.pause(Duration::from_nanos(left)).await
    }

    /// The stamp of what is put now.
    fn moment(&self) -> Moment {
        if self.source.speed.is_finite() {
            clock::now()
        } else {
            later(self.start, self.timeline.now())
        }
    }

    async fn pause(&self, wait: Duration) -> Option<()> {
        tokio::select! {
            biased;
            () = self.stop.cancelled() => None,
            () = tokio::time::sleep(wait) => Some(()),
        }
    }

    async fn put(&self, event: Event) -> Option<()> {
        self.sink.put(event).await.then_some(())
    }
}

enum Owned {
    Line(Vec<u8>),
    Discarded { bytes: u64, why: Discard },
}

/// The pieces that a chunk completes; an empty one is the end of the file, and of its last line.
fn cut(splitter: &mut LineSplitter, chunk: &[u8]) -> Vec<Owned> {
    let mut pieces = Vec::new();
    let mut visit = |piece: Piece<'_>| {
        pieces.push(match piece {
            Piece::Line(line) => Owned::Line(line.to_vec()),
            Piece::Discarded { bytes, why } => Owned::Discarded { bytes, why },
        });
    };
    if chunk.is_empty() {
        splitter.finish(&mut visit);
    } else {
        splitter.feed(chunk, &mut visit);
    }
    pieces
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use tokio::sync::mpsc;

    const SECOND: Duration = Duration::from_secs(1);

    fn start(source: ReplaySource) -> (mpsc::Receiver<(usize, Event)>, CancellationToken) {
        let (to, from) = mpsc::channel(4);
        let stop = CancellationToken::new();
        tokio::spawn(Box::new(source).run(Sink::new(0, to), stop.clone()));
        (from, stop)
    }

    async fn all(mut from: mpsc::Receiver<(usize, Event)>) -> Vec<Event> {
        let mut events = Vec::new();
        while let Some((_, event)) = from.recv().await {
            events.push(event);
        }
        events
    }

    fn recording(text: &str) -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("night.txt");
        std::fs::write(&path, text).unwrap();
        (folder, path)
    }

    #[tokio::test]
    async fn as_fast_as_it_goes_the_stamps_keep_the_recordings_intervals() {
        let (_folder, path) = recording("# board\n@10.5 a0=1\na0=2\n@28800 a0=3\n@x a0=4\r\na0=5");
        let (from, _stop) = start(ReplaySource::new("bench", path, SECOND, f64::INFINITY));
        let events = all(from).await;
        let Some(Event::Opened { at: start, .. }) = events.first() else {
            panic!("not opened: {events:?}");
        };
        let lines: Vec<(i64, u64, String)> = events
            .iter()
            .filter_map(|event| match event {
                Event::Line { at, bytes } => Some((
                    at.wall_ms - start.wall_ms,
                    at.boot_ns - start.boot_ns,
                    String::from_utf8(bytes.clone()).unwrap(),
                )),
                _ => None,
            })
            .collect();
        let line = |ms: i64, text: &str| (ms, ms.unsigned_abs() * 1_000_000, text.to_owned());
        let expected = [
            line(0, "# board"),
            line(10_500, "a0=1"),
            line(11_500, "a0=2"),
            line(28_800_000, "a0=3"),
            line(28_801_000, "@x a0=4"),
            line(28_802_000, "a0=5"),
        ];
        assert_eq!(lines, expected);
        let end = Event::Ended {
            at: later(*start, Duration::from_secs(28_802)),
        };
        assert_eq!(events.last(), Some(&end));
    }

    #[tokio::test]
    async fn at_a_finite_speed_lines_come_at_their_time_by_the_real_clock() {
        let (_folder, path) = recording("@0 a0=1\n@100 a0=2\n");
        let (from, _stop) = start(ReplaySource::new("bench", path, SECOND, 2000.0));
        let events = all(from).await;
        let [
            _,
            Event::Line { at: first, .. },
            Event::Line { at: second, .. },
            _,
        ] = &events[..]
        else {
            panic!("{events:?}");
        };
        assert!(second.boot_ns - first.boot_ns >= 40_000_000, "50 ms apart");
        assert!(second.wall_ms - first.wall_ms < 10_000, "not 100 s apart");
    }

    #[tokio::test]
    async fn a_missing_file_is_told_once_and_found_later() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("night.txt");
        let source = ReplaySource::new("bench", path.clone(), SECOND, f64::INFINITY)
            .with_retry(Duration::from_millis(5));
        let (mut from, _stop) = start(source);
        let Some((_, Event::Lost { reason, .. })) = from.recv().await else {
            panic!("no loss told");
        };
        assert!(
            reason.contains("night.txt` cannot be read: no such file"),
            "{reason}"
        );
        assert!(
            reason.contains("correct `file` in `[board.bench]`"),
            "{reason}"
        );
        // Appears whole, not empty first.
        let whole = folder.path().join("whole.txt");
        std::fs::write(&whole, "a0=1\n").unwrap();
        std::fs::rename(whole, &path).unwrap();
        let rest = all(from).await;
        assert!(
            matches!(
                &rest[..],
                [Event::Opened { .. }, Event::Line { bytes, .. }, Event::Ended { .. }]
                    if bytes == b"a0=1"
            ),
            "{rest:?}"
        );
    }

    #[tokio::test]
    async fn a_folder_is_told_as_unreadable() {
        let folder = tempfile::tempdir().unwrap();
        let source = ReplaySource::new("bench", folder.path().to_owned(), SECOND, 1.0);
        let (mut from, _stop) = start(source);
        assert!(matches!(from.recv().await, Some((_, Event::Lost { .. }))));
    }

    #[tokio::test]
    async fn the_stop_ends_a_replay_that_waits() {
        let (_folder, path) = recording("@0 a0=1\n@9999 a0=2\n");
        let (mut from, stop) = start(ReplaySource::new("bench", path, SECOND, 1.0));
        while !matches!(from.recv().await, Some((_, Event::Line { .. }))) {}
        stop.cancel();
        assert!(from.recv().await.is_none());
    }
}
