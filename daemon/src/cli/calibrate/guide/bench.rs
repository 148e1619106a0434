//! What the guide knows: the probe as it is configured, its calibrations, and the rest of `calibrate`.
//!
//! Decides nothing of its own; it asks, and puts into words what a session shows.

use super::offers::{Offers, Way};
use crate::calibrate::calibration::Share;
use crate::calibrate::history::{self, Made};
use crate::calibrate::reference::suggest::Next;
use crate::calibrate::session::{Advice, Complaint, Doubt, Knowledge, Offer, Subject};
use crate::calibrate::settling::{Aim, Rules};
use crate::calibrate::{
    Calibration, Compared, Curve, History, Point, Reference, Role, Stated, Verification, verify,
};
use crate::cli::calibration::{Job, as_verified};
use crate::driver::Driver;
use crate::measure::chain::Transfer;
use crate::service::transfer;
use crate::words::counted;
use std::time::Duration;

/// A point needs some twenty readings; rarer than this, that takes long.
const RARE: Duration = Duration::from_secs(3);

/// One probe on the bench.
#[derive(Debug)]
pub(super) struct Bench {
    job: Job,
    rules: Rules,
    subject: Subject,
    offers: Offers,
    curve: Option<Stated>,
    is_falling: bool,
}

impl Bench {
    /// A probe with its calibrations, that is watched by these rules.
    pub fn new(job: Job, rules: Rules) -> Self {
        let probe = job.probe();
        Self {
            subject: Subject {
                probe: probe.name.clone(),
                place: format!("board `{}`, channel `{}`", probe.board, probe.channel),
                unit: probe.unit.clone(),
                electrical: probe.input.unit().to_owned(),
                note: probe.every.filter(|every| *every > RARE).map(rare),
            },
            offers: Offers::of(&probe.unit, !probe.alarms.is_empty()),
            curve: None,
            is_falling: is_falling(&job),
            rules,
            job,
        }
    }

    /// A calibration as if it were kept already.
    fn as_made(calibration: &Calibration) -> Made {
        Made {
            number: 0,
            step: 0,
            time_ms: calibration.made_ms,
            calibration: calibration.clone(),
            verifications: Vec::new(),
        }
    }

    fn next(&self) -> Advice {
        match self.job.next_point() {
            Some(Next::Make {
                near,
                by,
                role,
                why,
            }) => {
                let near = (near * 10.0).round() / 10.0;
                Advice {
                    offer: self.offers.place(Way::of(by)),
                    is_check: role == Role::Check,
                    why: format!("near {near} {}: {why}", self.subject.unit),
                }
            }
            Some(Next::Enough) => Advice {
                offer: None,
                is_check: false,
                why: "the range of use is covered, and one point more shows errors".to_owned(),
            },
            None => Advice {
                offer: Some(0),
                is_check: false,
                why: "no range of use is known (no alarm says `low` and `high`): take points at \
                      both ends of it"
                    .to_owned(),
            },
        }
    }

    /// What is in use, where no point is at hand that begins another.
    fn in_use(&self) -> Option<Advice> {
        let history = self.job.history();
        let in_use = history.active()?;
        let number = in_use.number;
        if history.draft().any(|taken| !taken.is_check()) {
            return None;
        }
        let checks = history.draft().count();
        let (offer, why) = match (checks, in_use.verifications.is_empty()) {
            (0, true) => (
                self.offers.place(Way::Instrument),
                format!(
                    "calibration {number} is in use, and nothing verifies it yet: best at another \
                     value than its points have"
                ),
            ),
            (0, false) => (
                None,
                format!("{}; new points begin another", as_verified(in_use)),
            ),
            (checks, _) => (
                None,
                format!("{} against calibration {number}", counted(checks, "point")),
            ),
        };
        Some(Advice {
            is_check: offer.is_some(),
            offer,
            why,
        })
    }
}

