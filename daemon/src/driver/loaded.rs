//! Drivers from shared libraries: opened once for each content and way of running, run once for each
//! probe.
//!
//! A description is kept for the life of the process, so what was opened before is given again: a
//! reload costs nothing for a library that has not changed. Folders are not searched here.

use super::engine::Engine;
use super::frames::Declaration;
use super::library::Library;
use super::notes::Teller;
use super::registry::{Described, Origin, Running};
use super::remote::{Plan, Remote};
use super::{Driver, DriverError, load, vet};
use std::collections::BTreeMap;
use std::os::fd::{AsFd, OwnedFd};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, Weak};
use std::time::Duration;

/// This program itself, also where its file has been replaced since it was started.
pub const OWN_PROGRAM: &str = "/proc/self/exe";

/// How a loaded driver is run.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Settings {
    /// The library's file.
    pub library: PathBuf,
    /// What its SHA-256 must be, hexadecimal; any, where there is none.
    pub sha256: Option<String>,
    /// Called in the service's own process, without a child: for a driver that is trusted as the
    /// linked-in ones are.
    pub in_process: bool,
    /// How long an answer may take.
    pub deadline: Duration,
    /// How much memory it may take in its process, bytes.
    pub memory: u64,
}

/// A driver's library, with the processes that run it.
pub(super) struct Loaded {
    library: Arc<Library>,
    settings: Settings,
    program: PathBuf,
    /// Where it is called in this process.
    here: Option<Arc<dyn Engine>>,
    /// Processes that somebody still needs, by probe.
    children: Mutex<BTreeMap<String, Weak<Remote>>>,
}

/// What two drivers that are the same have in common.
type Identity = (String, Settings, String, PathBuf);

static KNOWN: Mutex<BTreeMap<Identity, Driver>> = Mutex::new(BTreeMap::new());

/// The driver in a library, by the name that it has in the configuration. It describes itself in a
/// child process, within a deadline, whatever the settings say; `program` is the one that has the
/// verb `driver-host`, [`OWN_PROGRAM`] but in tests.
///
/// # Errors
/// Why there is no driver, in words for a person: what follows the library's name.
pub fn open(name: &str, settings: &Settings, program: &Path) -> Result<Driver, String> {
    let library = Library::read(&settings.library, settings.sha256.as_deref())?;
    let sha256 = library.sha256().to_owned();
    let identity = (
        name.to_owned(),
        settings.clone(),
        sha256,
        program.to_owned(),
    );
    if let Some(known) = known().get(&identity) {
        return Ok(*known);
    }
    let library = Arc::new(library);
    let teller = Arc::new(Teller::new(name, &library.name(), ""));
    let plan = plan((&library, settings, program), Arc::clone(&teller));
    let (child, greeting) = Remote::start(plan).map_err(|why| why.to_string())?;
    drop(child);
    let declaration = declaration(&greeting.declaration)?;
    let here = settings
        .in_process
        .then(|| in_process(&library, &declaration))
        .transpose()?;
    if !greeting.missing.is_empty() && here.is_none() {
        let missing = greeting.missing.join("; ");
        teller.tell(
            &format!("this host does not keep it in as far as it could be: {missing}"),
            false,
        );
    }
    let loaded = Loaded {
        library,
        settings: settings.clone(),
        program: program.to_owned(),
        here,
        children: Mutex::new(BTreeMap::new()),
    };
    let driver = Driver::described(Described {
        name: name.to_owned().leak(),
        declaration,
        origin: Origin::Loaded(loaded),
    });
    Ok(*known().entry(identity).or_insert(driver))
}

/// A declaration that makes sense. Its bytes are never given up, as the library's own are not.
fn declaration(bytes: &[u8]) -> Result<Declaration, String> {
    let bytes: &'static [u8] = bytes.to_vec().leak();
    let declaration =
        Declaration::decode(bytes).map_err(|error| format!("it describes itself with {error}"))?;
    vet::check(&declaration).map_err(|why| format!("{why}; tell its maker"))?;
    Ok(declaration)
}

/// The same library in this process.
fn in_process(library: &Library, declared: &Declaration) -> Result<Arc<dyn Engine>, String> {
    let image = library.image().try_clone_to_owned();
    let image = image.map_err(|error| crate::words::system(&error))?;
    // Kept open for ever, as the library is never unloaded.
    let image: &'static OwnedFd = Box::leak(Box::new(image));
    let view = load::load(image.as_fd())?;
    // Comparison by text: a default of NaN is no number, but the same declaration.
    if format!("{:?}", Declaration::of(&view)) != format!("{declared:?}") {
        return Err("it describes itself each time otherwise; tell its maker".to_owned());
    }
    Ok(Arc::new(view))
}

fn plan(
    (library, settings, program): (&Arc<Library>, &Settings, &Path),
    teller: Arc<Teller>,
) -> Plan {
    Plan {
        teller,
        library: Arc::clone(library),
        deadline: settings.deadline,
        memory: settings.memory,
        program: program.to_owned(),
    }
}

impl Loaded {
    /// File and SHA-256.
    pub(super) fn file(&self) -> (&Path, &str) {
        (self.library.path(), self.library.sha256())
    }

    /// The driver ready to be asked for a probe; its process is started where none runs.
    pub(super) fn running(&self, name: &str, probe: &str) -> Result<Running, DriverError> {
        let teller = Arc::new(Teller::new(name, &self.library.name(), probe));
        let engine = match &self.here {
            Some(here) => Arc::clone(here),
            None => self.child(probe, &teller)?,
        };
        let teller = Some(teller);
        Ok(Running { engine, teller })
    }

    fn child(&self, probe: &str, teller: &Arc<Teller>) -> Result<Arc<dyn Engine>, DriverError> {
        let mut children = self.children.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(child) = children.get(probe).and_then(Weak::upgrade) {
            return Ok(child);
        }
        let plan = plan(
            (&self.library, &self.settings, &self.program),
            Arc::clone(teller),
        );
        let (child, _) = Remote::start(plan).map_err(DriverError::Host)?;
        let child = Arc::new(child);
        children.retain(|_, child| child.strong_count() > 0);
        children.insert(probe.to_owned(), Arc::downgrade(&child));
        Ok(child)
    }
}

fn known() -> std::sync::MutexGuard<'static, BTreeMap<Identity, Driver>> {
    KNOWN.lock().unwrap_or_else(PoisonError::into_inner)
}
