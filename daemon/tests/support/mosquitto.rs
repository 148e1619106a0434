//! A real broker in a temporary folder, on a port of its own, ended by its process id.

use rustix::process::{Pid, Signal};
use std::fs;
use std::io::{BufRead, BufReader};
use std::net::TcpListener;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

pub struct Mosquitto {
    pub port: u16,
    process: Child,
    settings: String,
    _folder: tempfile::TempDir,
}

/// What every test's broker has; more settings may follow.
pub const SETTINGS: &str = "\
allow_anonymous true
persistence false
set_tcp_nodelay true
max_queued_messages 0
";

#[allow(
    dead_code,
    reason = "each test binary that takes this file in uses its own part of it"
)]
impl Mosquitto {
    pub fn start() -> Self {
        Self::start_with(SETTINGS)
    }

    /// One that lets nobody in without a password.
    pub fn start_closed() -> Self {
        Self::start_with("allow_anonymous false\n")
    }

    /// On a port that the system chooses, tried again where somebody else was faster.
    pub fn start_with(settings: &str) -> Self {
        (0..5)
            .find_map(|_| Self::start_on(free_port(), settings))
            .expect("a mosquitto that runs")
    }

    /// Stops its process where it stands: connections stay, nothing is answered.
    pub fn hang(&self) {
        self.signal(Signal::STOP);
    }

    /// Lets it go on.
    pub fn go_on(&self) {
        self.signal(Signal::CONT);
    }

    fn signal(&self, signal: Signal) {
        let id = i32::try_from(self.process.id()).unwrap();
        rustix::process::kill_process(Pid::from_raw(id).unwrap(), signal).unwrap();
    }

    /// Ends it at once, and starts an empty one at the same address.
    pub fn restart_empty(self) -> Self {
        let (port, settings) = (self.port, self.settings.clone());
        drop(self);
        Self::start_on(port, &settings).expect("the same port again")
    }

    fn start_on(port: u16, settings: &str) -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("mosquitto.conf");
        fs::write(&file, format!("listener {port} 127.0.0.1\n{settings}")).unwrap();
        let mut process = Command::new("mosquitto")
            .env(
                "PATH",
                format!("{}:/usr/sbin", std::env::var("PATH").unwrap_or_default()),
            )
            .arg("-c")
            .arg(&file)
            .stderr(Stdio::piped())
            .spawn()
            .expect("the broker `mosquitto` is installed; these tests need it");
        let log = BufReader::new(process.stderr.take().unwrap());
        let mut broker = Self {
            port,
            process,
            settings: settings.to_owned(),
            _folder: folder,
        };
        broker.says_running(log).then_some(broker)
    }

    /// Reads its log up to the line that says so; goes on reading, so that it never blocks on it.
    fn says_running(&mut self, log: BufReader<impl std::io::Read + Send + 'static>) -> bool {
        let (report, running) = mpsc::channel();
        std::thread::spawn(move || {
            for line in log.lines().map_while(Result::ok) {
                if line.ends_with("running") {
                    let _ = report.send(());
                }
            }
        });
        running.recv_timeout(Duration::from_secs(10)).is_ok()
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// A port nobody listens on just now.
pub fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0")
        .unwrap()
        .local_addr()
        .unwrap()
        .port()
}
