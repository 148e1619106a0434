//! Reads a recorded file in chunks, off the runtime's thread: a card that stalls holds up no board.
//!
//! Knows nothing of lines or time.

use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;
use std::path::PathBuf;
use std::sync::Arc;

/// Bytes read at once.
const CHUNK: usize = 8192;

/// A file and how far it was read. After an error it goes on where it was.
#[derive(Debug)]
pub struct Recording {
    path: PathBuf,
    file: Option<Arc<File>>,
    offset: u64,
}

impl Recording {
    /// Nothing is opened yet.
    pub fn new(path: PathBuf) -> Self {
        Self {
            path,
            file: None,
            offset: 0,
        }
    }

    /// Opens the file, and makes sure that it can be read from where it was: a folder can be opened,
    /// and so can a file with a bad block.
    ///
    /// # Errors
    ///
    /// What the system says.
    pub async fn open(&mut self) -> io::Result<()> {
        let (path, offset) = (self.path.clone(), self.offset);
        let file = in_background(move || {
            let file = File::open(path)?;
            file.read_at(&mut [0], offset)?;
            Ok(file)
        });
        self.file = Some(Arc::new(file.await?));
        Ok(())
    }

    /// The next bytes; none at the end of the file.
    ///
    /// # Errors
    ///
    /// What the system says, or that the file is not open.
    pub async fn next_chunk(&mut self) -> io::Result<Vec<u8>> {
        let file = self.file.clone().ok_or(io::ErrorKind::NotFound)?;
        let offset = self.offset;
        let chunk = in_background(move || {
            let mut chunk = vec![0; CHUNK];
            let n = file.read_at(&mut chunk, offset)?;
            chunk.truncate(n);
            Ok(chunk)
        })
        .await?;
        self.offset += chunk.len() as u64;
        Ok(chunk)
    }
}

async fn in_background<T: Send + 'static>(
    work: impl FnOnce() -> io::Result<T> + Send + 'static,
) -> io::Result<T> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(io::Error::other)?
}
