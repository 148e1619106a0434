//! The server's task: takes connections, as many as there is room for, and gives each a task.

use super::place::Place;
use super::protocol::{self, Answer, Hello};
use super::session::{Office, Session};
use super::{Asked, MOST_CLIENTS};
use crate::log::Log;
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::{Mutex, mpsc};
use tokio::task::{JoinHandle, JoinSet};
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// How long a stopping service waits for steps that are being committed.
const LAST_STEPS: Duration = Duration::from_secs(5);

/// After so long without a request a connection ends, unless it watches: there is room for few.
const IDLE: Duration = Duration::from_secs(60);

/// Wait after a connection could not be taken: no descriptor is free, and none will be at once.
const TAKE_AGAIN: Duration = Duration::from_secs(1);

/// A running server.
#[derive(Debug)]
pub struct Server {
    place: Place,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

impl Server {
    /// Listens beside a log that this process has opened for writing.
    ///
    /// # Errors
    /// What the operating system says; the service goes on without.
    pub fn start(log: &Log, asked: mpsc::Sender<Asked>) -> io::Result<Self> {
        let place = Place::beside(log.path())?;
        let listener = UnixListener::from_std(place.listen()?)?;
        let stop = CancellationToken::new();
        let office = Office {
            log: log.clone(),
            asked,
            stop: stop.clone(),
            taking: Arc::new(Mutex::new(())),
            idle: IDLE,
        };
        let task = tokio::spawn(serve(listener, office));
        Ok(Self { place, stop, task })
    }

    /// Where it listens.
    #[must_use]
    pub fn path(&self) -> &Path {
        self.place.path()
    }

    /// Ends all connections, and takes the socket away. To be called before the log is closed.
    pub async fn stop(self) {
        self.stop.cancel();
        // One that panicked has nothing left to end.
        let _ = self.task.await;
        self.place.remove();
    }
}

async fn serve(listener: UnixListener, office: Office) {
    let mut sessions = JoinSet::new();
    loop {
        let taken = tokio::select! {
            taken = listener.accept() => taken,
            () = office.stop.cancelled() => break,
        };
        while sessions.try_join_next().is_some() {}
        match taken {
            Ok((stream, _)) if sessions.len() >= MOST_CLIENTS => turn_away(&stream),
            Ok((stream, _)) => {
                sessions.spawn(Session::new(office.clone(), stream).run());
            }
            Err(error) => {
                tracing::debug!("a command could not be connected: {error}");
                tokio::time::sleep(TAKE_AGAIN).await;
            }
        }
    }
    drop(listener);
    let all = async { while sessions.join_next().await.is_some() {} };
    // A step that is not committed by then is by the log's end, or its client knows nothing of it.
    let _ = timeout(LAST_STEPS, all).await;
}

fn turn_away(stream: &UnixStream) {
    let why = format!(
        "{MOST_CLIENTS} commands are connected, and there is no room for more; end one of them"
    );
    let mut lines = protocol::line(&Hello::ours());
    lines.extend(protocol::line(&Answer::Refused(why)));
    // A socket that was just made has room for both; where it has gone already nobody minds.
    let _ = stream.try_write(&lines);
}
