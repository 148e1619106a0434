//! A driver's library as it was found: its bytes, once read, and their fingerprint.
//!
//! The bytes are kept in memory of the kernel, and whoever loads them loads that copy. So what was
//! checked is what runs, a restart runs the same, and a file that is written over in place takes
//! nobody down. Nothing is loaded here.

use super::{elf, trust};
use crate::words;
use rustix::fs::{MemfdFlags, SealFlags, fcntl_add_seals, memfd_create};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Read, Write};
use std::os::fd::{AsFd, BorrowedFd};
use std::path::{Path, PathBuf};

/// A driver is small; a debug build in Rust has some megabytes.
const LARGEST: u64 = 64 << 20;

/// A library's bytes.
#[derive(Debug)]
pub(super) struct Library {
    path: PathBuf,
    sha256: String,
    image: File,
}

impl Library {
    /// Reads a file that is trusted, is a library for this host and has the fingerprint that it is
    /// to have, where one is given.
    ///
    /// # Errors
    /// What is wrong, in words for a person: what follows the file's name.
    pub(super) fn read(path: &Path, pinned: Option<&str>) -> Result<Self, String> {
        let unread = |error: io::Error| match error.kind() {
            io::ErrorKind::NotFound => "there is no such file; check the name".to_owned(),
            _ => format!(
                "it cannot be read: {}; check owner and mode",
                words::system(&error)
            ),
        };
        let folder = path
            .parent()
            .map(Path::canonicalize)
            .transpose()
            .map_err(unread)?;
        // Where it is a link, whoever may write here could let it lead elsewhere.
        folder.as_deref().map_or(Ok(()), trust::check_folder)?;
        let path = path.canonicalize().map_err(unread)?;
        let file = File::open(&path).map_err(unread)?;
        trust::check(&path, &file)?;
        let mut bytes = Vec::new();
        file.take(LARGEST + 1)
            .read_to_end(&mut bytes)
            .map_err(unread)?;
        if bytes.len() as u64 > LARGEST {
            return Err(format!(
                "it has more than {} MiB; is it a driver?",
                LARGEST >> 20
            ));
        }
        elf::check(&bytes)?;
        let sha256 = fingerprint(&bytes);
        if pinned.is_some_and(|pinned| !pinned.eq_ignore_ascii_case(&sha256)) {
            return Err(format!(
                "its SHA-256 is {sha256}, another than `sha256` says; \
                 find out who changed it, or write the new one"
            ));
        }
        let image = image(&bytes)
            .map_err(|error| format!("it cannot be kept in memory: {}", words::system(&error)))?;
        Ok(Self {
            path,
            sha256,
            image,
        })
    }

    /// Where it was found, without links.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// The file's name, for people.
    pub(super) fn name(&self) -> String {
        let name = self.path.file_name().unwrap_or(self.path.as_os_str());
        name.to_string_lossy().into_owned()
    }

    /// SHA-256 of its bytes, hexadecimal.
    pub(super) fn sha256(&self) -> &str {
        &self.sha256
    }

    /// The bytes as a file that nobody can change.
    pub(super) fn image(&self) -> BorrowedFd<'_> {
        self.image.as_fd()
    }
}

fn fingerprint(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .fold(String::new(), |mut text, byte| {
            // Writing to a text does not fail.
            let _ = write!(text, "{byte:02x}");
            text
        })
}

fn image(bytes: &[u8]) -> io::Result<File> {
    let flags = MemfdFlags::CLOEXEC | MemfdFlags::ALLOW_SEALING;
    // Kernels before 6.3 do not know the flag, nor need it.
    let image = memfd_create("driver", flags | MemfdFlags::EXEC)
        .or_else(|_| memfd_create("driver", flags))?;
    let mut image = File::from(image);
    image.write_all(bytes)?;
    let seals = SealFlags::WRITE | SealFlags::SHRINK | SealFlags::GROW | SealFlags::SEAL;
    fcntl_add_seals(&image, seals)?;
    Ok(image)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::os::unix::fs::FileExt;

    // Source: FIPS 180-4; NIST's example for the message "abc".
    #[test]
    fn the_fingerprint_is_sha_256() {
        let published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(fingerprint(b"abc"), published);
    }

    #[test]
    fn the_copy_in_memory_cannot_be_changed() {
        let image = image(b"abc").unwrap();
        assert!(image.write_at(b"x", 0).is_err() && image.set_len(1).is_err());
        let mut same = [0; 3];
        image.read_exact_at(&mut same, 0).unwrap();
        assert_eq!(&same, b"abc");
    }

    #[test]
    fn a_file_that_is_not_there_or_no_library_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("libsunny.so");
        let why = || Library::read(&path, None).unwrap_err();
        assert_eq!(why(), "there is no such file; check the name");
        std::fs::write(&path, "no library").unwrap();
        assert!(why().contains("but a text"), "{}", why());
    }
}
