//! The verdicts as people read them.

use super::*;

#[test]
fn verdicts_read_as_sentences_of_one_line() {
    let evidence = Evidence {
        window: 60.0,
        samples: 120,
        effective: 42.3,
        largest_change: 0.01,
        is_flat: true,
        time_constants: Some(8.4),
    };
    let verdicts = [
        Verdict::Waiting { seconds: 25.4 },
        Verdict::Falling { to_go: Some(38.0) },
        Verdict::Rising { to_go: Some(200.0) },
        Verdict::Falling { to_go: None },
        Verdict::Settled(evidence),
        Verdict::Settled(Evidence {
            time_constants: Some(3.0),
            ..evidence
        }),
        Verdict::Settled(Evidence {
            is_flat: false,
            time_constants: None,
            ..evidence
        }),
        Verdict::Settled(Evidence {
            window: 900.0,
            samples: 2047,
            effective: 2047.0,
            time_constants: Some(1e9),
            ..evidence
        }),
        Verdict::NotSettling(Restless::Drift(-0.001)),
        Verdict::NotSettling(Restless::Noise(0.3)),
        Verdict::Disturbed,
    ];
    let lines: Vec<String> = verdicts.iter().map(Verdict::to_string).collect();
    assert!(lines.iter().all(|line| line.chars().count() <= 76));
    insta::assert_snapshot!(lines.join("\n"), @r"
    watching it: 30 s more at least
    still falling, about 40 s to go
    still rising, about 4 min to go
    still falling
    no trend in 60 s (95 %), worth 42 of 120 samples, 8 time constants
    no trend in 60 s (95 %), worth 42 of 120 samples, rest below the aim
    no change in 60 s (95 %), worth 42 of 120 samples
    no trend in 900 s (95 %), worth 2047 of 2047 samples, 99 time constants
    drifts slowly and does not settle: what it is in changes
    too noisy to tell: average more samples, or shorten the lead
    it jumped: watching it from here anew
    ");
}

#[test]
fn a_quantity_that_goes_the_other_way_mirrors_the_direction() {
    let rising = Verdict::Rising { to_go: Some(4.0) };
    assert_eq!(
        rising.clone().mirrored(),
        Verdict::Falling { to_go: Some(4.0) }
    );
    assert_eq!(rising.clone().mirrored().mirrored(), rising);
    let drift = Verdict::NotSettling(Restless::Drift(0.5));
    assert_eq!(
        drift.mirrored(),
        Verdict::NotSettling(Restless::Drift(-0.5))
    );
}
