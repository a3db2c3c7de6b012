//! Answers that are short cuts: one look more, before the last look, on one machine alone, that nothing is wrong; against the long way.

#[expect(dead_code, reason = "stories are drawn here")]
#[path = "support/bench.rs"]
mod bench;
#[path = "support/boards.rs"]
mod boards;

use boards::{Dice, Size};
use diagnosis::{Action, BenchStep, Diagnosis, Holder, ModeChance, Situation};

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

/// A look that is made once more only adds a finding; so does another check of what was looked at.
#[test]
fn one_look_more() {
    for seed in 0..STORIES {
        let situation = drawn(seed);
        let Ok(before) = Diagnosis::of(&situation) else {
            continue;
        };
        let looks = situation.steps.iter();
        let looks = looks.filter(|step| matches!(step.action, Action::Measure(_)));
        for look in looks.rev().take(3) {
            let mut longer = situation.clone();
            longer.steps.push(BenchStep {
                time: None,
                ..look.clone()
            });
            let (Ok(found), Ok(again), Ok(expected)) = (
                before.then(look.clone()),
                before.again(&longer),
                Diagnosis::of(&longer),
            ) else {
                continue;
            };
            compare(seed, &again, &expected);
            // its time may open a power-up or a session of its own
            longer.steps.pop();
            longer.steps.push(look.clone());
            if let Ok(expected) = Diagnosis::of(&longer) {
                compare(seed, &found, &expected);
            }
        }
    }
}

/// The same chances of everything.
fn compare(seed: u64, found: &Diagnosis, expected: &Diagnosis) {
    let logs = (found.log_p_findings(), expected.log_p_findings());
    let same = logs.0 == logs.1 || (logs.0 - logs.1).abs() <= 1e-9;
    assert!(same, "story {seed}: {logs:?}");
    if !logs.1.is_finite() {
        return;
    }
    let numbers = |one: &Diagnosis| -> Vec<f64> {
        let modes = one.modes().into_iter().map(|mode| mode.chance);
        let fits = one.given_others().into_iter().map(|fit| fit.p);
        let events = one.events().into_iter().map(|event| event.2);
        modes.chain(fits).chain(events).collect()
    };
    let (found, expected) = (numbers(found), numbers(expected));
    assert_eq!(found.len(), expected.len(), "story {seed}");
    for (found, expected) in found.iter().zip(&expected) {
        let apart = (found - expected).abs();
        assert!(apart <= 1e-9, "story {seed}: {found}, expected {expected}");
    }
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
        let Ok(diagnosis) = Diagnosis::of(drawn(seed)) else {
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
