//! Whether bytes are a shared library for this host, before the loader is troubled with them.
//!
//! Reads the head of the file only (System V ABI, chapter 4, "ELF Header"); what else is wrong with
//! a library the loader says.

/// Where the fields stand that are looked at.
const CLASS: usize = 4;
const ORDER: usize = 5;
const TYPE: usize = 16;
const MACHINE: usize = 18;
/// `ET_DYN`: a shared object.
const SHARED: u16 = 3;

/// Machines by their number (elf.h), with the words for them.
const MACHINES: &[(u16, &str)] = &[
    (3, "x86, 32 bit"),
    (8, "MIPS"),
    (20, "PowerPC"),
    (21, "PowerPC, 64 bit"),
    (22, "S/390"),
    (40, "ARM, 32 bit"),
    (62, "x86-64"),
    (183, "ARM, 64 bit"),
    (243, "RISC-V"),
    (258, "LoongArch"),
];

/// The number of the machine that this program was built for.
const OURS: u16 = match () {
    () if cfg!(target_arch = "x86_64") => 62,
    () if cfg!(target_arch = "aarch64") => 183,
    () if cfg!(target_arch = "arm") => 40,
    () if cfg!(target_arch = "riscv64") => 243,
    () => 0,
};

/// Fine, or what is wrong in words, with what to do.
pub(super) fn check(bytes: &[u8]) -> Result<(), String> {
    if bytes.is_empty() {
        return Err("it is empty; build it again, or copy it again".to_owned());
    }
    if !bytes.starts_with(b"\x7fELF") {
        return Err(format!("it is no shared library{}", likeness(bytes)));
    }
    let (kind, machine) = word(bytes, TYPE)
        .zip(word(bytes, MACHINE))
        .ok_or(CUT_SHORT)?;
    check_machine(bytes, machine)?;
    if kind != SHARED {
        return Err("it is a program or an object file, not a shared library; \
                    link it with `-shared`, or as a `cdylib`"
            .to_owned());
    }
    if end_of_sections(bytes).is_none_or(|end| end > bytes.len() as u64) {
        return Err(CUT_SHORT.to_owned());
    }
    Ok(())
}

/// What the loader would find out by crashing.
const CUT_SHORT: &str = "it ends before its end; copy it again: a copy was cut short";

/// Where its last table ends, which linkers put at the file's end.
fn end_of_sections(bytes: &[u8]) -> Option<u64> {
    let is_64 = bytes.get(CLASS) == Some(&2);
    let (offset, size) = if is_64 { (0x28, 0x3a) } else { (0x20, 0x2e) };
    let pair = |at| word(bytes, at).map(u64::from);
    let halves = if is_64 { 4 } else { 2 };
    // Little-endian, as every machine that this program is built for.
    let start = (0..halves).try_fold(0_u64, |sum, half| {
        Some(sum | pair(offset + 2 * half)? << (16 * half))
    })?;
    start.checked_add(pair(size)?.checked_mul(pair(size + 2)?)?)
}

fn check_machine(bytes: &[u8], machine: u16) -> Result<(), String> {
    let class = bytes.get(CLASS).copied();
    let ours = if cfg!(target_pointer_width = "64") {
        2
    } else {
        1
    };
    // A number that is not listed is left to the loader.
    if (machine == OURS || OURS == 0) && class == Some(ours) {
        return Ok(());
    }
    Err(format!(
        "it is for another machine ({}), this host is {}; build it for this host",
        machine_words(machine),
        machine_words(OURS)
    ))
}

/// Two bytes in the file's own order.
fn word(bytes: &[u8], at: usize) -> Option<u16> {
    let pair = *bytes.get(at..)?.first_chunk::<2>()?;
    Some(match bytes.get(ORDER)? {
        2 => u16::from_be_bytes(pair),
        _ => u16::from_le_bytes(pair),
    })
}

fn machine_words(machine: u16) -> String {
    let known = MACHINES.iter().find(|(number, _)| *number == machine);
    known.map_or_else(
        || format!("number {machine}"),
        |(_, words)| (*words).to_owned(),
    )
}

/// What a file is likely to be instead.
fn likeness(bytes: &[u8]) -> &'static str {
    let head = bytes.get(..64).unwrap_or(bytes);
    let is_text = head
        .iter()
        .all(|byte| byte.is_ascii_graphic() || byte.is_ascii_whitespace());
    match head {
        _ if head.starts_with(b"!<arch>") => ", but a static one; link it with `-shared`",
        _ if head.starts_with(b"MZ") => ", but a library of another system; build it for Linux",
        _ if is_text => ", but a text; name the library that was built, not its source",
        _ => "; name the file that the compiler made",
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use insta::assert_snapshot;
    use proptest::prelude::*;

    fn header(kind: u16, machine: u16, class: u8) -> Vec<u8> {
        let mut bytes = b"\x7fELF\x02\x01\x01".to_vec();
        bytes[CLASS] = class;
        bytes.resize(64, 0);
        bytes[TYPE..][..2].copy_from_slice(&kind.to_le_bytes());
        bytes[MACHINE..][..2].copy_from_slice(&machine.to_le_bytes());
        bytes
    }

    fn ours() -> (u16, u8) {
        (
            OURS,
            if cfg!(target_pointer_width = "64") {
                2
            } else {
                1
            },
        )
    }

    #[test]
    fn a_shared_library_for_this_host_is_fine() {
        let (machine, class) = ours();
        assert_eq!(check(&header(SHARED, machine, class)), Ok(()));
        let mut cut = header(SHARED, machine, class);
        cut[if class == 2 { 0x28 } else { 0x20 }] = 65;
        assert_eq!(check(&cut), Err(CUT_SHORT.to_owned()));
        let own = std::fs::read(std::env::current_exe().unwrap()).unwrap();
        assert!(own.starts_with(b"\x7fELF") && word(&own, MACHINE) == Some(OURS));
    }

    #[test]
    fn what_is_none_is_told_in_words() {
        let (machine, class) = ours();
        let why = |bytes: &[u8]| check(bytes).unwrap_err();
        assert_snapshot!(why(b""), @"it is empty; build it again, or copy it again");
        assert_snapshot!(why(b"int main(void)\n"), @"it is no shared library, but a text; name the library that was built, not its source");
        assert_snapshot!(why(b"!<arch>\n\x00"), @"it is no shared library, but a static one; link it with `-shared`");
        assert_snapshot!(why(b"MZ\x90\x00"), @"it is no shared library, but a library of another system; build it for Linux");
        assert_snapshot!(why(&[0x89, 1, 2]), @"it is no shared library; name the file that the compiler made");
        assert_snapshot!(why(b"\x7fELF\x02"), @"it ends before its end; copy it again: a copy was cut short");
        assert_snapshot!(why(&header(2, machine, class)), @"it is a program or an object file, not a shared library; link it with `-shared`, or as a `cdylib`");
        let other = check(&header(SHARED, 8, class)).unwrap_err();
        assert!(
            other.starts_with("it is for another machine (MIPS), this host is "),
            "{other}"
        );
        let unknown = check(&header(SHARED, 9999, class)).unwrap_err();
        assert!(unknown.contains("(number 9999)"), "{unknown}");
    }

    proptest! {
        #[test]
        fn any_bytes_are_fine_or_not(bytes in prop::collection::vec(any::<u8>(), 0..80), elf in any::<bool>()) {
            let mut bytes = bytes;
            if elf {
                bytes.splice(..0, *b"\x7fELF");
            }
            let _ = check(&bytes);
        }
    }
}
