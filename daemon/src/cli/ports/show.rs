//! Ports in words and as JSON. Wording only.

use super::advice::{Advice, Caution, advise};
use super::survey::Port;
use super::usb::Usb;
use crate::listen::readable;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// What is said where there is no port, or none that a board can hang on.
pub fn missing(ports: &[Port]) -> Option<String> {
    let what = if ports.is_empty() {
        "there is no serial port here"
    } else if ports.iter().any(Port::is_pluggable) {
        return None;
    } else {
        "none of these is on USB. Is your board not among them?"
    };
    Some(format!("{what}{STEPS}"))
}

const STEPS: &str = "
  1. plug the board in; take another USB cable: many only charge
  2. unplug it, plug it in again, then `sudo dmesg | tail`: the kernel names a new port `ttyUSB0`,
     `ttyACM0` or the like; if it says nothing, it is the cable, the socket or the board
  3. in a container or a virtual machine, the device must be passed through to it
  4. once it is there you must be allowed to open it: `sudo usermod -aG dialout $USER` (on some
     systems the group is `uucp`), then log out and in again";

/// All ports for a person to read.
pub fn text(ports: &[Port]) -> String {
    let described: Vec<String> = (0..ports.len())
        .map(|at| described(&ports[at], &advise(ports, at)))
        .collect();
    described.join("\n")
}

/// One JSON object a line.
pub fn json(ports: &[Port]) -> String {
    let lines =
        (0..ports.len()).map(|at| object(&ports[at], &advise(ports, at)).to_string() + "\n");
    lines.collect()
}

fn described(port: &Port, advice: &Advice) -> String {
    let mut lines = vec![
        format!("{}  {}", shown(&port.device), maker(port.usb.as_ref())),
        format!("  port = \"{}\"", shown(&advice.port)),
    ];
    lines.extend(
        advice
            .caution
            .map(|it| format!("  {}", caution(it, &advice.twins))),
    );
    lines.extend(port.holder.as_ref().map(|holder| {
        let name = readable(holder.name.as_bytes());
        format!(
            "  held by `{name}` (process {}): only one program can read a port",
            holder.process
        )
    }));
    lines.extend(port.locked_for.as_ref().map(|group| {
        format!(
            "  you may not open it: it belongs to the group `{group}`; \
             `sudo usermod -aG {group} $USER`, then log out and in again"
        )
    }));
    let others = port.by_id.iter().chain(&port.by_path);
    let others = others.filter(|link| **link != advice.port);
    lines.extend(others.map(|link| format!("  also {}", shown(link))));
    lines.join("\n") + "\n"
}

/// `QinHeng USB Serial (1a86:7523), no serial number`.
fn maker(usb: Option<&Usb>) -> String {
    let Some(usb) = usb else {
        return "not on USB, as far as the kernel tells".to_owned();
    };
    let texts = [usb.manufacturer.as_deref(), usb.name.as_deref()];
    let texts: Vec<&str> = texts.into_iter().flatten().collect();
    let serial = usb
        .serial
        .as_ref()
        .map_or("no serial number".to_owned(), |serial| {
            format!("serial number {serial}")
        });
    let (vendor, product) = (&usb.vendor, &usb.product);
    let whole = format!("{} ({vendor}:{product}), {serial}", texts.join(" "));
    readable(whole.trim_start().as_bytes())
}

fn caution(caution: Caution, twins: &[PathBuf]) -> String {
    match caution {
        Caution::Twin => {
            let twins: Vec<String> = twins
                .iter()
                .map(|twin| format!("`{}`", shown(twin)))
                .collect();
            format!(
                "it has a twin, {}: only the sockets tell them apart; leave each in its own, and label them",
                twins.join(", ")
            )
        }
        Caution::NoSerial => {
            "its chip has no serial number, so the name is that of the USB socket: \
             leave it in this one"
                .to_owned()
        }
        Caution::SocketOnly => {
            "the name is that of the USB socket: leave it in this one".to_owned()
        }
        Caution::Unstable => {
            "this name goes to another board as soon as two are plugged in the other way round; \
             udev gives none that stays (is it running?)"
                .to_owned()
        }
    }
}

fn object(port: &Port, advice: &Advice) -> Value {
    let usb = port.usb.as_ref();
    json!({
        "device": port.device,
        "port": advice.port,
        "caution": advice.caution.map(word),
        "twins": advice.twins,
        "by_id": port.by_id,
        "by_path": port.by_path,
        "vendor_id": usb.map(|usb| &usb.vendor),
        "product_id": usb.map(|usb| &usb.product),
        "manufacturer": usb.and_then(|usb| usb.manufacturer.as_ref()),
        "product": usb.and_then(|usb| usb.name.as_ref()),
        "serial": usb.and_then(|usb| usb.serial.as_ref()),
        "held_by": port.holder.as_ref().map(|holder| json!({"process": holder.process, "name": holder.name})),
        "locked_for_group": port.locked_for,
    })
}

