//! The guide's line to the running service: one connection for readings, and one for each step.
//!
//! A service that goes away is waited for. A step whose answer was lost is looked for in the log before
//! it is sent again, so that none is kept twice.

use super::ending::Ending;
use crate::calibrate::Step;
use crate::calibrate::session::Heard;
use crate::cli::calibrate::{Kept, Wire};
use crate::cli::calibration::{Job, differences};
use crate::clock;
use crate::control::ProbeFacts;
use crate::control::WatchedReading;
use crate::control::client::{Client, ClientError, Watch};
use crate::log::query::Query;
use crate::reading::Quality;
use std::path::PathBuf;
use std::time::Duration;

/// How long a reading is waited for: it only shall not turn the guide into a busy one.
const PATIENCE: Duration = Duration::from_millis(1);

/// Readings that are taken at once; more come with the next look.
const AT_ONCE: usize = 500;

/// Between two trials to reach the service.
const AGAIN_NS: u64 = 1_000_000_000;

/// The connection for readings, and what is known of the steps.
#[derive(Debug)]
pub(super) struct Line {
    log: PathBuf,
    probe: String,
    /// As the file has it; `None` cannot be: the job has found it there.
    file: Option<ProbeFacts>,
    watch: Option<Watch>,
    /// Whether the answer to a step was lost.
    is_unsure: bool,
    /// Number of the last step that is known to be kept.
    known: u64,
    tried_ns: u64,
    why: String,
    ending: Ending,
}

impl Line {
    /// Connects to the service that writes the log.
    ///
    /// # Errors
    /// `NoService` where none runs, `Refused` where it has the probe configured otherwise.
    pub fn connect(job: &Job, ending: Ending) -> Result<Self, ClientError> {
        let mut line = Self {
            log: job.config().log.path.clone(),
            probe: job.probe().name.clone(),
            file: ProbeFacts::of(job.config(), &job.probe().name),
            watch: None,
            is_unsure: false,
            known: job.history().last_step(),
            tried_ns: 0,
            why: String::new(),
            ending,
        };
        line.watch = Some(line.watching()?);
        Ok(line)
    }

    fn watching(&self) -> Result<Watch, ClientError> {
        let watch = Client::connect(&self.log)?.watch(&self.probe)?;
        let differ = self
            .file
            .as_ref()
            .map(|file| differences(file, watch.facts()));
        match differ.unwrap_or_default().as_slice() {
            [] => Ok(watch),
            differ => Err(ClientError::Refused(format!(
                "the running service has probe `{}` configured otherwise: {}; let the service read \
                 the file (SIGHUP), or name the file that it runs on",
                self.probe,
                differ.join("; ")
            ))),
        }
    }

    /// What comes on a connection that stands.
    fn heard(watch: &mut Watch) -> Result<Vec<Heard>, ClientError> {
        let mut all = Vec::new();
        while all.len() < AT_ONCE
            && let Some(reading) = watch.next_within(PATIENCE)?
        {
            all.extend(heard(&reading));
        }
        Ok(all)
    }

    fn try_again(&mut self) {
        let now = clock::now().boot_ns;
        if now.saturating_sub(self.tried_ns) < AGAIN_NS {
            return;
        }
        self.tried_ns = now;
        match self.watching() {
            Ok(watch) => self.watch = Some(watch),
            Err(error) => self.why = error.to_string(),
        }
    }

    fn ask(&mut self, step: &Step) -> Result<Kept, ClientError> {
        // The service ends a connection on which nothing is asked for a minute, and from one point to
        // the next it is longer.
        let mut client = Client::connect(&self.log)?;
        if self.is_unsure
            && let Some(number) = self.found(step)
        {
            self.is_unsure = false;
            let remark = None;
            return Ok(Kept { number, remark });
        }
        let kept = client.append(&self.probe, step.clone());
        self.is_unsure = !matches!(kept, Ok(_) | Err(ClientError::Refused(_)));
        kept.map(|(number, remark)| Kept { number, remark })
    }

    /// The number of a step that was kept although its answer was lost.
    fn found(&self, step: &Step) -> Option<u64> {
        let steps = Query::open(&self.log).ok()?.steps(&self.probe).ok()?;
        let mut later = steps.into_iter().filter(|kept| kept.number > self.known);
        later
            .find(|kept| kept.step == *step)
            .map(|kept| kept.number)
    }
}

impl Wire for Line {
    fn readings(&mut self) -> Result<Vec<Heard>, String> {
        if self.watch.is_none() {
            self.try_again();
        }
        let Some(watch) = &mut self.watch else {
            return Err(self.why.clone());
        };
        Self::heard(watch).map_err(|error| {
            self.watch = None;
            self.why = error.to_string();
            self.why.clone()
        })
    }

    fn append(&mut self, step: &Step) -> Result<Kept, String> {
        // The service may have ended between the connection and its answer.
        let kept = match self.ask(step) {
            Err(ClientError::Ended | ClientError::Failed { .. }) => self.ask(step),
            kept => kept,
        };
        let kept = kept.map_err(|error| error.to_string())?;
        self.known = self.known.max(kept.number);
        Ok(kept)
    }

    fn is_to_end(&self) -> bool {
        self.ending.is_wanted()
    }
}

/// `None` for a quality of a later version.
fn heard(reading: &WatchedReading) -> Option<Heard> {
    let quality = Quality::ALL
        .into_iter()
        .find(|one| one.tag() == reading.quality)?;
    Some(Heard {
        at: reading.boot_ns as f64 / 1e9,
        wall_ms: reading.time_ms,
        raw: reading.raw,
        electrical: reading.electrical,
        spread: reading.spread.unwrap_or(0.0),
        quality,
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::control::place::Place;
    use crate::control::protocol::{self, Answer, Hello};
    use crate::control::testing::{facts, point};
    use std::io::{BufRead, BufReader, Write};
    use std::os::unix::net::UnixListener;

    /// A service that keeps one step of each connection, and ends it since nothing more was asked.
    fn serve(listener: &UnixListener) {
        for number in 1..=2 {
            let (mut stream, _) = listener.accept().unwrap();
            stream.set_nonblocking(false).unwrap();
            stream.write_all(&protocol::line(&Hello::ours())).unwrap();
            let mut asked = String::new();
            let mut lines = BufReader::new(stream.try_clone().unwrap());
            lines.read_line(&mut asked).unwrap();
            let remark = None;
            let ended = Answer::Refused("nothing was asked for 60 s".to_owned());
            for answer in [Answer::Done { number, remark }, ended] {
                stream.write_all(&protocol::line(&answer)).unwrap();
            }
        }
    }

    #[test]
    fn a_second_point_is_kept_although_the_first_is_long_ago() {
        let folder = tempfile::tempdir().unwrap();
        let log = folder.path().join("night.sqlite");
        let listener = Place::beside(&log).unwrap().listen().unwrap();
        listener.set_nonblocking(false).unwrap();
        let service = std::thread::spawn(move || serve(&listener));
        let mut line = Line {
            log,
            probe: facts().probe,
            file: None,
            watch: None,
            is_unsure: false,
            known: 0,
            tried_ns: 0,
            why: String::new(),
            ending: Ending::default(),
        };
        for (number, value) in [(1, 0.0), (2, 40.0)] {
            let point = Box::new(point(value, 9_000.0));
            let kept = line.append(&Step::Point { point }).unwrap();
            assert_eq!(kept.number, number);
        }
        service.join().unwrap();
    }
}
