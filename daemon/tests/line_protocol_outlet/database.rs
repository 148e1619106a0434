//! Real databases, each on a port of its own on loopback with its data in a temporary folder, ended
//! by process id. A database that is not installed is a failure, not a test passed over.

use nightbench::outlet::tls;
use std::io::{BufRead, BufReader, Read};
use std::net::TcpListener;
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;

/// A running server; dropping it ends it.
pub struct Database {
    child: Child,
    client: reqwest::Client,
    /// `http://127.0.0.1:PORT`.
    pub url: String,
    _folder: TempDir,
}

impl Database {
    /// InfluxDB 1: takes `/write` only, refuses what is wrong.
    pub fn influx() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut command = Command::new("influxd");
        command
            .args(["run", "-config", "/dev/null"])
            .env("INFLUXDB_HTTP_BIND_ADDRESS", "127.0.0.1:0")
            .env("INFLUXDB_BIND_ADDRESS", "127.0.0.1:0")
            .env("INFLUXDB_REPORTING_DISABLED", "true")
            .env("INFLUXDB_META_DIR", folder.path().join("meta"))
            .env("INFLUXDB_DATA_DIR", folder.path().join("data"))
            .env("INFLUXDB_DATA_WAL_DIR", folder.path().join("wal"));
        Self::start(command, folder, |line| {
            let (_, address) = line
                .split_once("Listening on HTTP")?
                .1
                .split_once("addr=")?;
            Some(format!("http://{}", address.split(' ').next()?))
        })
        .expect("influxd ended before it listened")
    }

    /// VictoriaMetrics: takes both interfaces, answers 204 to everything.
    pub fn victoria_metrics() -> Self {
        // Another program may take the port between its choice and its use: then once more.
        let mut tries = std::iter::repeat_with(Self::try_victoria_metrics).take(5);
        tries
            .find_map(|started| started)
            .expect("victoria-metrics ended before it listened")
    }

    fn try_victoria_metrics() -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let free = TcpListener::bind("127.0.0.1:0")
            .unwrap()
            .local_addr()
            .unwrap();
        let mut command = Command::new("victoria-metrics");
        command
            .arg(format!("-httpListenAddr={free}"))
            .arg(format!("-storageDataPath={}", folder.path().display()))
            .args(["-retentionPeriod=100y", "-search.latencyOffset=0s"])
            .arg("-dedup.minScrapeInterval=1ms");
        Self::start(command, folder, |line| {
            line.contains("starting http server at")
                .then(|| format!("http://{free}"))
        })
    }

    /// `listening` finds the address in a line of the log; until then nothing is asked.
    fn start(
        mut command: Command,
        folder: TempDir,
        listening: impl Fn(&str) -> Option<String>,
    ) -> Option<Self> {
        let mut child = command
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap_or_else(|why| panic!("{command:?} must be installed: {why}"));
        let mut log = BufReader::new(child.stderr.take().unwrap());
        let mut lines = log.by_ref().lines().map_while(Result::ok);
        let Some(url) = lines.find_map(|line| listening(&line)) else {
            child.wait().unwrap();
            return None;
        };
        // A full pipe would stop the server.
        std::thread::spawn(move || std::io::copy(&mut log, &mut std::io::sink()));
        tls::install();
        Some(Self {
            child,
            client: reqwest::Client::builder().no_proxy().build().unwrap(),
            url,
            _folder: folder,
        })
    }

    /// Asks InfluxDB; rows come as text, so that no number is rounded on the way.
    pub async fn query(&self, database: &str, query: &str) -> Vec<Vec<String>> {
        let url = reqwest::Url::parse_with_params(
            &format!("{}/query", self.url),
            [("db", database), ("q", query), ("epoch", "ms")],
        );
        let request = self
            .client
            .post(url.unwrap())
            .header("accept", "application/csv");
        let rows = request.send().await.unwrap().error_for_status().unwrap();
        let rows = rows.text().await.unwrap();
        let cells = |row: &str| row.split(',').map(str::to_owned).collect();
        rows.lines().skip(1).map(cells).collect()
    }

    /// Asks VictoriaMetrics for one series: times in ms and values.
    pub async fn export(&self, name: &str) -> Vec<(i64, f64)> {
        self.get("/internal/force_flush").await;
        let series = self.get(&format!("/api/v1/export?match[]={name}")).await;
        let series: serde_json::Value = serde_json::from_str(&series).unwrap();
        let list = |key: &str| series[key].as_array().unwrap().iter();
        let times = list("timestamps").map(|time| time.as_i64().unwrap());
        times
            .zip(list("values").map(|value| value.as_f64().unwrap()))
            .collect()
    }

    async fn get(&self, path: &str) -> String {
        let url = format!("{}{path}", self.url);
        let answer = self.client.get(url).send().await.unwrap();
        answer.error_for_status().unwrap().text().await.unwrap()
    }

    /// Writes lines as they are.
    pub async fn write(&self, database: &str, lines: &'static str) {
        let url = format!("{}/write?db={database}&precision=ms", self.url);
        let answer = self.client.post(url).body(lines).send().await.unwrap();
        answer.error_for_status().unwrap();
    }
}

impl Drop for Database {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
