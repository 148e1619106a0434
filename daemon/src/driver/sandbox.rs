//! What the child process that runs a loaded driver gives up before the driver's first instruction.
//!
//! No new privileges, no core dump, few descriptors, no further process, bounded memory; no file but
//! the loader's own and no network (Landlock); no system call that a computation does not need
//! (seccomp). What the kernel does not have is told and not fatal: the process of its own, its
//! limits and its deadline remain. Nothing here knows drivers.

mod system_calls;

use landlock::{
    ABI, Access, AccessFs, AccessNet, Ruleset, RulesetAttr, RulesetCreatedAttr, RulesetStatus,
    Scope, path_beneath_rules,
};
use rustix::process::{Resource, Rlimit, Signal, set_parent_process_death_signal, setrlimit};
use rustix::thread::set_no_new_privs;
use std::fmt::Display;

/// Where the loader looks for what a library needs: the C library and the compiler's own.
const LOADER: &[&str] = &[
    "/lib",
    "/lib64",
    "/usr/lib",
    "/usr/lib64",
    "/usr/local/lib",
    "/etc/ld.so.cache",
];
/// The newest version of Landlock whose rights are asked for; older kernels give what they have.
const NEWEST: ABI = ABI::V6;
/// Its three streams, the line to the service, the library, and what the loader opens meanwhile.
const DESCRIPTORS: u64 = 16;

/// Gives up what can be given up in this process, which must have one thread; `address_space` is the
/// most that it may have mapped, bytes. Gives what is missing, in words.
pub(super) fn enter(address_space: u64) -> Vec<String> {
    let mut missing = Vec::new();
    let mut note = |what: &str, done: Result<(), String>| {
        if let Err(why) = done {
            missing.push(format!("{what} ({why})"));
        }
    };
    let dies = set_parent_process_death_signal(Some(Signal::KILL));
    note("it does not end with the service", said(dies));
    note("it may gain privileges", said(set_no_new_privs(true)));
    note(
        "its memory is not limited",
        limit(Resource::As, address_space),
    );
    note("it may dump its memory", limit(Resource::Core, 0));
    note("it may write files", limit(Resource::Fsize, 0));
    note("it may start processes", limit(Resource::Nproc, 0));
    note(
        "it may open many files",
        limit(Resource::Nofile, DESCRIPTORS),
    );
    note(
        "it may read files of this user, and reach the network",
        close_files_and_network(),
    );
    note("it may make any system call", system_calls::close());
    missing
}

fn limit(resource: Resource, most: u64) -> Result<(), String> {
    let both = Rlimit {
        current: Some(most),
        maximum: Some(most),
    };
    said(setrlimit(resource, both))
}

fn close_files_and_network() -> Result<(), String> {
    let rules = path_beneath_rules(LOADER, AccessFs::from_read(NEWEST));
    let status = Ruleset::default()
        .handle_access(AccessFs::from_all(NEWEST))
        .and_then(|rules| rules.handle_access(AccessNet::from_all(NEWEST)))
        .and_then(|rules| rules.scope(Scope::from_all(NEWEST)))
        .and_then(Ruleset::create)
        .and_then(|created| created.add_rules(rules))
        .and_then(|created| created.restrict_self());
    match said(status)?.ruleset {
        // A kernel that knows less of it still closes the files.
        RulesetStatus::FullyEnforced | RulesetStatus::PartiallyEnforced => Ok(()),
        RulesetStatus::NotEnforced => Err("the kernel has no Landlock".to_owned()),
    }
}

fn said<T, E: Display>(done: Result<T, E>) -> Result<T, String> {
    done.map_err(|error| error.to_string())
}
