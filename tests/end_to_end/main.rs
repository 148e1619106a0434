//! What the program promises, seen from outside: one file per promise, each test on a scene of its own,
//! so that they run side by side.
//!
//! Real broker, real databases, a board on a real pseudo-terminal; `tests/install` installs what is
//! missing. No test here calls the program's library.

#![allow(clippy::unwrap_used)]

mod absolute;
mod board_clock;
mod checks;
mod command_line;
mod deploy_files;
mod each_configuration_runs;
mod every_reading_everywhere;
mod faults;
mod firmware;
mod house_rules;
mod kill;
mod night_on_real_input;
mod outage;
mod readings_export;
mod stop_and_reload;
mod unplug;
