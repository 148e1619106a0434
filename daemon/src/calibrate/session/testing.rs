//! An invented probe for tests of the session and its screens: 1000 ohm at 0 Cel, 10 ohm less a
//! degree.

use super::*;
use crate::calibrate::settling::{Aim, Rules};
use crate::calibrate::{
    Calibration, Channel, Compared, History, Point, Recorded, Reference, Residual, Shape, Share,
    Source, Term,
};
use crate::reading::Quality;

/// Half past ten on the first of June 2026, UTC.
pub const NOW_MS: i64 = 1_780_309_800_000;

/// What the invented probe's session knows.
#[derive(Clone, Debug)]
pub struct Pretended {
    subject: Subject,
    offers: Vec<Offer>,
    points: usize,
}

/// A session without steps.
pub fn session() -> Session<Pretended> {
    session_with([])
}

/// A session with steps numbered from 1.
pub fn session_with(steps: impl IntoIterator<Item = Step>) -> Session<Pretended> {
    let recorded = (1..).zip(steps).map(|(number, step)| Recorded {
        number,
        probe: "mash".to_owned(),
        time_ms: NOW_MS,
        step,
    });
    let recorded: Vec<Recorded> = recorded.collect();
    let mut session = Session::new(Pretended::new(), History::of(&recorded));
    assert_eq!(session.handle(tick(0.0)), []);
    session
}

/// Time, in seconds.
pub fn tick(at: f64) -> Event {
    Event::Tick {
        at,
        wall_ms: NOW_MS + (at * 1000.0) as i64,
    }
}

/// A good reading at a temperature.
pub fn reading(at: f64, celsius: f64) -> Event {
    Event::Heard(Heard {
        at,
        wall_ms: NOW_MS + (at * 1000.0) as i64,
        raw: Some(512.0),
        electrical: Some(1000.0 - 10.0 * celsius),
        spread: 0.0,
        quality: Quality::Good,
    })
}

/// A reading without a value.
pub fn fault(at: f64) -> Event {
    Event::Heard(Heard {
        at,
        wall_ms: NOW_MS,
        raw: Some(1023.0),
        electrical: None,
        spread: 0.0,
        quality: Quality::OpenCircuit,
    })
}

/// A point at a temperature, as the log keeps it.
pub fn point(celsius: f64, role: Role) -> Step {
    let captured = Captured {
        from_ms: NOW_MS,
        until_ms: NOW_MS + 30_000,
        raw: vec![(0.0, 512.0)],
        electrical: vec![1000.0 - 10.0 * celsius],
        mean: 1000.0 - 10.0 * celsius,
        uncertainty: 0.2,
        effective: 40.0,
        drift: (0.0, 0.001),
        evidence: "settled".to_owned(),
    };
    let compared = ice_like(celsius);
    Step::Point {
        point: Box::new(Point {
            role,
            compared,
            captured,
        }),
    }
}

fn ice_like(celsius: f64) -> Compared {
    Compared {
        reference: if celsius == 0.0 {
            Reference::Ice
        } else {
            Reference::Instrument {
                name: "kitchen".to_owned(),
            }
        },
        value: celsius,
        own: 0.05,
        common: 0.0,
        common_shape: Shape::Normal,
    }
}

impl Pretended {
    fn new() -> Self {
        let words = |texts: &[&str]| texts.iter().map(|text| (*text).to_owned()).collect();
        let question = |label: &str, example: &str| Question {
            label: label.to_owned(),
            example: example.to_owned(),
            usual: String::new(),
        };
        let offer = |name: &str, about: &str, questions| Offer {
            name: name.to_owned(),
            about: about.to_owned(),
            questions,
            steps: words(&["Fill a cup to the bottom with crushed ice.", "Stir."]),
            cautions: words(&["Glass breaks at a thermal shock."]),
            read_off: (name == "reference thermometer").then_some(0),
        };
        let questions = vec![
            question("It shows", "37.2 Cel"),
            question("Its uncertainty", "0.1 Cel, k = 2"),
        ];
        Self {
            subject: Subject {
                probe: "mash".to_owned(),
                place: "board `bench`, channel `a0`".to_owned(),
                unit: "Cel".to_owned(),
                electrical: "ohm".to_owned(),
                note: None,
            },
            points: 0,
            offers: vec![
                offer(
                    "ice point",
                    "crushed ice, stirred: 0.05 to 0.1 Cel",
                    Vec::new(),
                ),
                offer("reference thermometer", "as good as it is", questions),
            ],
        }
    }
}

impl Knowledge for Pretended {
    fn learn(&mut self, history: &History) {
        self.points = history.draft().count();
    }

