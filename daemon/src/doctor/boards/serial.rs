//! Serial ports: there, allowed, free, and under a name that stays. Seen from outside: opening one
//! resets most boards.

use super::modem;
use crate::cli::ports::advice::{Caution, advise};
use crate::cli::ports::survey::{Port, survey};
use crate::doctor::finding::{Finding, Severity};
use crate::doctor::host::{Host, Process, is_root, lock_holder};
use crate::source::serial::holder::{Holder, find_holder, owning_group};
use crate::source::serial::trouble::{Scene, Trouble, describe};
use rustix::fs::{Access, access};
use std::fs;
use std::os::unix::fs::FileTypeExt;
use std::path::{Path, PathBuf};

/// What is known of a board's port.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Facts {
    board: String,
    port: PathBuf,
    /// Why it could not be opened, as far as that shows from outside.
    trouble: Option<Trouble>,
    holder: Option<Holder>,
    /// The holder is the service of this very log.
    is_services: bool,
    group: Option<String>,
    /// A board of this configuration that has the same device under another name.
    same_device: Option<String>,
    name: Name,
}

/// What the port's name is worth.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Name {
    Stays,
    /// It goes to another board when two are plugged in the other way round; this one would not.
    Better(PathBuf),
    /// As before, but there is no better one.
    Unstable,
}

/// What to think of the port of a board.
pub fn examine(
    host: &Host,
    place: &str,
    board: &str,
    port: &Path,
    same_device: Option<String>,
    service: Option<&Process>,
) -> Vec<Finding> {
    let device = port.canonicalize().unwrap_or_else(|_| port.to_owned());
    let holder = find_holder(&device).or_else(|| locked_by(&device));
    let is_services = holder.as_ref().map(|it| it.process) == service.map(|it| it.id);
    let ports = survey(host.root());
    let facts = Facts {
        board: board.to_owned(),
        port: port.to_owned(),
        trouble: trouble(&device, holder.as_ref()),
        is_services: is_services && holder.is_some(),
        holder,
        group: owning_group(&device),
        same_device,
        name: worth(port, &ports),
    };
    let mut findings = judge(place, &facts);
    let known = ports.iter().find(|it| it.device == device);
    findings.extend(known.and_then(|port| modem::examine(host, place, port)));
    findings
}

/// All ports of a host, where no configuration says which one is meant.
#[must_use]
pub fn ports(host: &Host) -> Vec<Finding> {
    let ports = survey(host.root());
    if ports.is_empty() {
        let remedy = "plug the board in; `nightbench ports` says what to try";
        return vec![Finding::advice("host", "it has no serial port", remedy)];
    }
    let found = (0..ports.len()).map(|at| {
        let (port, advice) = (&ports[at], advise(&ports, at));
        let place = format!("port `{}`", port.device.display());
        let mut findings = vec![port_finding(&place, port, &advice.port, is_root())];
        findings.extend(modem::examine(host, &place, port));
        findings
    });
    found.flatten().collect()
}

/// Only root sees (`sees_all`) what other users' processes have open.
fn port_finding(place: &str, port: &Port, name: &Path, sees_all: bool) -> Finding {
    match (&port.locked_for, &port.holder) {
        (Some(group), _) => Finding::advice(
            place,
            "this user may not open it",
            format!("`sudo usermod -aG {group} USER`, then log out and in again"),
        ),
        (None, Some(Holder { name, process, .. })) => {
            Finding::ok(place, format!("held by `{name}` (process {process})"))
        }
        (None, None) => {
            let sight = match sees_all {
                true => "",
                false => ", as far as this user can see",
            };
            let name = name.display();
            Finding::ok(place, format!("free{sight}; its name is `{name}`"))
        }
    }
}

fn judge(place: &str, facts: &Facts) -> Vec<Finding> {
    let mut findings = vec![access_finding(place, facts)];
    if let Some(other) = &facts.same_device {
        let what = format!("its port is the same device as that of board `{other}`");
        findings.push(Finding::wrong(
            place,
            what,
            "a port has one board; correct `port`",
        ));
    }
    findings.extend(name_finding(place, facts));
    findings
}

fn access_finding(place: &str, facts: &Facts) -> Finding {
    let shown = facts.port.display();
    match (&facts.trouble, &facts.holder) {
        (Some(Trouble::Busy), Some(holder)) if facts.is_services => {
            let what = format!("the service (process {}) has `{shown}`", holder.process);
            Finding::ok(place, what)
        }
        (Some(trouble), holder) => {
            let scene = Scene {
                board: &facts.board,
                port: &facts.port,
                holder: holder.as_ref(),
                group: facts.group.as_deref(),
            };
            Finding::told(Severity::Wrong, place, &describe(trouble, scene), "")
        }
        (None, _) if is_root() => Finding::ok(place, format!("`{shown}` is there and free")),
        (None, _) => Finding::ok(
            place,
            format!("`{shown}` is there, and free as far as this user can see"),
        ),
    }
}

fn name_finding(place: &str, facts: &Facts) -> Option<Finding> {
    let what = format!(
        "`{}` goes to another board when two are plugged in the other way round",
        facts.port.display()
    );
    match &facts.name {
        Name::Stays => None,
        Name::Better(name) => {
            let remedy = format!("write `port = \"{}\"`", name.display());
            Some(Finding::advice(place, what, remedy))
        }
        Name::Unstable => {
            let remedy = "udev gives no other name here (is it running?); plug in one board only";
            Some(Finding::advice(place, what, remedy))
        }
    }
}

