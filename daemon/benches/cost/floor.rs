//! The shortest program for the same path: it reads a terminal, reckons a temperature, writes a row
//! a reading committed each second, a message a reading, and a post of line protocol each second.
//! No fault is looked for, nothing survives anything.

use rumqttc::{Client, Event, MqttOptions, NetworkOptions, Packet, QoS};
use rusqlite::Connection;
use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Runs until it is ended: terminal, database file, broker's port, QoS, sink's port (0 for none).
pub fn run(arguments: &[String]) {
    let [terminal, file, broker, qos, sink] = arguments else {
        panic!("five arguments");
    };
    let number = |text: &String| text.parse::<u16>().expect("a number");
    let port = serialport::new(terminal, 115_200)
        .timeout(Duration::from_secs(3600))
        .open()
        .expect("the terminal");
    let qos = if qos == "1" {
        QoS::AtLeastOnce
    } else {
        QoS::AtMostOnce
    };
    let mut floor = Floor {
        client: client(number(broker)),
        qos,
        log: log(file),
        sink: sink_stream(number(sink)),
        lines: String::new(),
        committed: Instant::now(),
    };
    for line in BufReader::new(port).lines() {
        floor.line(&line.expect("a line"));
    }
}

struct Floor {
    client: Client,
    qos: QoS,
    log: Connection,
    sink: Option<TcpStream>,
    lines: String,
    committed: Instant,
}

impl Floor {
    fn line(&mut self, line: &str) {
        let now = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .expect("after 1970");
        let ms = i64::try_from(now.as_millis()).expect("before the end of time");
        for (probe, pair) in line.split_whitespace().enumerate() {
            let Some((name, count)) = pair.split_once('=') else {
                continue;
            };
            let Ok(count) = count.parse::<f64>() else {
                continue;
            };
            self.reading(ms, probe, name, count);
        }
        if self.committed.elapsed() >= Duration::from_secs(1) {
            self.commit();
        }
    }

    fn reading(&mut self, ms: i64, probe: usize, name: &str, count: f64) {
        let ohm = 10_000.0 * count / (4095.0 - count);
        let value = 1.0 / (1.0 / 298.15 + (ohm / 10_000.0).ln() / 3950.0) - 273.15;
        self.log
            .prepare_cached("INSERT INTO reading VALUES (?1, ?2, ?3, ?4)")
            .and_then(|mut s| s.execute((ms, probe as i64, count, value)))
            .expect("a row");
        let payload =
            format!("{{\"probe\":\"{name}\",\"time\":{ms},\"raw\":{count},\"value\":{value}}}");
        self.client
            .publish(format!("cost/{name}/reading"), self.qos, true, payload)
            .expect("a message");
        if self.sink.is_some() {
            let _ = writeln!(
                self.lines,
                "reading,probe={name} value={value},raw={count} {ms}"
            );
        }
    }

    fn commit(&mut self) {
        self.log.execute_batch("COMMIT; BEGIN").expect("a commit");
        self.committed = Instant::now();
        let lines = std::mem::take(&mut self.lines);
        if let Some(sink) = &mut self.sink {
            let head = format!(
                "POST /write?db=cost&precision=ms HTTP/1.1\r\nHost: sink\r\nContent-Length: {}\r\n\r\n",
                lines.len()
            );
            sink.write_all((head + &lines).as_bytes()).expect("a post");
            let mut answer = [0; 256];
            assert!(sink.read(&mut answer).expect("an answer") > 0);
        }
    }
}

fn client(port: u16) -> Client {
    let mut options = MqttOptions::new("floor", "127.0.0.1", port);
    options.set_inflight(100);
    let (client, mut connection) = Client::new(options, 1000);
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true);
    connection.eventloop.set_network_options(network);
    let (connected, wait) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        for event in connection.iter() {
            if let Ok(Event::Incoming(Packet::ConnAck(_))) = event {
                let _ = connected.send(());
            }
        }
    });
    wait.recv_timeout(Duration::from_secs(10))
        .expect("the broker");
    client
}

fn log(file: &str) -> Connection {
    let log = Connection::open(file).expect("the file");
    log.execute_batch(
        "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
         CREATE TABLE reading (time_ms INTEGER, probe INTEGER, raw REAL, value REAL); BEGIN",
    )
    .expect("a table");
    log
}

fn sink_stream(port: u16) -> Option<TcpStream> {
    let stream = (port > 0).then(|| TcpStream::connect(("127.0.0.1", port)).expect("the sink"))?;
    stream.set_nodelay(true).expect("no delay");
    Some(stream)
}
