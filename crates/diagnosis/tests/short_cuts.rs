//! Answers that are short cuts: before the last look, on one machine alone, that nothing is wrong; against the long way.

#[expect(dead_code, reason = "stories are drawn here")]
#[path = "support/bench.rs"]
mod bench;
#[path = "support/boards.rs"]
mod boards;

use boards::{Dice, Size};
use diagnosis::{Diagnosis, Holder, ModeChance, Situation};

/// Stories that are drawn.
const STORIES: u64 = 300;

fn drawn(seed: u64) -> Situation {
    let mut dice = Dice::new(seed);
    let size = if seed.is_multiple_of(3) {
        Size::wide(8 + dice.below(10))
    } else {
        Size::small(&mut dice)
    };
    let profile = bench::read(&boards::board(&mut dice, size));
    let mut situation = boards::story(&mut dice, profile, size);
    // a step without a time has that of the step before, which may be the one that is left out
    let mut now = None;
    for step in &mut situation.steps {
        now = step.time.or(now);
        step.time = now;
    }
    situation
}

fn chance(modes: &[ModeChance], of: &ModeChance) -> Option<f64> {
    let same = |one: &&ModeChance| one.holder == of.holder && one.mode == of.mode;
    modes.iter().find(same).map(|one| one.chance)
}

/// Compares machine by machine; returns how many were answered without a diagnosis of their own.
fn check(seed: u64, situation: &Situation, step: usize) -> usize {
    let Ok(now) = Diagnosis::of(situation) else {
        return 0;
    };
    let mut shorter = situation.clone();
    shorter.steps.remove(step);
    let Ok(before) = Diagnosis::of(&shorter) else {
        return 0;
    };
    let possible = before.log_p_findings().is_finite() && now.log_p_findings().is_finite();
    let mut answered = 0;
    for tag in situation.machines.iter().map(|machine| &machine.tag) {
        let Some(found) = now.modes_before(tag, step).filter(|_| possible) else {
            continue;
        };
        answered += 1;
        let expected = before.modes();
        for mode in &found {
            let expected = chance(&expected, mode).expect("the same modes");
            assert!(
                (mode.chance - expected).abs() <= 1e-9,
                "story {seed}, {tag} without step {step}: {mode:?}, expected {expected}"
            );
        }
        let here = |one: &&ModeChance| matches!(&one.holder, Holder::Position { machine, .. } if machine == tag);
        let (found, expected) = (found.iter(), expected.iter());
        let counts = (found.filter(here).count(), expected.filter(here).count());
        assert_eq!(
            counts.0, counts.1,
            "story {seed}, {tag} without step {step}"
        );
    }
    answered
}

#[test]
fn what_was_so_before_the_last_look() {
    let mut answered = 0;
    for seed in 0..STORIES {
        let situation = drawn(seed);
        let steps = 0..situation.steps.len();
        answered += steps
            .map(|step| check(seed, &situation, step))
            .sum::<usize>();
    }
    assert!(answered > 100, "{answered} machines were answered");
}

#[test]
fn the_fits_of_one_machine_are_those_of_all() {
    for seed in 0..STORIES / 3 {
        let situation = drawn(seed);
        let Ok(diagnosis) = Diagnosis::of(&situation) else {
            continue;
        };
        let all = diagnosis.given_others();
        for machine in &situation.machines {
            for fit in diagnosis.given_others_of(&machine.tag) {
                assert!(
                    all.contains(&fit),
                    "story {seed}: {fit:?} of {}",
                    machine.tag
                );
            }
        }
    }
}

#[test]
fn nothing_is_wrong_as_often_as_that_explains_it() {
    let mut compared = 0;
    for seed in 0..STORIES / 3 {
        let Ok(diagnosis) = Diagnosis::of(&drawn(seed)) else {
            continue;
        };
        for machine in &drawn(seed).machines {
            let best = diagnosis.explanations(&machine.tag, 5).expect("a machine");
            let empty = best
                .iter()
                .find(|one| one.modes.is_empty() && !one.unmodelled);
            let whole = diagnosis.nothing_wrong(&machine.tag).expect("a machine");
            if let Some(empty) = empty.filter(|_| diagnosis.log_p_findings().is_finite()) {
                compared += 1;
                let off = (empty.share - whole).abs();
                assert!(
                    off <= 1e-9,
                    "story {seed}, {}: {whole}, {empty:?}",
                    machine.tag
                );
            }
        }
    }
    assert!(compared > 30, "{compared} machines compared");
}
