//! A bench for the tests beside it: a stable name, boards to plug in, a source to watch.

use nightbench::clock;
use nightbench::source::serial::{Pace, SerialSource};
use nightbench::source::{Discard, Event, Sink, Source};
use serialport::{SerialPort, TTYPort};
use std::fs::File;
use std::io::Write;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// Longest wait for an event, on a loaded host.
pub const DEADLINE: Duration = Duration::from_secs(20);

/// As in a night, but quicker.
pub const PACE: Pace = Pace {
    shortest: Duration::from_millis(5),
    longest: Duration::from_millis(40),
    busy_patience: Duration::from_millis(100),
    baud_patience: Duration::from_millis(100),
};

/// A folder with the board's stable name in it, and a place for boards to be plugged in.
pub struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        Self { folder }
    }

    pub fn stable_name(&self) -> PathBuf {
        self.folder.path().join("usb-board-if00")
    }

    /// A new pseudo-terminal; the stable name points to it, whatever it pointed to before.
    pub fn plug_in(&self) -> TTYPort {
        let (master, slave) = TTYPort::pair().unwrap();
        let link = self.folder.path().join("new");
        symlink(slave.name().unwrap(), &link).unwrap();
        std::fs::rename(link, self.stable_name()).unwrap();
        master
    }

    /// Takes the stable name away, as the device manager does, and hangs the board up. In this
    /// order: the number is free for another test's board at once.
    pub fn unplug(&self, board: TTYPort) {
        std::fs::remove_file(self.stable_name()).unwrap();
        drop(board);
    }

    pub fn watch(&self) -> Watch {
        self.watch_at(PACE)
    }

    pub fn watch_at(&self, pace: Pace) -> Watch {
        let (to, events) = mpsc::channel(8);
        let stop = CancellationToken::new();
        let source = SerialSource::new("bench", self.stable_name(), 115_200).with_pace(pace);
        let running = tokio::spawn(Box::new(source).run(Sink::new(0, to), stop.clone()));
        Watch {
            events,
            stop,
            running,
        }
    }
}

/// A source under way, and what it tells.
pub struct Watch {
    pub events: mpsc::Receiver<(usize, Event)>,
    pub stop: CancellationToken,
    pub running: JoinHandle<()>,
}

impl Watch {
    pub async fn next(&mut self) -> Event {
        let event = timeout(DEADLINE, self.events.recv()).await;
        event.expect("an event in time").expect("the source runs").1
    }

    /// Waits for the opening and makes the board write the end of a line, so that what follows is
    /// whole.
    pub async fn opened(&mut self, board: &mut TTYPort) -> String {
        let Event::Opened {
            detail,
            resets_board: true,
            ..
        } = self.next().await
        else {
            panic!("not opened");
        };
        board.write_all(b"=51\r\n").unwrap();
        assert_eq!(self.next().await, discarded(5, Discard::AfterOpening));
        detail
    }

    pub async fn line(&mut self) -> String {
        match self.next().await {
            Event::Line { bytes, .. } => String::from_utf8(bytes).unwrap(),
            other => panic!("no line: {other:?}"),
        }
    }

    pub async fn lost(&mut self) -> String {
        match self.next().await {
            Event::Lost { reason, .. } => reason,
            other => panic!("not lost: {other:?}"),
        }
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

/// Waits until the kernel has passed on what was written, without reading it.
pub fn wait_for_bytes(onlooker: &File, expected: u64) {
    let start = clock::now().boot_ns;
    while rustix::io::ioctl_fionread(onlooker).unwrap() < expected {
        let waited = Duration::from_nanos(clock::now().boot_ns - start);
        assert!(waited < DEADLINE, "{expected} bytes do not come");
        std::thread::yield_now();
    }
}

/// Waits until this process holds no descriptor of a device that was unplugged.
pub async fn wait_for_closing(device: &Path) {
    let dead = PathBuf::from(format!("{} (deleted)", device.display()));
    let is_held = || {
        let descriptors = std::fs::read_dir("/proc/self/fd").unwrap();
        descriptors
            .filter_map(|entry| std::fs::read_link(entry.unwrap().path()).ok())
            .any(|target| target == dead)
    };
    let closed = async {
        while is_held() {
            tokio::task::yield_now().await;
        }
    };
    let closed = timeout(DEADLINE, closed).await;
    closed.expect("the dead device is closed");
}

pub fn discarded(bytes: u64, why: Discard) -> Event {
    Event::Discarded { bytes, why }
}
