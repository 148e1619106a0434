//! Which name of a port to put into a configuration, and why.
//!
//! A name under `by-id` follows the board to any socket, but is worth only as much as the chip's
//! serial number; a name under `by-path` is the socket's.

use super::survey::Port;
use super::usb::Usb;
use std::path::{Path, PathBuf};

/// The name to use.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Advice {
    /// What to put into `port =`.
    pub port: PathBuf,
    /// What a person must know about that name; nothing where it is as good as can be.
    pub caution: Option<Caution>,
    /// Other ports that cannot be told from this one by anything but their socket.
    pub twins: Vec<PathBuf>,
}

/// What is to know about a name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Caution {
    /// Twins are plugged in: the name is the socket's.
    Twin,
    /// The chip has no serial number: the name is the socket's.
    NoSerial,
    /// There is no other stable name: the name is the socket's.
    SocketOnly,
    /// There is no stable name at all.
    Unstable,
}

/// Which name of the port `ports[at]` to use, seeing all ports that are there.
///
/// # Panics
/// Where there is no such port.
pub fn advise(ports: &[Port], at: usize) -> Advice {
    let port = &ports[at];
    let twins = ports.iter().enumerate();
    let twins = twins.filter(|(other, it)| *other != at && are_twins(port, it));
    let twins: Vec<PathBuf> = twins.map(|(_, it)| it.device.clone()).collect();
    let (name, caution) = choose(port, !twins.is_empty());
    Advice {
        port: name.to_owned(),
        caution,
        twins,
    }
}

fn choose(port: &Port, has_twins: bool) -> (&Path, Option<Caution>) {
    let no_serial = port.usb.as_ref().is_some_and(|usb| usb.serial.is_none());
    let why_not_by_id = match (has_twins, no_serial) {
        (true, _) => Some(Caution::Twin),
        (false, true) => Some(Caution::NoSerial),
        (false, false) => None,
    };
    match (port.by_id.first(), port.by_path.first(), why_not_by_id) {
        (Some(by_id), _, None) => (by_id, None),
        (_, Some(by_path), why) => (by_path, why.or(Some(Caution::SocketOnly))),
        (_, None, Some(_)) => (&port.device, Some(Caution::Unstable)),
        (None, None, None) if port.is_pluggable() => (&port.device, Some(Caution::Unstable)),
        // A port that is soldered in keeps the kernel's name.
        (None, None, None) => (&port.device, None),
    }
}

/// Two devices, not two ports of one device, that say the same of themselves.
fn are_twins(one: &Port, other: &Port) -> bool {
    match (&one.usb, &other.usb) {
        (Some(one), Some(other)) => one.folder != other.folder && identity(one) == identity(other),
        (None, None) => {
            let (names, sockets) = (bases(&one.by_id, "-if"), bases(&one.by_path, ":"));
            let same_name = bases(&other.by_id, "-if")
                .iter()
                .any(|base| names.contains(base));
            let same_socket = bases(&other.by_path, ":")
                .iter()
                .any(|base| sockets.contains(base));
            same_name && !same_socket
        }
        _ => false,
    }
}

fn identity(usb: &Usb) -> (&str, &str, Option<&str>) {
    (&usb.vendor, &usb.product, usb.serial.as_deref())
}

/// The links' names without the part that tells the ports of one device apart.
fn bases<'p>(links: &'p [PathBuf], mark: &str) -> Vec<&'p str> {
    let names = links.iter().filter_map(|link| link.file_name()?.to_str());
    let cut = |name: &'p str| name.rsplit_once(mark).map_or(name, |(base, _)| base);
    names.map(cut).collect()
}

#[cfg(test)]
mod tests {
    use super::super::survey::{survey, tests::Tree};
    use super::*;

