//! Whether the adapter behind a port holds bytes back, by what the kernel says of it.
//!
//! Only reads: the hold could be shortened by whoever may write to it, but that is another program's
//! setting. A port that is no USB adapter, or of which nothing is said, holds nothing back.

use std::fs;
use std::path::Path;
use std::time::Duration;

/// Where the kernel lists its terminals.
pub const TERMINALS: &str = "/sys/class/tty";

/// Drivers of adapters that wait for more bytes before they hand a few on.
const HOLDING: &[&str] = &["ftdi_sio"];

/// How long such an adapter waits where nothing else is set: the driver's latency timer, which can be
/// read beside the device.
const USUAL_HOLD: Duration = Duration::from_millis(16);

/// An adapter that holds bytes back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Adapter {
    /// Its driver, as the kernel names it.
    pub driver: String,
    /// How long a byte waits at most.
    pub hold: Duration,
}

/// The adapter of a device (a resolved path), where it holds bytes back; `terminals` is where the
/// kernel lists them.
#[must_use]
pub fn holding(device: &Path, terminals: &Path) -> Option<Adapter> {
    let port = terminals.join(device.file_name()?).join("device");
    let link = fs::read_link(port.join("driver")).ok()?;
    let driver = link.file_name()?.to_str()?;
    if !HOLDING.contains(&driver) {
        return None;
    }
    let set = fs::read_to_string(port.join("latency_timer")).ok();
    let milliseconds = set.and_then(|text| text.trim().parse().ok());
    Some(Adapter {
        driver: driver.to_owned(),
        hold: milliseconds.map_or(USUAL_HOLD, Duration::from_millis),
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    /// What the kernel would list for `ttyUSB0` with this driver and setting.
    fn listed(driver: &str, latency: Option<&str>) -> Option<Adapter> {
        let folder = tempfile::tempdir().unwrap();
        let port = folder.path().join("ttyUSB0").join("device");
        fs::create_dir_all(&port).unwrap();
        let drivers = Path::new("../../../bus/usb-serial/drivers");
        symlink(drivers.join(driver), port.join("driver")).unwrap();
        if let Some(latency) = latency {
            fs::write(port.join("latency_timer"), latency).unwrap();
        }
        holding(Path::new("/dev/ttyUSB0"), folder.path())
    }

    #[test]
    fn a_holding_adapter_is_known_by_its_driver() {
        let adapter = |milliseconds| {
            Some(Adapter {
                driver: "ftdi_sio".to_owned(),
                hold: Duration::from_millis(milliseconds),
            })
        };
        assert_eq!(listed("ftdi_sio", None), adapter(16));
        assert_eq!(listed("ftdi_sio", Some("1\n")), adapter(1));
        assert_eq!(listed("ftdi_sio", Some("soon")), adapter(16));
        assert_eq!(listed("ch341-uart", Some("16\n")), None);
    }

    #[test]
    fn a_port_that_is_not_listed_holds_nothing_back() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(holding(Path::new("/dev/pts/3"), folder.path()), None);
        assert_eq!(holding(Path::new("/"), folder.path()), None);
    }
}
