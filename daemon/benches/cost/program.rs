//! The two programs that are compared, started on the same board, broker and sink.

use crate::PROBES;
use crate::board::Board;
use crate::broker::Broker;
use crate::sink::Sink;
use rustix::process::{Pid, Signal, kill_process};
use std::fmt::Write as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// Which one.
#[derive(Clone, Copy, Debug)]
pub enum Program {
    /// The shortest program for the same path.
    Floor,
    /// The service.
    Nightbench,
}

/// What it has to do beside logging.
#[derive(Clone, Copy, Debug)]
pub struct Task {
    /// Of the messages.
    pub qos: u8,
    /// A post of line protocol each second.
    pub with_database: bool,
}

/// One that runs.
#[derive(Debug)]
pub struct Running {
    child: Child,
    _folder: tempfile::TempDir,
}

impl Program {
    /// In the order in which they are compared.
    pub const BOTH: [Self; 2] = [Self::Floor, Self::Nightbench];

    /// Starts it.
    pub fn start(self, task: Task, board: &Board, broker: &Broker, sink: &Sink) -> Running {
        let folder = tempfile::tempdir().expect("a folder");
        let mut command = match self {
            Self::Floor => floor(folder.path(), task, board, broker, sink),
            Self::Nightbench => nightbench(folder.path(), task, board, broker, sink),
        };
        let child = command.stderr(Stdio::null()).spawn().expect("it starts");
        Running {
            child,
            _folder: folder,
        }
    }
}

impl Running {
    /// Its process.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Ends it, and waits for it.
    pub fn end(mut self) {
        if let Some(pid) = i32::try_from(self.child.id()).ok().and_then(Pid::from_raw) {
            let _ = kill_process(pid, Signal::TERM);
        }
        let _ = self.child.wait();
    }
}

fn floor(folder: &Path, task: Task, board: &Board, broker: &Broker, sink: &Sink) -> Command {
    let mut command = Command::new(std::env::current_exe().expect("this program"));
    let sink = if task.with_database { sink.port } else { 0 };
    command
        .arg("floor")
        .arg(&board.path)
        .arg(folder.join("floor.sqlite"))
        .args([
            broker.port.to_string(),
            task.qos.to_string(),
            sink.to_string(),
        ]);
    command
}

fn nightbench(folder: &Path, task: Task, board: &Board, broker: &Broker, sink: &Sink) -> Command {
    let file = folder.join("cost.toml");
    std::fs::write(&file, configuration(task, board, broker, sink)).expect("its configuration");
    let mut command = Command::new(env!("CARGO_BIN_EXE_nightbench"));
    command.args(["--quiet", "serve", "--config"]).arg(file);
    command
}

fn configuration(task: Task, board: &Board, broker: &Broker, sink: &Sink) -> String {
    let Task { qos, with_database } = task;
    let (port, broker, sink) = (board.path.display(), broker.port, sink.port);
    let mut text = format!(
        "site = \"cost\"\n[log]\npath = \"cost.sqlite\"\ncommit = \"1s\"\n\
         [board.b]\nsource = \"serial\"\nport = \"{port}\"\nsilent_after = \"60s\"\n\
         [outlet.broker]\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {broker}\nqos = {qos}\n"
    );
    if with_database {
        let _ = write!(
            text,
            "[outlet.sink]\nkind = \"line-protocol\"\nurl = \"http://127.0.0.1:{sink}\"\n\
             database = \"cost\"\ngzip = false\n"
        );
    }
    for probe in 0..PROBES {
        let _ = write!(
            text,
            "[board.b.channel.c{probe}]\nfront_end = \"divider\"\nprobe_side = \"low\"\n\
             resistor = \"10 kOhm\"\nfull_scale = 4095\n\
             [probe.p{probe}]\nboard = \"b\"\nchannel = \"c{probe}\"\ndriver = \"thermistor\"\n\
             [probe.p{probe}.parameters]\nform = \"beta\"\nr0 = \"10 kOhm\"\nbeta = \"3950 K\"\n"
        );
    }
    text
}
