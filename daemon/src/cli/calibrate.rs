//! `nightbench calibrate`: the guide in a terminal of 80 columns and 24 lines, or any other.
//!
//! Draws a session and brings it keys and readings. What happens next is the session's; each screen
//! is a function of it, and stands in a file of its own.

mod bar;
mod captured;
mod digits;
mod fit;
pub mod guide;
mod live;
mod number;
mod overview;
mod page;
mod prepare;
mod terminal;

#[cfg(test)]
mod tests;

pub use terminal::{Kept, Wire, run};

use crate::calibrate::session::{Knowledge, Screen, Session};
use page::Page;
use ratatui::Frame;

/// Draws what a session shows.
pub fn draw<K: Knowledge>(session: &Session<K>, frame: &mut Frame<'_>) {
    let page = Page::new(session);
    match session.screen() {
        Screen::Overview { selected } => overview::draw(session, *selected, &page, frame),
        Screen::Choose { selected } => prepare::draw_choice(session, *selected, &page, frame),
        Screen::Details(form) => prepare::draw_form(session, form, &page, frame),
        Screen::HowTo(prepared) => prepare::draw_steps(session, prepared, &page, frame),
        Screen::Live(live) => live::draw(session, live, &page, frame),
        Screen::ReadOff(read_off) => prepare::draw_read_off(session, read_off, &page, frame),
        Screen::Doubtful(doubtful) => captured::draw_doubt(session, doubtful, &page, frame),
        Screen::Taken(taken) => captured::draw_taken(session, taken, &page, frame),
        Screen::Fit(fitting) => fit::draw_fit(session, fitting, &page, frame),
        Screen::Finished(finished) => fit::draw_finished(session, finished, &page, frame),
        Screen::Over => page.draw("", &[], frame, |_, _| {}),
    }
}
