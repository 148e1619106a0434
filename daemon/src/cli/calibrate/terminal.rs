//! The event loop: keys and readings in, steps out, the screen drawn in between.
//!
//! The terminal is given back on every way out, a panic as well. Nothing is decided here.

use super::draw;
use crate::calibrate::Step;
use crate::calibrate::session::{Event, Heard, Key, Knowledge, Session};
use crate::clock;
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::io;
use std::time::Duration;

/// How long a key is waited for before readings are looked at.
const PATIENCE: Duration = Duration::from_millis(100);

/// What connects the guide to the service and its log.
pub trait Wire {
    /// The readings that have come since; hardly waits.
    ///
    /// # Errors
    /// Why none come for the time being. Asked again, it tries again.
    fn readings(&mut self) -> Result<Vec<Heard>, String>;

    /// Appends a step to the probe's calibration in the log; gives its number.
    ///
    /// # Errors
    /// Why it is not in the log.
    fn append(&mut self, step: &Step) -> Result<Kept, String>;

    /// Whether the program was asked to end.
    fn is_to_end(&self) -> bool;
}

/// A step that is in the log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Its number.
    pub number: u64,
    /// What a person should know all the same.
    pub remark: Option<String>,
}

/// Runs the guide until the person leaves. Captured points are in the log, whatever ends it.
///
/// # Errors
/// Where the terminal fails.
pub fn run<K: Knowledge>(session: &mut Session<K>, wire: &mut impl Wire) -> io::Result<()> {
    let mut terminal = ratatui::try_init()?;
    let result = turn(session, wire, &mut terminal);
    ratatui::restore();
    result
}

fn turn<K: Knowledge>(
    session: &mut Session<K>,
    wire: &mut impl Wire,
    terminal: &mut DefaultTerminal,
) -> io::Result<()> {
    while !session.is_over() && !wire.is_to_end() {
        pass_on(session, wire, tick());
        match wire.readings() {
            Ok(readings) => readings
                .into_iter()
                .for_each(|heard| pass_on(session, wire, Event::Heard(heard))),
            Err(why) => pass_on(session, wire, Event::Deaf(why)),
        }
        terminal.draw(|frame| draw(session, frame))?;
        match next_key()? {
            Some(Pressed::Leave) => return Ok(()),
            Some(Pressed::Key(key)) => pass_on(session, wire, Event::Key(key)),
            None => {}
        }
    }
    Ok(())
}

/// Hands an event to the session, its steps to the log, and the log's answers back.
pub(super) fn pass_on<K: Knowledge>(session: &mut Session<K>, wire: &mut impl Wire, event: Event) {
    let mut steps = session.handle(event);
    while !steps.is_empty() {
        let answers: Vec<Event> = steps
            .iter()
            .flat_map(|step| answers(wire.append(step)))
            .collect();
        steps = answers
            .into_iter()
            .flat_map(|answer| session.handle(answer))
            .collect();
    }
}

fn answers(kept: Result<Kept, String>) -> Vec<Event> {
    match kept {
        Ok(Kept { number, remark }) => std::iter::once(Event::Kept(number))
            .chain(remark.map(Event::Told))
            .collect(),
        Err(why) => vec![Event::NotKept(why)],
    }
}

fn tick() -> Event {
    let now = clock::now();
    Event::Tick {
        at: now.boot_ns as f64 / 1e9,
        wall_ms: now.wall_ms,
    }
}

/// A key, as far as it means something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Pressed {
    /// For the session.
    Key(Key),
    /// Ctrl-C.
    Leave,
}

fn next_key() -> io::Result<Option<Pressed>> {
    if !event::poll(PATIENCE)? {
        return Ok(None);
    }
    Ok(match event::read()? {
        event::Event::Key(key) if key.kind != KeyEventKind::Release => pressed(key),
        _ => None,
    })
}

fn pressed(key: KeyEvent) -> Option<Pressed> {
    let is_control = key.modifiers.contains(KeyModifiers::CONTROL);
    Some(match key.code {
        KeyCode::Char('c') if is_control => Pressed::Leave,
        KeyCode::Char(_) if is_control => return None,
        KeyCode::Char(letter) => Pressed::Key(Key::Letter(letter)),
        KeyCode::Enter => Pressed::Key(Key::Enter),
        KeyCode::Esc => Pressed::Key(Key::Back),
        KeyCode::Up | KeyCode::BackTab => Pressed::Key(Key::Up),
        KeyCode::Down | KeyCode::Tab => Pressed::Key(Key::Down),
        KeyCode::Backspace => Pressed::Key(Key::Erase),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn control_c_leaves_and_other_controls_mean_nothing() {
        let with = |letter, modifiers| pressed(KeyEvent::new(KeyCode::Char(letter), modifiers));
        assert_eq!(with('c', KeyModifiers::CONTROL), Some(Pressed::Leave));
        assert_eq!(with('x', KeyModifiers::CONTROL), None);
        assert_eq!(
            with('c', KeyModifiers::NONE),
            Some(Pressed::Key(Key::Letter('c')))
        );
    }
}
