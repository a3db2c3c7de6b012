//! Small piles: the same seed gives the same figures, costs add up, the same faults meet every policy.

mod support;

use rehearsal::{Name, Report, Size, rehearse};
use support::{board, terms};

const POLICIES: [Name; 5] = Name::ALL;

fn played(name: &str, seed: u64) -> Report {
    let terms = terms(&board(name));
    let size = Size {
        piles: 20,
        machines: 4,
        seed,
    };
    rehearse(&terms, size, &POLICIES, &|_| {}).expect("a rehearsal")
}

#[test]
fn the_same_seed_gives_the_same_figures() {
    let once = played("chain", 3);
    assert_eq!(once, played("chain", 3));
    assert_ne!(once, played("chain", 4));
}

#[test]
fn what_is_spent_adds_up() {
    for name in ["chain", "door", "contacts"] {
        let terms = terms(&board(name));
        let economy = terms.economy();
        for policy in played(name, 11).policies {
            let went = policy.where_minutes_go;
            assert!(
                (went.sum() - policy.minutes.mean).abs() < 1e-9,
                "{name} {policy:?}"
            );
            let working = policy.working.mean;
            let worth = economy.worth * working + economy.hold * (4.0 - working);
            let spent = policy.money.mean
                + policy.minutes.mean * economy.rate_per_minute
                + policy.harmed.mean * economy.harm_cost;
            assert!(
                (worth - spent - policy.value.mean).abs() < 1e-9,
                "{name} {policy:?}"
            );
            assert!((policy.value.mean - 4.0 * policy.value_each.mean).abs() < 1e-9);
            assert!(policy.wrong_parts.mean <= policy.parts.mean);
        }
    }
}

#[test]
fn differences_are_those_of_the_means() {
    let report = played("door", 5);
    let ours = &report.policies[0];
    assert_eq!(ours.policy, Name::Ours);
    assert_eq!(ours.ours_less_this, None);
    for other in &report.policies[1..] {
        let less = other.ours_less_this.expect("differences");
        for (found, expected) in [
            (less.value.mean, ours.value.mean - other.value.mean),
            (less.working.mean, ours.working.mean - other.working.mean),
            (less.minutes.mean, ours.minutes.mean - other.minutes.mean),
            (
                less.minutes_each_working.mean,
                ours.minutes_each_working.mean - other.minutes_each_working.mean,
            ),
        ] {
            assert!((found - expected).abs() < 1e-9, "{other:?}");
        }
    }
}

#[test]
fn a_whole_machine_costs_one_look() {
    let mut profile = board("chain");
    for part in &mut profile.parts {
        for mode in &mut part.modes {
            mode.chance = 0.0;
        }
    }
    let terms = terms(&profile);
    let size = Size {
        piles: 2,
        machines: 3,
        seed: 1,
    };
    let report = rehearse(&terms, size, &[Name::UsualSuspects], &|_| {}).expect("a rehearsal");
    let policy = &report.policies[0];
    // the retest of 3 minutes and the power of 1, for three machines at 0.20: 300 less 2.40
    assert_eq!(policy.working.mean, 3.0);
    assert!((policy.value.mean - 297.6).abs() < 1e-9);
    assert_eq!(policy.minutes_each_working.mean, 4.0);
}
