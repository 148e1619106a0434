//! The screens as people see them, on a terminal of 80 columns and 24 lines.

#![allow(clippy::unwrap_used)]

mod screens;

use super::*;
use crate::calibrate::session::testing::{Pretended, point, reading, session, session_with};
use crate::calibrate::session::{Event, Heard, Key};
use crate::calibrate::{Role, Step};
use ratatui::Terminal;
use ratatui::backend::TestBackend;

type Pretending = Session<Pretended>;

fn shown(session: &Pretending, width: u16, height: u16) -> String {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| draw(session, frame)).unwrap();
    let buffer = terminal.backend().buffer().clone();
    let rows = buffer.content().chunks(usize::from(width));
    let rows = rows.map(|row| row.iter().map(|cell| cell.symbol()).collect::<String>());
    rows.map(|row| row.trim_end().to_owned())
        .collect::<Vec<_>>()
        .join("\n")
}

fn press(session: &mut Pretending, keys: &[Key]) {
    for key in keys {
        let _ = session.handle(Event::Key(*key));
    }
}

/// Readings twice a second, until steps come or the time is over.
fn read(session: &mut Pretending, seconds: u32, celsius: impl Fn(f64) -> f64) -> Vec<Step> {
    (0..2 * seconds)
        .map(|half| f64::from(half) / 2.0)
        .map(|at| session.handle(reading(at, celsius(at) + 0.005 * (at * 4.8).sin())))
        .find(|steps| !steps.is_empty())
        .unwrap_or_default()
}

fn two_points_and_a_check() -> Pretending {
    session_with([
        point(0.0, Role::Fit),
        point(40.0, Role::Fit),
        point(20.0, Role::Check),
    ])
}

/// One session on each screen.
fn all() -> Vec<Pretending> {
    let mut sessions = vec![session(), two_points_and_a_check()];
    let mut walk = session_with([point(0.0, Role::Fit)]);
    press(&mut walk, &[Key::Enter]);
    sessions.push(walk.clone());
    press(
        &mut walk,
        &[Key::Enter, Key::Letter('x'), Key::Enter, Key::Enter],
    );
    sessions.push(walk.clone());
    press(
        &mut walk,
        &[Key::Erase, Key::Letter('4'), Key::Enter, Key::Enter],
    );
    sessions.push(walk.clone());
    press(&mut walk, &[Key::Enter]);
    sessions.push(walk.clone());
    read(&mut walk, 30, |at| 4.0 + 20.0 * (-at / 10.0).exp());
    sessions.push(walk.clone());
    sessions.push(doubtful());
    sessions.push(taken());
    let mut fit = two_points_and_a_check();
    press(&mut fit, &[Key::Letter('f')]);
    sessions.push(fit.clone());
    press(&mut fit, &[Key::Enter]);
    sessions.push(fit.clone());
    let _ = fit.handle(Event::NotKept(
        "the disk is full; free some space".to_owned(),
    ));
    sessions.push(fit);
    sessions
}

fn doubtful() -> Pretending {
    let mut doubtful = session();
    press(&mut doubtful, &[Key::Enter, Key::Enter, Key::Enter]);
    read(&mut doubtful, 200, |_| 4.0);
    doubtful
}

fn taken() -> Pretending {
    let mut taken = session();
    press(&mut taken, &[Key::Enter, Key::Enter, Key::Enter]);
    read(&mut taken, 200, |_| 0.2);
    let _ = taken.handle(Event::Kept(12));
    taken
}

#[test]
fn every_screen_names_its_keys_on_the_last_line_and_fits_any_terminal() {
    for session in all() {
        let screen = shown(&session, 80, 24);
        let last = screen.lines().last().unwrap();
        assert!(
            last.contains("enter") || last.contains("capture now"),
            "{screen}"
        );
        assert!(screen.contains("probe `mash`"), "{screen}");
        for (width, height) in [(60, 20), (200, 60), (20, 5), (1, 1), (80, 2)] {
            shown(&session, width, height);
        }
    }
}

/// A log that numbers steps, or is full.
#[derive(Default)]
struct Log {
    steps: Vec<Step>,
    is_full: bool,
}

impl Wire for Log {
    fn readings(&mut self) -> Result<Vec<Heard>, String> {
        Ok(Vec::new())
    }

    fn append(&mut self, step: &Step) -> Result<Kept, String> {
        if self.is_full {
            return Err("the disk is full".to_owned());
        }
        self.steps.push(step.clone());
        Ok(Kept {
            number: 100 + self.steps.len() as u64,
            remark: None,
        })
    }

    fn is_to_end(&self) -> bool {
        false
    }
}

#[test]
fn steps_go_into_the_log_and_what_follows_from_their_numbers_as_well() {
    let mut session = two_points_and_a_check();
    let mut log = Log::default();
    for key in [Key::Letter('f'), Key::Enter, Key::Enter] {
        terminal::pass_on(&mut session, &mut log, Event::Key(key));
    }
    let Step::Verified { calibration, .. } = log.steps[1] else {
        panic!("{:?}", log.steps);
    };
    assert_eq!((log.steps.len(), calibration), (3, 101));
    assert_eq!(session.history().active_number(), Some(1));
}

#[test]
fn a_full_log_is_told_on_the_screen() {
    let mut session = two_points_and_a_check();
    let mut log = Log {
        is_full: true,
        ..Log::default()
    };
    for key in [Key::Letter('f'), Key::Enter] {
        terminal::pass_on(&mut session, &mut log, Event::Key(key));
    }
    let screen = shown(&session, 80, 24);
    let told = "! the calibration is not in the log yet: the disk is full";
    assert!(screen.contains(told), "{screen}");
}
