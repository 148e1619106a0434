//! The outlet that keeps line protocol in a rotating file: for a card, a stick, or a database that
//! is fed by hand. Times are in milliseconds. A parcel is acknowledged when it is on the medium.
//!
//! It does not compress, and does not delete anything but the oldest file beyond `keep`.

mod append;
mod repair;
mod rotation;
mod store;

use self::store::Store;
use super::line_protocol::lines;
use super::{Parcel, Receipt, Receiver, Trouble};
use crate::config::LineProtocolFile;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// Lines written and synchronised together at most: some 200 KiB, a few blocks of a card.
const BATCH: usize = 1000;

/// Appends to one file. What was acknowledged is on the medium; what was not may stand there twice
/// only where the program itself ended in between.
pub struct FileReceiver {
    site: String,
    measurement: String,
    every: Duration,
    /// Shared with the thread that writes, so that a delivery which is given up halfway leaves
    /// nothing behind that is not known.
    store: Arc<Mutex<Store>>,
}

impl FileReceiver {
    /// Opens nothing yet.
    #[must_use]
    pub fn new(site: String, settings: LineProtocolFile) -> Self {
        Self {
            site,
            measurement: settings.measurement.clone(),
            every: settings.every,
            store: Arc::new(Mutex::new(Store::new(settings))),
        }
    }

    /// A slow card blocks a thread of its own, never the ones that wait for sockets.
    async fn blocking<F>(&self, work: F) -> Result<(), Trouble>
    where
        F: FnOnce(&mut Store) -> Result<(), Trouble> + Send + 'static,
    {
        let store = Arc::clone(&self.store);
        let work = move || work(&mut store.lock().unwrap_or_else(PoisonError::into_inner));
        let joined = tokio::task::spawn_blocking(work).await;
        joined.unwrap_or_else(|_| {
            Err(Trouble::Later {
                what: "the thread that writes the file ended; trying again".to_owned(),
                after: None,
            })
        })
    }
}

impl Receiver for FileReceiver {
    async fn connect(&mut self) -> Result<(), Trouble> {
        self.blocking(Store::open).await
    }

    async fn deliver(&mut self, parcel: Parcel<'_>) -> Result<Receipt, Trouble> {
        let (lines, refused) = lines(parcel, &self.site, &self.measurement);
        let mut text = String::new();
        for line in lines {
            text.push_str(&line.text);
            text.push('\n');
        }
        self.blocking(move |store| store.append(&text)).await?;
        Ok(Receipt { refused })
    }

    async fn close(&mut self) {
        // Every parcel is on the medium already: only the lock on the file is given back.
        let _ = self
            .blocking(|store| {
                store.close();
                Ok(())
            })
            .await;
    }

    fn live_every(&self) -> Duration {
        self.every
    }

    fn batch(&self) -> usize {
        BATCH
    }
}
