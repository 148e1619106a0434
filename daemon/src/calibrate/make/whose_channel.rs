//! On whose channel a calibration stands: that of the probe, where its points were all measured there.
//!
//! A divider's resistor cancels only where every point holds its error (`stated`). A point that an
//! ohmmeter gave does not, so one such point is enough to let the resistor count in full: rather too
//! much than too little.

use super::{Subject, Taken};
use crate::calibrate::Channel;
use crate::driver::Electrical;
use crate::words::counted;

/// The channel that the calibration is of.
pub(super) fn channel(taken: &[Taken<'_>], subject: &Subject<'_>) -> Channel {
    match elsewhere(taken) {
        0 => subject.channel.clone(),
        _ => Channel::elsewhere(),
    }
}

/// What is to be said where points were measured elsewhere, and a resistor may count for it.
pub(super) fn remark(taken: &[Taken<'_>], subject: &Subject<'_>) -> Option<String> {
    let given = elsewhere(taken);
    if given == 0 || subject.input != Electrical::Ohm {
        return None;
    }
    let which = match taken.len() - given {
        0 => "the points were measured elsewhere, not on the probe's channel".to_owned(),
        logged => format!(
            "{} measured elsewhere, {logged} on the probe's channel: its resistor does not cancel",
            counted(given, "point")
        ),
    };
    Some(format!(
        "{which}; the uncertainty of the resistor of the channel on which the probe is read counts in \
         full (`measured_on = \"channel\"` in the file of points where its own readings gave the ohms)"
    ))
}

fn elsewhere(taken: &[Taken<'_>]) -> usize {
    let given = |one: &&Taken<'_>| !one.point.captured.is_of_channel();
    taken.iter().filter(given).count()
}
