//! Texts of chance: nothing panics, and there is a configuration exactly where there is no error.

use super::{GOOD, read};
use crate::config::Problem;
use proptest::prelude::*;

const RICH: &str = concat!(
    include_str!("../../../../config/fermentation.toml"),
    "\n[outlet.card]\nkind = \"line-protocol-file\"\npath = \"n.lp\"\n"
);

/// A converter with a reference of its own, corrections and a clock.
const ABSOLUTE: &str = concat!(
    include_str!("../../../../config/absolute.toml"),
    "\n[board.other]\nsource = \"serial\"\nport = \"p\"\ncorrections_file = \"a.csv\"\n\
     [board.other.channel.x]\nfront_end = \"none\"\n"
);

fn holds(text: &str) {
    let (config, problems) = read(text);
    let faulty = problems.iter().any(Problem::is_error);
    assert_eq!(config.is_some(), !faulty, "{text}");
    for problem in &problems {
        assert!(problem.line >= 1 && problem.column >= 1);
        assert!(!problem.to_string().contains('\n'), "{problem}");
    }
}

/// Cuts `text` at two places near `from` and `to`, and puts `with` between.
fn mutated(text: &str, from: usize, length: usize, with: &str) -> String {
    let boundary = |at: usize| (at..=text.len()).find(|at| text.is_char_boundary(*at));
    let start = boundary(from % text.len()).unwrap_or(text.len());
    let end = boundary((start + length).min(text.len())).unwrap_or(text.len());
    format!("{}{with}{}", &text[..start], &text[end..])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn arbitrary_text_never_panics(text in "\\PC{0,200}|[\\[\\]a-z.=\"' \n0-9{}]{0,200}") {
        holds(&text);
    }

    #[test]
    fn a_mutated_file_never_panics(
        from in any::<usize>(),
        length in 0usize..40,
        with in "\\PC{0,8}|[\\[\\]a-z.=\"' \n0-9{},-]{0,12}",
    ) {
        holds(&mutated(GOOD, from, length, &with));
        holds(&mutated(RICH, from, length, &with));
        holds(&mutated(ABSOLUTE, from, length, &with));
    }

    #[test]
    fn a_value_of_any_type_never_panics(
        line in any::<prop::sample::Index>(),
        value in prop::sample::select(vec![
            "1", "-1", "0", "1e400", "nan", "-inf", "9223372036854775807", "true", "[]", "[1, \"x\"]",
            "{}", "{ a = 1 }", "1979-05-27", "\"\"", "\"1e308 kOhm\"", "\"\\u0000\"", "\"\u{202e}°\"",
            "[nan, inf]", "[[1, 2], [3]]", "[[5, 0], [4, 0]]", "[[nan, 1e308]]",
            "\"line\\nbreak\"", "\"1e-320 s\"", "0.0000001",
        ]),
    ) {
        for text in [RICH, ABSOLUTE] {
            let lines: Vec<&str> = text.lines().filter(|line| line.contains(" = ")).collect();
            let chosen = line.get(&lines);
            let key = chosen.split(" = ").next().unwrap_or("");
            holds(&text.replacen(chosen, &format!("{key} = {value}"), 1));
        }
    }
}
