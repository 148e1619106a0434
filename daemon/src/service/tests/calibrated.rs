//! The service with a probe that was calibrated long ago, and with one that is calibrated while it runs.

use super::*;
use crate::calibrate::Step;
use crate::control::ProbeFacts;
use crate::control::client::{Client, ClientError, append_offline};
use crate::control::testing::{calibration, point};
use crate::log::reader::open_read_only;
use tokio::task::spawn_blocking;

/// An invented date that has passed wherever this runs: 2020-01-01T00:00:00Z.
const LONG_AGO_MS: i64 = 1_577_836_800_000;

/// A point, a calibration made of it that was due long ago, and its use.
fn calibrate(config: &Config, mut append: impl FnMut(Step) -> u64) {
    let facts = ProbeFacts::of(config, "vat").unwrap();
    let point = append(Step::Point {
        point: Box::new(point(25.0, 10_000.0)),
    });
    let mut made = Box::new(calibration(&[point]));
    made.parameters = facts.parameters;
    made.due_ms = Some(LONG_AGO_MS);
    let made = append(Step::Made { calibration: made });
    append(Step::Activated {
        calibration: Some(made),
        why: String::new(),
    });
}

fn journal_of(log: &Path, kind: &str) -> String {
    let conn = open_read_only(log).unwrap();
    let sql = "SELECT text FROM journal WHERE kind = ?1 ORDER BY seq";
    let mut statement = conn.prepare(sql).unwrap();
    let texts = statement.query_map([kind], |row| row.get::<_, String>(0));
    let texts: Vec<String> = texts.unwrap().map(Result::unwrap).collect();
    texts.join("\n")
}

#[tokio::test]
async fn a_calibration_past_its_date_is_told_once_and_raises_its_gentle_alarm() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("night.txt"), LINES).unwrap();
    let due = format!("{CONFIGURATION}[probe.vat.alarm.due]\naction = \"ice check it\"\n");
    let config = config(folder.path(), &due);
    let before = config.clone();
    let offline = move || {
        calibrate(&before, |step| {
            append_offline(&before, "vat", &step).unwrap()
        });
        let why = String::new();
        let calibration = Some(99);
        let step = Step::Activated { calibration, why };
        append_offline(&before, "vat", &step)
    };
    let unknown = spawn_blocking(offline).await.unwrap();
    assert!(matches!(unknown, Err(ClientError::Refused(_))));

    let log = config.log.path.clone();
    let mut service = Service::start(config.clone(), Watchdog::none())
        .await
        .unwrap();
    let (control, told) = mpsc::channel(4);
    let mut reader = service.log().reader();
    let task = tokio::spawn(async move {
        let why = service.run(told).await;
        service.stop(&why).await.unwrap();
    });
    while reader.newest().reading < 4 {
        assert!(reader.changed().await);
    }
    let reload = Control::Reload(Box::new(config), "`bench.toml`".to_owned());
    control.send(reload).await.unwrap();
    control
        .send(Control::Stop("SIGTERM".to_owned()))
        .await
        .unwrap();
    task.await.unwrap();
    insta::assert_snapshot!(journal_of(&log, "calibration"), @"
    probe `vat`: point taken: ice point, 25.00 ± 0.10 Cel (k = 2), probe read 10000.0 ± 2.4 Ohm
    calibration 1 of probe `vat` made, not in use yet (one point: offset)
    calibration 1 of probe `vat` in use (one point: offset)
    calibration 1 of probe `vat` was due on 2020-01-01; ice check it, or calibrate again
    ");
    let alarms = journal_of(&log, "alarm");
    let due: Vec<&str> = alarms.lines().filter(|it| it.contains("`due`")).collect();
    assert_eq!(
        due,
        ["probe `vat`: alarm `due` active (the date of its calibration); ice check it"]
    );
}

#[tokio::test]
async fn a_calibration_that_is_put_in_use_is_known_to_the_running_service_at_once() {
    let mut night = Night::start().await;
    night.until_all_is_read().await;
    let config = config(night.folder.path(), CONFIGURATION);
    let status = spawn_blocking(move || {
        let mut client = Client::connect(&config.log.path).unwrap();
        let facts = client.probe("vat").unwrap();
        assert_eq!(facts, ProbeFacts::of(&config, "vat").unwrap());
        calibrate(&config, |step| client.append("vat", step).unwrap().0);
        let offline = append_offline(
            &config,
            "vat",
            &Step::Activated {
                calibration: None,
                why: String::new(),
            },
        );
        let why = offline.unwrap_err().to_string();
        assert!(why.contains("another service (process"), "{why}");
        client.status().unwrap()
    });
    let status = status.await.unwrap();
    let vat = &status.probes[0];
    assert_eq!(vat.facts.calibration, Some(1));
    assert_eq!(vat.facts.due_ms, Some(LONG_AGO_MS));
    assert_eq!(vat.reading.as_ref().unwrap().quality, "open_circuit");
    assert_eq!(status.boards[0].name, "bench");
    assert!(status.boards[0].heard_ms.is_some());
    assert_eq!(status.outlets[0].name, "card");
    night.stop().await;
}

#[tokio::test]
async fn a_calibration_that_the_driver_does_not_take_is_not_said_to_be_in_use() {
    let mut night = Night::start().await;
    night.until_all_is_read().await;
    let config = config(night.folder.path(), CONFIGURATION);
    let (remark, facts) = spawn_blocking(move || {
        let mut client = Client::connect(&config.log.path).unwrap();
        let mut remarks = Vec::new();
        calibrate(&config, |step| {
            let step = match step {
                Step::Made { mut calibration } => {
                    calibration.parameters.push(("z".to_owned(), vec![1.0]));
                    Step::Made { calibration }
                }
                step => step,
            };
            let (number, remark) = client.append("vat", step).unwrap();
            remarks.push(remark);
            number
        });
        (remarks.pop().flatten(), client.probe("vat").unwrap())
    })
    .await
    .unwrap();
    let remark = remark.unwrap();
    assert!(
        remark.contains("calibration 1 cannot be used")
            && remark
                .ends_with("the running service is on the configured parameters of probe `vat`"),
        "{remark}"
    );
    assert_eq!((facts.calibration, facts.due_ms), (None, None));
    night.stop().await;
}

#[tokio::test]
async fn a_folder_without_room_for_a_socket_is_a_warning_and_the_night_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("night.txt"), LINES).unwrap();
    let config = config(folder.path(), CONFIGURATION);
    let log = config.log.path.clone();
    std::fs::write(crate::control::place::path(&log), "no socket").unwrap();
    let service = Service::start(config, Watchdog::none()).await.unwrap();
    service.stop("the test is over").await.unwrap();
    let told = journal_of(&log, "log").replace(&folder.path().display().to_string(), "FOLDER");
    insta::assert_snapshot!(told, @"commands cannot reach this service: `FOLDER/cellar.sqlite-control` cannot be made (a file of that name is there already, and is no socket; move it away); readings, alarms and outlets are not affected; mend the folder or its rights, then restart");
}
