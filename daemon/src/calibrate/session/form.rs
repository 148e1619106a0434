//! The answers to a reference's questions, as they are typed.

use super::knowledge::{Complaint, Question};
use super::screen::Prepared;

/// Characters of an answer, at most.
const LONGEST: usize = 40;

/// A few lines to fill in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Form {
    /// Index of the reference it is about.
    pub offer: usize,
    /// What was typed so far, one for each question.
    pub answers: Vec<String>,
    /// Which one is being typed.
    pub at: usize,
    /// What is wrong with one of them.
    pub complaint: Option<Complaint>,
}

impl Form {
    /// With what usually stands there.
    #[must_use]
    pub fn new(offer: usize, questions: &[Question]) -> Self {
        let usual = questions.iter().map(|question| question.usual.clone());
        Self {
            offer,
            answers: usual.collect(),
            at: 0,
            complaint: None,
        }
    }

    /// With the answers that were given, at one that is given once more.
    #[must_use]
    pub fn again(prepared: &Prepared, question: usize) -> Self {
        Self {
            offer: prepared.offer,
            answers: prepared.answers.clone(),
            at: question,
            complaint: None,
        }
    }

    /// One more character; control characters are no answer.
    pub fn type_in(&mut self, letter: char) {
        self.complaint = None;
        if let Some(answer) = self.answers.get_mut(self.at)
            && !letter.is_control()
            && answer.chars().count() < LONGEST
        {
            answer.push(letter);
        }
    }

    /// One character less.
    pub fn erase(&mut self) {
        self.complaint = None;
        if let Some(answer) = self.answers.get_mut(self.at) {
            answer.pop();
        }
    }

    /// To another line, round about.
    pub fn go(&mut self, down: bool) {
        let count = self.answers.len().max(1);
        self.at = (self.at + if down { 1 } else { count - 1 }) % count;
    }

    /// Whether the last line is being typed.
    #[must_use]
    pub fn is_at_end(&self) -> bool {
        self.at + 1 >= self.answers.len()
    }

    /// Goes to the line that is wrong.
    pub fn complain(&mut self, complaint: Complaint) {
        self.at = complaint.question.min(self.answers.len().saturating_sub(1));
        self.complaint = Some(complaint);
    }
}
