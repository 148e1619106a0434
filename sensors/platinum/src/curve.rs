//! Resistance of platinum over its value at 0 °C, and back: the equations of IEC 60751 alone.
//!
//! Nothing here knows a driver, a range or a parameter's name. Only arithmetic and square roots,
//! which round in one way everywhere, so that every host computes the same bits.

/// The coefficients of the Callendar-Van Dusen equations.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Curve {
    /// 1/°C.
    pub(crate) a: f64,
    /// 1/°C², not above 0.
    pub(crate) b: f64,
    /// 1/°C⁴, not above 0; of temperatures below 0 °C only.
    pub(crate) c: f64,
}

/// From the quadratic's root each step squares what is left of 2.4 °C at most; one is to spare.
const STEPS: usize = 4;

impl Curve {
    /// R(t) / R(0 °C). Source: IEC 60751, clause 4.2.
    pub(crate) fn ratio(self, t: f64) -> f64 {
        1.0 + self.a * t + self.bend(t)
    }

    /// What the curve has beyond its line.
    pub(crate) fn bend(self, t: f64) -> f64 {
        let below_zero = if t < 0.0 {
            self.c * (t - 100.0) * t * t * t
        } else {
            0.0
        };
        self.b * t * t + below_zero
    }

    /// d(R / R0) / dt.
    pub(crate) fn steepness(self, t: f64) -> f64 {
        let below_zero = if t < 0.0 {
            self.c * (4.0 * t - 300.0) * t * t
        } else {
            0.0
        };
        self.a + 2.0 * self.b * t + below_zero
    }

    /// The temperature of a ratio: in closed form from 0 °C on, by Newton's steps below.
    pub(crate) fn temperature(self, ratio: f64) -> f64 {
        let beyond = ratio - 1.0;
        // The root that loses no digits near 0 °C, and stands for b = 0, too.
        let root = (self.a * self.a + 4.0 * self.b * beyond).sqrt();
        let quadratic = 2.0 * beyond / (self.a + root);
        if beyond >= 0.0 {
            return quadratic;
        }
        // So many steps for each input, and not until they are small: the time is always the same.
        (0..STEPS).fold(quadratic, |t, _| {
            t - (self.ratio(t) - ratio) / self.steepness(t)
        })
    }
}
