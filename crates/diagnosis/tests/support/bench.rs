//! Boards and steps written short.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::{Library, Profile};
use diagnosis::{Action, BenchStep, Machine, Measure, Shown, Situation, Supply};

/// Reads a board's text.
pub(crate) fn read(text: &str) -> Profile {
    catalogue::parse_profile(text, "board.toml", &Library::default())
        .unwrap_or_else(|problems| panic!("{text}\n{problems:?}"))
}

/// A machine `T-1` on a board, and what was done.
pub(crate) fn one_machine(profile: Profile, steps: Vec<BenchStep>) -> Situation {
    let machine = Machine {
        tag: "T-1".to_owned(),
        profile: profile.id.clone(),
        ..Machine::default()
    };
    Situation {
        profiles: BTreeMap::from([(profile.id.clone(), Arc::new(profile))]),
        machines: vec![machine],
        steps,
        ..Situation::default()
    }
}

/// A finding without more about it.
pub(crate) fn measured(machine: &str, check: &str, shown: Shown) -> BenchStep {
    BenchStep {
        time: None,
        action: Action::Measure(Measure {
            machine: machine.to_owned(),
            check: check.to_owned(),
            shown,
            person: None,
            minutes_on: None,
            supply: Supply::Usual,
        }),
    }
}
