//! A port that is opened once, and given back as it was.

use super::super::Failure;
use crate::source::serial::holder::{Holder, find_holder, owning_group};
use crate::source::serial::open;
use crate::source::serial::trouble::Trouble;
use rustix::fd::OwnedFd;
use rustix::fs::{Mode, OFlags};
use rustix::termios::{OptionalActions, Termios, tcgetattr, tcsetattr};
use std::io;
use std::path::Path;
use tokio::io::AsyncReadExt;
use tokio_serial::{ClearBuffer, SerialPort, SerialStream};

/// As many bytes as a terminal's line buffer holds.
const CHUNK: usize = 4096;

/// An open port. Dropped, it is closed with the settings that it had before.
pub struct Port {
    stream: SerialStream,
    /// Dropped after the stream.
    _before: Before,
}

/// The port's settings from before it was opened, and a descriptor to put them back by. It is
/// opened first and closed last, so the control lines are raised just once.
struct Before {
    port: OwnedFd,
    settings: Termios,
}

impl Port {
    /// Opens a port.
    ///
    /// # Errors
    /// Why it cannot be had, for a person.
    pub fn open(path: &Path, baud: u32) -> Result<Self, Failure> {
        let failure = |trouble| Failure::new(explain(&trouble, path));
        let before = Before::of(path).map_err(failure)?;
        let opened = open::open(path, baud).map_err(failure)?;
        Ok(Self {
            stream: opened.stream,
            _before: before,
        })
    }

    /// Goes on at another rate, without closing; what was received before is thrown away.
    ///
    /// # Errors
    /// Where the port cannot do that rate.
    pub fn set_baud(&mut self, baud: u32) -> Result<(), Failure> {
        let set = self.stream.set_baud_rate(baud);
        let set = set.and_then(|()| self.stream.clear(ClearBuffer::Input));
        set.map_err(|error| Failure::new(format!("the port does not take {baud} baud: {error}")))
    }

    /// The next bytes; none where it was unplugged.
    ///
    /// # Errors
    /// What the system says.
    pub async fn next(&mut self) -> io::Result<Vec<u8>> {
        let mut chunk = vec![0; CHUNK];
        let n = self.stream.read(&mut chunk).await?;
        chunk.truncate(n);
        Ok(chunk)
    }
}

impl Drop for Port {
    fn drop(&mut self) {
        // Fails only where the port is gone, and with it the mark.
        let _ = self.stream.set_exclusive(false);
    }
}

impl Drop for Before {
    fn drop(&mut self) {
        // As above. Also where opening failed half-way.
        let _ = tcsetattr(&self.port, OptionalActions::Now, &self.settings);
    }
}

impl Before {
    fn of(path: &Path) -> Result<Self, Trouble> {
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let port = rustix::fs::open(path, flags, Mode::empty()).map_err(Trouble::from_errno)?;
        let settings = tcgetattr(&port).map_err(Trouble::from_errno)?;
        Ok(Self { port, settings })
    }
}

fn explain(trouble: &Trouble, path: &Path) -> String {
    let device = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    match trouble {
        Trouble::Busy => words(trouble, path, find_holder(&device).as_ref(), None),
        Trouble::Denied => words(trouble, path, None, owning_group(&device).as_deref()),
        _ => words(trouble, path, None, None),
    }
}

fn words(trouble: &Trouble, path: &Path, holder: Option<&Holder>, group: Option<&str>) -> String {
    let port = path.display();
    match trouble {
        Trouble::Missing if !path.starts_with("/dev") => {
            format!("there is no file and no port `{port}`; `nightbench ports` names the ports")
        }
        Trouble::Missing => format!(
            "`{port}` is not there; plug the board in, and let `nightbench ports` name its port"
        ),
        Trouble::Busy => {
            let holder = holder.map_or("another program".to_owned(), |holder| {
                format!("`{}` (process {})", holder.name, holder.process)
            });
            format!(
                "`{port}` is held by {holder}; end that first, since only one program can read a port; a modem \
                 manager lets go by itself after some 10 s (the device rule in deploy/ keeps it away)"
            )
        }
        Trouble::Denied => {
            let group = group.filter(|group| *group != "root").unwrap_or("dialout");
            format!(
                "you may not open `{port}`; `sudo usermod -aG {group} $USER`, then log out and in \
                 again"
            )
        }
        Trouble::NoPort => format!(
            "`{port}` is no serial port, no file and no pipe; `nightbench ports` names the ports"
        ),
        Trouble::Other(why) => {
            format!("`{port}` cannot be opened: {why}; unplug the board and plug it in again")
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use rustix::termios::ControlModes;
    use serialport::TTYPort;
    use std::path::PathBuf;

    fn pair() -> (TTYPort, PathBuf) {
        let (master, slave) = TTYPort::pair().unwrap();
        (master, PathBuf::from(slave.name().unwrap()))
    }

    fn settings(path: &Path) -> (u32, u32, bool) {
        let before = Before::of(path).unwrap().settings.clone();
        let hangs_up = before.control_modes.contains(ControlModes::HUPCL);
        (before.output_speed(), before.local_modes.bits(), hangs_up)
    }

    #[tokio::test]
    async fn a_port_is_given_back_as_it_was() {
        let (_master, path) = pair();
        let before = settings(&path);
        let mut port = Port::open(&path, 9600).unwrap();
        port.set_baud(250_000).unwrap();
        assert_eq!(settings(&path).0, 250_000);
        drop(port);
        assert_eq!(settings(&path), before);
        assert!(Port::open(&path, 9600).is_ok());
    }

    #[tokio::test]
    async fn a_port_that_is_held_names_its_holder() {
        let (_master, path) = pair();
        let port = Port::open(&path, 9600).unwrap();
        let why = Port::open(&path, 9600).err().unwrap().to_string();
        assert!(
            why.contains(&format!("(process {})", std::process::id())),
            "{why}"
        );
        drop(port);
    }

    #[test]
    fn what_cannot_be_opened_says_what_to_do() {
        let path = Path::new("/dev/ttyUSB0");
        let text = |trouble: &Trouble, group| words(trouble, path, None, group);
        insta::assert_snapshot!(text(&Trouble::Missing, None), @"`/dev/ttyUSB0` is not there; plug the board in, and let `nightbench ports` name its port");
        let file = words(&Trouble::Missing, Path::new("night.txt"), None, None);
        insta::assert_snapshot!(file, @"there is no file and no port `night.txt`; `nightbench ports` names the ports");
        insta::assert_snapshot!(text(&Trouble::Busy, None), @"`/dev/ttyUSB0` is held by another program; end that first, since only one program can read a port; a modem manager lets go by itself after some 10 s (the device rule in deploy/ keeps it away)");
        insta::assert_snapshot!(text(&Trouble::Denied, Some("uucp")), @"you may not open `/dev/ttyUSB0`; `sudo usermod -aG uucp $USER`, then log out and in again");
        insta::assert_snapshot!(text(&Trouble::NoPort, None), @"`/dev/ttyUSB0` is no serial port, no file and no pipe; `nightbench ports` names the ports");
        insta::assert_snapshot!(text(&Trouble::Other("out of memory".into()), None), @"`/dev/ttyUSB0` cannot be opened: out of memory; unplug the board and plug it in again");
    }
}
