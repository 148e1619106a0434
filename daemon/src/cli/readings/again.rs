//! The past by another calibration: which, and what is said about it.

use crate::calibrate::History;
use crate::calibrate::history::{Conversion, Place, Recompute, Recomputed};
use crate::cli::calibrations::{Chosen, model};
use crate::config::{Config, Probe};
use crate::log::query::Query;
use crate::reading::{Quality, Reading, Series};
use crate::service::transfer;
use crate::words::counted;

/// A calibration by which readings are computed again, and those that made them.
pub struct Again {
    wanted: Conversion,
    made: Vec<Conversion>,
    place: Places,
    /// In a line, for a person.
    pub how: String,
}

impl Again {
    /// By the chosen calibration of a probe of this log.
    ///
    /// # Errors
    /// Where there is none such, for a person.
    pub fn by(
        chosen: Chosen,
        probe: &str,
        query: &Query,
        config: Option<&Config>,
    ) -> Result<Self, String> {
        let steps = query.steps(probe).map_err(|error| error.to_string())?;
        let history = History::of(&steps);
        let wanted = chosen.conversion(probe, &history, config)?;
        let configured = Chosen::Configured.conversion(probe, &history, config);
        let mut made = history.conversions(model(probe, config));
        made.extend(configured.ok());
        let how = format!(
            "values by {chosen} of probe `{probe}`, computed again from what the log holds of its \
             {}; the log itself stays as it is",
            quantity(&wanted)
        );
        let place = place(config.cloned(), probe.to_owned());
        Ok(Self {
            wanted,
            made,
            place,
            how,
        })
    }

    /// One reading after the other.
    pub fn recompute(&self) -> Recompute<'_> {
        Recompute::new(&self.wanted, &self.made, &self.place)
    }
}

/// Where a series was read, where that is known.
type Places = Box<dyn Fn(&Series) -> Option<Place>>;

/// Where a series of this probe was read, by the configuration where there is one.
fn place(config: Option<Config>, probe: String) -> Places {
    Box::new(move |series| {
        let config = config.as_ref()?;
        let named = |one: &&Probe| one.name == probe;
        let probe = config.probes.iter().find(named)?;
        transfer::place(config, probe, (&series.board, &series.channel))
    })
}

fn quantity(conversion: &Conversion) -> &'static str {
    match conversion.electrical_unit.as_str() {
        "Ohm" => "resistance",
        "V" => "voltage",
        _ => "ratio",
    }
}

/// The reading, and whether it was computed again.
pub fn parts(recomputed: Recomputed) -> (Reading, bool) {
    match recomputed {
        Recomputed::Anew(reading) => (reading, true),
        Recomputed::AsLogged(reading) => (reading, false),
    }
}

/// What a person should know of the readings that were printed.
#[derive(Debug, Default)]
pub struct Told {
    /// How many.
    pub readings: u64,
    as_logged: u64,
    extrapolated: u64,
}

impl Told {
    /// One more.
    pub fn count(&mut self, reading: &Reading, recomputed: bool) {
        self.readings += 1;
        self.as_logged += u64::from(!recomputed);
        self.extrapolated += u64::from(reading.outcome.quality() == Quality::Extrapolated);
    }

    /// Says it on stderr.
    pub fn say(&self, again: Option<(&Again, &Recompute<'_>)>) {
        if let Some((again, recompute)) = again {
            tracing::info!("{}", again.how);
            for remark in recompute.remarks() {
                tracing::warn!("{remark}");
            }
            if self.as_logged > 0 {
                tracing::warn!(
                    "{} as logged: of another unit or input than that calibration, or without what \
                     it is computed from",
                    counted(self.as_logged, "reading")
                );
            }
        }
        if self.extrapolated > 0 {
            tracing::warn!(
                "{} outside the calibrated range; {}",
                counted(self.extrapolated, "reading"),
                Quality::Extrapolated.advice()
            );
        }
    }
}
