//! The polynomial that vanishes where a fit meets its points, which is what an error of the model
//! grows like.
//!
//! With as many points as free terms it is the product of the distances from the points, as in the
//! error of an interpolation. With more points it is the polynomial of leading coefficient 1 that is
//! smallest over them: the residual that least squares leave of the first power it cannot follow
//! (G. E. Forsythe, J. SIAM 5 (1957) 74-88). Both come from one recurrence.

/// More terms than a probe's curve has.
const MOST_TERMS: usize = 8;
/// Nodes nearer to each other than this share of their spread, squared, are one.
const HAIR: f64 = 1e-20;

/// What an error of the model grows like, for a driver's [`MISFIT`](crate::Driver::MISFIT): it is
/// small at the fitted points, and grows between and beyond them.
///
/// ```
/// use nightbench_driver::NodePolynomial;
/// let two = NodePolynomial::new([1.0, 3.0].into_iter(), 2).expect("two distinct nodes");
/// assert_eq!((two.size(2.0), two.size(3.0), two.size(5.0)), (1.0, 0.0, 8.0));
/// assert_eq!((two.beyond(2.0), two.beyond(5.0)), (0.0, 2.0));
/// ```
#[derive(Clone, Debug)]
// p0 = 1, p1 = x - a0, p(k+1) = (x - ak) pk - bk p(k-1).
pub struct NodePolynomial {
    shift: [f64; MOST_TERMS],
    weight: [f64; MOST_TERMS],
    degree: usize,
    /// Root mean square over the nodes: 0 where there are no more nodes than terms.
    rest: f64,
    ends: (f64, f64),
}

impl NodePolynomial {
    /// For a fit of `degree` terms to points at these nodes. `None` for no terms, more than 8, fewer
    /// distinct nodes than terms, or a node that is no finite number.
    #[must_use]
    pub fn new(nodes: impl Iterator<Item = f64> + Clone, degree: usize) -> Option<Self> {
        let enough = (1..=MOST_TERMS).contains(&degree) && nodes.clone().all(f64::is_finite);
        let mut own = Self {
            shift: [0.0; MOST_TERMS],
            weight: [0.0; MOST_TERMS],
            degree: 0,
            rest: 0.0,
            ends: ends(nodes.clone()),
        };
        let mut before = 1.0;
        while enough && own.degree < degree {
            let square = |x: &f64| own.at(*x) * own.at(*x);
            let norm: f64 = nodes.clone().map(|x| square(&x)).sum();
            let moment: f64 = nodes.clone().map(|x| x * square(&x)).sum();
            // False for NaN, and for nodes that are one.
            let is_new = norm > HAIR * before;
            if !is_new {
                return None;
            }
            own.shift[own.degree] = moment / norm;
            own.weight[own.degree] = if own.degree == 0 { 0.0 } else { norm / before };
            (own.degree, before) = (own.degree + 1, norm);
        }
        own.rest = own.over(nodes.clone());
        enough.then_some(own)
    }

    /// Its size at `x`; between more nodes than terms never less than what is left over them, since
    /// there it is not known where it vanishes.
    #[must_use]
    pub fn size(&self, x: f64) -> f64 {
        // Only what is rounded in one way everywhere: the same bits on every host.
        (self.at(x) * self.at(x) + self.rest * self.rest).sqrt()
    }

    /// How far `x` lies beyond the outermost nodes; 0 between them.
    #[must_use]
    pub fn beyond(&self, x: f64) -> f64 {
        (self.ends.0 - x).max(x - self.ends.1).max(0.0)
    }

    /// The mean of the nodes: where a fit with one term meets its points, on the whole.
    #[must_use]
    pub fn middle(&self) -> f64 {
        self.shift[0]
    }

    fn at(&self, x: f64) -> f64 {
        let (mut before, mut now) = (0.0, 1.0);
        for (shift, weight) in self.shift.iter().zip(self.weight).take(self.degree) {
            (before, now) = (now, (x - shift) * now - weight * before);
        }
        now
    }

    fn over(&self, nodes: impl Iterator<Item = f64> + Clone) -> f64 {
        let count = nodes.clone().count();
        if count <= self.degree {
            // Exactly: what is left there is rounding.
            return 0.0;
        }
        let squares: f64 = nodes.map(|x| self.at(x) * self.at(x)).sum();
        (squares / count as f64).sqrt()
    }
}

fn ends(nodes: impl Iterator<Item = f64>) -> (f64, f64) {
    nodes.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), node| {
        (low.min(node), high.max(node))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn polynomial(nodes: &[f64], degree: usize) -> Option<NodePolynomial> {
        NodePolynomial::new(nodes.iter().copied(), degree)
    }

    #[test]
    fn with_a_node_for_each_term_it_is_the_product_of_the_distances() {
        let nodes = [10.37, 9.21, 8.19];
        for count in 1..=3 {
            let own = polynomial(&nodes[..count], count).expect("distinct");
            for x in [7.0, 8.5, 9.9, 12.0_f64] {
                let product: f64 = nodes[..count].iter().map(|node| x - node).product();
                assert!((own.size(x) - product.abs()).abs() < 1e-12, "{count} {x}");
            }
            assert!(own.size(nodes[0]) < 1e-12);
        }
    }

    #[test]
    fn with_more_nodes_it_is_what_least_squares_leave() {
        // x^2 less its best line over -1, 0, 1 is x^2 - 2/3; over the nodes 1/3, -2/3, 1/3.
        let own = polynomial(&[-1.0, 0.0, 1.0], 2).expect("distinct");
        let rest = (2.0_f64 / 9.0).sqrt();
        for x in [0.0, 0.5, 3.0] {
            let wanted = f64::hypot(x * x - 2.0 / 3.0, rest);
            assert!((own.size(x) - wanted).abs() < 1e-12, "{x}");
        }
    }

    #[test]
    fn too_few_distinct_nodes_give_none() {
        for (nodes, degree) in [
            (&[][..], 1),
            (&[1.0][..], 2),
            (&[9.0, 9.0][..], 2),
            (&[9.0, 8.0, 9.0][..], 3),
            (&[f64::NAN, 8.0][..], 2),
            (&[9.0, 8.0][..], 0),
            (&[f64::INFINITY][..], 1),
            (&[9.0; 20][..], 9),
        ] {
            assert!(polynomial(nodes, degree).is_none(), "{nodes:?} {degree}");
        }
    }
}
