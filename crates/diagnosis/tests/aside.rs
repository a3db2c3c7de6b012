//! Where a network may not be large enough for an exact answer, the exact one lies within the bounds that are given.

#[expect(dead_code, reason = "stories are drawn here")]
#[path = "support/bench.rs"]
mod bench;
#[expect(dead_code, reason = "small boards are too small to set anything aside")]
#[path = "support/boards.rs"]
mod boards;

use boards::{Dice, Size};
use diagnosis::{Diagnosis, Limits, ModeChance, Situation};

/// Stories that are drawn.
const STORIES: u64 = 400;

fn drawn(seed: u64) -> Situation {
    let mut dice = Dice::new(seed);
    let size = Size::wide(8 + dice.below(10));
    let profile = bench::read(&boards::board(&mut dice, size));
    boards::story(&mut dice, profile, size)
}

fn chance(modes: &[ModeChance], of: &ModeChance) -> f64 {
    let same = |one: &&ModeChance| one.holder == of.holder && one.mode == of.mode;
    modes.iter().find(same).map_or(0.0, |one| one.chance)
}

/// Compares an answer with the exact one; returns the bound if something was set aside.
fn check(seed: u64, exact: &Diagnosis, found: &Diagnosis) -> Option<f64> {
    let bound = found.aside().map(|aside| aside.at_most);
    let at_most = bound.unwrap_or(0.0);
    let rounding = 1e-9;
    let (p, kept) = (exact.p_findings(), found.p_findings());
    assert!(
        kept <= p * (1.0 + rounding) && p * (1.0 - at_most) <= kept * (1.0 + rounding),
        "story {seed}: P(findings) {p}, kept {kept}, at most {at_most} aside"
    );
    if p > 0.0 && kept > 0.0 {
        let modes = found.modes();
        for mode in exact.modes() {
            let off = (mode.chance - chance(&modes, &mode)).abs();
            assert!(
                off <= at_most + rounding,
                "story {seed}: {mode:?} is off by {off}, at most {at_most} was promised"
            );
        }
    }
    bound
}

/// The same, reached one step after the other.
fn step_by_step(situation: &Situation, limits: Limits) -> Option<Diagnosis> {
    let start = Situation {
        steps: Vec::new(),
        ..situation.clone()
    };
    let start = Diagnosis::of_within(&start, limits).ok()?;
    let mut steps = situation.steps.iter();
    steps.try_fold(start, |before, step| before.then(step.clone()).ok())
}

#[test]
fn the_exact_answer_lies_within_the_bounds() {
    let mut bounds = Vec::new();
    for seed in 0..STORIES {
        let situation = drawn(seed);
        let Ok(exact) = Diagnosis::of(&situation) else {
            continue;
        };
        for entries in [exact.entries() * 3 / 4, exact.entries() / 2] {
            for worst in [0.01, 1.0] {
                let limits = Limits { entries, worst };
                let at_once = Diagnosis::of_within(&situation, limits).ok();
                let later = step_by_step(&situation, limits);
                for found in at_once.into_iter().chain(later) {
                    bounds.extend(check(seed, &exact, &found));
                }
            }
        }
    }
    let told = bounds.iter().filter(|bound| **bound < 0.9).count();
    assert!(
        bounds.len() > 200 && told > 20,
        "something was set aside {} times, with a bound that tells something {told} times",
        bounds.len()
    );
}
