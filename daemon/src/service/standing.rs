//! What the service knows of how everything stands: the last of each, as it passes by.

use crate::log::{Batch, Kind};
use crate::reading::Reading;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use crate::control::{OutletStatus, Said};

/// The last readings of the probes, and the last words about the boards, since the start.
#[derive(Debug, Default)]
pub struct Standing {
    readings: BTreeMap<String, Reading>,
    heard: BTreeMap<String, i64>,
    boards: BTreeMap<String, Said>,
}

impl Standing {
    /// Looks at a batch on its way into the log.
    pub fn saw(&mut self, batch: &Batch) {
        for reading in &batch.readings {
            self.saw_reading(reading);
        }
        let of_boards = batch.entries.iter().filter(|e| e.kind == Kind::Board);
        for entry in of_boards {
            let said = Said {
                time_ms: entry.at.wall_ms,
                text: entry.text.clone(),
            };
            self.boards.insert(entry.subject.clone(), said);
        }
    }

    fn saw_reading(&mut self, reading: &Reading) {
        let series = &reading.series;
        keep(&mut self.readings, &series.probe, reading.clone());
        if reading.samples > 0 {
            keep(&mut self.heard, &series.board, reading.at.wall_ms);
        }
    }

    /// The last reading of a probe.
    #[must_use]
    pub fn reading(&self, probe: &str) -> Option<&Reading> {
        self.readings.get(probe)
    }

    /// When samples of a board last went into a reading, milliseconds since 1970.
    #[must_use]
    pub fn heard(&self, board: &str) -> Option<i64> {
        self.heard.get(board).copied()
    }

    /// The last words about a board.
    #[must_use]
    pub fn said(&self, board: &str) -> Option<&Said> {
        self.boards.get(board)
    }
}

/// Puts a value in place of the last one; a name is copied only the first time.
fn keep<T>(map: &mut BTreeMap<String, T>, name: &str, value: T) {
    match map.get_mut(name) {
        Some(last) => *last = value,
        None => {
            map.insert(name.to_owned(), value);
        }
    }
}

/// How one outlet stands; shared with its task.
#[derive(Clone, Debug, Default)]
pub struct OutletStanding(Arc<Mutex<Delivery>>);

/// What an outlet's receiver did since the start.
#[derive(Clone, Debug, Default)]
pub struct Delivery {
    /// Since when its connection stands.
    pub connected_ms: Option<i64>,
    /// When something was acknowledged last.
    pub delivered_ms: Option<i64>,
    /// The last live reading that was acknowledged.
    pub acknowledged: Option<u64>,
    /// What went wrong last.
    pub trouble: Option<Said>,
}

impl OutletStanding {
    /// Changes it.
    pub fn note(&self, change: impl FnOnce(&mut Delivery)) {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner));
    }

    /// As it is said on the socket.
    #[must_use]
    pub fn status(&self, name: &str) -> OutletStatus {
        let now = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        OutletStatus {
            name: name.to_owned(),
            connected_ms: now.connected_ms,
            delivered_ms: now.delivered_ms,
            acknowledged: now.acknowledged,
            waiting: None,
            trouble: now.trouble.clone(),
        }
    }
}
