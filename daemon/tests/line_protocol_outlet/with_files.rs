//! The rotating file, by the same trait as every other outlet.

use crate::scene::{SITE, night};
use nightbench::config::LineProtocolFile;
use nightbench::outlet::file::FileReceiver;
use nightbench::outlet::line_protocol::encode;
use nightbench::outlet::{Parcel, Receiver, Trouble};
use nightbench::reading::Reading;
use std::fs;
use std::path::Path;

fn receiver(path: &Path, rotate_at: u64) -> FileReceiver {
    let settings = LineProtocolFile {
        path: path.to_owned(),
        measurement: "reading".to_owned(),
        rotate_at,
        keep: 3,
        every: std::time::Duration::ZERO,
    };
    FileReceiver::new(SITE.to_owned(), settings)
}

fn text(readings: &[Reading]) -> String {
    let line = |reading| encode(reading, SITE, "reading").unwrap() + "\n";
    readings.iter().map(line).collect()
}

#[tokio::test]
async fn a_night_is_in_the_file_and_its_older_ones_line_by_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("night.lp");
    let readings = night(1, 100);
    let parcel = text(&readings[..10]).len() as u64;
    let mut receiver = receiver(&path, 3 * parcel + parcel / 2);
    receiver.connect().await.unwrap();
    for parcel in readings.chunks(10) {
        let receipt = receiver.deliver(Parcel::Live(parcel)).await.unwrap();
        assert_eq!(receipt.refused, []);
    }
    receiver.close().await;
    let read = |name: &str| fs::read_to_string(folder.path().join(name)).unwrap();
    let names = ["night.lp.3", "night.lp.2", "night.lp.1", "night.lp"];
    let all: String = names.into_iter().map(read).collect();
    assert_eq!(all, text(&readings));
}

#[tokio::test]
async fn a_file_is_gone_on_with_and_what_a_crash_cut_short_is_a_comment() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("night.lp");
    let readings = night(1, 20);
    let mut first = receiver(&path, 1 << 20);
    first.deliver(Parcel::Live(&readings[..10])).await.unwrap();
    first.close().await;
    let whole = text(&readings[..10]);
    fs::write(&path, format!("{whole}reading,probe=mash value=6")).unwrap();
    let mut second = receiver(&path, 1 << 20);
    second.connect().await.unwrap();
    second
        .deliver(Parcel::Backlog(&readings[10..]))
        .await
        .unwrap();
    assert_eq!(
        fs::read_to_string(&path).unwrap(),
        format!(
            "{whole}# cut short: reading,probe=mash value=6\n{}",
            text(&readings[10..])
        )
    );
}

#[tokio::test]
async fn a_folder_that_is_missing_is_a_matter_for_a_person_until_it_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("stick").join("night.lp");
    let mut receiver = receiver(&path, 1 << 20);
    let trouble = receiver.connect().await.unwrap_err();
    assert_eq!(
        trouble,
        Trouble::Person {
            what: format!(
                "`{}`: no such file or directory; create the folder, mount the medium, or \
                 correct `path`",
                path.display()
            )
        }
    );
    fs::create_dir(folder.path().join("stick")).unwrap();
    receiver.connect().await.unwrap();
    let readings = night(1, 3);
    receiver.deliver(Parcel::Live(&readings)).await.unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), text(&readings));
}
