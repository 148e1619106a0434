//! Tries baud rates on a port that stays open, and scores what is heard at each.

use super::super::Failure;
use super::ear::Stop;
use super::live::Live;
use super::port::Port;
use crate::listen::rate::{Score, score};
use std::time::Duration;

/// How long each rate is listened to: three lines of a board that says one a second.
const EACH: Duration = Duration::from_millis(3500);

/// The first one: the board may just come out of reset, which takes up to 2 s.
const FIRST: Duration = Duration::from_millis(5500);

/// Bytes kept at one rate, at most.
const ENOUGH: usize = 16_384;

/// Bytes without one good line that are enough to give a rate up.
const HOPELESS: usize = 1024;

/// Tries the rates in their order, until one is clearly right or the stop comes; says whether it
/// came.
///
/// # Errors
/// Where the port is gone. A rate that it does not take is told, and left out.
pub async fn try_each(
    port: &mut Port,
    rates: &[u32],
    live: &Live,
    stop: &mut Stop,
) -> Result<(Vec<(u32, Score)>, bool), Failure> {
    let mut tried = Vec::new();
    for (at, rate) in rates.iter().enumerate() {
        if let Err(failure) = port.set_baud(*rate) {
            live.say(&failure.to_string());
            continue;
        }
        let patience = if at == 0 { FIRST } else { EACH };
        let (bytes, stopped) = hear(port, patience, stop).await?;
        let score = score(&bytes);
        live.say(&words(*rate, &score));
        tried.push((*rate, score));
        if stopped || score.is_clear() {
            return Ok((tried, stopped));
        }
    }
    Ok((tried, false))
}

/// The bytes of one try, and whether the stop came.
async fn hear(
    port: &mut Port,
    patience: Duration,
    stop: &mut Stop,
) -> Result<(Vec<u8>, bool), Failure> {
    let time = tokio::time::sleep(patience);
    tokio::pin!(time);
    let mut bytes = Vec::new();
    loop {
        let read = tokio::select! {
            biased;
            () = stop.wait() => return Ok((bytes, true)),
            () = &mut time => return Ok((bytes, false)),
            read = port.next() => read,
        };
        match read {
            Ok(chunk) if !chunk.is_empty() => bytes.extend(chunk),
            _ => {
                return Err(Failure::new(
                    "the port is gone: unplugged, or without power",
                ));
            }
        }
        if is_enough(&bytes) {
            return Ok((bytes, false));
        }
    }
}

fn is_enough(bytes: &[u8]) -> bool {
    let score = score(bytes);
    score.is_clear() || bytes.len() >= ENOUGH || (bytes.len() >= HOPELESS && score.good == 0)
}

fn words(rate: u32, score: &Score) -> String {
    let Score {
        bytes,
        good,
        others,
    } = score;
    format!(
        "{rate:>7} baud: {bytes:>5} bytes, {good:>3} lines that can be read, {others:>3} that cannot"
    )
}