impl Knowledge for Bench {
    fn learn(&mut self, history: &History) {
        self.job.learn(history.clone());
        let (probe, channel) = (self.job.probe(), self.job.channel());
        let active = history::active(self.job.history(), probe).ok().flatten();
        self.curve = match active {
            Some((_, by)) => transfer::calibrated(probe, channel, by).ok(),
            None => Some(transfer::configured(probe, channel)),
        };
        let points = history.points().filter(|taken| taken.withdrawn.is_none());
        let by_instrument = points
            .map(|taken| &taken.point.compared)
            .filter(|it| matches!(it.reference, Reference::Instrument { .. }));
        if let Some(latest) = by_instrument.last() {
            self.offers.remember(latest);
        }
    }

    fn subject(&self) -> &Subject {
        &self.subject
    }

    fn offers(&self) -> &[Offer] {
        self.offers.all()
    }

    fn advise(&self) -> Advice {
        self.in_use().unwrap_or_else(|| self.next())
    }

    fn compare(&self, offer: usize, answers: &[String]) -> Result<Compared, Complaint> {
        self.offers.compare(offer, answers)
    }

    fn aim(&self, electrical: f64) -> Aim {
        self.job.aim(electrical)
    }

    fn rules(&self) -> Rules {
        self.rules
    }

    fn per_count(&self, electrical: f64) -> f64 {
        self.job.per_count(electrical)
    }

    fn value(&self, electrical: f64) -> Option<f64> {
        self.curve.as_ref()?.evaluate(electrical).ok()
    }

    fn is_falling(&self) -> bool {
        self.is_falling
    }

    fn doubt(&self, compared: &Compared, mean: f64) -> Option<Doubt> {
        let doubt = self.job.doubt(compared, mean)?;
        Some(Doubt {
            what: doubt.what,
            causes: doubt.causes.into_iter().map(str::to_owned).collect(),
        })
    }

    fn fit(&self, points: &[(u64, Point)], _now_ms: i64) -> Result<Calibration, String> {
        self.job.fit(points).map_err(|refusal| refusal.to_string())
    }

    fn value_by(&self, calibration: &Calibration, electrical: f64) -> Option<f64> {
        let curve = Curve::of(calibration, &self.job.probe().model).ok()?;
        curve.evaluate(electrical).ok()
    }

    fn verify(&self, by: &Calibration, number: u64, point: &Point) -> Option<Verification> {
        let curve = Curve::of(by, &self.job.probe().model).ok()?;
        let (tolerance, _) = self.job.tolerance(point.compared.value);
        verify(&curve, (number, point), tolerance, &self.subject.unit).ok()
    }

    fn budget(&self, calibration: &Calibration) -> Vec<Share> {
        let (probe, channel) = (self.job.probe(), self.job.channel());
        let stated = transfer::calibrated(probe, channel, calibration).ok();
        let shares = stated
            .zip(middle(calibration, probe.driver))
            .and_then(|(stated, input)| {
                let converter = self.job.converter(&Self::as_made(calibration), input);
                stated.shares(input, converter).ok()
            });
        let mut shares = shares.unwrap_or_default();
        shares.sort_by(|a, b| b.uncertainty.total_cmp(&a.uncertainty));
        shares
    }
}

/// Where the value is in the middle of those of the calibrated range.
fn middle(calibration: &Calibration, driver: Driver) -> Option<f64> {
    let curve = Curve::of(calibration, driver).ok()?;
    let (low, high) = calibration.range;
    let ends = (curve.evaluate(low).ok()?, curve.evaluate(high).ok()?);
    curve.invert(f64::midpoint(ends.0, ends.1))
}

/// Whether the nominal value falls where the electrical quantity rises, over what a channel can see.
fn is_falling(job: &Job) -> bool {
    let (low, high) = job.nominal().range();
    let ends = job
        .nominal()
        .evaluate(low)
        .ok()
        .zip(job.nominal().evaluate(high).ok());
    ends.is_some_and(|(at_low, at_high)| at_low > at_high)
}

fn rare(every: Duration) -> String {
    format!(
        "a reading is made only every {} s, and a point takes some twenty: set a shorter `every` \
         while you calibrate",
        every.as_secs()
    )
}
