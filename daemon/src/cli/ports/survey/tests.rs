//! A tree of devices as the kernel and udev lay them out, in a folder for temporary files.

use super::*;
use std::os::unix::fs::symlink;
use tempfile::TempDir;

/// A tree of `dev` and `sys`.
pub struct Tree(TempDir);

impl Tree {
    pub fn new() -> Self {
        let tree = Self(tempfile::tempdir().unwrap());
        for console in ["console", "tty0", "ttyS0"] {
            tree.file(&format!("dev/{console}"), "");
            tree.file(&format!("sys/class/tty/{console}/dev"), "4:0");
        }
        tree.file("sys/class/tty/ttyS0/type", "0\n");
        tree.folder("sys/class/tty/ttyS0/device");
        tree
    }

    pub fn root(&self) -> &Path {
        self.0.path()
    }

    /// A device on the USB socket `at`, as `1-1.2`, whose port is `name`.
    pub fn usb(&self, name: &str, at: &str, ids: (&str, &str), serial: Option<&str>) -> &Self {
        let device = format!("sys/devices/usb1/{at}");
        let port = format!("{device}/{at}:1.0/{name}");
        self.file(&format!("{device}/idVendor"), &format!("{}\n", ids.0));
        self.file(&format!("{device}/idProduct"), &format!("{}\n", ids.1));
        self.file(&format!("{device}/product"), "USB Serial\n");
        if let Some(serial) = serial {
            self.file(&format!("{device}/serial"), &format!("{serial}\n"));
        }
        self.folder(&port);
        self.file(&format!("dev/{name}"), "");
        self.folder(&format!("sys/class/tty/{name}"));
        let link = self.root().join(format!("sys/class/tty/{name}/device"));
        symlink(self.root().join(port), link).unwrap();
        self.link(
            "by-path",
            &format!("pci-0000:00:14.0-usb-0:{}:1.0-port0", &at[2..]),
            name,
        )
    }

    pub fn link(&self, kind: &str, link: &str, name: &str) -> &Self {
        let folder = format!("dev/serial/{kind}");
        self.folder(&folder);
        let link = self.root().join(folder).join(link);
        // As udev does it, the last one takes the name.
        let _ = fs::remove_file(&link);
        symlink(format!("../../{name}"), link).unwrap();
        self
    }

    pub fn file(&self, path: &str, text: &str) {
        let path = self.root().join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    fn folder(&self, path: &str) {
        fs::create_dir_all(self.root().join(path)).unwrap();
    }
}

#[test]
fn consoles_and_places_without_a_port_are_left_out() {
    assert_eq!(survey(Tree::new().root()), []);
    assert_eq!(survey(Path::new("no/such/root")), []);
}

#[test]
fn a_port_is_found_with_its_links_and_its_device() {
    let tree = Tree::new();
    tree.usb("ttyUSB0", "1-1.2", ("0403", "6001"), Some("A50285BI"));
    tree.link("by-id", "usb-FTDI_FT232R_A50285BI-if00-port0", "ttyUSB0");
    let ports = survey(tree.root());
    assert_eq!(ports.len(), 1);
    let port = &ports[0];
    let under = |path: &str| vec![tree.root().join("dev/serial").join(path)];
    assert_eq!(port.device, tree.root().join("dev/ttyUSB0"));
    assert_eq!(
        port.by_id,
        under("by-id/usb-FTDI_FT232R_A50285BI-if00-port0")
    );
    assert_eq!(
        port.by_path,
        under("by-path/pci-0000:00:14.0-usb-0:1.2:1.0-port0")
    );
    let usb = port.usb.clone().unwrap();
    assert_eq!(
        (usb.vendor.as_str(), usb.product.as_str()),
        ("0403", "6001")
    );
    assert_eq!(usb.serial.as_deref(), Some("A50285BI"));
    assert_eq!((&port.holder, &port.locked_for), (&None, &None));
}

#[test]
fn who_has_a_port_open_is_named() {
    let tree = Tree::new();
    tree.usb("ttyACM0", "1-1", ("2341", "0043"), Some("1234"));
    let open = fs::File::open(tree.root().join("dev/ttyACM0")).unwrap();
    let holder = survey(tree.root())[0].holder.clone().unwrap();
    assert_eq!(holder.process, std::process::id());
    drop(open);
    assert_eq!(survey(tree.root())[0].holder, None);
}

#[test]
fn ports_come_in_the_order_of_their_numbers_also_without_sysfs() {
    let tree = Tree::new();
    for name in ["ttyUSB10", "ttyUSB2", "ttyACM0"] {
        tree.file(&format!("dev/{name}"), "");
    }
    let names: Vec<String> = survey(tree.root())
        .iter()
        .map(|port| {
            port.device
                .file_name()
                .unwrap()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    assert_eq!(names, ["ttyACM0", "ttyUSB2", "ttyUSB10"]);
}
