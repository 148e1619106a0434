//! The system calls that a computation and the loader need; all others fail with `EPERM`.
//!
//! No socket can be made, no program started, no process looked at. A call that fails is told to the
//! driver and kills nobody: C libraries try newer calls first.

use seccompiler::{BpfProgram, SeccompAction, SeccompFilter, TargetArch, apply_filter};
use std::collections::BTreeMap;

/// `EPERM` (errno(3)).
const NOT_PERMITTED: u32 = 1;

/// Common to all machines.
const ALLOWED: &[libc::c_long] = &[
    // The line to the service, and what the driver prints.
    libc::SYS_read,
    libc::SYS_write,
    libc::SYS_readv,
    libc::SYS_writev,
    libc::SYS_recvfrom,
    libc::SYS_sendto,
    libc::SYS_ppoll,
    // The loader.
    libc::SYS_openat,
    libc::SYS_close,
    libc::SYS_fstat,
    libc::SYS_newfstatat,
    libc::SYS_statx,
    libc::SYS_pread64,
    libc::SYS_lseek,
    libc::SYS_faccessat,
    libc::SYS_faccessat2,
    libc::SYS_readlinkat,
    libc::SYS_getdents64,
    libc::SYS_getcwd,
    libc::SYS_uname,
    libc::SYS_fcntl,
    libc::SYS_ioctl,
    libc::SYS_dup,
    // Memory.
    libc::SYS_brk,
    libc::SYS_mmap,
    libc::SYS_munmap,
    libc::SYS_mremap,
    libc::SYS_mprotect,
    libc::SYS_madvise,
    libc::SYS_membarrier,
    // The process itself: signals to itself are how it aborts.
    libc::SYS_rt_sigaction,
    libc::SYS_rt_sigprocmask,
    libc::SYS_rt_sigreturn,
    libc::SYS_sigaltstack,
    libc::SYS_restart_syscall,
    libc::SYS_futex,
    libc::SYS_rseq,
    libc::SYS_set_robust_list,
    libc::SYS_set_tid_address,
    libc::SYS_getpid,
    libc::SYS_gettid,
    libc::SYS_getuid,
    libc::SYS_geteuid,
    libc::SYS_getgid,
    libc::SYS_getegid,
    libc::SYS_getrandom,
    libc::SYS_getrusage,
    libc::SYS_sched_yield,
    libc::SYS_sched_getaffinity,
    libc::SYS_sysinfo,
    libc::SYS_exit,
    libc::SYS_exit_group,
    // Time: a driver should not ask, but a clock does no harm.
    libc::SYS_clock_gettime,
    libc::SYS_clock_getres,
    libc::SYS_clock_nanosleep,
    libc::SYS_nanosleep,
    libc::SYS_gettimeofday,
];

/// Older forms, which only some machines have.
#[cfg(target_arch = "x86_64")]
const OLDER: &[libc::c_long] = &[
    libc::SYS_open,
    libc::SYS_stat,
    libc::SYS_lstat,
    libc::SYS_access,
    libc::SYS_readlink,
    libc::SYS_poll,
    libc::SYS_time,
    libc::SYS_arch_prctl,
];
#[cfg(not(target_arch = "x86_64"))]
const OLDER: &[libc::c_long] = &[];

/// Signals go to this process alone: the two that `abort` and `raise` use.
const TO_SELF: &[libc::c_long] = &[libc::SYS_tgkill];

/// Closes all others for this thread and what it starts.
pub(super) fn close() -> Result<(), String> {
    let machine = TargetArch::try_from(std::env::consts::ARCH)
        .map_err(|_| "there is no filter for this machine".to_owned())?;
    let program = program(machine).map_err(|error| error.to_string())?;
    apply_filter(&program).map_err(|error| error.to_string())
}

fn program(machine: TargetArch) -> Result<BpfProgram, seccompiler::BackendError> {
    let all = ALLOWED.iter().chain(OLDER).chain(TO_SELF);
    #[allow(clippy::useless_conversion, reason = "32 bits on some machines")]
    let rules: BTreeMap<i64, _> = all.map(|call| (i64::from(*call), Vec::new())).collect();
    SeccompFilter::new(
        rules,
        SeccompAction::Errno(NOT_PERMITTED),
        SeccompAction::Allow,
        machine,
    )?
    .try_into()
}
