//! Loads a driver's library into this process: the child that runs it, or the service itself where
//! the configuration says that the library is to be trusted so far.
//!
//! The one file outside the interface that holds unsafe code. Loading runs the library's own
//! initialisers, and from then on it shares this process.

#![allow(unsafe_code)]

use libloading::os::unix::{Library, RTLD_LOCAL, RTLD_NOW};
use nightbench_driver::host::View;
use nightbench_driver::{SYMBOL, Table};
use std::os::fd::{AsRawFd, BorrowedFd};

/// The view of the driver in a library, which stays loaded for ever.
///
/// # Errors
/// Why there is no driver, in words for a person: what follows the file's name.
pub(super) fn load(image: BorrowedFd<'static>) -> Result<View, String> {
    // By a name that is never used for another library: the loader would give the first one again.
    let path = format!("/proc/self/fd/{}", image.as_raw_fd());
    // SAFETY: initialisers of a library may do anything. In the child there is nothing to harm; in
    // the service it is the configuration that vouches for them.
    let library = unsafe { Library::open(Some(&path), RTLD_NOW | RTLD_LOCAL) }
        .map_err(|error| cannot_load(&error, &path))?;
    // SAFETY: the symbol is data and is only read as the pointer that the interface says it is.
    let table = unsafe { library.get::<*const *const Table>(SYMBOL) }.map(|symbol| *symbol);
    // What a table points to lives as long as its library: never unloaded.
    std::mem::forget(library);
    let table = table.map_err(|_| NO_SYMBOL.to_owned())?;
    if table.is_null() {
        return Err(NO_SYMBOL.to_owned());
    }
    // SAFETY: not null, and the address of the exported pointer.
    let table = unsafe { *table };
    // SAFETY: whoever exports this symbol vouches for a table as its head says; the library is never
    // unloaded. A driver that breaks the contract harms its child process.
    unsafe { View::from_raw(table) }.map_err(|flaw| flaw.to_string())
}

const NO_SYMBOL: &str = "it has no symbol `nightbench_driver`, so it is no driver; \
     export one (`export_driver!` in Rust, `nightbench_driver.h` in C)";

/// The loader's words, without the name that only this process knows.
fn cannot_load(error: &libloading::Error, path: &str) -> String {
    let said =
        std::error::Error::source(error).map_or_else(|| error.to_string(), ToString::to_string);
    let said = said.replace(path, "it").replace("it: ", "");
    format!("the loader refuses it: {said}; link it for this host, with all that it needs")
}
