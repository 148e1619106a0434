//! What a certificate says, in its order.

use super::Certificate;
use super::document::{Block, Section};
use super::{charts, figures, fit, points, range};
use crate::calibrate::Channel;
use crate::driver::Driver;
use crate::words;

/// What it is not; stands first.
const NOTICE: &str = "This is no accredited certificate. The calibration was made by the probe's owner \
with the references named below; nobody else has checked it, and it is traceable no further than what \
is stated of them. It is no ground for safety, trade or law.";

const METHOD: [&str; 3] = [
    "The probe's electrical quantity, as its channel gives it, was captured at each reference once its \
     trend could not be told from zero, with the autocorrelation of its noise counted. The parameters \
     were fitted by weighted least squares with errors in reference and electrical quantity, and with \
     the covariance of references that share an error.",
    "Uncertainties follow JCGM 100:2008 (GUM): standard uncertainties of every cause, propagated with \
     their covariance, the misfit of the model among them. The expanded uncertainty U is twice the \
     standard uncertainty (coverage factor k = 2). Intervals named 95 % follow JCGM 101:2008 \
     (propagation of distributions): where a rectangular share dominates they are narrower than U.",
    "Units are UCUM codes: Cel is degree Celsius, Ohm is ohm, lx is lux.",
];

/// All sections.
pub(super) fn sections(certificate: &Certificate<'_>) -> Vec<Section> {
    let part = |title, blocks| Section { title, blocks };
    let mut sections = vec![
        part("What it is", vec![Block::Paragraph(NOTICE.to_owned())]),
        part("Probe and channel", vec![facts(certificate)]),
        part("What was done", done(certificate)),
        part("Points", points::blocks(certificate)),
        part("Parameters", fit::parameters(certificate)),
        part("Fit", fit::residuals(certificate)),
        part("Uncertainty over the range", range::blocks(certificate)),
        part("Uncertainty budget", range::budgets(certificate)),
        part("Verification", points::verifications(certificate)),
        part("Remarks", remarks(certificate)),
        part("Method", method(certificate)),
    ];
    for (title, chart) in [
        ("Points", charts::curve(certificate)),
        ("Fit", charts::residuals(certificate)),
    ] {
        if let Some(section) = sections.iter_mut().find(|section| section.title == title) {
            section.blocks.push(Block::Chart(chart));
        }
    }
    sections.retain(|section| !section.blocks.is_empty());
    sections
}

fn method(certificate: &Certificate<'_>) -> Vec<Block> {
    let [done, uncertainty, units] = METHOD.map(str::to_owned);
    let all = [done, uncertainty, resistor(certificate), units];
    all.map(Block::Paragraph).into()
}

/// Where the resistor of a divider stays.
fn resistor(certificate: &Certificate<'_>) -> String {
    let (then, here) = (&certificate.calibration.channel, certificate.here);
    let place = range::place(here);
    let stays =
        (&then.board, &then.channel, then.resistor) == (&here.board, &here.channel, here.resistor);
    let counts = if then.is_elsewhere() {
        format!(
            "Points were measured elsewhere, so its error does not cancel: the uncertainty of the \
             resistor of {place} is in the tables in full."
        )
    } else if stays {
        "On the channel of this calibration its error cancels. On another channel the uncertainty of \
         both resistors counts in full, and is not in the tables here."
            .to_owned()
    } else {
        format!(
            "The probe was moved to {place}, so the uncertainty of its resistor and of that on the \
             channel of this calibration is in the tables in full."
        )
    };
    format!("The resistor of the channel's divider is in no parameter. {counts}")
}

fn facts(certificate: &Certificate<'_>) -> Block {
    let calibration = certificate.calibration;
    let channel = &calibration.channel;
    let due = calibration.due_ms;
    let [place, resistor, scale] = wiring(channel);
    Block::Facts(vec![
        ("probe", certificate.probe.to_owned()),
        ("site", certificate.site.to_owned()),
        ("board, channel", place),
        ("divider's resistor", resistor),
        ("its standard uncertainty", scale),
        ("driver", driver_words(certificate.driver)),
        ("made", certificate.moment(calibration.made_ms)),
        (
            "to be made again by",
            due.map_or("not stated".to_owned(), |ms| certificate.day(ms)),
        ),
        ("printed", certificate.moment(certificate.printed_ms)),
        (
            "program",
            format!("nightbench {}", env!("CARGO_PKG_VERSION")),
        ),
    ])
}

/// Place, resistor and its standard uncertainty.
fn wiring(channel: &Channel) -> [String; 3] {
    if channel.is_elsewhere() {
        let words = [&channel.channel, "in no point", "see Method"];
        return words.map(str::to_owned);
    }
    let resistor = channel.resistor.map_or_else(
        || "none".to_owned(),
        |ohm| format!("{} Ohm, nominal", figures::digits(ohm, 6)),
    );
    let scale = figures::digits(channel.scale_uncertainty * 100.0, 2);
    let place = format!("{}, {}", channel.board, channel.channel);
    [place, resistor, format!("{scale} %")]
}

fn driver_words(driver: Driver) -> String {
    format!("{} ({})", driver.name(), driver.summary())
}

pub(super) fn done(certificate: &Certificate<'_>) -> Vec<Block> {
    let calibration = certificate.calibration;
    let kept_out = certificate.verifications.len();
    let verified = match kept_out {
        0 => "No point was kept out to verify it.".to_owned(),
        count => format!(
            "It was verified at {}.",
            words::counted(count, "further point")
        ),
    };
    let unit = certificate.input_unit();
    let (low, high) = calibration.range;
    vec![
        Block::Paragraph(format!(
            "Compared with {}, between {} and {} {unit}. Decision: {}. {verified}",
            words::counted(calibration.points.len(), "reference value"),
            figures::digits(low, 6),
            figures::digits(high, 6),
            calibration.decision.trim_end_matches('.'),
        )),
        Block::Paragraph("Readings outside that range are extrapolated, and named so.".to_owned()),
    ]
}

pub(super) fn remarks(certificate: &Certificate<'_>) -> Vec<Block> {
    match &certificate.calibration.remarks[..] {
        [] => vec![Block::Paragraph("None.".to_owned())],
        remarks => vec![Block::List(remarks.to_vec())],
    }
}
