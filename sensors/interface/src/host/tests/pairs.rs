//! A fixed table in the place of a formula.

use super::*;
use crate::pairs::Pair;

static PAIRS: [Pair; 3] = [
    Pair::new(0.0, 10.0),
    Pair::new(1.0, 30.0),
    Pair::new(3.0, 40.0),
];

fn only_pairs(table: &mut Table) {
    (table.evaluate, table.range, table.slope) = (None, None, None);
    (table.pairs, table.pair_count) = (PAIRS.as_ptr(), PAIRS.len());
}

#[test]
fn lines_run_between_the_pairs_with_their_slope() {
    let mut table = Table::of::<Power>();
    only_pairs(&mut table);
    let view = View::new(Box::leak(Box::new(table))).expect("a sound table");
    let (any, mut values) = (binding(1.0, 2.0, &[]), [0.0; 4]);
    assert_eq!(view.range(&any), Ok((0.0, 3.0)));
    let answer = view.evaluate(&any, &[0.5, 3.0, 2.0, 4.0], &mut values);
    assert_eq!(answer, Err(Status::OUT_OF_RANGE));
    assert_eq!(values[..3], [20.0, 40.0, 35.0]);
    assert!(values[3].is_nan() && view.has_slope());
    assert_eq!(view.slope(&any, &[0.5, 2.0], &mut values[..2]), Ok(()));
    assert_eq!(values[..2], [20.0, 5.0]);
    assert_eq!(
        view.evaluate(&any, &[0.5], &mut []),
        Err(Status::WRONG_CALL)
    );
}

#[test]
fn pairs_that_turn_or_stand_beside_a_formula_are_refused() {
    let beside = |table: &mut Table| (table.pairs, table.pair_count) = (PAIRS.as_ptr(), 3);
    assert_eq!(refusal(beside), Flaw::Pairs);
    static TURNING: [Pair; 3] = [PAIRS[1], PAIRS[0], PAIRS[2]];
    let turning = |table: &mut Table| {
        only_pairs(table);
        table.pairs = TURNING.as_ptr();
    };
    assert_eq!(refusal(turning), Flaw::Pairs);
    let none = |table: &mut Table| {
        only_pairs(table);
        (table.pairs, table.pair_count) = (std::ptr::null(), 0);
    };
    assert_eq!(refusal(none), Flaw::Function("evaluate"));
    let many = |table: &mut Table| {
        only_pairs(table);
        table.pair_count = usize::MAX;
    };
    assert_eq!(refusal(many), Flaw::Count("pairs"));
}
