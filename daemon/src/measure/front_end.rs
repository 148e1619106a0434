//! How a probe is wired to a channel, and so what counts mean in ohms, ratio or volts.

/// Where the probe sits in a divider fed from the converter's own reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Probe between the node and ground, resistor above it.
    Low,
    /// Probe between the supply and the node, resistor below it.
    High,
}

/// Front ends of one channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FrontEnd {
    /// Ratiometric divider: the supply cancels.
    Divider {
        /// Where the probe sits.
        probe: Side,
        /// The fixed resistor, ohm.
        resistor_ohm: f64,
        /// The code of a full-scale input (1023 or 1024 for 10 bits, as the board's maker says).
        full_scale: f64,
    },
    /// Resistance timed by charging a capacitor: count = offset + slope x R.
    ChargeTime {
        /// Counts at zero ohm.
        offset_count: f64,
        /// Counts per ohm.
        count_per_ohm: f64,
        /// The count at which the board gives up waiting: an open circuit.
        overflow_count: f64,
    },
    /// Plain voltage against a known reference.
    Voltage {
        /// Volts at full scale.
        reference_volt: f64,
        /// The code of a full-scale input.
        full_scale: f64,
    },
    /// The board's number is taken as it is.
    None,
}

/// The electrical quantity a driver takes.
pub use nightbench_driver::Electrical;
