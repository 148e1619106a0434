//! The outlets that write line protocol, against real databases, against a server that misbehaves
//! as told, and against a real folder. The shared loop is not part of it.

#![allow(clippy::unwrap_used)]

mod database;
mod scene;
mod stub;
mod with_databases;
mod with_files;
mod with_stub;
mod with_tls;
