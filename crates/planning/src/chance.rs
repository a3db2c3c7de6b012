//! How sure a plan is: money is spent before any fault shows, minutes depend on the fault.

use std::collections::BTreeMap;

use crate::instance::{Fault, Instance, Machine};
use crate::plan::{Choice, Decision, Kit, Plan};
use crate::two_stage_worth::taken_up;

/// Chance that the bench minutes of a plan are at most `most`: machines are taken as independent, and a remedy takes its
/// minutes only if its fault is there. What is ordered is paid in every case, so money needs no such chance.
#[must_use]
pub fn within_minutes(instance: &Instance, plan: &Plan, most: f64) -> f64 {
    let built = u64::from(build_minutes(instance, plan));
    let mut sum = BTreeMap::from([(built, 1.0)]);
    if plan.cases.is_empty() {
        for (machine, decision) in instance.machines.iter().zip(&plan.machines) {
            if let Choice::Repair(kit) = &decision.choice {
                sum = added(&sum, &of_machine(instance, machine, kit));
            }
        }
    } else {
        sum = BTreeMap::new();
        for case in &plan.cases {
            let machines = instance
                .machines
                .iter()
                .zip(&case.machines)
                .zip(&case.states);
            let own: u64 = machines
                .map(|((machine, decision), state)| {
                    in_case(instance, plan, machine, decision, *state)
                })
                .sum();
            *sum.entry(built + own).or_default() += case.chance;
        }
    }
    let within = sum
        .iter()
        .filter(|(minutes, _)| real(**minutes) <= most + 1e-9);
    within.map(|(_, chance)| chance).sum()
}

#[expect(clippy::cast_precision_loss, reason = "minutes are far below 2^53")]
fn real(minutes: u64) -> f64 {
    minutes as f64
}

fn build_minutes(instance: &Instance, plan: &Plan) -> u32 {
    let built = plan.builds.iter().filter_map(|(id, number)| {
        let build = instance.builds.iter().find(|build| build.id == *id)?;
        Some(build.setup_minutes + number * build.unit_minutes)
    });
    built.sum()
}

/// Minutes of a machine that is repaired with one kit, whatever shows.
fn of_machine(instance: &Instance, machine: &Machine, kit: &Kit) -> BTreeMap<u64, f64> {
    let base = u64::from(machine.base_minutes);
    let mut chances = BTreeMap::new();
    let mut rest = 1.0;
    for &at in &kit.covered {
        let Some(scenario) = machine.scenarios.get(at) else {
            continue;
        };
        rest -= scenario.chance;
        let minutes = base + remedies(instance, kit, &scenario.faults);
        *chances.entry(minutes).or_default() += scenario.chance;
    }
    *chances.entry(base).or_default() += rest.max(0.0);
    chances
}

/// Minutes of a machine in a case: its own if it is taken up in any, those of the kit if it is mended in this one.
fn in_case(
    instance: &Instance,
    plan: &Plan,
    machine: &Machine,
    decision: &Decision,
    state: Option<usize>,
) -> u64 {
    let base = match taken_up(plan).contains(machine.id.as_str()) {
        true => u64::from(machine.base_minutes),
        false => 0,
    };
    let faults = state.and_then(|at| machine.scenarios.get(at));
    match (&decision.choice, faults) {
        (Choice::Repair(kit), Some(scenario)) => base + remedies(instance, kit, &scenario.faults),
        _ => base,
    }
}

fn remedies(instance: &Instance, kit: &Kit, faults: &[Fault]) -> u64 {
    let chosen = kit.remedies.iter();
    let minutes = chosen
        .filter(|chosen| faults.contains(&chosen.fault))
        .filter_map(|chosen| {
            let mut remedies = instance.remedies.iter();
            remedies.find(|remedy| remedy.id == chosen.remedy)
        });
    minutes.map(|remedy| u64::from(remedy.minutes)).sum()
}

fn added(one: &BTreeMap<u64, f64>, other: &BTreeMap<u64, f64>) -> BTreeMap<u64, f64> {
    let mut sum = BTreeMap::new();
    for (a, chance) in one {
        for (b, more) in other {
            *sum.entry(a + b).or_default() += chance * more;
        }
    }
    sum
}