    fn rules(&self) -> Rules {
        Rules::default()
    }

    fn per_count(&self, _electrical: f64) -> f64 {
        1.0
    }

    fn subject(&self) -> &Subject {
        &self.subject
    }

    fn offers(&self) -> &[Offer] {
        &self.offers
    }

    fn advise(&self) -> Advice {
        let (offer, why) = match self.points {
            0 => (
                Some(0),
                "the lower end of the range of use has no point yet",
            ),
            1 => (
                Some(1),
                "the upper end of the range of use has no point yet",
            ),
            _ => (None, "two points fix offset and slope"),
        };
        Advice {
            offer,
            is_check: false,
            why: why.to_owned(),
        }
    }

    fn compare(&self, offer: usize, answers: &[String]) -> Result<Compared, Complaint> {
        let number = |answer: &String| answer.trim_end_matches(" Cel").parse::<f64>().ok();
        match (offer, answers.first().map(number)) {
            (0, _) => Ok(ice_like(0.0)),
            (_, Some(Some(celsius))) => Ok(ice_like(celsius)),
            _ => Err(Complaint {
                question: 0,
                text: "this is no temperature; write it as `37.2 Cel`".to_owned(),
            }),
        }
    }

    fn aim(&self, _electrical: f64) -> Aim {
        Aim {
            uncertainty: 0.3,
            step: 0.0,
        }
    }

    fn value(&self, electrical: f64) -> Option<f64> {
        Some((1000.0 - electrical) / 10.0)
    }

    fn is_falling(&self) -> bool {
        true
    }

    fn doubt(&self, compared: &Compared, mean: f64) -> Option<Doubt> {
        let difference = (1000.0 - mean) / 10.0 - compared.value;
        (difference.abs() > 2.0).then(|| Doubt {
            what: format!("the probe reads {difference:+.1} Cel off the ice point"),
            causes: vec![
                "still water under floating ice is at 4 Cel: stir, and fill with ice".to_owned(),
            ],
        })
    }

    fn fit(&self, points: &[(u64, Point)], now_ms: i64) -> Result<Calibration, String> {
        if points.is_empty() {
            return Err("no point is for a fit; make one".to_owned());
        }
        Ok(calibration(points, now_ms))
    }

    fn value_by(&self, calibration: &Calibration, electrical: f64) -> Option<f64> {
        self.value(electrical)
            .map(|value| value + calibration.offset)
    }

    fn verify(
        &self,
        _calibration: &Calibration,
        number: u64,
        point: &Point,
    ) -> Option<Verification> {
        let error = self.value(point.captured.mean)? - point.compared.value;
        Some(Verification {
            point: number,
            error,
            expanded: 0.12,
            tolerance: 0.3,
            pass: error.abs() < 0.2,
            rule: "error within the tolerance less its uncertainty".to_owned(),
        })
    }

    fn budget(&self, _calibration: &Calibration) -> Vec<Share> {
        vec![Share {
            name: "reference thermometer `kitchen`".to_owned(),
            remedy: "a better one would pay".to_owned(),
            shape: Shape::Normal,
            uncertainty: 0.05,
        }]
    }
}

fn calibration(points: &[(u64, Point)], now_ms: i64) -> Calibration {
    let nodes: Vec<f64> = points
        .iter()
        .map(|(_, point)| point.captured.mean)
        .collect();
    let lowest = nodes.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = nodes.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let residual = Residual {
        error: 0.01,
        uncertainty: 0.05,
    };
    Calibration {
        driver: "thermistor".to_owned(),
        unit: "Cel".to_owned(),
        input: "ohm".to_owned(),
        parameters: Vec::new(),
        offset: 0.1,
        slope: 0.0,
        pivot: 0.0,
        terms: vec![Term::Offset],
        decision: "one point: offset on the maker's curve".to_owned(),
        covariance: vec![vec![0.0025]],
        sources: vec![Source {
            name: "ice point".to_owned(),
            remedy: "stir".to_owned(),
            shape: Shape::Normal,
            loading: vec![0.05],
        }],
        points: points.iter().map(|(number, _)| *number).collect(),
        residuals: vec![residual; nodes.len()],
        nodes,
        chi_square: 0.1,
        degrees_of_freedom: points.len() - 1,
        range: (lowest, highest),
        channel: Channel {
            board: "bench".to_owned(),
            channel: "a0".to_owned(),
            resistor: Some(10_000.0),
            scale_uncertainty: 0.0058,
        },
        tolerance: crate::calibrate::Tolerance::Unknown,
        remarks: vec!["points lie close together: slope is not known".to_owned()],
        made_ms: now_ms,
        due_ms: None,
    }
}
