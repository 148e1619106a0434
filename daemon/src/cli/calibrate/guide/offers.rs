//! The references that the guide offers for a probe's unit: what is asked, and what follows from it.
//!
//! How a point is made well, and what can hurt, is `calibrate::reference::guide`'s.

use super::answers;
use crate::calibrate::reference::guide::Kind;
use crate::calibrate::reference::{self, Instrument, Refused};
use crate::calibrate::session::{Complaint, Offer, Question};
use crate::calibrate::{Compared, Reference};
use crate::config::unit::{Dimension, Unit};

/// Where an instrument's reading stands among its answers.
const SHOWS: usize = 1;
/// And what is stated of it.
const GOOD_TO: usize = 2;

/// A way to make a point that the guide knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    /// Melting ice.
    Ice,
    /// Boiling water.
    Boiling,
    /// An instrument beside the probe.
    Instrument,
    /// Any other known value.
    Known,
}

impl Way {
    /// The way to make a point of this kind. A resistor tells of the channel: it is no point here.
    pub fn of(kind: Kind) -> Self {
        match kind {
            Kind::Ice => Self::Ice,
            Kind::Boiling => Self::Boiling,
            Kind::Thermometer | Kind::LightMeter => Self::Instrument,
            Kind::Known | Kind::Resistor => Self::Known,
        }
    }
}

/// All that can be chosen, in the order in which it is shown.
#[derive(Clone, Debug)]
pub(super) struct Offers {
    unit: Unit,
    ways: Vec<Way>,
    shown: Vec<Offer>,
}

impl Offers {
    /// For a probe with this unit (UCUM code).
    pub fn of(unit: &str, has_alarms: bool) -> Self {
        let unit = Unit::of(unit);
        let is_temperature = unit.dimension() == Some(Dimension::Temperature);
        let ways: Vec<Way> = match is_temperature {
            true => vec![Way::Ice, Way::Boiling, Way::Instrument, Way::Known],
            false => vec![Way::Instrument, Way::Known],
        };
        let mut shown: Vec<Offer> = ways.iter().map(|way| way.offer(&unit)).collect();
        if has_alarms {
            let told = "Alarms of this probe go off at what it is put into; tell who gets them.";
            let cautions = shown.iter_mut().map(|offer| &mut offer.cautions);
            cautions.for_each(|cautions| cautions.push(told.to_owned()));
        }
        Self { unit, ways, shown }
    }

    /// As they are shown.
    pub fn all(&self) -> &[Offer] {
        &self.shown
    }

    /// Where a way stands.
    pub fn place(&self, way: Way) -> Option<usize> {
        self.ways.iter().position(|one| *one == way)
    }

    /// What was said of an instrument need not be typed again.
    pub fn remember(&mut self, compared: &Compared) {
        let Reference::Instrument { name } = &compared.reference else {
            return;
        };
        let place = self.place(Way::Instrument);
        let Some(offer) = place.and_then(|place| self.shown.get_mut(place)) else {
            return;
        };
        let good_to = answers::shown(compared.common, compared.common_shape, self.unit.code());
        for (question, usual) in [(0, name.clone()), (GOOD_TO, good_to)] {
            if let Some(question) = offer.questions.get_mut(question) {
                question.usual = usual;
            }
        }
    }

    /// What follows from the answers.
    ///
    /// # Errors
    /// Which answer is none.
    pub fn compare(&self, offer: usize, answers: &[String]) -> Result<Compared, Complaint> {
        let answer = |at: usize| answers.get(at).map_or("", String::as_str);
        match self.ways.get(offer).copied().unwrap_or(Way::Known) {
            Way::Ice => self.ice(answer(0)),
            Way::Boiling => self.boiling([answer(0), answer(1), answer(2)]),
            Way::Instrument => self.instrument([answer(0), answer(1), answer(2), answer(3)]),
            Way::Known => self.known([answer(0), answer(1), answer(2)]),
        }
    }

    fn ice(&self, water: &str) -> Result<Compared, Complaint> {
        let water = answers::water(water).map_err(at(0))?;
        reference::in_unit(reference::ice(water), &self.unit).map_err(refused(0))
    }

    fn boiling(&self, [air, barometer, water]: [&str; 3]) -> Result<Compared, Complaint> {
        let pressure = answers::pressure(air, barometer).map_err(at(0))?;
        let water = answers::water(water).map_err(at(2))?;
        let boiling = reference::boiling(&pressure, water);
        reference::in_unit(boiling, &self.unit).map_err(refused(0))
    }

    fn instrument(&self, [name, shows, good_to, step]: [&str; 4]) -> Result<Compared, Complaint> {
        let reading = answers::value(shows, &self.unit).map_err(at(SHOWS))?;
        let instrument = Instrument {
            name: named(name, "kitchen thermometer").map_err(at(0))?,
            stated: answers::stated(good_to, &self.unit, reading).map_err(at(GOOD_TO))?,
            resolution: answers::step(step, &self.unit).map_err(at(3))?,
            reading,
            reading_uncertainty: 0.0,
        };
        reference::instrument(instrument).map_err(refused(SHOWS))
    }

    fn known(&self, [what, value, good_to]: [&str; 3]) -> Result<Compared, Complaint> {
        let what = named(what, "gallium cell").map_err(at(0))?;
        let value = answers::value(value, &self.unit).map_err(at(1))?;
        let stated = answers::stated(good_to, &self.unit, value).map_err(at(2))?;
        reference::known(what, value, stated).map_err(refused(1))
    }
}