fn word(caution: Caution) -> &'static str {
    match caution {
        Caution::Twin => "twin",
        Caution::NoSerial => "no_serial",
        Caution::SocketOnly => "socket_only",
        Caution::Unstable => "unstable",
    }
}

fn shown(path: &Path) -> String {
    readable(path.to_string_lossy().as_bytes())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::survey::{survey, tests::Tree};
    use super::*;
    use crate::source::serial::holder::Holder;

    fn tree() -> Tree {
        let tree = Tree::new();
        tree.usb("ttyACM0", "1-1", ("2341", "0043"), Some("1234"));
        tree.link("by-id", "usb-maker_board_1234-if00", "ttyACM0");
        tree.usb("ttyUSB0", "1-1.2", ("1a86", "7523"), None);
        tree.usb("ttyUSB1", "1-1.3", ("1a86", "7523"), None);
        tree.link("by-id", "usb-1a86_USB_Serial-if00-port0", "ttyUSB1");
        tree.file("dev/ttyUSB2", "");
        tree
    }

    fn ports(tree: &Tree) -> Vec<Port> {
        let mut ports = survey(tree.root());
        ports[0].holder = Some(Holder {
            process: 812,
            name: "prober".to_owned(),
            is_this_program: false,
        });
        ports[3].locked_for = Some("dialout".to_owned());
        ports
    }

    #[test]
    fn each_port_is_shown_with_the_name_to_copy() {
        let tree = tree();
        let text = text(&ports(&tree)).replace(&tree.root().display().to_string(), "");
        insta::assert_snapshot!(text, @r#"
    /dev/ttyACM0  USB Serial (2341:0043), serial number 1234
      port = "/dev/serial/by-id/usb-maker_board_1234-if00"
      held by `prober` (process 812): only one program can read a port
      also /dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0-port0

    /dev/ttyUSB0  USB Serial (1a86:7523), no serial number
      port = "/dev/serial/by-path/pci-0000:00:14.0-usb-0:1.2:1.0-port0"
      it has a twin, `/dev/ttyUSB1`: only the sockets tell them apart; leave each in its own, and label them

    /dev/ttyUSB1  USB Serial (1a86:7523), no serial number
      port = "/dev/serial/by-path/pci-0000:00:14.0-usb-0:1.3:1.0-port0"
      it has a twin, `/dev/ttyUSB0`: only the sockets tell them apart; leave each in its own, and label them
      also /dev/serial/by-id/usb-1a86_USB_Serial-if00-port0

    /dev/ttyUSB2  not on USB, as far as the kernel tells
      port = "/dev/ttyUSB2"
      this name goes to another board as soon as two are plugged in the other way round; udev gives none that stays (is it running?)
      you may not open it: it belongs to the group `dialout`; `sudo usermod -aG dialout $USER`, then log out and in again
    "#);
    }

    #[test]
    fn each_port_is_an_object_a_line() {
        let tree = tree();
        let text = json(&ports(&tree)).replace(&tree.root().display().to_string(), "");
        let objects: Vec<Value> = text
            .lines()
            .map(|line| serde_json::from_str(line).unwrap())
            .collect();
        assert_eq!(objects.len(), 4);
        assert_eq!(
            objects[0]["port"],
            "/dev/serial/by-id/usb-maker_board_1234-if00"
        );
        assert_eq!(objects[0]["held_by"]["process"], 812);
        assert_eq!(objects[1]["caution"], "twin");
        assert_eq!(objects[1]["twins"][0], "/dev/ttyUSB1");
        assert_eq!(objects[3]["caution"], "unstable");
        assert_eq!(objects[3]["serial"], Value::Null);
    }

    #[test]
    fn without_a_port_on_usb_the_steps_to_one_are_told() {
        let tree = Tree::new();
        insta::assert_snapshot!(missing(&survey(tree.root())).unwrap(), @"
    there is no serial port here
      1. plug the board in; take another USB cable: many only charge
      2. unplug it, plug it in again, then `sudo dmesg | tail`: the kernel names a new port `ttyUSB0`,
         `ttyACM0` or the like; if it says nothing, it is the cable, the socket or the board
      3. in a container or a virtual machine, the device must be passed through to it
      4. once it is there you must be allowed to open it: `sudo usermod -aG dialout $USER` (on some
         systems the group is `uucp`), then log out and in again
    ");
        tree.file("dev/ttyAMA0", "");
        tree.file("sys/class/tty/ttyAMA0/device/x", "");
        let told = missing(&survey(tree.root())).unwrap();
        assert!(
            told.starts_with("none of these is on USB. Is your board"),
            "{told}"
        );
        tree.file("dev/ttyACM0", "");
        assert_eq!(missing(&survey(tree.root())), None);
    }

    #[test]
    fn a_makers_text_does_no_harm_to_a_terminal() {
        let usb = Usb {
            vendor: "1".to_owned(),
            product: "2".to_owned(),
            manufacturer: None,
            name: Some("\u{1b}[2Jevil".to_owned()),
            serial: None,
            folder: PathBuf::new(),
        };
        assert_eq!(maker(Some(&usb)), "\\x1b[2Jevil (1:2), no serial number");
    }
}
