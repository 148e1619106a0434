//! Reading forward in steps gives exactly what was appended, wherever the border between file and
//! memory lies and however it moves meanwhile.

use crate::log::testing::{Bench, run, seqs};
use crate::log::{LogReader, same_line};
use crate::reading::Reading;
use proptest::prelude::*;

#[derive(Clone, Debug)]
enum Step {
    /// Appends lines of so many readings each.
    Append(Vec<usize>),
    Commit,
    /// Lets one of the walkers read once.
    Read {
        walker: usize,
        limit: usize,
    },
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        proptest::collection::vec(1_usize..=4, 1..800).prop_map(Step::Append),
        Just(Step::Commit),
        (0_usize..2, 1_usize..1500).prop_map(|(walker, limit)| Step::Read { walker, limit }),
    ]
}

/// Reads forward as an outlet does.
struct Walker {
    reader: LogReader,
    read: Vec<Reading>,
}

impl Walker {
    /// False at the end.
    async fn step(&mut self, limit: usize) -> bool {
        let after = self.read.last().map_or(0, |reading| reading.seq);
        let found = self.reader.after(after, u64::MAX, limit).await.unwrap();
        assert!(found.len() < limit + 4, "a line has four readings at most");
        if let (Some(last), Some(next)) = (self.read.last(), found.first()) {
            assert!(!same_line(last, next), "a line was cut in two");
        }
        self.read.extend_from_slice(&found);
        !found.is_empty()
    }
}

async fn walk(steps: Vec<Step>, limit: usize) {
    let bench = Bench::new().await;
    let walker = || Walker {
        reader: bench.log.reader(),
        read: Vec::new(),
    };
    let mut walkers = [walker(), walker()];
    let (mut lines, mut appended) = (0, 0);
    for step in steps {
        match step {
            Step::Append(counts) => {
                appended += counts.iter().sum::<usize>() as u64;
                bench.lines((lines..).zip(counts.iter().copied())).await;
                lines += counts.len() as u64;
            }
            Step::Commit => bench.log.commit().await.unwrap(),
            Step::Read { walker, limit } => {
                walkers[walker].step(limit).await;
            }
        }
    }
    for mut walker in walkers {
        while walker.step(limit).await {}
        let all: Vec<u64> = (1..=appended).collect();
        assert_eq!(seqs(&walker.read), all);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]
    #[test]
    fn no_reading_is_missed_or_doubled_and_no_line_cut(
        steps in proptest::collection::vec(step(), 1..24),
        limit in 1_usize..500,
    ) {
        run(walk(steps, limit));
    }
}

#[test]
fn a_reader_far_behind_crosses_from_the_file_into_memory() {
    // More than memory keeps once it is committed, then as much again that is not.
    let half = || Step::Append(vec![3; 3000]);
    run(walk(vec![half(), Step::Commit, half()], 1000));
}
