//! Spares: what to order beyond the plan, lest a second parcel be needed.

use std::collections::BTreeMap;

use planning::{Choice, Fault, Kit, Machine, Remedy, Spares};
use purchasing::{Need, Request};

use crate::{
    offer::is_from_donor,
    plan::{Core, cheapest, round, whole},
    views::SumRow,
    words::{capital, coins, number, percent},
    workshop::State,
};

/// Spares of one item that are thought of.
const MOST: usize = 3;
/// Below this chance nobody orders a spare.
const LEAST_CHANCE: f64 = 0.02;

/// The spares that pay, the best first: what each saves on average. If none does, the one that is wanted most.
pub(crate) fn spares(state: &State, core: &Core) -> Vec<SumRow> {
    let mut found: Vec<(i64, SumRow)> = Vec::new();
    let mut most_wanted: Option<(f64, SumRow)> = None;
    for (item, takers) in &core.needers {
        let ordered: u32 = core
            .parcels
            .parcels
            .iter()
            .flat_map(|parcel| &parcel.lines)
            .filter(|line| line.item == *item)
            .map(|line| line.quantity)
            .sum();
        let over = i64::from(ordered) - i64::try_from(takers.len()).unwrap_or(i64::MAX);
        let wanted = wanted(core, item, over);
        let any = 1.0 - wanted.first().copied().unwrap_or(1.0);
        let most = most_wanted.as_ref().map_or(LEAST_CHANCE, |(most, _)| *most);
        match advice(state, core, item, &wanted) {
            Some((saves, row)) if saves > 0 => found.push((saves, row)),
            Some((_, row)) if any > most => most_wanted = Some((any, row)),
            _ => {}
        }
    }
    if found.is_empty() {
        return most_wanted.into_iter().map(|(_, row)| row).collect();
    }
    found.sort_by_key(|(saves, _)| -saves);
    found.into_iter().map(|(_, row)| row).collect()
}

fn advice(state: &State, core: &Core, item: &str, wanted: &[f64]) -> Option<(i64, SumRow)> {
    let any = 1.0 - wanted.first().copied().unwrap_or(1.0);
    if any < LEAST_CHANCE {
        return None;
    }
    let now: Option<Vec<i64>> = (0..=MOST).map(|n| added(core, item, n)).collect();
    let later: Option<Vec<i64>> = (1..=wanted.len()).map(|n| alone(core, item, n)).collect();
    let (now, later) = (now?, later?);
    let best = planning::spares(&Spares {
        wanted,
        good: 1.0,
        now: &|n| now.get(n).map_or(f64::INFINITY, |cost| whole(*cost)),
        short: &|n| later.get(n - 1).map_or(f64::INFINITY, |cost| whole(*cost)),
        most: MOST,
    });
    let saves = round(best.none - best.cost);
    let currency = state.folder.settings.currency;
    let offers = core.offered.request.offers.iter();
    let title = offers
        .filter(|offer| offer.item == item)
        .map(|offer| offer.title.as_str())
        .find(|title| !title.is_empty())
        .unwrap_or(item);
    if best.n == 0 || saves <= 0 {
        let text = format!(
            "No spare pays. Wanted most, with {}, is another {title}: {} now, {} alone later.",
            percent(any),
            coins(now[1], currency),
            coins(later[0], currency),
        );
        let amount = coins(0, currency);
        return Some((0, SumRow { amount, text }));
    }
    let text = format!(
        "{} more {title} for {}: another will be wanted with {}, and one alone costs {} later. Saves this much on average.",
        capital(&number(best.n)),
        coins(now[best.n], currency),
        percent(any),
        coins(later[0], currency),
    );
    let amount = coins(saves, currency);
    Some((saves, SumRow { amount, text }))
}

/// What so many more cost in the parcels of the plan, in coins, bother included.
fn added(core: &Core, item: &str, more: usize) -> Option<i64> {
    let needs = core.needers.iter().map(|(known, tags)| Need {
        item: known.clone(),
        quantity: count(tags.len() + if known == item { more } else { 0 }),
    });
    let all = paid(core, needs.collect())?;
    let parcels = &core.parcels;
    Some(all - parcels.landed.to_minor() - parcels.hassle.to_minor())
}

/// What so many cost in a parcel of their own.
fn alone(core: &Core, item: &str, n: usize) -> Option<i64> {
    let need = Need {
        item: item.to_string(),
        quantity: count(n),
    };
    paid(core, vec![need])
}

