//! Whether somebody wants the guide to end: SIGTERM, SIGHUP of a terminal that is closed, SIGINT from
//! outside. Ctrl-C in the terminal is a key.
//!
//! Only notes it: who draws looks here, and gives the terminal back first.

use crate::cli::{Failure, runtime};
use crate::words;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use tokio::signal::unix::{Signal, SignalKind, signal};

/// Set once it shall end.
#[derive(Clone, Debug, Default)]
pub(super) struct Ending(Arc<AtomicBool>);

impl Ending {
    /// Heeds signals from here on.
    ///
    /// # Errors
    /// Where the system does not let it.
    pub fn heed() -> Result<Self, Failure> {
        let ending = Self::default();
        let runtime = runtime()?;
        let failed = |error: std::io::Error| {
            let why = words::system(&error);
            Failure::new(format!("signals cannot be received: {why}"))
        };
        let caught = {
            let _inside = runtime.enter();
            let kinds = [
                SignalKind::terminate(),
                SignalKind::hangup(),
                SignalKind::interrupt(),
            ];
            let caught: Result<Vec<Signal>, _> = kinds.into_iter().map(signal).collect();
            caught.map_err(failed)?
        };
        let told = ending.clone();
        // Ends with the process.
        thread::spawn(move || {
            runtime.block_on(first(caught));
            told.0.store(true, Ordering::Relaxed);
        });
        Ok(ending)
    }

    /// Whether it shall end.
    pub fn is_wanted(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

async fn first(signals: Vec<Signal>) {
    let (tell, mut told) = tokio::sync::mpsc::channel(1);
    for mut signal in signals {
        let tell = tell.clone();
        tokio::spawn(async move {
            signal.recv().await;
            // Nobody listens any more where another came first.
            let _ = tell.send(()).await;
        });
    }
    told.recv().await;
}
