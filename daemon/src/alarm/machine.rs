//! The state machine of one alarm.
//!
//! Delays are measured between readings, in boot time. OPC UA Part 9 (B.1.5) is the public wording
//! for them: an on-delay must pass with the condition true before the alarm becomes active, an
//! off-delay with the condition false before it returns, and a deadband is the distance that the
//! value must go back past the limit. A reading that cannot tell (a fault, for a limit) neither
//! starts, ends nor forgets a delay: missing is not normal.

use super::{Condition, Rule, State};
use crate::reading::{Outcome, Quality};

/// One alarm of one probe.
#[derive(Clone, Debug, PartialEq)]
pub struct Machine {
    rule: Rule,
    state: State,
    /// Boot time at which the readings began to speak for the other state, nanoseconds.
    since_ns: Option<u64>,
}

/// What one reading says of a condition.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Verdict {
    /// The condition holds.
    Holds,
    /// It does not.
    Gone,
    /// Between limit and deadband: whatever the state is, it stays.
    Between,
    /// The reading has no number to judge.
    CannotTell,
}

impl Machine {
    /// An alarm in the state it was left in.
    #[must_use]
    pub fn new(rule: Rule, state: State) -> Self {
        Self {
            rule,
            state,
            since_ns: None,
        }
    }

    /// Where it stands.
    #[must_use]
    pub fn state(&self) -> State {
        self.state
    }

    /// What it watches for.
    #[must_use]
    pub fn rule(&self) -> &Rule {
        &self.rule
    }

    /// Takes other settings; the state stays, a delay under way starts again.
    pub fn set_rule(&mut self, rule: Rule) {
        if self.rule != rule {
            self.rule = rule;
            self.since_ns = None;
        }
    }

    /// Judges a reading acquired at `boot_ns`; the states it went from and to, where it moved.
    pub fn judge(&mut self, outcome: Outcome, boot_ns: u64) -> Option<(State, State)> {
        self.weigh(verdict(self.rule.condition, outcome), boot_ns)
    }

    /// Judges whether the probe's calibration is past its date, at a reading acquired at `boot_ns`;
    /// as [`Machine::judge`].
    pub fn judge_date(&mut self, is_due: bool, boot_ns: u64) -> Option<(State, State)> {
        let verdict = if is_due {
            Verdict::Holds
        } else {
            Verdict::Gone
        };
        self.weigh(verdict, boot_ns)
    }

    fn weigh(&mut self, verdict: Verdict, boot_ns: u64) -> Option<(State, State)> {
        let (other, delay_ms) = match (self.state, verdict) {
            (_, Verdict::CannotTell) => return None,
            (State::Normal, Verdict::Holds) => (State::Active, self.rule.on_delay_ms),
            (State::Active, Verdict::Gone) => (State::Normal, self.rule.off_delay_ms),
            (State::Normal, Verdict::Gone | Verdict::Between)
            | (State::Active, Verdict::Holds | Verdict::Between) => {
                self.since_ns = None;
                return None;
            }
        };
        let since = *self.since_ns.get_or_insert(boot_ns);
        if boot_ns.saturating_sub(since) < delay_ms.saturating_mul(1_000_000) {
            return None;
        }
        self.since_ns = None;
        Some((std::mem::replace(&mut self.state, other), other))
    }
}

fn verdict(condition: Condition, outcome: Outcome) -> Verdict {
    match condition {
        Condition::High { limit, deadband } => {
            limit_verdict(outcome, |value| (value >= limit, value < limit - deadband))
        }
        Condition::Low { limit, deadband } => {
            limit_verdict(outcome, |value| (value <= limit, value > limit + deadband))
        }
        Condition::Fault => match outcome.quality() {
            Quality::Good | Quality::Extrapolated => Verdict::Gone,
            Quality::Stale | Quality::BoardSilent => Verdict::CannotTell,
            Quality::OpenCircuit
            | Quality::ShortCircuit
            | Quality::Saturated
            | Quality::OutOfRange
            | Quality::Unreadable
            | Quality::DriverFailed => Verdict::Holds,
        },
        // A reading does not know the date: see `judge_date`.
        Condition::Due => Verdict::CannotTell,
        Condition::Stale => match outcome.quality() {
            Quality::Stale | Quality::BoardSilent => Verdict::Holds,
            Quality::Good
            | Quality::Extrapolated
            | Quality::OpenCircuit
            | Quality::ShortCircuit
            | Quality::Saturated
            | Quality::OutOfRange
            | Quality::Unreadable
            | Quality::DriverFailed => Verdict::Gone,
        },
    }
}