fn paid(core: &Core, needs: Vec<Need>) -> Option<i64> {
    let request = Request {
        needs,
        ..core.offered.request.clone()
    };
    let parcels = cheapest(&request).ok()?;
    let all_met = parcels.unmet.is_empty();
    all_met.then(|| parcels.landed.to_minor() + parcels.hassle.to_minor())
}

fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// At `n` the chance that `n` more of an item will be wanted over the pile, when `over` are left over anyway.
fn wanted(core: &Core, item: &str, over: i64) -> Vec<f64> {
    let mut sum = BTreeMap::from([(-over, 1.0)]);
    for (machine, decision) in core
        .offered
        .instance
        .machines
        .iter()
        .zip(&core.plan.machines)
    {
        let Choice::Repair(kit) = &decision.choice else {
            continue;
        };
        let own = of_machine(core, machine, kit, item);
        let mut next: BTreeMap<i64, f64> = BTreeMap::new();
        for (one, chance) in &sum {
            for (other, more) in &own {
                *next.entry(one + other).or_default() += chance * more;
            }
        }
        sum = next;
    }
    let most = sum.keys().copied().max().unwrap_or(0).max(0);
    let mut wanted = vec![0.0; usize::try_from(most).unwrap_or(0) + 1];
    for (n, chance) in sum {
        wanted[usize::try_from(n).unwrap_or(0)] += chance;
    }
    wanted
}

/// How many more one machine wants, or leaves over: over its possible states, which exclude each other.
fn of_machine(core: &Core, machine: &Machine, kit: &Kit, item: &str) -> BTreeMap<i64, f64> {
    let used = kit.items.iter().find(|(known, _)| known == item);
    let used = used.map_or(0, |(_, n)| i64::from(*n));
    let mut chances: BTreeMap<i64, f64> = BTreeMap::new();
    let mut rest = 1.0;
    for (at, scenario) in machine.scenarios.iter().enumerate() {
        rest -= scenario.chance;
        let (taken, again) = if kit.covered.contains(&at) {
            fitted(core, &scenario.faults, kit, item)
        } else {
            let faults = scenario.faults.iter();
            let by_item = faults.filter(|fault| usual(core, fault).is_some_and(|own| own == item));
            (0, vec![1.0; by_item.count()])
        };
        for (n, chance) in planning::sum_of(&again).into_iter().enumerate() {
            let net = i64::try_from(n).unwrap_or(i64::MAX) - (used - taken);
            *chances.entry(net).or_default() += scenario.chance * chance;
        }
    }
    // in any other state nothing of this is fitted, and nothing is wanted
    *chances.entry(-used).or_default() += rest.max(0.0);
    chances
}

/// Of the faults that are there: how many of the item are fitted, and for each the chance that it fails.
fn fitted(core: &Core, faults: &[Fault], kit: &Kit, item: &str) -> (i64, Vec<f64>) {
    let mut by_part: BTreeMap<&str, f64> = BTreeMap::new();
    let chosen = kit.remedies.iter();
    for chosen in chosen.filter(|chosen| faults.contains(&chosen.fault)) {
        let remedy = remedies(core).find(|remedy| remedy.id == chosen.remedy);
        let uses = remedy.filter(|remedy| remedy.item.as_deref() == Some(item));
        if let Some(remedy) = uses {
            by_part.insert(&chosen.fault.part, 1.0 - remedy.works);
        }
    }
    let taken = i64::try_from(by_part.len()).unwrap_or(i64::MAX);
    (taken, by_part.into_values().collect())
}

/// The item that usually puts a fault right which the plan does not look at: the cheapest that is bought.
fn usual<'c>(core: &'c Core, fault: &Fault) -> Option<&'c str> {
    let fitting = remedies(core)
        .filter(|remedy| remedy.device == fault.device && remedy.modes.contains(&fault.mode));
    let bought = fitting.filter_map(|remedy| {
        let item = remedy.item.as_deref().filter(|item| !is_from_donor(item))?;
        Some((core.offered.price(item)?, item))
    });
    let cheapest = bought.min_by(|a, b| a.0.total_cmp(&b.0));
    cheapest.map(|(_, item)| item)
}

fn remedies(core: &Core) -> impl Iterator<Item = &Remedy> {
    core.offered.instance.remedies.iter()
}
