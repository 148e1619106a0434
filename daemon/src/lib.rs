//! nightbench: numbers to trust from resistive probes, through the night.
//!
//! One direction, one way in, one log in the middle: source, decode, front end, driver, quality,
//! log, outlets; alarms are judged on exactly what is logged. The modules stand in that order.

pub mod clock;
pub mod reading;
pub mod words;

pub mod config;

pub mod source;

pub mod measure;

pub mod listen;

pub mod driver;

pub mod calibrate;

pub mod chart;

pub mod alarm;

pub mod flow;

pub mod log;

pub mod outlet;

pub mod control;

pub mod service;

pub mod doctor;

pub mod cli;