fn limit_verdict(outcome: Outcome, judge: impl Fn(f64) -> (bool, bool)) -> Verdict {
    match outcome.estimate().map(|e| judge(e.value())) {
        None => Verdict::CannotTell,
        Some((true, _)) => Verdict::Holds,
        Some((false, true)) => Verdict::Gone,
        Some((false, false)) => Verdict::Between,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::reading::Estimate;
    use proptest::prelude::*;

    const SECOND: u64 = 1_000_000_000;

    fn value(value: f64) -> Outcome {
        Outcome::Value(Estimate::new(value, 0.1).unwrap())
    }

    fn high(on_delay_s: u64, off_delay_s: u64) -> Machine {
        let rule = Rule {
            condition: Condition::High {
                limit: 40.0,
                deadband: 0.5,
            },
            on_delay_ms: on_delay_s * 1000,
            off_delay_ms: off_delay_s * 1000,
            action: String::new(),
        };
        Machine::new(rule, State::Normal)
    }

    /// Seconds at which the alarm moved, for one outcome a second.
    fn moves(machine: &mut Machine, outcomes: &[Outcome]) -> Vec<(usize, State)> {
        let judge = |(second, outcome): (usize, &Outcome)| {
            let moved = machine.judge(*outcome, second as u64 * SECOND)?;
            Some((second, moved.1))
        };
        outcomes.iter().enumerate().filter_map(judge).collect()
    }

    #[test]
    fn without_delay_it_moves_at_the_limit_and_returns_below_the_deadband() {
        let outcomes = [39.9, 40.0, 39.9, 39.5, 39.49, 39.9].map(value);
        let expected = [(1, State::Active), (4, State::Normal)];
        assert_eq!(moves(&mut high(0, 0), &outcomes), expected);
    }

    #[test]
    fn a_reading_back_below_the_limit_restarts_the_on_delay() {
        let outcomes = [41.0, 41.0, 39.9, 41.0, 41.0, 41.0].map(value);
        assert_eq!(moves(&mut high(2, 0), &outcomes), [(5, State::Active)]);
    }

    #[test]
    fn missing_readings_during_the_on_delay_do_not_count_as_normal() {
        let open = Outcome::Fault(Quality::OpenCircuit);
        let outcomes = [value(41.0), open, open, value(41.0)];
        assert_eq!(moves(&mut high(3, 0), &outcomes), [(3, State::Active)]);
    }

    #[test]
    fn an_active_alarm_stays_active_while_the_probe_is_broken() {
        let mut machine = high(0, 0);
        let open = Outcome::Fault(Quality::OpenCircuit);
        assert_eq!(moves(&mut machine, &[value(41.0), open, open]).len(), 1);
        assert_eq!(machine.state(), State::Active);
    }

    #[test]
    fn fault_and_stale_are_told_apart() {
        let watch = |condition, quality| {
            let rule = Rule {
                condition,
                ..high(0, 0).rule
            };
            let mut machine = Machine::new(rule, State::Normal);
            machine.judge(Outcome::Fault(quality), 0).is_some()
        };
        assert!(watch(Condition::Fault, Quality::ShortCircuit));
        assert!(!watch(Condition::Fault, Quality::BoardSilent));
        assert!(watch(Condition::Stale, Quality::BoardSilent));
        assert!(!watch(Condition::Stale, Quality::ShortCircuit));
    }

    #[test]
    fn a_date_is_judged_by_itself_whatever_the_reading_is() {
        let rule = Rule {
            condition: Condition::Due,
            ..high(0, 0).rule
        };
        let mut machine = Machine::new(rule, State::Normal);
        assert_eq!(machine.judge(value(41.0), 0), None);
        assert_eq!(machine.judge_date(false, SECOND), None);
        let raised = machine.judge_date(true, 2 * SECOND);
        assert_eq!(raised, Some((State::Normal, State::Active)));
        let calibrated = machine.judge_date(false, 3 * SECOND);
        assert_eq!(calibrated, Some((State::Active, State::Normal)));
    }

    #[test]
    fn another_limit_keeps_the_state() {
        let mut machine = high(0, 0);
        machine.judge(value(41.0), 0);
        let mut rule = machine.rule().clone();
        rule.condition = Condition::High {
            limit: 50.0,
            deadband: 0.5,
        };
        machine.set_rule(rule);
        assert_eq!(machine.state(), State::Active);
        let moved = machine.judge(value(41.0), SECOND);
        assert_eq!(moved, Some((State::Active, State::Normal)));
    }

    proptest! {
        /// Never silent once the condition has held for its delay; never active without it.
        #[test]
        fn active_exactly_when_it_has_held(
            temperatures in prop::collection::vec(35.0f64..45.0, 1..200),
            delay in 0u64..5,
        ) {
            let mut machine = high(delay, 0);
            let mut held = 0u64;
            for (second, temperature) in temperatures.into_iter().enumerate() {
                machine.judge(value(temperature), second as u64 * SECOND);
                held = if temperature >= 40.0 { held + 1 } else { 0 };
                if held > delay {
                    prop_assert_eq!(machine.state(), State::Active);
                }
                if temperature < 39.5 {
                    prop_assert_eq!(machine.state(), State::Normal);
                }
            }
        }
    }
}
