//! Structs of another minor version: as many fields as both sides know, nothing for the others.
//!
//! Within one major version fields are only appended, so the stated size says which are there. An
//! older table is shorter than ours, a newer one longer; neither is looked at beyond its end.

use std::mem::{MaybeUninit, offset_of};

use crate::Parameter;
use crate::table::Table;

/// Structs of which some fields may be missing.
///
/// # Safety
/// All bytes zero is a value, and stands for "nothing" in every field behind the first end.
pub(super) unsafe trait Grown: Sized {
    /// Sizes at which a version, or a field of it, ends; ascending, the shortest first. All lie on
    /// fields that were complete in some version.
    const ENDS: &'static [usize];

    /// Bytes of the shortest version.
    const LEAST: usize = Self::ENDS[0];
}

// SAFETY: null for the pointers, 0 for the counts, `None` for the functions.
unsafe impl Grown for Table {
    const ENDS: &'static [usize] = &[
        offset_of!(Self, guess),
        offset_of!(Self, misfit),
        offset_of!(Self, outputs),
        offset_of!(Self, monotonic),
        offset_of!(Self, pairs),
        size_of::<Self>(),
    ];
}

// SAFETY: null for the pointers, 0 for the numbers.
unsafe impl Grown for Parameter {
    const ENDS: &'static [usize] = &[offset_of!(Self, fitted), size_of::<Self>()];
}

/// Our struct with the fields that stand at `from`; `None` where `size` is less than any version's.
///
/// # Safety
/// `from` points to `size` bytes of a struct of our major version.
pub(super) unsafe fn read<T: Grown>(from: *const T, size: usize) -> Option<T> {
    let whole = T::ENDS.iter().copied().rfind(|end| *end <= size)?;
    let mut own = MaybeUninit::<T>::zeroed();
    // SAFETY: the caller vouches for `size` bytes, of which at most that many are copied into a
    // place of at least as many; ours overlaps with nothing.
    unsafe {
        std::ptr::copy_nonoverlapping(
            from.cast::<MaybeUninit<u8>>(),
            own.as_mut_ptr().cast(),
            whole,
        );
    }
    // SAFETY: whole fields of a struct of our major version, and zeros, which `Grown` allows.
    Some(unsafe { own.assume_init() })
}
