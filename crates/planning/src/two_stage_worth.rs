//! What a plan in two stages is worth, by the rules alone.

use std::collections::{BTreeMap, BTreeSet};

use crate::instance::{Instance, Scenario};
use crate::plan::{Case, Choice, Plan};
use crate::revalue::{Worth, revalue};

/// The worth of a plan in two stages, computed from the rules alone: each case by itself, with the machines in their
/// states and what was settled before.
///
/// # Errors
/// The first thing that is wrong with it, in words.
pub(crate) fn revalue_cases(instance: &Instance, plan: &Plan) -> Result<Worth, String> {
    let mut sum = Worth {
        value: 0.0,
        money: 0,
        minutes: 0.0,
        working: 0.0,
    };
    for case in &plan.cases {
        let known = in_states(instance, &case.states);
        let own = Plan {
            machines: case.machines.clone(),
            cases: Vec::new(),
            ..plan.clone()
        };
        let worth = revalue(&known, &own)?;
        sum.value += case.chance * worth.value;
        sum.minutes += case.chance * worth.minutes;
        sum.working += case.chance * worth.working;
        sum.money = worth.money;
    }
    for (at, machine) in instance.machines.iter().enumerate() {
        let sold = |case: &&Case| case.machines[at].choice == Choice::Sell;
        let number = plan.cases.iter().filter(sold).count();
        if number != 0 && number != plan.cases.len() {
            return Err(format!("`{}` is sold in some cases only", machine.id));
        }
    }
    let taken_up = taken_up(plan);
    let base: f64 = instance
        .machines
        .iter()
        .filter(|machine| taken_up.contains(machine.id.as_str()))
        .map(|machine| f64::from(machine.base_minutes))
        .sum();
    sum.minutes += base;
    sum.value -= instance.rate_per_minute * base;
    let over = |most: f64| sum.minutes > most + 1e-6;
    if instance.limits.minutes.is_some_and(over) {
        return Err(format!(
            "the plan takes {} minutes, more than the limit",
            sum.minutes
        ));
    }
    let under = |least: f64| sum.working < least - 1e-6;
    if instance.limits.least_working.is_some_and(under) {
        return Err(format!("{} machines work, fewer than wanted", sum.working));
    }
    Ok(sum)
}

/// The machines that somebody looked at: they are repaired in some case, or given up by what they have shown themselves.
pub(crate) fn taken_up(plan: &Plan) -> BTreeSet<&str> {
    let mut looked_at = BTreeSet::new();
    for (at, decision) in plan.machines.iter().enumerate() {
        let mut by_others: BTreeMap<Vec<Option<usize>>, bool> = BTreeMap::new();
        for case in &plan.cases {
            let mut others = case.states.clone();
            others.remove(at);
            let given_up = case.machines[at].choice == Choice::Donor;
            let repaired = matches!(case.machines[at].choice, Choice::Repair(_));
            let known = *by_others.entry(others).or_insert(given_up);
            if repaired || known != given_up {
                looked_at.insert(decision.id.as_str());
            }
        }
    }
    looked_at
}

/// The pile with every machine known to be in one state.
fn in_states(instance: &Instance, states: &[Option<usize>]) -> Instance {
    let mut known = instance.clone();
    known.limits.minutes = None;
    known.limits.least_working = None;
    for (machine, state) in known.machines.iter_mut().zip(states) {
        machine.base_minutes = 0;
        let scenario = state.and_then(|at| machine.scenarios.get(at)).cloned();
        machine.scenarios = scenario
            .map(|scenario| Scenario {
                chance: 1.0,
                ..scenario
            })
            .into_iter()
            .collect();
    }
    known
}
