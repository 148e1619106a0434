//! A number that can be read from across the kitchen: five lines high.

/// Lines of a digit.
pub(super) const HEIGHT: usize = 5;

/// The number in five lines. What has no shape is a blank.
pub(super) fn big(number: &str) -> [String; HEIGHT] {
    let mut lines = [const { String::new() }; HEIGHT];
    for letter in number.chars() {
        for (line, part) in lines.iter_mut().zip(shape(letter)) {
            line.extend(part.chars().map(|dot| if dot == '#' { '█' } else { ' ' }));
            line.push_str("  ");
        }
    }
    lines
}

fn shape(letter: char) -> [&'static str; HEIGHT] {
    match letter {
        '0' => ["####", "#  #", "#  #", "#  #", "####"],
        '1' => ["  # ", " ## ", "  # ", "  # ", " ###"],
        '2' => ["####", "   #", "####", "#   ", "####"],
        '3' => ["####", "   #", " ###", "   #", "####"],
        '4' => ["#  #", "#  #", "####", "   #", "   #"],
        '5' => ["####", "#   ", "####", "   #", "####"],
        '6' => ["####", "#   ", "####", "#  #", "####"],
        '7' => ["####", "   #", "  # ", " #  ", " #  "],
        '8' => ["####", "#  #", "####", "#  #", "####"],
        '9' => ["####", "#  #", "####", "   #", "####"],
        '.' => ["  ", "  ", "  ", "  ", "##"],
        '-' => ["   ", "   ", "###", "   ", "   "],
        _ => ["  ", "  ", "  ", "  ", "  "],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_lines_of_a_number_are_equally_wide() {
        for number in ["-12.34", "5678.90", "", "n", "1e9"] {
            let lines = big(number);
            let width = lines[0].chars().count();
            assert!(
                lines.iter().all(|line| line.chars().count() == width),
                "{number}"
            );
        }
    }
}
