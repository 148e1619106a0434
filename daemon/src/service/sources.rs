//! Starts, keeps and stops one task per board.

use super::build::{Numbers, probes_of};
use crate::config::{Board, Config, SimulatedChannel, Source as SourceTable};
use crate::log::{Batch, Entry, Kind, Loudness};
use crate::reading::Moment;
use crate::source::file::FileSource;
use crate::source::mqtt::MqttSource;
use crate::source::program::ProgramSource;
use crate::source::replay::ReplaySource;
use crate::source::serial::SerialSource;
use crate::source::simulated::{SimulatedInput, SimulatedSource};
use crate::source::tcp::TcpSource;
use crate::source::{Event, Sink, Source};
use std::collections::BTreeMap;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// The boards' tasks.
#[derive(Debug)]
pub struct Sources {
    to_flow: mpsc::Sender<(usize, Event)>,
    running: BTreeMap<usize, Running>,
    next_number: usize,
}

#[derive(Debug)]
struct Running {
    board: String,
    made_from: MadeFrom,
    stop: CancellationToken,
    /// None once it has ended and its end was looked at.
    task: Option<JoinHandle<()>>,
}

/// What a source was made from: where it is unchanged the board is not reopened.
#[derive(Debug, Clone, PartialEq)]
enum MadeFrom {
    /// A port, a file, a program, a broker, a bridge.
    Outside(Box<SourceTable>),
    /// A simulated board also depends on how its probes are wired.
    Simulated(Box<(Board, Vec<crate::config::Probe>)>),
}

impl Sources {
    /// None running yet.
    #[must_use]
    pub fn new(to_flow: mpsc::Sender<(usize, Event)>) -> Self {
        Self {
            to_flow,
            running: BTreeMap::new(),
            next_number: 0,
        }
    }

    /// A number for each board: the one it runs under where its source stays, otherwise a new one.
    pub fn numbers(&mut self, config: &Config) -> Numbers {
        let mut numbers = Numbers::new();
        for board in &config.boards {
            let number = self.number_of(config, board).unwrap_or_else(|| {
                self.next_number += 1;
                self.next_number
            });
            numbers.insert(board.name.clone(), number);
        }
        numbers
    }

    /// Tells those to end that are not among `numbers`; what they have read they still hand over
    /// until their tasks have ended.
    pub fn leave(&mut self, numbers: &Numbers) -> Vec<JoinHandle<()>> {
        let wanted: Vec<usize> = numbers.values().copied().collect();
        let (stay, go): (BTreeMap<_, _>, BTreeMap<_, _>) = std::mem::take(&mut self.running)
            .into_iter()
            .partition(|(number, _)| wanted.contains(number));
        self.running = stay;
        go.into_values().filter_map(Running::end).collect()
    }

    /// Starts what is new.
    pub fn start_new(&mut self, config: &Config, numbers: &Numbers) {
        for board in &config.boards {
            if let Some(number) = numbers.get(&board.name) {
                self.start(config, board, *number);
            }
        }
    }

    /// Tells all to end, as [`Sources::leave`].
    pub fn stop(&mut self) -> Vec<JoinHandle<()>> {
        let running = std::mem::take(&mut self.running);
        running.into_values().filter_map(Running::end).collect()
    }

    /// Starts again what has died of a fault of our own; the batch tells of it. A source that has
    /// come to its own end stays ended.
    pub async fn revive(&mut self, config: &Config, now: Moment) -> Batch {
        let mut batch = Batch::default();
        for (number, name) in self.died().await {
            self.running.remove(&number);
            let text = format!(
                "board `{name}`: its reader failed (a fault of this program, please report it); started again"
            );
            let entry = Entry::new(now, Kind::Board, name.as_str(), text).loud(Loudness::Error);
            batch.entries.push(entry);
            if let Some(board) = config.boards.iter().find(|b| b.name == name) {
                self.start(config, board, number);
            }
        }
        batch
    }

    /// Numbers and names of boards whose task has panicked since the last call.
    async fn died(&mut self) -> Vec<(usize, String)> {
        let mut died = Vec::new();
        for (number, running) in &mut self.running {
            let ended = running.task.take_if(|task| task.is_finished());
            let Some(task) = ended else { continue };
            if task.await.is_err_and(|e| e.is_panic()) {
                died.push((*number, running.board.clone()));
            }
        }
        died
    }

    fn start(&mut self, config: &Config, board: &Board, number: usize) {
        if self.running.contains_key(&number) {
            return;
        }
        let stop = CancellationToken::new();
        let sink = Sink::new(number, self.to_flow.clone());
        let task = tokio::spawn(source(config, board).run(sink, stop.clone()));
        let running = Running {
            board: board.name.clone(),
            made_from: made_from(config, board),
            stop,
            task: Some(task),
        };
        self.running.insert(number, running);
    }

    fn number_of(&self, config: &Config, board: &Board) -> Option<usize> {
        let wanted = made_from(config, board);
        let same = |r: &Running| r.board == board.name && r.made_from == wanted;
        self.running
            .iter()
            .find(|(_, r)| same(r))
            .map(|(number, _)| *number)
    }
}

impl Running {
    fn end(self) -> Option<JoinHandle<()>> {
        self.stop.cancel();
        self.task
    }
}

fn made_from(config: &Config, board: &Board) -> MadeFrom {
    match &board.source {
        SourceTable::Simulated { .. } => {
            let probes = probes_of(config, board).map(|(probe, _)| probe.clone());
            MadeFrom::Simulated(Box::new((board.clone(), probes.collect())))
        }
        outside => MadeFrom::Outside(Box::new(outside.clone())),
    }
}

fn source(config: &Config, board: &Board) -> Box<dyn Source> {
    let name = board.name.as_str();
    match &board.source {
        SourceTable::Mqtt(subscription) => Box::new(MqttSource::new(name, subscription.clone())),
        SourceTable::Program(program) => Box::new(ProgramSource::new(name, program.clone())),
        SourceTable::File(files) => Box::new(FileSource::new(name, files.clone())),
        SourceTable::Tcp(bridge) => Box::new(TcpSource::new(name, bridge.clone())),
        SourceTable::Serial { port, baud } => {
            Box::new(SerialSource::new(name, port.clone(), *baud))
        }
        SourceTable::Replay { file, every, speed } => {
            Box::new(ReplaySource::new(name, file.clone(), *every, *speed))
        }
        SourceTable::Simulated {
            scene,
            every,
            speed,
            seed,
        } => {
            let inputs = scene
                .iter()
                .filter_map(|s| input(config, board, s))
                .collect();
            Box::new(SimulatedSource::new(inputs, *every, *speed, *seed))
        }
    }
}

/// What a simulated channel needs to turn a value into counts: front end and driver, inverted.
/// None for a channel that no probe is wired to.
pub fn input(config: &Config, board: &Board, scene: &SimulatedChannel) -> Option<SimulatedInput> {
    let (probe, channel) = probes_of(config, board).find(|(_, c)| c.name == scene.channel)?;
    let model = probe.model.clone();
    let (front_end, take) = (channel.front_end, probe.input);
    let corrections = channel.corrections.clone();
    let count = move |value: f64| {
        let electrical = model.invert(value).ok()?;
        let corrected = front_end.count_for(electrical, take)?;
        Some(corrections.invert(corrected))
    };
    Some(SimulatedInput {
        field: channel.field.clone(),
        scene: scene.scene,
        noise_count: scene.noise_count,
        full_scale: channel.front_end.highest_count(),
        to_counts: Box::new(move |value| count(value).unwrap_or(f64::NAN)),
    })
}
