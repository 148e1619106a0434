//! What the program promises, seen from outside: one file per promise, each test on a scene of its own,
//! so that they run side by side.
//!
//! Real broker, real databases, a board on a real pseudo-terminal; `tests/install` installs what is
//! missing. No test here calls the program's library.

#![allow(clippy::unwrap_used)]

mod absolute;
mod alarms_whatever_breaks;
mod board_clock;
mod calibrate;
mod calibrations;
mod certificate;
mod checks;
mod command_line;
mod control;
mod deploy_files;
mod doctor;
mod each_configuration_runs;
mod every_reading_everywhere;
mod faults;
mod firmware;
mod guide;
mod hostile_drivers;
mod house_rules;
mod how_it_ended;
mod kill;
mod listen;
mod loaded_drivers;
mod mqtt5_and_tls;
mod night_on_real_input;
mod one_message_a_line;
mod one_writer;
mod other_sources;
mod outage;
mod own_drivers;
mod quiet_journal;
mod readings_export;
mod readings_for_others;
mod refused_drivers;
mod reload;
mod replayed;
mod republish;
mod stop_and_reload;
mod unheard;
mod unplug;
mod write_lock;