fn trouble(device: &Path, holder: Option<&Holder>) -> Option<Trouble> {
    let Ok(known) = fs::metadata(device) else {
        return Some(Trouble::Missing);
    };
    if !known.file_type().is_char_device() {
        return Some(Trouble::NoPort);
    }
    match access(device, Access::READ_OK | Access::WRITE_OK) {
        Err(error) => Some(Trouble::from_errno(error)),
        Ok(()) => holder.map(|_| Trouble::Busy),
    }
}

/// Another user's descriptors cannot be seen; a lock on the device can, and most programs take one.
fn locked_by(device: &Path) -> Option<Holder> {
    let Process { id, name } = lock_holder(device)?;
    Some(Holder {
        process: id,
        name,
        is_this_program: false,
    })
}

fn worth(port: &Path, ports: &[Port]) -> Name {
    // A link was named on purpose: only the kernel's own names are looked at.
    let Some(at) = ports.iter().position(|it| it.device == port) else {
        return Name::Stays;
    };
    let advice = advise(ports, at);
    match advice.caution {
        _ if advice.port != port => Name::Better(advice.port),
        Some(Caution::Unstable) => Name::Unstable,
        _ => Name::Stays,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::cli::ports::survey::tests::Tree;
    use Severity::{Advice, Ok, Wrong};

    fn free() -> Facts {
        Facts {
            board: "bench".to_owned(),
            port: "/dev/ttyACM0".into(),
            trouble: None,
            holder: None,
            is_services: false,
            group: Some("dialout".to_owned()),
            same_device: None,
            name: Name::Stays,
        }
    }

    fn held(is_services: bool) -> Facts {
        Facts {
            trouble: Some(Trouble::Busy),
            holder: Some(Holder {
                process: 812,
                name: "prober".to_owned(),
                is_this_program: false,
            }),
            is_services,
            ..free()
        }
    }

    #[test]
    fn a_port_is_judged_by_what_keeps_its_board_from_being_read() {
        let table: Vec<(Facts, &[Severity])> = vec![
            (free(), &[Ok]),
            (held(false), &[Wrong]),
            (held(true), &[Ok]),
            (
                Facts {
                    trouble: Some(Trouble::Missing),
                    ..free()
                },
                &[Wrong],
            ),
            (
                Facts {
                    trouble: Some(Trouble::Denied),
                    ..free()
                },
                &[Wrong],
            ),
            (
                Facts {
                    trouble: Some(Trouble::NoPort),
                    ..free()
                },
                &[Wrong],
            ),
            (
                Facts {
                    same_device: Some("attic".to_owned()),
                    ..free()
                },
                &[Ok, Wrong],
            ),
            (
                Facts {
                    name: Name::Better("/dev/serial/by-id/x".into()),
                    ..free()
                },
                &[Ok, Advice],
            ),
            (
                Facts {
                    name: Name::Unstable,
                    ..free()
                },
                &[Ok, Advice],
            ),
        ];
        for (facts, expected) in table {
            let found = judge("board", &facts);
            let found: Vec<Severity> = found.iter().map(|it| it.severity).collect();
            assert_eq!(found, expected, "{facts:?}");
        }
    }

    #[test]
    fn who_holds_a_port_and_which_group_to_join_are_named() {
        let told = access_finding("board `bench`", &held(false));
        assert_eq!(
            told.what,
            "`/dev/ttyACM0` is held by `prober` (process 812)"
        );
        assert!(told.remedy.contains("end it"), "{}", told.remedy);
        let denied = Facts {
            trouble: Some(Trouble::Denied),
            ..free()
        };
        let told = access_finding("board `bench`", &denied);
        assert!(
            told.remedy.contains("usermod -aG dialout USER"),
            "{}",
            told.remedy
        );
    }

    #[test]
    fn a_kernels_name_is_replaced_by_one_that_stays() {
        let tree = Tree::new();
        tree.usb("ttyACM0", "1-1", ("2341", "0043"), Some("1234"));
        tree.link("by-id", "usb-maker_board_1234-if00", "ttyACM0");
        tree.file("dev/ttyUSB5", "");
        let (ports, dev) = (survey(tree.root()), tree.root().join("dev"));
        let by_id = dev.join("serial/by-id/usb-maker_board_1234-if00");
        assert_eq!(
            worth(&dev.join("ttyACM0"), &ports),
            Name::Better(by_id.clone())
        );
        assert_eq!(worth(&by_id, &ports), Name::Stays);
        assert_eq!(worth(&dev.join("ttyUSB5"), &ports), Name::Unstable);
        assert_eq!(worth(Path::new("/dev/elsewhere"), &ports), Name::Stays);
    }

    #[test]
    fn what_is_no_device_is_told_from_what_is_not_there() {
        let file = tempfile::NamedTempFile::new().unwrap();
        assert_eq!(trouble(file.path(), None), Some(Trouble::NoPort));
        assert_eq!(
            trouble(Path::new("no/such/port"), None),
            Some(Trouble::Missing)
        );
        assert_eq!(trouble(Path::new("/dev/null"), None), None);
    }

    #[test]
    fn without_a_configuration_each_port_is_told() {
        let tree = Tree::new();
        let host = Host::below(tree.root().to_owned());
        assert_eq!(ports(&host)[0].severity, Advice);
        tree.usb("ttyACM0", "1-1", ("2341", "0043"), Some("1234"));
        assert!(ports(&host)[0].what.starts_with("free"));
        let port = &survey(tree.root())[0];
        for (sees_all, words) in [
            (true, "free; its name is `x`"),
            (false, "free, as far as this user can see; its name is `x`"),
        ] {
            let found = port_finding("port", port, Path::new("x"), sees_all);
            assert_eq!(found.what, words);
        }
    }
}
