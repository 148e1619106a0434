//! Files as a board: a folder laid out as the kernel shows a converter and a 1-wire sensor, whose
//! files vanish and come back. The kernel itself, and how long its reads take, is not tested.

use super::watch::Watch;
use nightbench::config::{PolledFile, PolledFiles, Scaling};
use nightbench::source::Event;
use nightbench::source::file::FileSource;
use std::fs;
use std::path::PathBuf;
use std::time::Duration;
use tempfile::TempDir;

/// A converter with two channels, and a temperature sensor.
struct Kernel {
    folder: TempDir,
}

const CONVERTER: &str = "bus/iio/devices/iio:device0";
const SENSOR: &str = "bus/w1/devices/28-0316a279d9ff";

impl Kernel {
    fn new() -> Self {
        let kernel = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        kernel.set(CONVERTER, "in_voltage0_raw", "2048\n");
        kernel.set(CONVERTER, "in_voltage1_raw", "1000\n");
        // 3300 mV over 4096 steps.
        kernel.set(CONVERTER, "in_voltage_scale", "0.805664062\n");
        kernel.set(SENSOR, "temperature", "21562\n");
        kernel
    }

    fn path(&self, device: &str, name: &str) -> PathBuf {
        self.folder.path().join(device).join(name)
    }

    /// Puts the text there at once, as a read of the kernel's gives it.
    fn set(&self, device: &str, name: &str, text: &str) {
        let path = self.path(device, name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let new = self.folder.path().join("new");
        fs::write(&new, text).unwrap();
        fs::rename(&new, path).unwrap();
    }

    fn unplug(&self, device: &str) {
        fs::remove_dir_all(self.folder.path().join(device)).unwrap();
    }

    fn watch(&self) -> Watch {
        let file = |field: &str, device, name, scaling| PolledFile {
            field: field.to_owned(),
            path: self.path(device, name),
            scaling,
        };
        let degrees = Scaling::Given {
            scale: 0.001,
            offset: 0.0,
        };
        let files = PolledFiles {
            files: vec![
                file("a0", CONVERTER, "in_voltage0_raw", Scaling::Plain),
                file("a1", CONVERTER, "in_voltage1_raw", Scaling::Kernel),
                file("air", SENSOR, "temperature", degrees),
            ],
            every: Duration::from_millis(10),
        };
        Watch::over(FileSource::new("bench", files))
    }
}

/// Passes over lines up to one that begins so; gives what was told beside lines.
async fn until_line(watch: &mut Watch, start: &str) -> Vec<String> {
    let mut told = Vec::new();
    loop {
        match watch.next().await {
            Event::Line { bytes, .. } if bytes.starts_with(start.as_bytes()) => return told,
            Event::Line { .. } => {}
            Event::Remark { text, .. } => told.push(text),
            other => panic!("{other:?}"),
        }
    }
}

#[tokio::test]
async fn each_round_is_one_line_of_counts_volts_and_degrees() {
    let kernel = Kernel::new();
    let mut watch = kernel.watch();
    let detail = watch.opened().await;
    assert!(detail.contains("28-0316a279d9ff/temperature` each 0.01 s"));
    let line = watch.line().await;
    let numbers: Vec<(&str, f64)> = line
        .split(' ')
        .map(|pair| pair.split_once('=').unwrap())
        .map(|(name, number)| (name, number.parse().unwrap()))
        .collect();
    let expected = [("a0", 2048.0), ("a1", 0.805_664_062), ("air", 21.562)];
    for ((name, number), (expected_name, expected)) in numbers.iter().zip(expected) {
        assert_eq!(*name, expected_name);
        assert!((number - expected).abs() < 1e-12, "{line}");
    }
    kernel.set(CONVERTER, "in_voltage0_raw", "2049\n");
    assert_eq!(until_line(&mut watch, "a0=2049.0 ").await, [""; 0]);
    watch.stop().await;
}

#[tokio::test]
async fn a_device_that_vanishes_leaves_its_fields_out_and_comes_back() {
    let kernel = Kernel::new();
    let mut watch = kernel.watch();
    watch.opened().await;
    for _ in 0..3 {
        kernel.unplug(SENSOR);
        let told = loop {
            if let Event::Remark { text, .. } = watch.next().await {
                break text;
            }
        };
        assert!(told.starts_with("no number for `air`: `"), "{told}");
        assert!(told.contains("temperature` is not there; correct the path"));
        let line = watch.line().await;
        assert!(
            line.starts_with("a0=2048.0 a1=") && !line.contains("air"),
            "{line}"
        );
        kernel.set(SENSOR, "temperature", "-1250\n");
        let told = loop {
            if let Event::Remark { text, .. } = watch.next().await {
                break text;
            }
        };
        assert_eq!(told, "`air` gives numbers again");
        assert!(watch.line().await.ends_with(" air=-1.25"));
    }
}

#[tokio::test]
async fn the_loss_of_all_is_told_once_and_their_return_as_an_opening() {
    let kernel = Kernel::new();
    let mut watch = kernel.watch();
    watch.opened().await;
    kernel.unplug("bus");
    let reason = watch.loses_in_the_end().await;
    assert!(
        reason.starts_with("no number from its files: `"),
        "{reason}"
    );
    assert!(reason.ends_with("see `files` in `[board.bench]`; trying again"));
    // Many rounds long.
    watch.is_silent_for(Duration::from_millis(200)).await;
    kernel.set(CONVERTER, "in_voltage0_raw", "7\n");
    watch.opened().await;
    assert_eq!(watch.remark().await, "`a0` gives numbers again");
    assert_eq!(watch.line().await, "a0=7.0");
}

#[tokio::test]
async fn what_is_no_number_is_left_out_and_shown() {
    let kernel = Kernel::new();
    kernel.set(CONVERTER, "in_voltage0_raw", "busy\n");
    let mut watch = kernel.watch();
    watch.opened().await;
    let told = watch.remark().await;
    assert!(
        told.ends_with("in_voltage0_raw`: `busy` is no number"),
        "{told}"
    );
    assert!(watch.line().await.starts_with("a1="));
}

#[tokio::test]
async fn a_flow_that_has_ended_ends_the_source() {
    let kernel = Kernel::new();
    let mut watch = kernel.watch();
    watch.opened().await;
    drop(watch.events);
    watch.running.await.unwrap();
}
