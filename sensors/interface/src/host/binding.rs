//! Parameter values in the shape that crosses: owned here, lent to the driver for each call.

use std::fmt;
use std::sync::Arc;

use crate::Slice;
use crate::host::{Parameter, ParameterKind};

/// Parameters for which changed slices find room on the stack; the shipped drivers have at most 12.
const ROOM: usize = 32;

/// The values of a driver's parameters, one list per declared parameter in its order. Cheap to
/// clone; calls with it allocate nothing.
#[derive(Clone)]
pub struct Binding(Arc<Owned>);

struct Owned {
    /// Points into `values`, which are never touched again.
    slices: Box<[Slice]>,
    values: Box<[Box<[f64]>]>,
}

// SAFETY: the slices point to heap memory that `values` owns and nobody writes to, so the whole can
// move to, and be read from, any thread.
unsafe impl Send for Owned {}
// SAFETY: as above.
unsafe impl Sync for Owned {}

impl Binding {
    /// These values: one number for a number (NaN where not given) and for a choice (its index),
    /// any count for a list.
    #[must_use]
    pub fn new(values: Vec<Vec<f64>>) -> Self {
        let values: Box<[Box<[f64]>]> = values.into_iter().map(Vec::into_boxed_slice).collect();
        let slices = values.iter().map(|one| Slice::new(one)).collect();
        Self(Arc::new(Owned { slices, values }))
    }

    /// Values by the parameters' names, as a maker's tests write them; defaults for the others.
    /// `None` for a name that is not declared.
    #[must_use]
    pub fn named(declared: &[Parameter], given: &[(&str, &[f64])]) -> Option<Self> {
        let known = |name: &str| declared.iter().any(|one| one.name == name);
        let all_known = given.iter().all(|(name, _)| known(name));
        let value = |parameter: &Parameter| {
            let given = given.iter().find(|(name, _)| *name == parameter.name);
            given.map_or_else(|| silent(&parameter.kind), |(_, values)| values.to_vec())
        };
        all_known.then(|| Self::new(declared.iter().map(value).collect()))
    }

    /// The values, one list per parameter.
    #[must_use]
    pub fn values(&self) -> &[Box<[f64]>] {
        &self.0.values
    }

    pub(super) fn slices(&self) -> &[Slice] {
        &self.0.slices
    }

    /// What `call` gives for these values with some numbers changed, without a copy of them all;
    /// `None` where there is no parameter of an index.
    pub(super) fn changed<T>(
        &self,
        changes: &[(usize, f64)],
        call: impl FnOnce(&[Slice]) -> T,
    ) -> Option<T> {
        let (own, mut room, mut heap) = (self.slices(), [Slice::NONE; ROOM], Vec::new());
        let slices = match room.get_mut(..own.len()) {
            Some(room) => room,
            None => {
                heap.resize(own.len(), Slice::NONE);
                heap.as_mut_slice()
            }
        };
        slices.copy_from_slice(own);
        for (index, number) in changes {
            // Points into `changes`, which outlive the call.
            *slices.get_mut(*index)? = Slice::new(std::slice::from_ref(number));
        }
        Some(call(slices))
    }
}

/// What a parameter holds where nothing is said.
fn silent(kind: &ParameterKind) -> Vec<f64> {
    match kind {
        ParameterKind::Number { default, .. } => vec![default.unwrap_or(f64::NAN)],
        ParameterKind::Choice { default, .. } => vec![*default as f64],
        ParameterKind::List { .. } => vec![],
    }
}

/// By bits: a number that was not given is NaN, and still the same binding.
impl PartialEq for Binding {
    fn eq(&self, other: &Self) -> bool {
        let bits = |binding: &Self| -> Vec<Vec<u64>> {
            binding
                .values()
                .iter()
                .map(|one| one.iter().map(|x| x.to_bits()).collect())
                .collect()
        };
        bits(self) == bits(other)
    }
}

impl fmt::Debug for Binding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self.values()).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_that_was_not_given_equals_itself() {
        let binding = || Binding::new(vec![vec![f64::NAN], vec![1.0, 2.0]]);
        assert_eq!(binding(), binding());
        assert_ne!(
            binding(),
            Binding::new(vec![vec![f64::NAN], vec![1.0, 3.0]])
        );
    }
}
