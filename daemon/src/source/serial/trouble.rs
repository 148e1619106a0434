//! Why a serial port cannot be had, and what a person can do about it.
//!
//! Wording only; nothing is opened here.

use super::holder::Holder;
use crate::words;
use rustix::io::Errno;
use std::io;
use std::path::Path;
use tokio_serial::ErrorKind;

/// Why a port could not be opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// There is no such device: not plugged in, or another name.
    Missing,
    /// Another program has it.
    Busy,
    /// The service's user may not open it.
    Denied,
    /// It can be opened, but it is no serial port.
    NoPort,
    /// Anything else, in the system's words.
    Other(String),
}

impl Trouble {
    /// What an error number of opening or setting up means.
    #[must_use]
    pub fn from_errno(error: Errno) -> Self {
        match error {
            // A driver whose device is just going away says NXIO, NODEV or IO.
            Errno::NOENT | Errno::NXIO | Errno::NODEV | Errno::IO => Self::Missing,
            Errno::BUSY | Errno::WOULDBLOCK => Self::Busy,
            Errno::ACCESS | Errno::PERM => Self::Denied,
            Errno::NOTTY | Errno::ISDIR | Errno::INVAL => Self::NoPort,
            other => Self::Other(words::system(&io::Error::from(other))),
        }
    }

    /// What an error of the serial library means.
    #[must_use]
    pub fn from_serial(error: &tokio_serial::Error) -> Self {
        match error.kind() {
            // The library's word for EBUSY and for a lock that is held.
            ErrorKind::NoDevice => Self::Busy,
            ErrorKind::Io(io::ErrorKind::NotFound) => Self::Missing,
            ErrorKind::Io(io::ErrorKind::PermissionDenied) => Self::Denied,
            _ => Self::Other(words::system(&io::Error::other(error.to_string()))),
        }
    }
}

/// What the wording needs to know about the port in trouble.
#[derive(Clone, Copy, Debug)]
pub struct Scene<'a> {
    /// The board's label.
    pub board: &'a str,
    /// The port as configured.
    pub port: &'a Path,
    /// Who holds it, where that could be found.
    pub holder: Option<&'a Holder>,
    /// The group that owns it, where that could be found.
    pub group: Option<&'a str>,
}

/// What happened, where, what to do, and what the source does meanwhile.
#[must_use]
pub fn explain(trouble: &Trouble, scene: Scene<'_>) -> String {
    let told = describe(trouble, scene);
    match trouble {
        Trouble::Missing => told + "; looking for it",
        Trouble::Denied => told,
        Trouble::Busy | Trouble::NoPort | Trouble::Other(_) => told + "; trying again",
    }
}

/// What happened, where, and what to do.
#[must_use]
pub fn describe(trouble: &Trouble, scene: Scene<'_>) -> String {
    let port = scene.port.display();
    let board = scene.board;
    match trouble {
        Trouble::Missing => format!(
            "`{port}` is not there; plug the board in, or correct `port` in `[board.{board}]` \
             (`nightbench ports` shows what is plugged in)"
        ),
        Trouble::Busy => format!("`{port}` is held by {}", holder(scene.holder)),
        Trouble::Denied => format!("no permission to open `{port}`; {}", way_in(scene.group)),
        Trouble::NoPort => format!(
            "`{port}` is no serial port; correct `port` in `[board.{board}]` \
             (`nightbench ports` shows what is plugged in)"
        ),
        Trouble::Other(words) => {
            format!("`{port}` cannot be opened: {words}; unplug the board and plug it in again")
        }
    }
}

fn holder(holder: Option<&Holder>) -> String {
    let modems = "a modem manager may probe new ports: install the device rule from deploy/";
    match holder {
        None => format!("another program; {modems}"),
        Some(holder) if holder.is_this_program => {
            "this program itself; give each board a port of its own".to_owned()
        }
        Some(Holder { name, process, .. }) if name.to_lowercase().contains("modem") => {
            format!("`{name}` (process {process}); {modems}")
        }
        Some(Holder { name, process, .. }) => {
            format!("`{name}` (process {process}); end it, or give one of them another port")
        }
    }
}

