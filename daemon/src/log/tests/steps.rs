//! Steps of calibrations: kept at once or not at all, and readable whatever stands beside them.

use crate::calibrate::history::testing::{activated, captured, chain, made, point};
use crate::calibrate::{History, Role, Step};
use crate::log::query::Query;
use crate::log::testing::{Bench, NEVER, number, open, reading, remark};
use crate::log::{Entry, Kind, LogError};
use crate::reading::Moment;
use rusqlite::Connection;

fn entry(text: &str) -> Entry {
    let at = Moment {
        wall_ms: 1_795_571_447_123,
        boot_ns: 5,
    };
    Entry::new(at, Kind::Calibration, "vat", text)
}

async fn keep(bench: &Bench, probe: &str, step: Step, text: &str) -> Result<u64, LogError> {
    bench.log.append_step(probe, &step, entry(text)).await
}

#[tokio::test]
async fn a_step_whose_number_was_answered_is_there_after_a_kill_with_its_entry() {
    let bench = Bench::new().await;
    bench.readings(3).await;
    for (at, step) in chain().into_iter().enumerate() {
        let answered = keep(&bench, "vat", step.step.clone(), "a step").await;
        assert_eq!(answered.unwrap(), step.number);
        let left = bench.killed(&format!("left-{at}.sqlite"));
        let log = open(&left, NEVER).await;
        let found = log.reader().steps("vat").await.unwrap();
        assert_eq!(found.len(), at + 1);
        assert_eq!(found[at].step, step.step);
        assert_eq!(found[at].time_ms, 1_795_571_447_123);
        let told = "SELECT count(*) FROM journal WHERE kind = 'calibration'";
        let told = number(&Connection::open(&left).unwrap(), told);
        assert_eq!(usize::try_from(told).unwrap(), at + 1);
    }
}

#[tokio::test]
async fn numbers_go_on_after_the_log_was_closed() {
    let bench = Bench::new().await;
    let first = keep(&bench, "vat", activated(None), "a").await;
    assert_eq!(first.unwrap(), 1);
    let bench = bench.reopened().await;
    let second = keep(&bench, "tank", activated(None), "b").await;
    assert_eq!(second.unwrap(), 2);
    let query = Query::open(bench.log.path()).unwrap();
    assert_eq!(query.steps("vat").unwrap().len(), 1);
    let all = query.steps_of_all().unwrap();
    let probes: Vec<_> = all.iter().map(|step| step.probe.as_str()).collect();
    assert_eq!(probes, ["vat", "tank"]);
}

#[tokio::test]
async fn a_step_that_cannot_be_written_leaves_nothing_behind_and_harms_nothing() {
    let bench = Bench::new().await;
    bench.append_uncommitted(vec![remark()]).await;
    let holder = Connection::open(bench.log.path()).unwrap();
    let refuse = "CREATE TRIGGER refuse BEFORE INSERT ON calibration_step \
        BEGIN SELECT RAISE(ABORT, 'invented: the card is full'); END";
    holder.execute_batch(refuse).unwrap();
    let refused = keep(&bench, "vat", made(&[], 0.0), "made").await;
    assert!(matches!(refused, Err(LogError::Sqlite(_))));
    holder.execute_batch("DROP TRIGGER refuse").unwrap();
    bench.append(vec![reading(0, 1)], Vec::new()).await;
    assert_eq!(bench.journal(Kind::Calibration).await, [""; 0]);
    let all = number(&bench.beside(), "SELECT count(*) FROM journal");
    assert_eq!(all, 1, "what waited before");
    let again = keep(&bench, "vat", made(&[], 0.0), "made").await;
    assert_eq!(again.unwrap(), 1);
    assert_eq!(bench.journal(Kind::Calibration).await, ["made"]);
}

#[tokio::test]
async fn what_would_not_read_back_is_refused() {
    let bench = Bench::new().await;
    let mut broken = point(Role::Fit, 2);
    broken.captured.uncertainty = f64::NAN;
    let point = Box::new(broken);
    let later = Step::Unreadable {
        made: false,
        why: String::new(),
    };
    for step in [Step::Point { point }, later] {
        let refused = keep(&bench, "vat", step, "never").await;
        assert!(matches!(refused, Err(LogError::Unkeepable(_))));
    }
    assert_eq!(bench.log.reader().steps("vat").await.unwrap(), []);
}

#[tokio::test]
async fn a_damaged_step_never_makes_the_others_unreadable() {
    let bench = Bench::new().await;
    let file = Connection::open(bench.log.path()).unwrap();
    let insert = "INSERT INTO calibration_step (probe, time_ms, data) VALUES ('vat', 1, ?1)";
    for data in [
        "{\"step\":\"made\",\"cal",
        "{\"step\":\"of a later version\"}",
        "",
    ] {
        file.execute(insert, [data]).unwrap();
        keep(&bench, "vat", made(&[], 0.0), "made").await.unwrap();
    }
    let steps = bench.log.reader().steps("vat").await.unwrap();
    let history = History::of(&steps);
    let numbers: Vec<_> = history.calibrations().iter().map(|m| m.number).collect();
    assert_eq!((steps.len(), numbers), (6, vec![2, 3, 4]));
    assert_eq!(history.remarks().len(), 3);
}

#[tokio::test]
async fn an_hour_of_samples_is_some_hundred_kilobytes() {
    let bench = Bench::new().await;
    let point = Box::new(point(Role::Fit, 3600));
    let step = Step::Point { point };
    keep(&bench, "vat", step.clone(), "point").await.unwrap();
    let size = number(&bench.beside(), "SELECT length(data) FROM calibration_step");
    assert!((100_000..200_000).contains(&size), "{size} bytes");
    let found = bench.log.reader().steps("vat").await.unwrap();
    assert_eq!(found[0].step, step);
}

#[tokio::test]
async fn steps_are_neither_rewritten_nor_deleted() {
    let bench = Bench::new().await;
    keep(&bench, "vat", captured(Role::Fit), "point")
        .await
        .unwrap();
    let file = Connection::open(bench.log.path()).unwrap();
    for forbidden in [
        "UPDATE calibration_step SET data = ''",
        "DELETE FROM calibration_step",
    ] {
        assert!(file.execute(forbidden, []).is_err(), "{forbidden}");
    }
}

#[test]
fn a_log_of_the_first_version_is_read_without_being_changed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("old.sqlite");
    let old = Connection::open(&path).unwrap();
    crate::log::schema::begin_first_version(&old);
    old.execute_batch(
        "INSERT INTO boot VALUES (1, 'b');
         INSERT INTO series VALUES (7, 'vat', 'b', 'c', 'd', 'temperature', 'Cel', 'Ohm');
         INSERT INTO reading VALUES (3, 7, 5, 1, 5, 512, 1e4, 25, 0.1, NULL, 1, 0);",
    )
    .unwrap();
    drop(old);
    let query = Query::open(&path).unwrap();
    let mut found = Vec::new();
    let all = (i64::MIN, i64::MAX);
    query
        .readings("vat", all, |reading| {
            found.push((reading.seq, reading.series.calibration));
            true
        })
        .unwrap();
    assert_eq!(found, [(3, 0)]);
    assert_eq!(query.steps("vat").unwrap(), []);
}
