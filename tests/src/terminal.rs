//! A program in a terminal of 80 columns and 24 rows: keys go in, the screen is looked at.
//!
//! The terminal is the program's controlling one, so that it has this size whatever the tests run in.

use crate::screen::Screen;
use crate::wait::until;
use rustix::fs::OFlags;
use rustix::io::ioctl_fionbio;
use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{LocalModes, Winsize, tcgetattr, tcsetwinsize};
use std::fs::File;
use std::io::{ErrorKind, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::process::{Child, Command, ExitStatus};
use std::time::Duration;

/// What people have had since the VT100.
const COLUMNS: u16 = 80;
const ROWS: u16 = 24;

/// A program, and the terminal it runs in.
#[derive(Debug)]
pub struct Terminal {
    child: Child,
    near: File,
    far: File,
    screen: Screen,
    said: Vec<u8>,
}

impl Terminal {
    /// Starts a program with these arguments.
    ///
    /// # Panics
    /// Where the system has no pseudo-terminal to give, or the program cannot be started.
    #[must_use]
    pub fn start(program: &Path, arguments: &[&str]) -> Self {
        let (near, far) = pseudo_terminal();
        let end = || far.try_clone().expect("an end can be shared");
        let child = Command::new("setsid")
            .arg("--ctty")
            .arg(program)
            .args(arguments)
            .env("TERM", "xterm-256color")
            .stdin(end())
            .stdout(end())
            .stderr(end())
            .spawn()
            .expect("util-linux is there");
        Self {
            child,
            near,
            far,
            screen: Screen::new(COLUMNS.into(), ROWS.into()),
            said: Vec::new(),
        }
    }

    /// Types text.
    ///
    /// # Panics
    /// Where the terminal takes none.
    pub fn type_in(&mut self, text: &str) {
        let typed = self.near.write_all(text.as_bytes());
        typed.expect("the terminal takes keys");
    }

    /// Waits until the screen shows this; gives all that it shows.
    ///
    /// # Panics
    /// With the screen, where it does not.
    pub fn shows(&mut self, words: &str, within: Duration) -> String {
        let mut text = String::new();
        let what = format!("the screen shows `{words}`");
        let looked = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            until(&what, within, || {
                self.listen();
                text = self.screen.text();
                text.contains(words)
            });
        }));
        if let Err(why) = looked {
            eprintln!("--- the screen:\n{text}");
            std::panic::resume_unwind(why);
        }
        text
    }

    /// Whether what is typed is shown again and edited by line, as a shell wants it.
    ///
    /// # Panics
    /// Where the terminal is gone.
    #[must_use]
    pub fn is_a_shells(&self) -> bool {
        let modes = tcgetattr(&self.far)
            .expect("the terminal is there")
            .local_modes;
        modes.contains(LocalModes::ICANON | LocalModes::ECHO)
    }

    /// Waits for the program's end; gives how, and all that it has written, bytes and all.
    ///
    /// # Panics
    /// Where it does not end.
    pub fn ends(&mut self) -> (ExitStatus, String) {
        let mut status = None;
        until(
            "the program in the terminal ends",
            crate::wait::SOON,
            || {
                self.listen();
                status = self.child.try_wait().expect("own child can be waited for");
                status.is_some()
            },
        );
        self.listen();
        let said = String::from_utf8_lossy(&self.said).into_owned();
        (status.expect("it has ended"), said)
    }

    /// Sends the program a signal.
    ///
    /// # Panics
    /// Where it is gone.
    pub fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).expect("the program runs");
    }

    fn listen(&mut self) {
        let mut bytes = [0; 4096];
        loop {
            match self.near.read(&mut bytes) {
                Ok(0) => return,
                Ok(length) => {
                    self.screen.take(&bytes[..length]);
                    self.said.extend_from_slice(&bytes[..length]);
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                // Nothing more, or nobody at the other end.
                Err(_) => return,
            }
        }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        // Both fail only where it has ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn pseudo_terminal() -> (File, File) {
    let made =
        openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).and_then(|near| {
            ioctl_fionbio(&near, true)?;
            grantpt(&near)?;
            unlockpt(&near)?;
            let name = ptsname(&near, Vec::new())?;
            Ok((near, name))
        });
    let (near, name) = made.expect("the system gives a pseudo-terminal");
    let flags = i32::try_from(OFlags::NOCTTY.bits()).expect("a flag is small");
    let far = File::options()
        .read(true)
        .write(true)
        .custom_flags(flags)
        .open(&*name.to_string_lossy())
        .expect("the far end opens");
    let size = Winsize {
        ws_row: ROWS,
        ws_col: COLUMNS,
        ws_xpixel: 0,
        ws_ypixel: 0,
    };
    tcsetwinsize(&far, size).expect("the terminal takes a size");
    (File::from(near), far)
}