/// Never sends anybody into root's own group.
fn way_in(group: Option<&str>) -> String {
    match group {
        Some("root") | None => "install the device rule from deploy/, which gives serial ports to \
             the group `dialout`, add the service's user to it (`usermod -aG dialout USER`), and \
             restart the service"
            .to_owned(),
        Some(group) => format!(
            "it belongs to the group `{group}`: add the service's user to it \
             (`usermod -aG {group} USER`) and restart the service"
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(trouble: &Trouble, holder: Option<&Holder>, group: Option<&str>) -> String {
        let scene = Scene {
            board: "bench",
            port: Path::new("/dev/ttyUSB0"),
            holder,
            group,
        };
        explain(trouble, scene)
    }

    fn somebody(is_this_program: bool) -> Holder {
        Holder {
            process: 812,
            name: "prober".to_owned(),
            is_this_program,
        }
    }

    #[test]
    fn error_numbers_become_what_a_person_can_act_on() {
        let table = [
            (Errno::NOENT, Trouble::Missing),
            (Errno::NODEV, Trouble::Missing),
            (Errno::BUSY, Trouble::Busy),
            (Errno::AGAIN, Trouble::Busy),
            (Errno::ACCESS, Trouble::Denied),
            (Errno::NOTTY, Trouble::NoPort),
        ];
        for (number, trouble) in table {
            assert_eq!(Trouble::from_errno(number), trouble);
        }
        assert!(matches!(
            Trouble::from_errno(Errno::NOMEM),
            Trouble::Other(words) if words.contains("memory")
        ));
    }

    #[test]
    fn the_librarys_word_for_busy_is_understood() {
        let error = tokio_serial::Error::new(ErrorKind::NoDevice, "lock");
        assert_eq!(Trouble::from_serial(&error), Trouble::Busy);
    }

    #[test]
    fn a_missing_port_says_where_to_look() {
        insta::assert_snapshot!(text(&Trouble::Missing, None, None), @"`/dev/ttyUSB0` is not there; plug the board in, or correct `port` in `[board.bench]` (`nightbench ports` shows what is plugged in); looking for it");
    }

    #[test]
    fn a_busy_port_names_its_holder() {
        insta::assert_snapshot!(text(&Trouble::Busy, Some(&somebody(false)), None), @"`/dev/ttyUSB0` is held by `prober` (process 812); end it, or give one of them another port; trying again");
        insta::assert_snapshot!(text(&Trouble::Busy, Some(&somebody(true)), None), @"`/dev/ttyUSB0` is held by this program itself; give each board a port of its own; trying again");
        insta::assert_snapshot!(text(&Trouble::Busy, None, None), @"`/dev/ttyUSB0` is held by another program; a modem manager may probe new ports: install the device rule from deploy/; trying again");
    }

    #[test]
    fn a_denied_port_names_the_group_but_never_roots_own() {
        insta::assert_snapshot!(text(&Trouble::Denied, None, Some("dialout")), @"no permission to open `/dev/ttyUSB0`; it belongs to the group `dialout`: add the service's user to it (`usermod -aG dialout USER`) and restart the service");
        insta::assert_snapshot!(text(&Trouble::Denied, None, Some("root")), @"no permission to open `/dev/ttyUSB0`; install the device rule from deploy/, which gives serial ports to the group `dialout`, add the service's user to it (`usermod -aG dialout USER`), and restart the service");
    }

    #[test]
    fn other_troubles_say_what_to_do() {
        insta::assert_snapshot!(text(&Trouble::NoPort, None, None), @"`/dev/ttyUSB0` is no serial port; correct `port` in `[board.bench]` (`nightbench ports` shows what is plugged in); trying again");
        insta::assert_snapshot!(text(&Trouble::Other("out of memory".into()), None, None), @"`/dev/ttyUSB0` cannot be opened: out of memory; unplug the board and plug it in again; trying again");
    }
}
