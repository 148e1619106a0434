//! Keeping a step: by the running service where there is one, in the log itself where there is none.
//!
//! Which of both is found out before anything is kept, and again with each step.

use super::Job;
use super::differences::differences;
use crate::calibrate::{Recorded, Step};
use crate::cli::{Failure, when};
use crate::control::ProbeFacts;
use crate::control::client::{Client, ClientError, append_offline};

/// How steps get into the log.
#[derive(Debug)]
pub enum Way {
    /// Through the service that writes it.
    Service(Client),
    /// Nobody writes it: directly.
    Log,
}

impl Job {
    /// Finds out who keeps steps, so that what stands against it is known before anything is done.
    ///
    /// # Errors
    /// Where the service may not be talked to, or has the probe configured otherwise.
    pub fn connect(&mut self) -> Result<(), Failure> {
        if self.way.is_none() {
            self.way = Some(self.way()?);
        }
        Ok(())
    }

    /// Whether a service runs; only known after [`Job::connect`].
    #[must_use]
    pub fn is_served(&self) -> bool {
        matches!(self.way, Some(Way::Service(_)))
    }

    /// Keeps a step; gives its number, once it is committed.
    ///
    /// # Errors
    /// As [`Job::connect`], and why the step was not taken.
    pub fn keep(&mut self, step: Step) -> Result<u64, Failure> {
        // Anew for each step: minutes may lie between two, and the service ends what is idle.
        self.way = None;
        self.connect()?;
        let probe = self.probe.name.clone();
        let (number, remark) = match &mut self.way {
            Some(Way::Service(client)) => client.append(&probe, step.clone()).map_err(failure)?,
            _ => {
                let number = append_offline(&self.config, &probe, &step).map_err(failure)?;
                (number, None)
            }
        };
        if let Some(remark) = &remark {
            tracing::warn!("{remark}");
        }
        self.remark = remark;
        self.history.take(&Recorded {
            number,
            probe,
            time_ms: when::now().as_millisecond(),
            step,
        });
        Ok(number)
    }

    /// What the service remarked on the last step that was kept: why what was put in use is not.
    #[must_use]
    pub fn remark(&self) -> Option<&str> {
        self.remark.as_deref()
    }

    fn way(&self) -> Result<Way, Failure> {
        let mut client = match Client::connect(&self.config.log.path) {
            Ok(client) => client,
            Err(ClientError::NoService(_)) => return Ok(Way::Log),
            Err(error) => return Err(failure(error)),
        };
        let service = client.probe(&self.probe.name).map_err(failure)?;
        let Some(file) = ProbeFacts::of(&self.config, &self.probe.name) else {
            return Ok(Way::Service(client));
        };
        match differences(&file, &service).as_slice() {
            [] => Ok(Way::Service(client)),
            differ => Err(Failure::new(format!(
                "the running service has probe `{}` configured otherwise: {}; nothing was kept. \
                 Let the service read the file (SIGHUP), or name the file that it runs on",
                self.probe.name,
                differ.join("; ")
            ))),
        }
    }
}

fn failure(error: ClientError) -> Failure {
    Failure::new(error.to_string())
}
