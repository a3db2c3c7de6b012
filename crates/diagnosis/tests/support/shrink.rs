//! Makes a case on which two programs differ as small as it gets.

use std::sync::Arc;

use catalogue::{Need, Profile, Tells};
use diagnosis::{Machine, Situation};

/// Takes away whatever can go while `differs` still holds.
pub(crate) fn shrink(situation: &Situation, differs: impl Fn(&Situation) -> bool) -> Situation {
    let mut best = situation.clone();
    loop {
        let smaller = simpler(&best)
            .into_iter()
            .find(|candidate| differs(candidate));
        match smaller {
            Some(smaller) => best = smaller,
            None => return best,
        }
    }
}

fn simpler(situation: &Situation) -> Vec<Situation> {
    let mut all = Vec::new();
    let mut change = |make: &dyn Fn(&mut Situation)| {
        let mut other = situation.clone();
        make(&mut other);
        if format!("{other:?}") != format!("{situation:?}") {
            all.push(other);
        }
    };
    for index in (0..situation.steps.len()).rev() {
        change(&|other| drop(other.steps.remove(index)));
    }
    change(&|other| other.steps.iter_mut().for_each(|step| step.time = None));
    for index in 0..situation.machines.len() {
        change(&|other| {
            let machine = &mut other.machines[index];
            *machine = Machine {
                tag: machine.tag.clone(),
                profile: machine.profile.clone(),
                mule: machine.mule,
                ..Machine::default()
            };
        });
        change(&|other| drop(other.machines.remove(index)));
    }
    for profile in profiles(situation.profiles.values().next().expect("a profile")) {
        let mut other = situation.clone();
        other.profiles.insert(profile.id.clone(), Arc::new(profile));
        all.push(other);
    }
    all
}

fn profiles(profile: &Profile) -> Vec<Profile> {
    let mut all = Vec::new();
    let mut change = |make: &dyn Fn(&mut Profile)| {
        let mut other = profile.clone();
        make(&mut other);
        if other != *profile {
            all.push(other);
        }
    };
    change(&|p| p.unmodelled = 0.0);
    change(&|p| p.events.clear());
    change(&|p| p.outside.clear());
    for index in 0..profile.checks.len() {
        change(&|p| drop(p.checks.remove(index)));
        change(&|p| p.checks[index].blunder = 0.0);
        change(&|p| p.checks[index].requires.clear());
        change(&|p| p.checks[index].harms.clear());
        change(&|p| p.checks[index].limits = None);
        change(&|p| p.checks[index].repeats_same = false);
        change(&|p| {
            if let Tells::Rows(rows) = &mut p.checks[index].tells
                && rows.len() > 1
            {
                rows.remove(0);
            }
        });
    }
    for part in 0..profile.parts.len() {
        change(&|p| p.parts[part].optional = false);
        for mode in 0..profile.parts[part].modes.len() {
            change(&|p| p.parts[part].modes[mode].chance = 0.0);
            change(&|p| p.parts[part].modes[mode].spoils.clear());
            change(&|p| p.parts[part].modes[mode].spares.clear());
            change(&|p| p.parts[part].modes[mode].shows = 1.0);
            change(&|p| p.parts[part].modes[mode].after_minutes = 0.0);
        }
    }
    for function in 0..profile.functions.len() {
        change(&|p| p.functions[function].leak = 0.0);
        for need in 0..profile.functions[function].needs.len() {
            change(&|p| drop(p.functions[function].needs.remove(need)));
            change(&|p| {
                if let Need::Target { chance, .. } = &mut p.functions[function].needs[need] {
                    *chance = 1.0;
                }
            });
        }
    }
    for rail in 0..profile.rails.len() {
        change(&|p| p.rails[rail].leak = 0.0);
        change(&|p| p.rails[rail].fed_by.clear());
    }
    all
}