    /// Name below `dev`, caution, how many twins; of each port.
    fn advised(tree: &Tree) -> Vec<(String, Option<Caution>, usize)> {
        let ports = survey(tree.root());
        let advised = (0..ports.len()).map(|at| {
            let Advice {
                port,
                caution,
                twins,
            } = advise(&ports, at);
            let dev = tree.root().join("dev");
            let name = port
                .strip_prefix(dev)
                .unwrap_or(&port)
                .display()
                .to_string();
            (name, caution, twins.len())
        });
        advised.collect()
    }

    fn socket(at: &str) -> String {
        format!("serial/by-path/pci-0000:00:14.0-usb-0:{at}:1.0-port0")
    }

    #[test]
    fn a_board_with_a_serial_number_goes_by_its_id() {
        let tree = Tree::new();
        tree.usb("ttyACM0", "1-1", ("2341", "0043"), Some("1234"));
        tree.link("by-id", "usb-maker_board_1234-if00", "ttyACM0");
        let by_id = "serial/by-id/usb-maker_board_1234-if00".to_owned();
        assert_eq!(advised(&tree), [(by_id, None, 0)]);
    }

    #[test]
    fn a_chip_without_a_serial_number_goes_by_its_socket() {
        let tree = Tree::new();
        tree.usb("ttyUSB0", "1-1.2", ("1a86", "7523"), None);
        tree.link("by-id", "usb-1a86_USB_Serial-if00-port0", "ttyUSB0");
        let expected = (socket("1.2"), Some(Caution::NoSerial), 0);
        assert_eq!(advised(&tree), [expected]);
    }

    #[test]
    fn twins_are_found_by_their_serial_number_or_by_having_none() {
        for serial in [Some("0001"), None] {
            let tree = Tree::new();
            tree.usb("ttyUSB0", "1-1.2", ("10c4", "ea60"), serial);
            tree.usb("ttyUSB1", "1-1.3", ("10c4", "ea60"), serial);
            tree.link("by-id", "usb-twin_0001-if00-port0", "ttyUSB1");
            let expected = [
                (socket("1.2"), Some(Caution::Twin), 1),
                (socket("1.3"), Some(Caution::Twin), 1),
            ];
            assert_eq!(advised(&tree), expected);
        }
    }

    #[test]
    fn without_sysfs_twins_are_found_by_their_names() {
        let tree = Tree::new();
        for (name, interface, at) in [("ttyACM0", "if00", "1.2"), ("ttyACM1", "if02", "1.3")] {
            tree.file(&format!("dev/{name}"), "");
            tree.link("by-id", &format!("usb-twin_0001-{interface}"), name);
            tree.link("by-path", &format!("pci-0000:00:14.0-usb-0:{at}:1.0"), name);
        }
        assert!(
            advised(&tree)
                .iter()
                .all(|(_, caution, twins)| { (*caution, *twins) == (Some(Caution::Twin), 1) })
        );
    }

    #[test]
    fn two_ports_of_one_device_are_no_twins() {
        let tree = Tree::new();
        tree.usb("ttyACM0", "1-1", ("2e8a", "000a"), Some("E66"));
        tree.usb("ttyACM1", "1-1", ("2e8a", "000a"), Some("E66"));
        tree.link("by-id", "usb-pico_E66-if00", "ttyACM0");
        tree.link("by-id", "usb-pico_E66-if02", "ttyACM1");
        assert!(
            advised(&tree)
                .iter()
                .all(|(_, caution, _)| caution.is_none())
        );
    }

    #[test]
    fn without_links_only_a_soldered_port_keeps_its_name() {
        let tree = Tree::new();
        tree.file("dev/ttyUSB0", "");
        tree.file("dev/ttyAMA0", "");
        tree.file("sys/class/tty/ttyAMA0/device/x", "");
        let expected = [
            ("ttyAMA0".to_owned(), None, 0),
            ("ttyUSB0".to_owned(), Some(Caution::Unstable), 0),
        ];
        assert_eq!(advised(&tree), expected);
    }
}
