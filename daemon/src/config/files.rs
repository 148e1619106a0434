//! The files that a configuration refers to and that belong to it: tables of corrections.
//!
//! Reading them is handed in, so that a configuration stays a pure function of what was read.

use std::io;
use std::path::Path;

/// Reads a file that the configuration names.
pub(super) type Read<'f> = dyn Fn(&Path) -> io::Result<String> + 'f;

/// Where relative paths begin, and how files are read.
#[derive(Clone, Copy)]
pub(super) struct Files<'f> {
    base: &'f Path,
    read: &'f Read<'f>,
}

impl<'f> Files<'f> {
    /// Files under `base`.
    pub(super) fn new(base: &'f Path, read: &'f Read<'f>) -> Self {
        Self { base, read }
    }

    /// Where relative paths begin.
    pub(super) fn base(&self) -> &'f Path {
        self.base
    }

    /// The text of a file.
    pub(super) fn read(&self, path: &Path) -> io::Result<String> {
        (self.read)(path)
    }
}
