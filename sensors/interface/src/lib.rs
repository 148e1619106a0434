//! What a driver is: the model from a probe's electrical quantity to a physical one.

/// The electrical quantity a driver takes from the front end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u32)]
pub enum Electrical {
    /// Resistance, ohm.
    Ohm = 0,
    /// Voltage, volt.
    Volt = 1,
    /// Fraction of the converter's full scale, 0 to 1.
    Ratio = 2,
    /// The board's number as it is.
    Number = 3,
}
