//! Two real databases that take line protocol, each read back through its own query interface.
//!
//! One refuses bad lines and knows types; the other takes both write interfaces and everything.

use crate::broker::free_port;
use crate::http;
use crate::process::Process;
use crate::wait::{SOON, eventually};
use serde_json::{Map, Value};
use std::process::Command;
use tempfile::TempDir;

/// How often another port is tried where somebody took the chosen one meanwhile.
const TRIES: usize = 5;

/// Name of the database that a [`Database::influx`] holds.
pub const NAME: &str = "night";

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Make {
    Influx,
    Victoria,
}

/// A database on loopback; its data stays over a stop.
#[derive(Debug)]
pub struct Database {
    make: Make,
    folder: TempDir,
    port: u16,
    process: Option<Process>,
}

/// One sample of the second make: a field of a series at a time.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    /// `MEASUREMENT_FIELD`.
    pub name: String,
    /// The tag `probe`.
    pub probe: String,
    /// Milliseconds since 1970.
    pub time_ms: i64,
    /// The number.
    pub value: f64,
}

impl Database {
    /// InfluxDB 1.x with an empty database [`NAME`].
    ///
    /// # Panics
    /// Where it does not start; `tests/install` installs it.
    #[must_use]
    pub fn influx() -> Self {
        let database = Self::start(Make::Influx);
        let create = format!("CREATE DATABASE {NAME}");
        let answer = http::post(database.port, "/query", &[("q", &create)], "");
        assert_eq!(answer.map(|answer| answer.status), Some(200));
        database
    }

    /// VictoriaMetrics, for the write interface with organisation and bucket.
    ///
    /// # Panics
    /// Where it does not start; `tests/install` installs it.
    #[must_use]
    pub fn victoria() -> Self {
        Self::start(Make::Victoria)
    }

    /// Its address.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// Its port on 127.0.0.1.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Ends it.
    ///
    /// # Panics
    /// Where it does not end.
    pub fn stop(&mut self) {
        self.process.take().expect("is running").terminate();
    }

    /// Starts it again on its port, with its data.
    ///
    /// # Panics
    /// Where it does not start.
    pub fn start_again(&mut self) {
        assert!(self.answers(), "the database does not start again");
    }

    /// Rows of a query to InfluxDB, as objects of column and value; `time` in milliseconds.
    ///
    /// # Panics
    /// Where the database refuses the query.
    #[must_use]
    pub fn query(&self, query: &str) -> Vec<Map<String, Value>> {
        let answer = http::get(
            self.port,
            "/query",
            &[("db", NAME), ("q", query), ("epoch", "ms")],
        )
        .expect("the database answers");
        assert_eq!(answer.status, 200, "{}", answer.text);
        rows(&serde_json::from_str(&answer.text).expect("answers are JSON"))
    }

    /// All samples in VictoriaMetrics whose name begins so.
    ///
    /// # Panics
    /// Where the database does not answer.
    #[must_use]
    pub fn samples(&self, name: &str) -> Vec<Sample> {
        let flush = http::get(self.port, "/internal/force_flush", &[]);
        assert_eq!(flush.map(|answer| answer.status), Some(200));
        let matching = format!("{{__name__=~\"{name}.*\"}}");
        let answer = http::get(
            self.port,
            "/api/v1/export",
            &[
                ("match[]", &matching),
                ("reduce_mem_usage", "1"),
                ("start", "0"),
            ],
        )
        .expect("the database answers");
        assert_eq!(answer.status, 200, "{}", answer.text);
        answer.text.lines().flat_map(samples).collect()
    }

