//! How far an outlet has come: one cursor for what is live, one per outage still to be filled, one
//! for alarm moves. Pure; the log keeps it, the outlet's loop moves it.

use std::collections::VecDeque;

/// Outages remembered apart. When more pile up (a link that flaps for days without ever getting a
/// late parcel through) the two oldest are joined: what lies between them is sent twice, nothing is
/// lost.
const MOST_SPANS: usize = 1000;

/// Readings still to be sent late: those after `after`, up to and with `until`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// The last one that was acknowledged.
    pub after: u64,
    /// The last one that belongs to the span.
    pub until: u64,
}

/// An outlet's cursors. All are sequence numbers of what was acknowledged last.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// Live readings.
    pub live: u64,
    /// Outages to fill, oldest first, apart from each other and all before `live`.
    pub spans: VecDeque<Span>,
    /// Alarm moves (numbers of the journal).
    pub moves: u64,
}

impl Progress {
    /// Of an outlet that is new: it gets what comes from now on.
    #[must_use]
    pub fn starting_at(newest_reading: u64, newest_entry: u64) -> Self {
        Self {
            live: newest_reading,
            spans: VecDeque::new(),
            moves: newest_entry,
        }
    }

    /// After a connection was made: what came meanwhile becomes a span, live goes on from `newest`.
    pub fn reconnected(&mut self, newest: u64) {
        if newest > self.live {
            self.spans.push_back(Span {
                after: self.live,
                until: newest,
            });
            self.live = newest;
        }
        while self.spans.len() > MOST_SPANS {
            self.join_oldest();
        }
    }

    /// Live readings up to `seq` were acknowledged.
    pub fn live_acknowledged(&mut self, seq: u64) {
        self.live = self.live.max(seq);
    }

    /// Late readings of the oldest span up to `seq` were acknowledged.
    pub fn late_acknowledged(&mut self, seq: u64) {
        if let Some(span) = self.spans.front_mut() {
            span.after = span.after.max(seq);
        }
        self.drop_filled();
    }

    /// The log holds nothing more of the oldest span.
    pub fn oldest_span_is_empty(&mut self) {
        self.spans.pop_front();
    }

    /// Alarm moves up to `seq` were acknowledged.
    pub fn moves_acknowledged(&mut self, seq: u64) {
        self.moves = self.moves.max(seq);
    }

    fn drop_filled(&mut self) {
        while self.spans.front().is_some_and(|s| s.after >= s.until) {
            self.spans.pop_front();
        }
    }

    fn join_oldest(&mut self) {
        if let (Some(first), Some(second)) = (self.spans.pop_front(), self.spans.pop_front()) {
            self.spans.push_front(Span {
                after: first.after,
                until: second.until,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    #[test]
    fn an_outage_becomes_a_span_and_is_filled_in_order() {
        let mut progress = Progress::starting_at(100, 0);
        progress.reconnected(140);
        assert_eq!(progress.live, 140);
        progress.live_acknowledged(141);
        progress.late_acknowledged(120);
        assert_eq!(
            progress.spans,
            [Span {
                after: 120,
                until: 140
            }]
        );
        progress.late_acknowledged(140);
        assert!(progress.spans.is_empty());
    }

    #[test]
    fn a_second_outage_does_not_send_again_what_was_live_between() {
        let mut progress = Progress::starting_at(0, 0);
        progress.reconnected(10);
        progress.live_acknowledged(20);
        progress.reconnected(30);
        let spans = [
            Span {
                after: 0,
                until: 10,
            },
            Span {
                after: 20,
                until: 30,
            },
        ];
        assert_eq!(progress.spans, spans);
    }

    #[derive(Debug, Clone)]
    enum Step {
        Append(u64),
        Reconnect,
        Live(u64),
        Late(u64),
    }

    fn step() -> impl Strategy<Value = Step> {
        prop_oneof![
            (1u64..5).prop_map(Step::Append),
            Just(Step::Reconnect),
            (1u64..5).prop_map(Step::Live),
            (1u64..5).prop_map(Step::Late),
        ]
    }

    proptest! {
        /// Whatever happens, each reading is sent exactly once as long as no acknowledgement is lost.
        #[test]
        fn every_reading_is_delivered_once(steps in prop::collection::vec(step(), 0..200)) {
            let mut progress = Progress::default();
            let (mut newest, mut sent) = (0u64, Vec::new());
            for step in steps {
                match step {
                    Step::Append(n) => newest += n,
                    Step::Reconnect => progress.reconnected(newest),
                    Step::Live(n) => {
                        let to = (progress.live + n).min(newest);
                        sent.extend(progress.live + 1..=to);
                        progress.live_acknowledged(to);
                    }
                    Step::Late(n) => if let Some(span) = progress.spans.front().copied() {
                        let to = (span.after + n).min(span.until);
                        sent.extend(span.after + 1..=to);
                        progress.late_acknowledged(to);
                    }
                }
            }
            progress.reconnected(newest);
            while let Some(span) = progress.spans.front().copied() {
                sent.extend(span.after + 1..=span.until);
                progress.late_acknowledged(span.until);
            }
            let once: BTreeSet<u64> = sent.iter().copied().collect();
            prop_assert_eq!(once.len(), sent.len());
            prop_assert_eq!(sent.len() as u64, newest);
        }
    }

    #[test]
    fn more_outages_than_are_kept_apart_lose_nothing() {
        let mut progress = Progress::default();
        for outage in 1..=2 * MOST_SPANS as u64 {
            progress.live_acknowledged(outage * 10 - 5);
            progress.reconnected(outage * 10);
        }
        assert_eq!(progress.spans.len(), MOST_SPANS);
        assert_eq!(progress.spans.front().map(|s| s.after), Some(5));
        assert_eq!(
            progress.spans.back().map(|s| s.until),
            Some(20 * MOST_SPANS as u64)
        );
    }
}
