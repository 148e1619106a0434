//! Programs as boards: real children, in python and in shell, that behave and that do not.

use super::PACE;
use super::watch::{DEADLINE, Watch};
use nightbench::config::Program;
use nightbench::source::Event;
use nightbench::source::program::ProgramSource;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::time::Duration;
use tempfile::TempDir;
use tokio::time::Instant;

/// A python script as a board.
struct Script {
    folder: TempDir,
}

impl Script {
    fn new(text: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let head = "import os, signal, subprocess, sys, time\n";
        fs::write(folder.path().join("read.py"), format!("{head}{text}")).unwrap();
        Self { folder }
    }

    fn watch(&self) -> Watch {
        self.run(&["python3", "read.py"], &[])
    }

    fn run(&self, command: &[&str], environment: &[(&str, &str)]) -> Watch {
        let owned = |(name, text): &(&str, &str)| ((*name).to_owned(), (*text).to_owned());
        let program = Program {
            command: command.iter().map(|word| (*word).to_owned()).collect(),
            folder: self.folder.path().to_owned(),
            environment: environment.iter().map(owned).collect(),
        };
        Watch::over(ProgramSource::new("bench", program).with_pace(PACE))
    }
}

/// Waits until a process is gone, or is but a name that nobody has collected.
async fn is_gone(process: &str) {
    let status = format!("/proc/{process}/status");
    let lives = || fs::read_to_string(&status).is_ok_and(|text| !text.contains("State:\tZ"));
    let since = Instant::now();
    while lives() {
        assert!(since.elapsed() < DEADLINE, "process {process} lives on");
        tokio::task::yield_now().await;
    }
}

#[tokio::test]
async fn every_line_from_the_first_arrives_at_once() {
    let script = Script::new("for n in range(100): print(f'a0={n}')\ntime.sleep(1000)\n");
    let mut watch = script.watch();
    let detail = watch.opened().await;
    assert!(
        detail.starts_with("`python3 read.py` (process "),
        "{detail}"
    );
    for n in 0..100 {
        assert_eq!(watch.line().await, format!("a0={n}"));
    }
    assert_eq!(watch.stop().await, []);
}

#[tokio::test]
async fn arguments_and_variables_reach_it_as_they_are() {
    let script = Script::new("print(sys.argv[1], os.environ['A B'])\ntime.sleep(1000)\n");
    let command = ["python3", "read.py", "$HOME; `ls` 'x'"];
    let mut watch = script.run(&command, &[("A B", "c d")]);
    watch.opened().await;
    assert_eq!(watch.line().await, "$HOME; `ls` 'x' c d");
}

#[tokio::test]
async fn its_end_is_told_with_its_exit_code_and_it_is_started_again() {
    let script = Script::new("print('a0=1')\nsys.stdout.write('a0=half')\nsys.exit(3)\n");
    let mut watch = script.watch();
    for _ in 0..3 {
        watch.opened().await;
        assert_eq!(watch.line().await, "a0=1");
        let reason = watch.lost().await;
        assert_eq!(
            reason,
            "`python3 read.py` ended with exit code 3; its last words are above, if any; what \
             came before is kept; starting it again"
        );
    }
}

#[tokio::test]
async fn a_crash_is_told_with_its_signal() {
    let script = Script::new("print('a0=1')\nos.kill(os.getpid(), signal.SIGSEGV)\n");
    let mut watch = script.watch();
    watch.opened().await;
    assert_eq!(watch.line().await, "a0=1");
    let reason = watch.lost().await;
    assert!(
        reason.contains("was ended by signal 11 (SIGSEGV"),
        "{reason}"
    );
}

#[tokio::test]
async fn a_flood_without_newlines_takes_no_memory_and_good_lines_come_out() {
    let script = Script::new(
        "for n in range(100): sys.stdout.write('x' * 100000)\nprint('\\na0=1')\ntime.sleep(1000)\n",
    );
    let mut watch = script.watch();
    watch.opened().await;
    assert_eq!(watch.too_long_before("a0=1").await, 10_000_001);
}

#[tokio::test]
async fn its_last_words_stand_before_its_end() {
    let script = Script::new("print('a0=1')\nraise RuntimeError('no sensor at 0x48')\n");
    let mut watch = script.watch();
    watch.opened().await;
    let mut remarks = Vec::new();
    let reason = loop {
        match watch.next().await {
            Event::Remark { text, .. } => remarks.push(text),
            Event::Lost { reason, .. } => break reason,
            _ => {}
        }
    };
    let last = remarks.last().unwrap();
    assert_eq!(last, "its program says: RuntimeError: no sensor at 0x48");
    assert!(reason.contains("exit code 1"), "{reason}");
}

