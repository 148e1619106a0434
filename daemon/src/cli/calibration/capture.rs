//! From what a file of points says of the probe to what it read: a span of the log, captured as if it
//! ran now, or numbers that are given.

use super::{Job, log};
use crate::calibrate::Captured;
use crate::calibrate::capture::{Capture, Duration, Ending, Taken};
use crate::calibrate::points_file::{Entry, ProbeRead};
use crate::cli::when;
use crate::reading::{Outcome, Reading};

impl Job {
    /// What the probe read at a point of a file.
    ///
    /// # Errors
    /// Why that is no point, with what to do after `; `.
    pub fn capture(&self, entry: &Entry) -> Result<Captured, String> {
        match entry.read {
            ProbeRead::Given {
                electrical,
                uncertainty,
                on_channel,
            } => Ok(given(electrical, uncertainty, on_channel)),
            ProbeRead::Logged { from_ms, until_ms } => self.logged((from_ms, until_ms)),
        }
    }

    fn logged(&self, span: (i64, i64)) -> Result<Captured, String> {
        let readings = self.readings(span)?;
        let first = readings.first().ok_or_else(|| self.nothing(span))?;
        let start_ms = first.at.wall_ms;
        let Some(electrical) = readings.iter().find_map(|reading| reading.electrical) else {
            return Err(refused(first.outcome));
        };
        let evidence = format!(
            "readings of the log from {} to {}, as the file of points says",
            when::rfc3339_utc(span.0),
            when::rfc3339_utc(span.1)
        );
        let mut capture = Capture::begin(start_ms, self.aim(electrical), Duration::OPEN, evidence);
        for reading in &readings {
            let Some(taken) = self.taken(reading, start_ms) else {
                return Err(refused(reading.outcome));
            };
            if let Some(ending) = capture.push(taken) {
                return ended(ending);
            }
        }
        ended(capture.finish())
    }

    fn readings(&self, (from_ms, until_ms): (i64, i64)) -> Result<Vec<Reading>, String> {
        if !self.config.log.path.exists() {
            return Err(self.nothing((from_ms, until_ms)));
        }
        let mut readings = Vec::new();
        let query = log(&self.config).map_err(|failure| failure.to_string())?;
        let span = (from_ms, until_ms.saturating_add(1));
        let asked = query.readings(&self.probe.name, span, |reading| {
            readings.push(reading);
            true
        });
        asked.map_err(|error| format!("the log cannot be read: {error}"))?;
        let unit = self.probe.input.unit();
        match readings
            .iter()
            .find(|one| one.series.electrical_unit != unit)
        {
            None => Ok(readings),
            Some(other) => Err(format!(
                "the log has the probe in `{}` there, not in `{unit}`; take the point again",
                other.series.electrical_unit
            )),
        }
    }

    fn nothing(&self, (from_ms, until_ms): (i64, i64)) -> String {
        let extent = log(&self.config)
            .ok()
            .and_then(|query| query.extent(&self.probe.name).ok().flatten());
        let has = match extent {
            None => "it has none of it at all".to_owned(),
            Some((first, last)) => format!(
                "it has some from {} to {}",
                when::rfc3339_utc(first),
                when::rfc3339_utc(last)
            ),
        };
        format!(
            "the log has no reading of probe `{}` from {} to {}; {has}",
            self.probe.name,
            when::rfc3339_utc(from_ms),
            when::rfc3339_utc(until_ms)
        )
    }

    /// `None` for a fault.
    fn taken(&self, reading: &Reading, start_ms: i64) -> Option<Taken> {
        let electrical = reading
            .electrical
            .filter(|_| reading.outcome.estimate().is_some())?;
        let spread = reading.spread.unwrap_or(0.0);
        Some(Taken {
            at: reading.at.wall_ms.saturating_sub(start_ms) as f64 / 1000.0,
            raw: reading.raw?,
            electrical,
            spread: spread * self.per_count(electrical),
        })
    }
}

fn given(electrical: f64, uncertainty: f64, on_channel: bool) -> Captured {
    let (series, evidence) = match on_channel {
        true => (vec![electrical], "copied from the channel's readings"),
        false => (Vec::new(), "measured elsewhere"),
    };
    let now_ms = when::now().as_millisecond();
    Captured {
        from_ms: now_ms,
        until_ms: now_ms,
        raw: Vec::new(),
        electrical: series,
        mean: electrical,
        uncertainty,
        effective: 1.0,
        drift: (0.0, 0.0),
        evidence: format!("{evidence}, as the file of points says"),
    }
}

fn refused(outcome: Outcome) -> String {
    let quality = outcome.quality();
    format!("no point: {quality} within the span; {}", quality.advice())
}

/// `no point: …; what to do`.
fn ended(ending: Ending) -> Result<Captured, String> {
    match ending {
        Ending::Captured(captured, _) => Ok(*captured),
        Ending::Refused(refusal) => Err(refusal.to_string()),
    }
}
