//! A modem manager sends AT commands to every new serial port, unless a device rule keeps it away.

use crate::cli::ports::survey::Port;
use crate::doctor::finding::Finding;
use crate::doctor::host::{Host, runs};
use std::fs;
use std::path::PathBuf;

/// The kernel keeps 15 bytes of a name.
const MODEM_MANAGER: &str = "ModemManager";
const PROPERTY: &str = "ID_MM_DEVICE_IGNORE";
/// In the order in which udev reads them (udev(7)).
const RULES: &[&str] = &[
    "etc/udev/rules.d",
    "run/udev/rules.d",
    "usr/lib/udev/rules.d",
    "lib/udev/rules.d",
];

/// What it would do to a board's port; nothing to say where there is no manager, or no USB.
pub fn examine(host: &Host, place: &str, port: &Port) -> Option<Finding> {
    let vendor = &port.usb.as_ref()?.vendor;
    if !runs(MODEM_MANAGER) {
        return None;
    }
    Some(judge(place, is_marked(host, port), has_rule(host, vendor)))
}

fn judge(place: &str, is_marked: bool, has_rule: bool) -> Finding {
    let busy = "a modem manager runs, and tries each new port for some ten seconds with bytes that \
                can reset the board";
    match (is_marked, has_rule) {
        (true, _) => Finding::ok(place, "a modem manager runs, and leaves this port alone"),
        (false, true) => Finding::advice(
            place,
            format!("{busy}; the device rule is there, but not in force"),
            "`sudo udevadm control --reload`, then unplug the board and plug it in again",
        ),
        (false, false) => Finding::wrong(
            place,
            busy,
            "install the device rule from deploy/ and plug the board in again, or \
             `sudo systemctl disable --now ModemManager` where there is no modem",
        ),
    }
}

/// udev's own record of the USB device, which lies under its device number: `c189:3`.
fn is_marked(host: &Host, port: &Port) -> bool {
    let number = port.usb.as_ref().and_then(|usb| {
        let number = fs::read_to_string(usb.folder.join("dev")).ok()?;
        Some(number.trim().to_owned())
    });
    let record = number
        .and_then(|number| fs::read_to_string(host.path(&format!("run/udev/data/c{number}"))).ok());
    record.is_some_and(|record| record.contains(&format!("E:{PROPERTY}=1")))
}

fn has_rule(host: &Host, vendor: &str) -> bool {
    let folders = RULES
        .iter()
        .filter_map(|it| fs::read_dir(host.path(it)).ok());
    let files = folders.flat_map(|entries| entries.flatten().map(|it| it.path()));
    files.into_iter().any(|file| names_vendor(&file, vendor))
}

fn names_vendor(file: &PathBuf, vendor: &str) -> bool {
    let text = fs::read_to_string(file).unwrap_or_default();
    let mut rules = text.lines().filter(|line| !line.starts_with('#'));
    rules.any(|rule| rule.contains(PROPERTY) && rule.contains(vendor))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::cli::ports::survey::{survey, tests::Tree};
    use crate::doctor::finding::Severity::{Advice, Ok, Wrong};

    #[test]
    fn only_a_rule_that_is_in_force_keeps_a_modem_manager_away() {
        let table = [
            (true, true, Ok),
            (true, false, Ok),
            (false, true, Advice),
            (false, false, Wrong),
        ];
        for (is_marked, has_rule, expected) in table {
            assert_eq!(judge("board", is_marked, has_rule).severity, expected);
        }
    }

    #[test]
    fn the_mark_and_the_rule_are_found_where_udev_keeps_them() {
        let tree = Tree::new();
        tree.usb("ttyACM0", "1-1", ("2341", "0043"), Some("1234"));
        tree.file("sys/devices/usb1/1-1/dev", "189:3\n");
        let host = Host::below(tree.root().to_owned());
        let port = survey(tree.root()).swap_remove(0);
        assert!(!is_marked(&host, &port) && !has_rule(&host, "2341"));
        tree.file("run/udev/data/c189:3", "I:1\nE:ID_MM_DEVICE_IGNORE=1\n");
        tree.file(
            "etc/udev/rules.d/70-a.rules",
            include_str!("../../../../deploy/70-nightbench.rules"),
        );
        assert!(is_marked(&host, &port) && has_rule(&host, "2341"));
        assert!(!has_rule(&host, "ffff"));
    }
}
