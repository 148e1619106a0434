//! What stands on a terminal's screen after some bytes: text, the cursor's moves, clearing.
//!
//! Only what full-screen programs send to an xterm (ECMA-48, 8.3: CUP, ED, EL, SGR); colours are
//! left out.

/// Characters of a terminal.
#[derive(Clone, Debug)]
pub struct Screen {
    rows: Vec<Vec<char>>,
    row: usize,
    column: usize,
    sequence: Option<String>,
    half: Vec<u8>,
}

impl Screen {
    /// An empty one.
    #[must_use]
    pub fn new(columns: usize, rows: usize) -> Self {
        Self {
            rows: vec![vec![' '; columns]; rows],
            row: 0,
            column: 0,
            sequence: None,
            half: Vec::new(),
        }
    }

    /// What stands there, row by row.
    #[must_use]
    pub fn text(&self) -> String {
        let rows = self.rows.iter().map(|row| row.iter().collect::<String>());
        let rows: Vec<String> = rows.map(|row| row.trim_end().to_owned()).collect();
        rows.join("\n")
    }

    /// Takes what a program has written; a character may come in pieces.
    pub fn take(&mut self, bytes: &[u8]) {
        self.half.extend_from_slice(bytes);
        let whole = match std::str::from_utf8(&self.half) {
            Ok(text) => text.len(),
            Err(error) => error.valid_up_to(),
        };
        let rest = self.half.split_off(whole);
        let text = String::from_utf8_lossy(&self.half).into_owned();
        self.half = rest;
        text.chars().for_each(|letter| self.letter(letter));
    }

    fn letter(&mut self, letter: char) {
        if let Some(sequence) = &mut self.sequence {
            sequence.push(letter);
            let is_over = sequence.len() > 1 || letter != '[';
            if is_over && ('@'..='~').contains(&letter) {
                let sequence = self.sequence.take().unwrap_or_default();
                self.act(&sequence);
            }
            return;
        }
        match letter {
            '\x1b' => self.sequence = Some(String::new()),
            '\r' => self.column = 0,
            '\n' => self.line_feed(),
            letter if letter.is_control() => {}
            letter => self.put(letter),
        }
    }

    fn put(&mut self, letter: char) {
        let row = self.rows.get_mut(self.row);
        if let Some(cell) = row.and_then(|row| row.get_mut(self.column)) {
            *cell = letter;
        }
        self.column += 1;
    }

    fn line_feed(&mut self) {
        if self.row + 1 < self.rows.len() {
            self.row += 1;
        } else {
            self.rows.rotate_left(1);
            self.clear_row(self.rows.len() - 1, 0);
        }
    }

    fn act(&mut self, sequence: &str) {
        let body = sequence.trim_start_matches('[');
        let numbers = body.trim_end_matches(|it: char| !it.is_ascii_digit());
        let mut numbers = numbers.split(';').map(|it| it.parse::<usize>().ok());
        let first = numbers.next().flatten();
        match body.chars().last() {
            Some('H') => {
                self.row = first.unwrap_or(1).saturating_sub(1);
                self.column = numbers.next().flatten().unwrap_or(1).saturating_sub(1);
            }
            Some('J') => (0..self.rows.len()).for_each(|row| self.clear_row(row, 0)),
            Some('K') => self.clear_row(self.row, self.column),
            _ => {}
        }
    }

    fn clear_row(&mut self, row: usize, from: usize) {
        let cells = self.rows.get_mut(row).into_iter().flatten();
        cells.skip(from).for_each(|cell| *cell = ' ');
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_stands_where_the_cursor_was_moved() {
        let mut screen = Screen::new(10, 3);
        screen.take(b"\x1b[?1049h\x1b[2J\x1b[2;3H\x1b[1;33mab\x1b[0m");
        screen.take(&"°".as_bytes()[..1]);
        screen.take(&"°".as_bytes()[1..]);
        screen.take(b"\x1b[1;1Hx\r\ny");
        assert_eq!(screen.text(), "x\ny ab°\n");
        screen.take(b"\x1b[2;4H\x1b[K");
        assert_eq!(screen.text(), "x\ny a\n");
    }
}
