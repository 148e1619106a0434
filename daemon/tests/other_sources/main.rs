//! Four sources against their real counterparts: a broker with an independent publisher, programs
//! in python, a folder laid out as the kernel shows converters, a listener on a TCP port.

#![allow(clippy::unwrap_used, missing_docs)]

#[path = "../support/mosquitto.rs"]
mod mosquitto;
#[path = "../support/watch.rs"]
mod watch;

mod file;
mod mqtt;
mod program;
mod tcp;

use nightbench::source::retry::Pace;
use std::time::Duration;

/// As in a night, but quicker.
const PACE: Pace = Pace {
    shortest: Duration::from_millis(5),
    longest: Duration::from_millis(40),
};
