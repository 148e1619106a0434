//! The cumulative distribution of a sum of one normal and several rectangular quantities, on a grid.
//!
//! Convolving with a box is a difference of two integrals: F(x) becomes the mean of F from x - a to
//! x + a. Between grid points F is a straight line; with 2000 of them quantiles are right to some
//! 10⁻⁵ of the spread.

/// Steps of the grid.
const STEPS: usize = 2000;

/// So many standard deviations of a normal distribution are all of it.
const TAIL: f64 = 6.0;

/// A cumulative distribution about zero.
pub(super) struct Cumulative {
    /// The grid goes from minus this to this.
    end: f64,
    values: Vec<f64>,
}

impl Cumulative {
    /// Of a normal quantity of this standard deviation, and rectangular ones of these half-widths.
    pub(super) fn of(normal: f64, boxes: &[f64]) -> Self {
        let end = TAIL * normal + boxes.iter().sum::<f64>();
        let (first, rest) = match boxes {
            [first, rest @ ..] if normal == 0.0 => (Some(*first), rest),
            all => (None, all),
        };
        let start = |x: f64| match first {
            Some(half) => ((x + half) / (2.0 * half)).clamp(0.0, 1.0),
            None => 0.5 * libm::erfc(-x / normal * std::f64::consts::FRAC_1_SQRT_2),
        };
        let values = (0..=STEPS).map(|at| start(place(end, at))).collect();
        let begun = Self { end, values };
        rest.iter().fold(begun, |sum, half| sum.plus_box(*half))
    }

    /// Where this share of the distribution lies below.
    pub(super) fn quantile(&self, share: f64) -> f64 {
        let above = self.values.partition_point(|value| *value < share);
        if above == 0 || above > STEPS {
            return place(self.end, above.min(STEPS));
        }
        let (low, high) = (self.values[above - 1], self.values[above]);
        let part = (share - low) / (high - low);
        place(self.end, above - 1) + part * self.step()
    }

    /// Of the sum with one more rectangular quantity.
    fn plus_box(&self, half: f64) -> Self {
        let integral = self.integral();
        let mean = |at: usize| {
            let x = place(self.end, at);
            let (low, high) = (x - half, x + half);
            (self.up_to(&integral, high) - self.up_to(&integral, low)) / (2.0 * half)
        };
        Self {
            end: self.end,
            values: (0..=STEPS).map(mean).collect(),
        }
    }

    /// Integral from the beginning of the grid to each of its points.
    fn integral(&self) -> Vec<f64> {
        let step = self.step();
        let mut sum = 0.0;
        let parts = self.values.windows(2).map(|pair| {
            sum += step * (pair[0] + pair[1]) / 2.0;
            sum
        });
        std::iter::once(0.0).chain(parts).collect()
    }

    /// The same to any place: 0 before the grid, going on with 1 behind it.
    fn up_to(&self, integral: &[f64], x: f64) -> f64 {
        let along = (x + self.end) / self.step();
        if along <= 0.0 {
            return 0.0;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "positive, and compared with the end of the grid"
        )]
        let at = along as usize;
        if at >= STEPS {
            return integral[STEPS] + (x - self.end);
        }
        let part = along - at as f64;
        let (low, high) = (self.values[at], self.values[at + 1]);
        integral[at] + self.step() * part * (low + part * (high - low) / 2.0)
    }

    fn step(&self) -> f64 {
        2.0 * self.end / STEPS as f64
    }
}

fn place(end: f64, at: usize) -> f64 {
    end * (2.0 * at as f64 / STEPS as f64 - 1.0)
}