impl Way {
    fn offer(self, unit: &Unit) -> Offer {
        let kind = self.kind(unit);
        let words = |lines: &[&str]| lines.iter().map(|line| (*line).to_owned()).collect();
        Offer {
            name: if self == Self::Instrument && kind == Kind::Known {
                "an instrument beside the probe".to_owned()
            } else {
                kind.words().to_owned()
            },
            about: self.about().to_owned(),
            questions: self.questions(unit.code()),
            steps: words(kind.steps()),
            cautions: words(kind.cautions()),
            read_off: (self == Self::Instrument).then_some(SHOWS),
        }
    }

    fn kind(self, unit: &Unit) -> Kind {
        match self {
            Self::Ice => Kind::Ice,
            Self::Boiling => Kind::Boiling,
            Self::Instrument => Kind::instrument(unit.code()),
            Self::Known => Kind::Known,
        }
    }

    fn about(self) -> &'static str {
        match self {
            Self::Ice => "crushed ice and water, stirred; good to about 0.1 Cel in a kitchen",
            Self::Boiling => "a rolling boil; as good as the pressure of the air is known",
            Self::Instrument => "both side by side; as good as the instrument",
            Self::Known => "anything else whose value is known, and how well",
        }
    }

    fn questions(self, unit: &str) -> Vec<Question> {
        let good_to = format!("± 0.5 {unit}, or 0.1 {unit}, k = 2");
        let value = format!("37.2 {unit}");
        let water = ("Water", "distilled, or tap", "distilled");
        let asked: &[(&str, &str, &str)] = match self {
            Self::Ice => &[water],
            Self::Boiling => &[
                (
                    "Altitude or air pressure",
                    "340 m; 972 hPa here; 1018 hPa at 340 m",
                    "",
                ),
                (
                    "The barometer is good to",
                    "2 hPa (not used with an altitude)",
                    "2 hPa",
                ),
                water,
            ],
            Self::Instrument => &[
                ("Its name", "kitchen", ""),
                ("It shows now", &value, ""),
                ("It is good to", &good_to, ""),
                (
                    "Its smallest step",
                    &format!("0.1 {unit}"),
                    &format!("0.1 {unit}"),
                ),
            ],
            Self::Known => &[
                ("What it is", "gallium cell", ""),
                ("Its value", &value, ""),
                ("Known to", &good_to, ""),
            ],
        };
        let question = |(label, example, usual): &(&str, &str, &str)| Question {
            label: (*label).to_owned(),
            example: (*example).to_owned(),
            usual: (*usual).to_owned(),
        };
        asked.iter().map(question).collect()
    }
}

/// A name that is not empty.
fn named(text: &str, example: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err(format!(
            "it has no name yet; write what you will know it by, such as `{example}`"
        )),
        name => Ok(name.to_owned()),
    }
}

fn at(question: usize) -> impl Fn(String) -> Complaint {
    move |text| Complaint { question, text }
}

fn refused(question: usize) -> impl Fn(Refused) -> Complaint {
    move |refused| Complaint {
        question,
        text: refused.to_string(),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn typed(answers: &[&str]) -> Vec<String> {
        answers.iter().map(|text| (*text).to_owned()).collect()
    }

    #[test]
    fn each_reference_gives_a_value_in_the_probes_unit() {
        let offers = Offers::of("[degF]", true);
        let value = |offer, answers: &[&str]| offers.compare(offer, &typed(answers)).unwrap().value;
        assert!((value(0, &["tap"]) - 32.0).abs() < 1e-9);
        // Source: IAPWS-IF97 at 97.31 kPa (340 m, standard atmosphere): 98.86 Cel = 209.95 degF.
        assert!((value(1, &["340 m", "", "distilled"]) - 209.95).abs() < 0.1);
        assert!((value(2, &["kitchen", "40 Cel", "0.1 Cel, k = 2", ""]) - 104.0).abs() < 1e-9);
        assert!((value(3, &["body", "98.6", "1"]) - 98.6).abs() < 1e-9);
    }

    #[test]
    fn a_wrong_answer_is_pointed_at() {
        let offers = Offers::of("Cel", false);
        let wrong = |offer, answers: &[&str]| offers.compare(offer, &typed(answers)).unwrap_err();
        assert_eq!(wrong(0, &["sea"]).question, 0);
        assert_eq!(wrong(1, &["340 m", "", "sea"]).question, 2);
        assert_eq!(wrong(2, &["kitchen", "40", "good", "0.1"]).question, 2);
        assert_eq!(wrong(2, &["kitchen", "", "0.1", "0.1"]).question, 1);
        assert_eq!(wrong(2, &["", "40", "0.1", "0.1"]).question, 0);
    }

    #[test]
    fn an_instrument_need_not_be_described_twice() {
        let mut offers = Offers::of("Cel", false);
        let answers = typed(&["kitchen", "40.1", "0.1 Cel, k = 2", "0.1"]);
        let compared = offers.compare(2, &answers).unwrap();
        offers.remember(&compared);
        let usual: Vec<&str> = offers.all()[2]
            .questions
            .iter()
            .map(|it| it.usual.as_str())
            .collect();
        assert_eq!(usual, ["kitchen", "", "0.1 Cel, k = 2", "0.1 Cel"]);
    }

    #[test]
    fn light_has_no_ice_and_lines_fit_the_screen() {
        assert_eq!(Offers::of("lx", false).place(Way::Ice), None);
        for offer in Offers::of("Cel", true)
            .all()
            .iter()
            .chain(Offers::of("lx", true).all())
        {
            assert!(
                offer.cautions.iter().all(|line| line.chars().count() <= 76),
                "{offer:?}"
            );
            assert!(
                offer
                    .questions
                    .iter()
                    .all(|it| it.example.chars().count() <= 43),
                "{offer:?}"
            );
        }
    }
}
