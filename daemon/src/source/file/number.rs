//! One number from one file, scaled as its kind asks for.
//!
//! Bounded: a number takes some twenty bytes, and a file that is none (a pipe, a device) neither
//! blocks nor fills memory.

use crate::config::{PolledFile, PolledFiles, Scaling};
use crate::outlet::words;
use rustix::fs::OFlags;
use std::fs::OpenOptions;
use std::io::{self, Read};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// More than any number takes, f64 in full digits left aside.
const LONGEST: u64 = 64;

/// Why a file gave no number, in words.
pub type Trouble = String;

/// Reads every file, one after the other.
#[must_use]
pub fn read_all(files: &PolledFiles) -> Vec<Result<f64, Trouble>> {
    files.files.iter().map(read_one).collect()
}

/// Reads one file and what stands beside it, where its scaling asks for that.
///
/// # Errors
/// What is wrong with which file, and what can be done about it.
pub fn read_one(file: &PolledFile) -> Result<f64, Trouble> {
    let raw = read_number(&file.path)?;
    let value = match file.scaling {
        Scaling::Plain => raw,
        Scaling::Given { scale, offset } => (raw + offset) * scale,
        Scaling::Kernel => {
            (raw + beside(&file.path, "offset", Some(0.0))?)
                * beside(&file.path, "scale", None)?
                * unit_of(&file.path)
        }
    };
    if value.is_finite() {
        return Ok(value);
    }
    let path = file.path.display();
    Err(format!("`{path}`: scaled it is no number; correct `scale`"))
}

fn read_number(path: &Path) -> Result<f64, Trouble> {
    let text = read_text(path).map_err(|error| unreadable(path, &error))?;
    let number = text.trim().parse::<f64>().ok();
    number.filter(|number| number.is_finite()).ok_or_else(|| {
        let shown = text.trim().escape_debug().to_string();
        format!("`{}`: `{shown}` is no number", path.display())
    })
}

fn read_text(path: &Path) -> io::Result<String> {
    // Of no effect on a file of the kernel's; a pipe nobody writes to would block for ever.
    let flags = (OFlags::NONBLOCK | OFlags::NOCTTY).bits();
    let file = OpenOptions::new()
        .read(true)
        .custom_flags(flags.cast_signed())
        .open(path)?;
    let mut bytes = Vec::new();
    file.take(LONGEST).read_to_end(&mut bytes)?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// The number in the file beside `path` that says how its channel, or all of its kind, is scaled:
/// `in_voltage0_scale`, or `in_voltage_scale`. Source: the kernel's ABI/testing/sysfs-bus-iio.
fn beside(path: &Path, what: &str, default: Option<f64>) -> Result<f64, Trouble> {
    for candidate in candidates(path, what) {
        match read_text(&candidate) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            _ => return read_number(&candidate),
        }
    }
    default.ok_or_else(|| {
        let path = path.display();
        format!("`{path}`: no file beside it gives its `{what}`; write the number into the configuration")
    })
}

fn candidates(path: &Path, what: &str) -> [PathBuf; 2] {
    let stem = stem(path);
    let shared: String = stem.chars().filter(|c| !c.is_ascii_digit()).collect();
    [stem, shared].map(|name| path.with_file_name(format!("{name}_{what}")))
}

/// `in_voltage0` of `in_voltage0_raw`.
fn stem(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    name.strip_suffix("_raw").unwrap_or(&name).to_owned()
}

/// From the kernel's unit to the unit itself: voltages are in millivolts, temperatures in
/// thousandths of a degree, resistances in ohms. Source: the kernel's ABI/testing/sysfs-bus-iio,
/// `in_voltageY_raw`, `in_tempX_raw`, `in_resistanceX_raw`.
fn unit_of(path: &Path) -> f64 {
    let stem = stem(path);
    let in_thousandths = ["in_voltage", "in_temp", "in_current"];
    if in_thousandths.iter().any(|kind| stem.starts_with(kind)) {
        0.001
    } else {
        1.0
    }
}

