//! A receiver that does what its script says and keeps book, and the scene around it.

use crate::log::testing::{Bench, alarm_move};
use crate::outlet::{Courier, Parcel, Receipt, Receiver, Refusal, Trouble};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Notify, watch};
use tokio::task::JoinHandle;
use tokio::time::{Instant, timeout};
use tokio_util::sync::CancellationToken;

/// No test waits longer than this for what must come.
pub const SOON: Duration = Duration::from_secs(20);

/// As fast as anybody wants it.
pub const UNHURRIED: u32 = 1_000_000;

/// What becomes of one delivery.
pub enum Answer {
    /// Taken and acknowledged.
    Take,
    /// Taken, but so many of its items are refused for good.
    Refuse(usize),
    /// Not taken; may be tried again at once.
    Fail(&'static str),
    /// Taken when this is told.
    TakeWhen(Arc<Notify>),
    /// Never answered.
    Hang,
}

/// A parcel that was acknowledged, as the numbers of its items.
#[derive(Clone, Debug, PartialEq)]
pub enum Got {
    Moves(Vec<u64>),
    Live(Vec<u64>),
    Late(Vec<u64>),
}

impl Got {
    fn of(parcel: Parcel<'_>) -> Self {
        match parcel {
            Parcel::Moves(moves) => Self::Moves(moves.iter().map(|m| m.seq).collect()),
            Parcel::Live(readings) => Self::Live(readings.iter().map(|r| r.seq).collect()),
            Parcel::Backlog(readings) => Self::Late(readings.iter().map(|r| r.seq).collect()),
        }
    }
}

/// What the receiver saw.
#[derive(Clone, Debug, Default)]
pub struct Book {
    pub got: Vec<Got>,
    /// When each of them was acknowledged.
    pub when: Vec<Instant>,
    /// Deliveries that were tried.
    pub tried: usize,
    pub connects: usize,
    pub closed: bool,
}

impl Book {
    pub fn live(&self) -> Vec<u64> {
        let live = |got: &Got| {
            if let Got::Live(n) = got {
                n.clone()
            } else {
                Vec::new()
            }
        };
        self.got.iter().flat_map(live).collect()
    }

    pub fn late(&self) -> Vec<u64> {
        let late = |got: &Got| {
            if let Got::Late(n) = got {
                n.clone()
            } else {
                Vec::new()
            }
        };
        self.got.iter().flat_map(late).collect()
    }

    pub fn moves(&self) -> Vec<u64> {
        let moves = |got: &Got| {
            if let Got::Moves(n) = got {
                n.clone()
            } else {
                Vec::new()
            }
        };
        self.got.iter().flat_map(moves).collect()
    }

    /// All readings, sorted: with none missing and none doubled it is what was appended.
    pub fn readings(&self) -> Vec<u64> {
        let mut all = self.live();
        all.extend(self.late());
        all.sort_unstable();
        all
    }
}

type Script = Box<dyn FnMut(usize, &Got) -> Answer + Send>;

/// The receiver.
pub struct Scripted {
    pub batch: usize,
    pub keeps_alarm_states: bool,
    /// While it stands, connecting fails with this.
    pub unreachable: Arc<watch::Sender<Option<&'static str>>>,
    book: watch::Sender<Book>,
    script: Script,
}

impl Scripted {
    /// Answers the n-th delivery (from 1) with what the script gives.
    pub fn new(script: impl FnMut(usize, &Got) -> Answer + Send + 'static) -> Self {
        Self {
            batch: 10,
            keeps_alarm_states: false,
            unreachable: Arc::new(watch::Sender::new(None)),
            book: watch::Sender::new(Book::default()),
            script: Box::new(script),
        }
    }

    /// Takes everything.
    pub fn willing() -> Self {
        Self::new(|_, _| Answer::Take)
    }
}

fn soon_again(what: &str) -> Trouble {
    Trouble::Later {
        what: what.to_owned(),
        after: Some(Duration::from_millis(1)),
    }
}

impl Receiver for Scripted {
    async fn connect(&mut self) -> Result<(), Trouble> {
        self.book.send_modify(|book| book.connects += 1);
        match *self.unreachable.borrow() {
            Some(what) => Err(soon_again(what)),
            None => Ok(()),
        }
    }

    async fn deliver(&mut self, parcel: Parcel<'_>) -> Result<Receipt, Trouble> {
        let got = Got::of(parcel);
        self.book.send_modify(|book| book.tried += 1);
        let tried = self.book.borrow().tried;
        let mut receipt = Receipt::default();
        match (self.script)(tried, &got) {
            Answer::Take => {}
            Answer::Refuse(count) => receipt.refused = refusals(count),
            Answer::Fail(what) => return Err(soon_again(what)),
            Answer::TakeWhen(told) => told.notified().await,
            Answer::Hang => std::future::pending().await,
        }
        self.book.send_modify(|book| {
            book.got.push(got);
            book.when.push(Instant::now());
        });
        Ok(receipt)
    }

    fn keeps_alarm_states(&self) -> bool {
        self.keeps_alarm_states
    }

    async fn close(&mut self) {
        self.book.send_modify(|book| book.closed = true);
    }

    fn batch(&self) -> usize {
        self.batch
    }
}

fn refusals(count: usize) -> Vec<Refusal> {
    let refusal = |seq| Refusal {
        seq,
        why: format!("reading {seq}: field type conflict"),
    };
    (1..=count as u64).map(refusal).collect()
}

/// A courier under way.
pub struct Delivery {
    book: watch::Receiver<Book>,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

impl Delivery {
    /// Starts a courier for the outlet `kitchen`.
    pub async fn start(bench: &Bench, receiver: Scripted, backlog_rate: u32) -> Self {
        Self::run(courier(bench, backlog_rate).await, receiver)
    }

    /// Lets a courier go.
    pub fn run(courier: Courier, receiver: Scripted) -> Self {
        let stop = CancellationToken::new();
        Self {
            book: receiver.book.subscribe(),
            task: tokio::spawn(courier.run(receiver, stop.clone())),
            stop,
        }
    }

    /// Waits until the receiver's book is like this, and gives it.
    pub async fn until(&mut self, like: impl FnMut(&Book) -> bool) -> Book {
        let found = timeout(SOON, self.book.wait_for(like)).await;
        found.expect("it comes soon").unwrap().clone()
    }

    /// Waits until so many readings came, and gives the book.
    pub async fn readings(&mut self, count: usize) -> Book {
        self.until(|book| book.readings().len() >= count).await
    }

    /// Tells it to stop, and waits until it has.
    pub async fn stop(self) -> Book {
        self.stop.cancel();
        timeout(SOON, self.task).await.expect("it stops").unwrap();
        self.book.borrow().clone()
    }
}

/// A courier for the outlet `kitchen`.
pub async fn courier(bench: &Bench, backlog_rate: u32) -> Courier {
    Courier::new("kitchen", &bench.log, backlog_rate)
        .await
        .unwrap()
}

/// Appends a move of this probe's alarm.
pub async fn append_move(bench: &Bench, probe: &str) {
    let entry = alarm_move(probe, crate::alarm::State::Active, 0);
    bench.append(Vec::new(), vec![entry]).await;
}

/// From and with `first`, up to and with `last`.
pub fn numbers(first: u64, last: u64) -> Vec<u64> {
    (first..=last).collect()
}