    fn start(make: Make) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let mut database = Self {
            make,
            folder,
            port: 0,
            process: None,
        };
        let started = (0..TRIES).any(|_| {
            database.port = free_port();
            database.answers()
        });
        assert!(started, "the database found no port in {TRIES} tries");
        database
    }

    fn answers(&mut self) -> bool {
        let mut process = Process::start("database", self.folder.path(), &mut self.command());
        let ready = match self.make {
            Make::Influx => "/ping",
            Make::Victoria => "/health",
        };
        let answers = eventually("the database answers or ends", SOON, || {
            if process.ended().is_some() {
                return Some(false);
            }
            http::get(self.port, ready, &[])
                .filter(|answer| answer.status < 300)
                .map(|_| true)
        });
        self.process = answers.then_some(process);
        answers
    }

    fn command(&self) -> Command {
        match self.make {
            Make::Influx => self.influx_command(),
            Make::Victoria => self.victoria_command(),
        }
    }

    fn influx_command(&self) -> Command {
        let mut command = Command::new("influxd");
        command
            .args(["run", "-config", "/dev/null"])
            .env(
                "INFLUXDB_HTTP_BIND_ADDRESS",
                format!("127.0.0.1:{}", self.port),
            )
            .env("INFLUXDB_BIND_ADDRESS", "127.0.0.1:0")
            .env("INFLUXDB_REPORTING_DISABLED", "true");
        for (variable, name) in [
            ("META_DIR", "meta"),
            ("DATA_DIR", "data"),
            ("DATA_WAL_DIR", "wal"),
        ] {
            command.env(
                format!("INFLUXDB_{variable}"),
                self.folder.path().join(name),
            );
        }
        command
    }

    /// Without the last flag a point that was sent twice is stored twice.
    fn victoria_command(&self) -> Command {
        let mut command = Command::new("victoria-metrics");
        command
            .arg(format!("-httpListenAddr=127.0.0.1:{}", self.port))
            .arg(format!(
                "-storageDataPath={}",
                self.folder.path().join("data").display()
            ))
            .args(["-retentionPeriod=100y", "-search.latencyOffset=0s"])
            .arg("-dedup.minScrapeInterval=1ms");
        command
    }
}

fn rows(answer: &Value) -> Vec<Map<String, Value>> {
    let series = answer["results"][0]["series"].as_array();
    series.into_iter().flatten().flat_map(series_rows).collect()
}

fn series_rows(series: &Value) -> Vec<Map<String, Value>> {
    let columns: Vec<&str> = list(&series["columns"]).filter_map(Value::as_str).collect();
    list(&series["values"])
        .map(|row| {
            let names = columns.iter().map(|&name| name.to_owned());
            names.zip(list(row).cloned()).collect()
        })
        .collect()
}

fn samples(line: &str) -> Vec<Sample> {
    let series: Value = serde_json::from_str(line).expect("exports are JSON lines");
    let label = |name: &str| {
        series["metric"][name]
            .as_str()
            .unwrap_or_default()
            .to_owned()
    };
    list(&series["timestamps"])
        .zip(list(&series["values"]))
        .filter_map(|(time, value)| {
            Some(Sample {
                name: label("__name__"),
                probe: label("probe"),
                time_ms: time.as_i64()?,
                value: value.as_f64()?,
            })
        })
        .collect()
}

fn list(value: &Value) -> impl Iterator<Item = &Value> {
    value.as_array().into_iter().flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: &str = "reading,probe=mash value=20.5,quality=\"good\",seq=7i 1795573447123\n";

    fn write(database: &Database, path: &str, query: &[(&str, &str)]) {
        let answer = http::post(database.port(), path, query, LINE);
        assert_eq!(answer.map(|answer| answer.status), Some(204));
    }

    #[test]
    fn influx_gives_back_a_point_also_after_a_restart() {
        let mut database = Database::influx();
        write(&database, "/write", &[("db", NAME), ("precision", "ms")]);
        database.stop();
        database.start_again();
        let rows = database.query("SELECT * FROM reading");
        assert_eq!(rows.len(), 1);
        assert_eq!(rows[0]["time"], 1_795_573_447_123_i64);
        assert_eq!(rows[0]["value"], 20.5);
        assert_eq!(rows[0]["quality"], "good");
        assert_eq!(rows[0]["probe"], "mash");
    }

    #[test]
    fn victoria_gives_back_a_point_once_although_it_was_sent_twice() {
        let database = Database::victoria();
        write(&database, "/api/v2/write", &[("precision", "ms")]);
        write(&database, "/api/v2/write", &[("precision", "ms")]);
        let expected = Sample {
            name: "reading_value".to_owned(),
            probe: "mash".to_owned(),
            time_ms: 1_795_573_447_123,
            value: 20.5,
        };
        assert_eq!(database.samples("reading_value"), [expected]);
    }
}
