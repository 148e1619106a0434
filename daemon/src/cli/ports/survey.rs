//! Finds serial ports under `dev` and `sys`, their links, their USB device, their holder.
//!
//! Looks only; what to make of it is said in `advice`.

use super::usb::{self, Usb};
use crate::source::serial::holder::{Holder, find_holder, owning_group};
use rustix::fs::{Access, access};
use rustix::io::Errno;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// A serial port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Port {
    /// The device, by the kernel's name.
    pub device: PathBuf,
    /// Its links under `dev/serial/by-id`, made from the USB device's texts.
    pub by_id: Vec<PathBuf>,
    /// Its links under `dev/serial/by-path`, made from the socket it is plugged into.
    pub by_path: Vec<PathBuf>,
    /// Its USB device, where it has one.
    pub usb: Option<Usb>,
    /// Who has it open, where that can be seen.
    pub holder: Option<Holder>,
    /// The group that may open it, where this user may not.
    pub locked_for: Option<String>,
}

impl Port {
    /// Whether it is of the kind that comes and goes with a board; the kernel numbers those in the
    /// order of plugging in.
    pub fn is_pluggable(&self) -> bool {
        let name = self.device.file_name().unwrap_or_default();
        let name = name.to_string_lossy();
        self.usb.is_some() || name.starts_with("ttyUSB") || name.starts_with("ttyACM")
    }
}

/// The serial ports under a root folder, `/` for the real ones, in the order of their names.
pub fn survey(root: &Path) -> Vec<Port> {
    let mut names: Vec<String> = names(root).into_iter().collect();
    names.sort_by_key(|name| in_order(name));
    let by_id = links(&root.join("dev/serial/by-id"));
    let by_path = links(&root.join("dev/serial/by-path"));
    let port = |name: &String| port(root, name, &by_id, &by_path);
    names.iter().filter_map(port).collect()
}

fn port(root: &Path, name: &str, by_id: &[Link], by_path: &[Link]) -> Option<Port> {
    let device = root.join("dev").join(name);
    let target = device.canonicalize().ok()?;
    Some(Port {
        by_id: leading_to(&target, by_id),
        by_path: leading_to(&target, by_path),
        usb: usb::behind(&root.join("sys/class/tty").join(name).join("device")),
        holder: find_holder(&target),
        locked_for: locked_for(&device),
        device,
    })
}

fn names(root: &Path) -> BTreeSet<String> {
    let known = file_names(&root.join("sys/class/tty"));
    let known = known.filter(|name| is_serial(&root.join("sys/class/tty").join(name)));
    // In a container there may be a device without its folder in sysfs.
    let plain = file_names(&root.join("dev"));
    let plain = plain.filter(|name| name.starts_with("ttyUSB") || name.starts_with("ttyACM"));
    known.chain(plain).collect()
}

/// Consoles and pseudo-terminals have no device behind them. PC boards have places for ports that
/// were never fitted: their `type` is 0, unknown (PORT_UNKNOWN, linux/serial_core.h; from memory).
fn is_serial(folder: &Path) -> bool {
    let kind = fs::read_to_string(folder.join("type"));
    folder.join("device").exists() && kind.map_or(true, |kind| kind.trim() != "0")
}

fn file_names(folder: &Path) -> impl Iterator<Item = String> + use<> {
    let entries = fs::read_dir(folder).into_iter().flatten();
    entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok())
}

struct Link {
    path: PathBuf,
    target: PathBuf,
}

fn links(folder: &Path) -> Vec<Link> {
    let mut names: Vec<String> = file_names(folder).collect();
    names.sort();
    let link = |name: String| {
        let path = folder.join(name);
        let target = path.canonicalize().ok()?;
        Some(Link { path, target })
    };
    names.into_iter().filter_map(link).collect()
}

fn leading_to(target: &Path, links: &[Link]) -> Vec<PathBuf> {
    let leading = links.iter().filter(|link| link.target == target);
    leading.map(|link| link.path.clone()).collect()
}

fn locked_for(device: &Path) -> Option<String> {
    match access(device, Access::READ_OK | Access::WRITE_OK) {
        Err(Errno::ACCESS | Errno::PERM) => owning_group(device),
        _ => None,
    }
}

/// `ttyUSB2` before `ttyUSB10`.
fn in_order(name: &str) -> (String, u64) {
    let kind = name.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = name[kind.len()..].parse().unwrap_or(0);
    (kind.to_owned(), number)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
pub(crate) mod tests;
