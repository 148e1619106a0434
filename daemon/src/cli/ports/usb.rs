//! What the kernel knows of the USB device behind a port.
//!
//! Source: Linux, Documentation/ABI/testing/sysfs-bus-usb and stable/sysfs-bus-usb (attributes
//! `idVendor`, `idProduct`, `manufacturer`, `product`, `serial`; from memory).

use std::fs;
use std::path::{Path, PathBuf};

/// A USB device. Its texts are as its maker wrote them, so anything.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Usb {
    /// Vendor, four hexadecimal digits.
    pub vendor: String,
    /// Product, four hexadecimal digits.
    pub product: String,
    /// The maker's name.
    pub manufacturer: Option<String>,
    /// The product's name.
    pub name: Option<String>,
    /// The serial number; cheap chips have none.
    pub serial: Option<String>,
    /// Its folder in sysfs: the same for all ports of one device.
    pub folder: PathBuf,
}

/// Folders from a port up to its device, at most: port, interface, device.
const HIGHEST: usize = 4;

/// The USB device of the port whose `device` link this is; none where it hangs on no USB.
pub fn behind(device_link: &Path) -> Option<Usb> {
    let start = device_link.canonicalize().ok()?;
    let folder = start
        .ancestors()
        .take(HIGHEST)
        .find(|folder| folder.join("idVendor").is_file())?;
    Some(Usb {
        vendor: attribute(folder, "idVendor")?,
        product: attribute(folder, "idProduct")?,
        manufacturer: attribute(folder, "manufacturer"),
        name: attribute(folder, "product"),
        serial: attribute(folder, "serial"),
        folder: folder.to_owned(),
    })
}

fn attribute(folder: &Path, name: &str) -> Option<String> {
    let bytes = fs::read(folder.join(name)).ok()?;
    let text = String::from_utf8_lossy(&bytes).trim().to_owned();
    (!text.is_empty()).then_some(text)
}
