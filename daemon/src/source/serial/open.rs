//! Opens a serial port: alone, raw, without what was received before, and so that closing it does
//! not reset the board.
//!
//! One attempt at a time: when to try again is decided in the module above.

use super::adapter::{self, Adapter};
use super::trouble::Trouble;
use rustix::fd::OwnedFd;
use rustix::fs::{FlockOperation, Mode, OFlags, flock};
use rustix::io::Errno;
use rustix::termios::{ControlModes, OptionalActions, tcgetattr, tcsetattr};
use std::path::{Path, PathBuf};
use tokio_serial::{ClearBuffer, SerialPort, SerialPortBuilderExt, SerialStream};

/// A port that was opened.
#[derive(Debug)]
pub struct Opened {
    /// The port; raw, 8 data bits, no parity, 1 stop bit, no flow control.
    pub stream: SerialStream,
    /// The device behind the stable name.
    pub device: PathBuf,
    /// The adapter in front of the board, where it holds bytes back.
    pub adapter: Option<Adapter>,
}

/// Opens `port` once.
///
/// The stable name is resolved anew each time: after a replug the link may point elsewhere.
///
/// # Errors
///
/// Why it could not be opened; the descriptor is closed and no lock is left behind.
pub fn open(port: &Path, baud: u32) -> Result<Opened, Trouble> {
    let device = std::fs::canonicalize(port).unwrap_or_else(|_| port.to_owned());
    // Held until the stream is open, so that the control lines are raised once, not twice.
    let keeper = keep_open(&device)?;
    let stream = tokio_serial::new(device.to_string_lossy(), baud)
        .open_native_async()
        .map_err(|error| Trouble::from_serial(&error))?;
    stream
        .clear(ClearBuffer::Input)
        .map_err(|error| Trouble::from_serial(&error))?;
    drop(keeper);
    Ok(Opened {
        stream,
        adapter: adapter::holding(&device, Path::new(adapter::TERMINALS)),
        device,
    })
}

/// A first descriptor: it tells exactly why a port cannot be had, and it sets what the serial
/// library has no setting for.
fn keep_open(device: &Path) -> Result<OwnedFd, Trouble> {
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    let keeper = rustix::fs::open(device, flags, Mode::empty()).map_err(Trouble::from_errno)?;
    stay_up_after_closing(&keeper).map_err(Trouble::from_errno)?;
    ask_for_lock(&keeper).map_err(Trouble::from_errno)?;
    Ok(keeper)
}

/// Clears HUPCL: with it, closing drops DTR, and the next opening raises it and resets the board.
fn stay_up_after_closing(port: &OwnedFd) -> Result<(), Errno> {
    let mut settings = tcgetattr(port)?;
    settings.control_modes.remove(ControlModes::HUPCL);
    tcsetattr(port, OptionalActions::Now, &settings)
}

/// Fails where somebody else holds the advisory lock. Asked here, because the serial library marks
/// the port exclusive first, and on failing takes away the mark that the other one had set.
fn ask_for_lock(port: &OwnedFd) -> Result<(), Errno> {
    flock(port, FlockOperation::NonBlockingLockExclusive)?;
    flock(port, FlockOperation::Unlock)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use serialport::TTYPort;

    fn pair() -> (TTYPort, PathBuf) {
        let (master, slave) = TTYPort::pair().unwrap();
        (master, PathBuf::from(slave.name().unwrap()))
    }

    fn hangs_up(device: &Path) -> bool {
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK;
        let port = rustix::fs::open(device, flags, Mode::empty()).unwrap();
        let modes = tcgetattr(&port).unwrap().control_modes;
        modes.contains(ControlModes::HUPCL)
    }

    fn hang_up_on_close(device: &Path) {
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK;
        let port = rustix::fs::open(device, flags, Mode::empty()).unwrap();
        let mut settings = tcgetattr(&port).unwrap();
        settings.control_modes.insert(ControlModes::HUPCL);
        tcsetattr(&port, OptionalActions::Now, &settings).unwrap();
    }

    #[tokio::test]
    async fn closing_does_not_hang_up() {
        let (_master, device) = pair();
        hang_up_on_close(&device);
        assert!(hangs_up(&device));
        let opened = open(&device, 9600).unwrap();
        assert_eq!(opened.stream.baud_rate().unwrap(), 9600);
        drop(opened);
        assert!(!hangs_up(&device));
    }

    #[tokio::test]
    async fn a_port_is_held_alone_and_free_after_closing() {
        let (_master, device) = pair();
        let first = open(&device, 9600).unwrap();
        assert_eq!(open(&device, 9600).unwrap_err(), Trouble::Busy);
        drop(first);
        assert!(open(&device, 9600).is_ok());
    }

    #[tokio::test]
    async fn a_link_is_resolved_to_its_device() {
        let (_master, device) = pair();
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("usb-board");
        std::os::unix::fs::symlink(&device, &link).unwrap();
        assert_eq!(open(&link, 9600).unwrap().device, device);
    }

    #[tokio::test]
    async fn what_is_no_serial_port_is_told_as_such() {
        let file = tempfile::NamedTempFile::new().unwrap();
        assert_eq!(open(file.path(), 9600).unwrap_err(), Trouble::NoPort);
        let missing = file.path().with_extension("missing");
        assert_eq!(open(&missing, 9600).unwrap_err(), Trouble::Missing);
    }
}
