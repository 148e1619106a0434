//! From a probe's configuration to the curve of its readings, with all that is known of its
//! uncertainty.

use super::ServiceError;
use crate::calibrate::history::Place;
use crate::calibrate::{self, Calibration, Stated};
use crate::config::{Channel, Config, Probe};
use crate::measure::front_end::Electrical;

/// With the configured parameters: never calibrated.
pub fn configured(probe: &Probe, channel: &Channel) -> Stated {
    let (model, trust) = (probe.model.clone(), &probe.trust);
    Stated::nominal(model, trust.tolerance, &here(probe, channel)).heated(trust.heating)
}

/// By a calibration.
///
/// # Errors
/// Where the calibration is another driver's, or the driver does not take its parameters any more.
pub fn calibrated(
    probe: &Probe,
    channel: &Channel,
    calibration: &Calibration,
) -> Result<Stated, ServiceError> {
    let stated = Stated::calibrated(calibration, &probe.model, &here(probe, channel));
    let stated = stated.map_err(|error| ServiceError::Probe {
        probe: probe.name.clone(),
        error,
    })?;
    Ok(stated.heated(probe.trust.heating))
}

/// The channel as a calibration knows it. Where the probe's input is no resistance, the divider's
/// resistor is not in it.
#[must_use]
pub fn here(probe: &Probe, channel: &Channel) -> calibrate::Channel {
    known(&probe.board, channel, probe.input)
}

/// Board and channel as the configuration has them, for a reading of this probe that was made there
/// once; `None` where it has no such channel any more.
#[must_use]
pub fn place(config: &Config, probe: &Probe, (board, channel): (&str, &str)) -> Option<Place> {
    let table = config.boards.iter().find(|one| one.name == board)?;
    let table = table.channels.iter().find(|one| one.name == channel)?;
    let stays = (board, channel) == (&probe.board, &probe.channel);
    Some(Place {
        channel: known(board, table, probe.input),
        heating: probe.trust.heating.filter(|_| stays),
    })
}

fn known(board: &str, channel: &Channel, input: Electrical) -> calibrate::Channel {
    let resistor = channel.front_end.resistor_ohm();
    let counts = resistor.is_some() && input == Electrical::Ohm;
    calibrate::Channel {
        board: board.to_owned(),
        channel: channel.name.clone(),
        resistor,
        // A tolerance is the half-width of a rectangular distribution (JCGM 100:2008, 4.3.7).
        scale_uncertainty: match counts {
            true => channel.resistor_tolerance / 3.0_f64.sqrt(),
            false => 0.0,
        },
    }
}
