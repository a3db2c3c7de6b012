//! Taking a pile apart: machines that exchanged chips stay together.

use std::{collections::BTreeSet, sync::Arc};

use crate::{
    error::Error,
    situation::{Action, Chip, Situation, Truth},
    unroll::unroll,
};

/// The machines by groups: those that exchanged chips, directly or through others, are together.
pub(super) fn group_sets(situation: &Situation) -> Vec<BTreeSet<String>> {
    let mut sets: Vec<BTreeSet<String>> = situation
        .machines
        .iter()
        .map(|machine| BTreeSet::from([machine.tag.clone()]))
        .collect();
    for step in &situation.steps {
        let tags = tags_of(situation, &step.action);
        let mut joined: Vec<usize> = (0..sets.len())
            .filter(|&set| !sets[set].is_disjoint(&tags))
            .collect();
        if joined.len() < 2 {
            continue;
        }
        let first = joined.remove(0);
        for set in joined.into_iter().rev() {
            let other = sets.remove(set);
            sets[first].extend(other);
        }
    }
    sets
}

/// The machines that an action concerns; a marked chip brings those it was pulled from.
fn tags_of(situation: &Situation, action: &Action) -> BTreeSet<String> {
    match action {
        Action::Measure(measure) => BTreeSet::from([measure.machine.clone()]),
        Action::Power { machine, .. }
        | Action::SetUp { machine }
        | Action::Pull { machine, .. }
        | Action::Treat { machine, .. }
        | Action::Mend { machine } => BTreeSet::from([machine.clone()]),
        Action::Fit { machine, chip, .. } => {
            let mut tags = BTreeSet::from([machine.clone()]);
            if let Chip::Marked(mark) = chip {
                tags.extend(origins(situation, mark));
            }
            tags
        }
        Action::Swap { a, b } => BTreeSet::from([a.0.clone(), b.0.clone()]),
        Action::Settle { machine, truth } => {
            let mut tags: BTreeSet<String> = machine.iter().cloned().collect();
            if let Truth::MarkedMode { mark, .. } = truth {
                tags.extend(origins(situation, mark));
            }
            tags
        }
    }
}

/// Machines from which a chip with this mark came out.
fn origins<'a>(situation: &'a Situation, mark: &'a str) -> impl Iterator<Item = String> + 'a {
    situation
        .steps
        .iter()
        .filter_map(move |step| match &step.action {
            Action::Pull {
                machine,
                mark: Some(other),
                ..
            }
            | Action::Fit {
                machine,
                old_mark: Some(other),
                ..
            } if other == mark => Some(machine.clone()),
            _ => None,
        })
}

pub(super) fn all_steps(situation: &Situation) -> Vec<usize> {
    (0..situation.steps.len()).collect()
}

/// The machines and steps that concern some of the machines, and the steps' indices.
pub(super) fn part_of(
    situation: &Situation,
    belongs: impl Fn(&str) -> bool,
) -> (Situation, Vec<usize>) {
    let concerns = |action: &Action| tags_of(situation, action).iter().any(|tag| belongs(tag));
    let mut steps = all_steps(situation);
    steps.retain(|&step| concerns(&situation.steps[step].action));
    let part = Situation {
        profiles: situation.profiles.clone(),
        machines: situation
            .machines
            .iter()
            .filter(|machine| belongs(&machine.tag))
            .cloned()
            .collect(),
        lots: situation.lots.clone(),
        steps: steps
            .iter()
            .map(|&step| situation.steps[step].clone())
            .collect(),
    };
    (part, steps)
}

/// What no group can know alone: machines that are not there, a mark on two chips.
pub(super) fn check_names(situation: &Situation) -> Result<(), Error> {
    let known = |tag: &String| situation.machines.iter().any(|machine| machine.tag == *tag);
    let whole = situation.steps.iter().any(|step| match &step.action {
        Action::Pull { mark: Some(_), .. }
        | Action::Fit {
            old_mark: Some(_), ..
        } => true,
        action => {
            let tags = tags_of(situation, action);
            tags.is_empty() || !tags.iter().all(known)
        }
    });
    if whole {
        unroll(situation, &|_| None)?;
    }
    Ok(())
}

/// The short comparisons come first.
pub(super) fn is_same(a: &Situation, b: &Situation) -> bool {
    a.steps == b.steps && is_same_pile(a, b)
}

/// All but the steps is the same.
pub(crate) fn is_same_pile(a: &Situation, b: &Situation) -> bool {
    let boards = || {
        let mut boards = a.profiles.iter().zip(&b.profiles);
        a.profiles.len() == b.profiles.len()
            && boards.all(|(a, b)| a.0 == b.0 && (Arc::ptr_eq(a.1, b.1) || a.1 == b.1))
    };
    a.machines == b.machines && a.lots == b.lots && boards()
}