#[tokio::test]
async fn a_flood_of_complaints_is_told_in_part_and_holds_up_no_line() {
    let script = Script::new(
        "for n in range(20000): print('help', file=sys.stderr)\nprint('a0=1')\ntime.sleep(1000)\n",
    );
    let mut watch = script.watch();
    watch.opened().await;
    let mut remarks = 0;
    loop {
        match watch.next().await {
            Event::Remark { .. } => remarks += 1,
            Event::Line { bytes, .. } => break assert_eq!(bytes, b"a0=1"),
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(remarks, 20);
}

#[tokio::test]
async fn the_stop_ends_it_and_all_that_it_has_started() {
    let script = Script::new(
        "child = subprocess.Popen(['sleep', '1000'])\nprint(child.pid)\nchild.wait()\n",
    );
    let mut watch = script.watch();
    watch.opened().await;
    let process = watch.line().await;
    watch.stop().await;
    is_gone(&process).await;
}

#[tokio::test]
async fn it_may_write_its_last_lines_when_it_is_asked_to_end() {
    let script = Script::new(
        "def end(*_):\n    print('a0=2')\n    sys.exit(0)\n\
         signal.signal(signal.SIGTERM, end)\nprint('a0=1')\ntime.sleep(1000)\n",
    );
    let mut watch = script.watch();
    watch.opened().await;
    assert_eq!(watch.line().await, "a0=1");
    let rest = watch.stop().await;
    let last = rest.iter().find_map(|event| match event {
        Event::Line { bytes, .. } => Some(bytes.as_slice()),
        _ => None,
    });
    assert_eq!(last, Some(&b"a0=2"[..]));
}

#[tokio::test]
async fn one_that_does_not_listen_is_killed_after_two_seconds_with_its_children() {
    let script = Script::new(
        "signal.signal(signal.SIGTERM, signal.SIG_IGN)\n\
         child = subprocess.Popen(['sleep', '1000'])\nprint(os.getpid())\nprint(child.pid)\n\
         while True: time.sleep(1000)\n",
    );
    let mut watch = script.watch();
    watch.opened().await;
    let (own, child) = (watch.line().await, watch.line().await);
    let since = Instant::now();
    watch.stop().await;
    let took = since.elapsed();
    assert!(
        took >= Duration::from_secs(2),
        "not before its time: {took:?}"
    );
    is_gone(&own).await;
    is_gone(&child).await;
}

#[tokio::test]
async fn a_child_that_holds_the_pipe_open_is_ended_with_its_parent() {
    let script =
        Script::new("child = subprocess.Popen(['sleep', '1000'])\nprint(child.pid)\nsys.exit(0)\n");
    let mut watch = script.watch();
    watch.opened().await;
    let process = watch.line().await;
    let reason = watch.lost().await;
    assert!(reason.contains("exit code 0"), "{reason}");
    is_gone(&process).await;
}

#[tokio::test]
async fn one_that_closes_its_output_is_ended() {
    let script = Script::new("print(os.getpid())\nos.close(1)\nos.close(2)\ntime.sleep(1000)\n");
    let mut watch = script.watch();
    watch.opened().await;
    let process = watch.line().await;
    let reason = watch.lost().await;
    assert!(
        reason.contains("closed its output without ending"),
        "{reason}"
    );
    is_gone(&process).await;
}

#[tokio::test]
async fn one_that_cannot_be_started_is_told_once_and_started_when_it_can() {
    let script = Script::new("");
    let path = script.folder.path().join("read.sh");
    let mut watch = script.run(&[path.to_str().unwrap()], &[]);
    let reason = watch.lost().await;
    assert!(
        reason.contains("read.sh` is not found; install it"),
        "{reason}"
    );
    watch.is_silent_for(10 * PACE.longest).await;
    let new = script.folder.path().join("new");
    fs::write(&new, "#!/bin/sh\necho a0=1\nexec sleep 1000\n").unwrap();
    fs::set_permissions(&new, fs::Permissions::from_mode(0o755)).unwrap();
    fs::rename(&new, &path).unwrap();
    // Another test's new child may hold the new file open for a moment: told, and tried again.
    while !matches!(watch.next().await, Event::Opened { .. }) {}
    assert_eq!(watch.line().await, "a0=1");
}

#[tokio::test]
async fn a_flow_that_has_ended_ends_the_program() {
    let script = Script::new("print(os.getpid())\nwhile True: print('a0=1')\n");
    let mut watch = script.watch();
    watch.opened().await;
    let process = watch.line().await;
    drop(watch.events);
    watch.running.await.unwrap();
    is_gone(&process).await;
}
