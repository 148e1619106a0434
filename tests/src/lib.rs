//! The harness of the end-to-end tests: a board on a pseudo-terminal, real brokers and databases, the
//! program itself, and readers for what they leave behind.
//!
//! It holds no expectation about readings and uses none of the program's own code: what the program
//! says is checked from the outside, against published numbers and independent makes.

pub mod binary;
pub mod board;
pub mod broker;
pub mod certificates;
pub mod database;
pub mod drivers;
pub mod firmware;
pub mod gate;
pub mod http;
pub mod log;
pub mod process;
pub mod published;
pub mod scene;
pub mod screen;
pub mod service;
pub mod talk;
pub mod terminal;
pub mod wait;