fn unreadable(path: &Path, error: &io::Error) -> Trouble {
    let place = path.display();
    match error.kind() {
        io::ErrorKind::NotFound => format!(
            "`{place}` is not there; correct the path, or load the sensor's kernel driver and \
             check its wiring"
        ),
        io::ErrorKind::PermissionDenied => {
            format!("no permission to read `{place}`; give the service's user a group that may")
        }
        _ => format!("`{place}`: {}; check the sensor's wiring", words(error)),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::fs;

    fn converter(files: &[(&str, &str)]) -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        for (name, text) in files {
            fs::write(folder.path().join(name), text).unwrap();
        }
        let path = folder.path().join(files[0].0);
        (folder, path)
    }

    fn value(files: &[(&str, &str)], scaling: Scaling) -> Result<f64, Trouble> {
        let (folder, path) = converter(files);
        let file = PolledFile {
            field: "a0".to_owned(),
            path,
            scaling,
        };
        let shown = |trouble: String| trouble.replace(&folder.path().display().to_string(), "…");
        read_one(&file).map_err(shown)
    }

    #[test]
    fn numbers_are_taken_as_they_stand() {
        for (text, number) in [("512\n", 512.0), ("-3.25", -3.25), (" 21500 \n", 21_500.0)] {
            assert_eq!(value(&[("raw", text)], Scaling::Plain), Ok(number));
        }
    }

    #[test]
    fn offset_comes_before_scale() {
        let scaling = Scaling::Given {
            scale: 0.5,
            offset: -100.0,
        };
        assert_eq!(value(&[("raw", "300")], scaling), Ok(100.0));
    }

    /// Source: sysfs-bus-iio: volts are (raw + offset) * scale / 1000. 2048 of 4096 at 3.3 V:
    /// scale 3300 / 4096 mV.
    #[test]
    fn the_kernels_scale_gives_volts_ohms_and_degrees() {
        let own = [
            ("in_voltage0_raw", "2048"),
            ("in_voltage0_scale", "0.8056640625"),
        ];
        let close = |files: &[(&str, &str)], expected: f64| {
            let value = value(files, Scaling::Kernel).unwrap();
            assert!((value - expected).abs() < 1e-12 * expected, "{value}");
        };
        close(&own, 1.65);
        close(
            &[
                ("in_voltage3_raw", "2048"),
                ("in_voltage_scale", "0.8056640625"),
            ],
            1.65,
        );
        let own_first = [own[0], own[1], ("in_voltage_scale", "7")];
        close(&own_first, 1.65);
        let shifted = [
            ("in_voltage0_raw", "2000"),
            own[1],
            ("in_voltage0_offset", "48"),
        ];
        close(&shifted, 1.65);
        let pair = [
            ("in_voltage0-voltage1_raw", "1000"),
            ("in_voltage-voltage_scale", "2"),
        ];
        close(&pair, 2.0);
        close(
            &[
                ("in_resistance0_raw", "100"),
                ("in_resistance0_scale", "0.5"),
            ],
            50.0,
        );
        close(&[("in_temp_raw", "430"), ("in_temp_scale", "62.5")], 26.875);
    }

    #[test]
    fn what_gives_no_number_says_why_and_what_to_do() {
        let plain = |files: &[(&str, &str)]| value(files, Scaling::Plain).unwrap_err();
        insta::assert_snapshot!(plain(&[("raw", "")]), @"`…/raw`: `` is no number");
        insta::assert_snapshot!(plain(&[("raw", "nan\n")]), @"`…/raw`: `nan` is no number");
        insta::assert_snapshot!(plain(&[("raw", "5 V\u{1b}[2J")]), @r"`…/raw`: `5 V\u{1b}[2J` is no number");
        insta::assert_snapshot!(value(&[("in_voltage0_raw", "5")], Scaling::Kernel).unwrap_err(), @"`…/in_voltage0_raw`: no file beside it gives its `scale`; write the number into the configuration");
        let huge = Scaling::Given {
            scale: 1e12,
            offset: 0.0,
        };
        insta::assert_snapshot!(value(&[("raw", "1e300")], huge).unwrap_err(), @"`…/raw`: scaled it is no number; correct `scale`");
    }

    #[test]
    fn a_missing_file_and_a_folder_are_told_apart() {
        let folder = tempfile::tempdir().unwrap();
        let missing = read_number(&folder.path().join("temperature")).unwrap_err();
        assert!(
            missing.contains("temperature` is not there; correct the path"),
            "{missing}"
        );
        let trouble = read_number(folder.path()).unwrap_err();
        assert!(trouble.contains("is a directory"), "{trouble}");
    }

    #[test]
    fn a_pipe_nobody_writes_to_and_an_endless_file_do_not_hold_it_up() {
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("pipe");
        let made = std::process::Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap();
        assert!(made.success());
        assert!(read_number(&pipe).is_err());
        assert!(read_number(Path::new("/dev/zero")).is_err());
    }
}
