//! The way into the log, and what becomes of what finds no room there: a rule, a count, an entry.

use crate::clock;
use crate::log::{Batch, Entry, Kind, Log, Loudness};
use crate::words::counted;
use std::time::Duration;

/// What could not be handed to the log.
#[derive(Debug, Default)]
pub struct Drops {
    /// Readings that were dropped, and not told of yet.
    pub readings: u64,
    /// Entries and moves wait; only readings are dropped.
    pub held: Batch,
}

/// Gives a batch to the log; what it tells is said on stderr as well. Where there is no room in time
/// its readings are dropped and counted; entries and alarm moves are held for the next try.
pub async fn hand_over(log: &Log, drops: &mut Drops, batch: Batch, patience: Duration) {
    batch.entries.iter().for_each(Entry::say);
    let mut all = std::mem::take(&mut drops.held);
    all.append(batch);
    if all.is_empty() {
        return;
    }
    let told = std::mem::take(&mut drops.readings);
    if told > 0 {
        let text = format!(
            "the log could not keep up, dropped: {}; check the disk",
            counted(told, "reading")
        );
        let entry = Entry::new(clock::now(), Kind::Log, "", text).loud(Loudness::Error);
        entry.say();
        all.entries.push(entry);
    }
    if let Err(mut refused) = log.append(all, patience).await {
        drops.readings = told + refused.readings.len() as u64;
        refused.drop_readings();
        if told > 0 {
            refused.entries.pop();
        }
        drops.held = refused;
    }
}
