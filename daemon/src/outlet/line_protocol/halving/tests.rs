//! Batches against servers that are a rule about a line; which lines are bad is invented.

#![allow(clippy::unwrap_used)]
use super::*;
use proptest::prelude::*;

/// Posts a batch to a server that says of some lines why it refuses them, and of a batch what it
/// says of its first such line. Gives the outcome and the number of posts.
fn run(
    lines: &[String],
    server: impl Fn(&str) -> Option<String>,
) -> (Result<Outcome, RefusesAll>, usize) {
    let (mut halving, mut posts) = (Halving::new(lines.len()), 0);
    while let Some(range) = halving.to_post() {
        posts += 1;
        match lines[range.clone()].iter().find_map(|line| server(line)) {
            None => halving.taken(),
            Some(words) => {
                if let Err(all) = halving.refused(range, &words, |at| &lines[at]) {
                    return (Err(all), posts);
                }
            }
        }
    }
    (Ok(halving.finish()), posts)
}

fn batch(length: usize) -> Vec<String> {
    (0..length)
        .map(|at| format!("reading,probe=p{at} value=1 {at}"))
        .collect()
}

fn conflict(_: &str) -> Option<String> {
    Some("partial write: field type conflict dropped=1".to_owned())
}

#[test]
fn a_good_batch_is_posted_once_and_an_empty_one_never() {
    let (outcome, posts) = run(&batch(2000), |_| None);
    assert_eq!((outcome.unwrap().refused.len(), posts), (0, 1));
    let (outcome, posts) = run(&[], conflict);
    assert_eq!((outcome.unwrap(), posts), (Outcome::default(), 0));
}

#[test]
fn one_bad_line_of_two_thousand_costs_a_few_posts() {
    let (outcome, posts) = run(&batch(2000), |line| {
        line.ends_with(" 1234").then(|| "bad timestamp".to_owned())
    });
    let refused = outcome.unwrap().refused;
    assert_eq!(refused, [(1234, "bad timestamp".to_owned())].into());
    // Two posts for each halving (2^11 > 2000), the first one and three probes.
    assert!(posts <= 2 * 11 + 4, "{posts}");
}

#[test]
fn a_large_batch_that_is_refused_throughout_is_kept_after_four_posts() {
    let (outcome, posts) = run(&batch(2000), conflict);
    assert_eq!(outcome.unwrap_err().words, conflict("").unwrap());
    assert_eq!(posts, 4);
}

#[test]
fn a_large_batch_whose_lines_are_each_blamed_by_name_is_refused_line_by_line() {
    let (outcome, _) = run(&batch(20), |line| Some(format!("unable to parse '{line}'")));
    assert_eq!(outcome.unwrap().refused.len(), 20);
}

#[test]
fn bad_lines_at_both_ends_do_not_condemn_the_ones_between() {
    let (outcome, _) = run(&batch(100), |line| {
        let bad = line.ends_with(" 0") && !line.ends_with("0 0") || line.ends_with(" 99");
        bad.then(|| "conflict".to_owned())
    });
    let outcome = outcome.unwrap();
    assert_eq!(outcome.refused.into_keys().collect::<Vec<_>>(), [0, 99]);
    assert!(outcome.any_taken);
}

#[test]
fn points_older_than_the_retention_are_given_up_together() {
    let (outcome, posts) = {
        let lines = batch(1000);
        let mut halving = Halving::new(lines.len());
        let mut posts = 0;
        // The first 700 are too old; the server counts them as InfluxDB does.
        while let Some(range) = halving.to_post() {
            posts += 1;
            match range.end.min(700).saturating_sub(range.start) {
                0 => halving.taken(),
                old => {
                    let words =
                        format!("partial write: points beyond retention policy dropped={old}");
                    halving.refused(range, &words, |at| &lines[at]).unwrap();
                }
            }
        }
        (halving.finish(), posts)
    };
    assert!(outcome.refused.into_keys().eq(0..700));
    assert!(posts < 30, "{posts}");
}

#[test]
fn a_retention_policy_that_does_not_exist_is_no_fault_of_the_points() {
    let missing = |_: &str| Some("retention policy not found: \"autogen\"".to_owned());
    assert!(run(&batch(100), missing).0.is_err());
}

#[test]
fn small_batches_refused_in_succession_are_given_up_only_a_few_times() {
    let lines = batch(3);
    let outcome = run(&lines, conflict).0.unwrap();
    let mut succession = Succession::default();
    let mut take = || succession.take(&outcome, |at| &lines[at]);
    assert_eq!(take(), Ok(()));
    assert_eq!(take(), Ok(()));
    let words = conflict("").unwrap();
    assert_eq!(
        take(),
        Err(RefusesAll {
            words: words.clone()
        })
    );
    // Trying again later is no fresh start.
    assert_eq!(take(), Err(RefusesAll { words }));
}

#[test]
fn a_line_taken_in_between_ends_the_succession() {
    let lines = batch(3);
    let bad = run(&lines, conflict).0.unwrap();
    let good = run(&lines, |_| None).0.unwrap();
    let mut succession = Succession::default();
    for _ in 0..10 {
        for outcome in [&bad, &bad, &good] {
            assert_eq!(succession.take(outcome, |at| &lines[at]), Ok(()));
        }
    }
}

proptest! {
    #[test]
    fn exactly_the_bad_lines_are_refused_and_all_others_taken(
        bad in prop::collection::vec(any::<bool>(), 0..70),
    ) {
        let lines = batch(bad.len());
        let mut taken = vec![false; bad.len()];
        let mut halving = Halving::new(bad.len());
        while let Some(range) = halving.to_post() {
            match range.clone().find(|&at| bad[at]) {
                None => {
                    halving.taken();
                    taken[range].fill(true);
                }
                Some(at) => {
                    // A reason that differs from line to line: no setting is to blame.
                    let words = format!("line {at} is bad");
                    prop_assert_eq!(halving.refused(range, &words, |at| &lines[at]), Ok(()));
                }
            }
        }
        let refused = halving.finish().refused;
        for (at, &bad) in bad.iter().enumerate() {
            prop_assert_eq!(refused.contains_key(&at), bad);
            prop_assert_eq!(taken[at], !bad);
        }
    }
}
