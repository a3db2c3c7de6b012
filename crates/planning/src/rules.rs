//! What simple rules of thumb make of the same pile, to compare the plan with.

use std::collections::{BTreeMap, BTreeSet};

use crate::instance::{Fault, Instance, Machine, Remedy};
use crate::plan::Plan;
use crate::solve::{Error, Pin, Settings, solve, solve_once};

/// A rule of thumb.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Rule {
    /// Take the likeliest fault of each machine for granted, buy the cheapest remedy, and mend one machine after the
    /// other, the cheapest first, while money and minutes last.
    CheapestFirst,
    /// Give up no machine; else decide as well as can be.
    NoDonor,
    /// Where one of these remedies (by id) puts a fault right, use no other; else decide as well as can be.
    Only(BTreeSet<String>),
}

/// The plan that follows from a rule; it keeps the limits and settled decisions.
///
/// # Errors
/// If the rule leaves no plan, or a search fails.
pub fn by_rule(instance: &Instance, settings: &Settings, rule: &Rule) -> Result<Plan, Error> {
    match rule {
        Rule::CheapestFirst => cheapest_first(instance, settings),
        Rule::NoDonor => solve(&without_donors(instance), settings),
        Rule::Only(ids) => solve(&with_only(instance, ids), settings),
    }
}

fn without_donors(instance: &Instance) -> Instance {
    let mut whole = instance.clone();
    for machine in &mut whole.machines {
        machine.donor.clear();
    }
    whole
}

fn with_only(instance: &Instance, ids: &BTreeSet<String>) -> Instance {
    let mut cured: BTreeSet<(&str, &str)> = BTreeSet::new();
    for remedy in instance.remedies.iter().filter(|r| ids.contains(&r.id)) {
        let modes = remedy.modes.iter().map(String::as_str);
        cured.extend(modes.map(|mode| (remedy.device.as_str(), mode)));
    }
    let mut restricted = instance.clone();
    for remedy in &mut restricted.remedies {
        if !ids.contains(&remedy.id) {
            let device = remedy.device.as_str();
            remedy
                .modes
                .retain(|mode| !cured.contains(&(device, mode.as_str())));
        }
    }
    restricted.remedies.retain(|r| !r.modes.is_empty());
    restricted
}

fn cheapest_first(instance: &Instance, settings: &Settings) -> Result<Plan, Error> {
    let prices = prices(instance);
    let mut narrow = without_donors(instance);
    let mut order: Vec<(f64, usize)> = Vec::new();
    for (at, machine) in narrow.machines.iter_mut().enumerate() {
        let Some(likeliest) = likeliest(machine) else {
            continue;
        };
        // nothing puts right what is not thought of; the positions of the scenarios stay
        for (other, scenario) in machine.scenarios.iter_mut().enumerate() {
            if other != likeliest {
                scenario.faults = vec![unthinkable()];
            }
        }
        let faults = &machine.scenarios[likeliest].faults;
        let costs = faults
            .iter()
            .map(|fault| cheapest(instance, &prices, fault).map(|(cost, _)| cost));
        if let Some(cost) = costs.sum::<Option<f64>>() {
            order.push((cost, at));
        }
    }
    let kept: BTreeSet<String> = narrow
        .machines
        .iter()
        .flat_map(|machine| &machine.scenarios)
        .flat_map(|scenario| &scenario.faults)
        .filter_map(|fault| cheapest(instance, &prices, fault))
        .map(|(_, remedy)| remedy.id.clone())
        .collect();
    narrow.remedies.retain(|remedy| kept.contains(&remedy.id));
    order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut pinned = settings.clone();
    for machine in &instance.machines {
        pinned.pins.entry(machine.id.clone()).or_insert(Pin::Hold);
    }
    let mut plan = solve(&narrow, &pinned)?;
    for (_, at) in order {
        let id = &instance.machines[at].id;
        if settings.pins.contains_key(id) {
            continue;
        }
        pinned.pins.insert(id.clone(), Pin::Repair);
        match solve_once(&narrow, &pinned) {
            Ok(more) => plan = more,
            Err(Error::Impossible | Error::NoKit(_)) => {
                pinned.pins.insert(id.clone(), Pin::Hold);
            }
            Err(error) => return Err(error),
        }
    }
    Ok(plan)
}

fn likeliest(machine: &Machine) -> Option<usize> {
    let chances = machine.scenarios.iter().map(|scenario| scenario.chance);
    // of equal ones the first
    let best = chances.enumerate().max_by(|a, b| {
        let by_chance = a.1.total_cmp(&b.1);
        by_chance.then(b.0.cmp(&a.0))
    })?;
    Some(best.0)
}

fn unthinkable() -> Fault {
    Fault {
        part: String::new(),
        device: String::new(),
        mode: String::new(),
    }
}

/// What one unit of each item costs where it is cheapest, parts of boards to build included.
fn prices(instance: &Instance) -> BTreeMap<&str, f64> {
    let mut prices: BTreeMap<&str, f64> = BTreeMap::new();
    for offer in &instance.offers {
        let first = offer.breaks.first().map(|level| level.each.to_string());
        let Some(each) = first.and_then(|each| each.parse::<f64>().ok()) else {
            continue;
        };
        let price = prices.entry(&offer.item).or_insert(each);
        *price = price.min(each);
    }
    for (item, _) in instance.on_hand.iter().filter(|(_, n)| **n > 0) {
        prices.insert(item, 0.0);
    }
    for build in &instance.builds {
        let parts = build.uses.iter().map(|part| {
            let each = prices.get(part.item.as_str())?;
            Some(each * f64::from(part.n))
        });
        if let Some(sum) = parts.sum::<Option<f64>>() {
            let price = prices.entry(&build.makes).or_insert(sum);
            *price = price.min(sum);
        }
    }
    prices
}

/// The cheapest remedy for a fault that can be had without a donor; of equal ones the likelier to work.
fn cheapest<'i>(
    instance: &'i Instance,
    prices: &BTreeMap<&str, f64>,
    fault: &Fault,
) -> Option<(f64, &'i Remedy)> {
    let fitting = instance
        .remedies
        .iter()
        .filter(|remedy| remedy.device == fault.device && remedy.modes.contains(&fault.mode));
    let priced = fitting.filter_map(|remedy| match remedy.item.as_deref() {
        None => Some((0.0, remedy)),
        Some(item) => Some((*prices.get(item)?, remedy)),
    });
    priced.min_by(|a, b| a.0.total_cmp(&b.0).then(b.1.works.total_cmp(&a.1.works)))
}
