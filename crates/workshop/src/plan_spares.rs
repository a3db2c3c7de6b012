//! Spares: what to order beyond the plan, lest a second parcel be needed.

use std::collections::BTreeMap;

use catalogue::Build;
use planning::{Choice, Fault, Kit, Machine, Remedy, Spares};
use purchasing::{Need, Request};

use crate::{
    building::made,
    offer::is_from_donor,
    ordered::{count, kits},
    plan::{Core, cheapest, round, whole},
    views::SumRow,
    words::{capital, coins, number as in_words, percent},
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
    for (id, number) in &core.plan.builds {
        let library = &state.folder.library;
        found.extend(
            library
                .build(id)
                .and_then(|build| boards(state, core, build, *number)),
        );
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
    let one = |n: usize| vec![(item.to_string(), n)];
    let now: Option<Vec<i64>> = (0..=MOST).map(|n| added(core, &one(n))).collect();
    let later: Option<Vec<i64>> = (1..=wanted.len()).map(|n| paid(core, &one(n))).collect();
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
    let title = core.title_of(item);
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
        capital(&in_words(best.n)),
        coins(now[best.n], currency),
        percent(any),
        coins(later[0], currency),
    );
    let amount = coins(saves, currency);
    Some((saves, SumRow { amount, text }))
}

/// More boards in the batch, if that pays: not each that is built is good, and a batch of its own is set up anew.
fn boards(state: &State, core: &Core, build: &Build, number: u32) -> Option<(i64, SumRow)> {
    let rate = core.offered.instance.rate_per_minute;
    let each = build.minutes + build.program_minutes;
    let parts = |boards: usize| -> Vec<(String, usize)> {
        let uses = build.uses.iter();
        uses.map(|(item, n)| (item.clone(), boards * usize::try_from(*n).unwrap_or(1)))
            .collect()
    };
    let item = made(&build.id);
    let used: u32 = kits(&core.plan)
        .flat_map(|(_, kit)| &kit.items)
        .filter(|(known, _)| *known == item)
        .map(|(_, n)| *n)
        .sum();
    let wanted = wanted(core, &item, i64::from(number) - i64::from(used));
    let any = 1.0 - wanted.first().copied().unwrap_or(1.0);
    if any < LEAST_CHANCE {
        return None;
    }
    let work = |boards: usize| each * f64::from(count(boards)) * rate;
    let now: Option<Vec<f64>> = (0..=MOST)
        .map(|n| Some(whole(added(core, &parts(n))?) + work(n)))
        .collect();
    let again = |good: usize| {
        // so many are built that as many are good on average
        let boards = (f64::from(count(good)) / build.yields).ceil() as usize;
        let mut missing = parts(boards);
        for (item, n) in &mut missing {
            *n = n.saturating_sub(left_over(core, item));
        }
        missing.retain(|(_, n)| *n > 0);
        let bought = if missing.is_empty() {
            0
        } else {
            paid(core, &missing)?
        };
        Some(whole(bought) + build.set_up_minutes * rate + work(boards))
    };
    let later: Option<Vec<f64>> = (1..=wanted.len()).map(again).collect();
    let (now, later) = (now?, later?);
    let best = planning::spares(&Spares {
        wanted: &wanted,
        good: build.yields,
        now: &|n| now.get(n).copied().unwrap_or(f64::INFINITY),
        short: &|n| later.get(n - 1).copied().unwrap_or(f64::INFINITY),
        most: MOST,
    });
    let saves = round(best.none - best.cost);
    let currency = state.folder.settings.currency;
    let text = format!(
        "{} more {} in the batch for {}, work included: another will be wanted with {}, and a batch of its own costs {}. Each is good with {}. Saves this much on average.",
        capital(&in_words(best.n)),
        build.title,
        coins(round(now[best.n]), currency),
        percent(any),
        coins(round(later[0]), currency),
        percent(build.yields),
    );
    let amount = coins(saves, currency);
    (best.n > 0 && saves > 0).then_some((saves, SumRow { amount, text }))
}

/// How many of an item are ordered beyond what the plan needs.
fn left_over(core: &Core, item: &str) -> usize {
    let lines = core.parcels.parcels.iter().flat_map(|parcel| &parcel.lines);
    let ordered: u32 = lines
        .filter(|line| line.item == item)
        .map(|line| line.quantity)
        .sum();
    let needed = core.needers.get(item).map_or(0, Vec::len);
    usize::try_from(ordered).unwrap_or(0).saturating_sub(needed)
}

/// What so many more cost in the parcels of the plan, in coins, bother included.
fn added(core: &Core, more: &[(String, usize)]) -> Option<i64> {
    let mut needs: BTreeMap<&String, usize> = core
        .needers
        .iter()
        .map(|(item, tags)| (item, tags.len()))
        .collect();
    for (item, n) in more {
        *needs.entry(item).or_default() += n;
    }
    let needs: Vec<(String, usize)> = needs
        .into_iter()
        .map(|(item, n)| (item.clone(), n))
        .collect();
    let parcels = &core.parcels;
    Some(paid(core, &needs)? - parcels.landed.to_minor() - parcels.hassle.to_minor())
}

/// What so much costs in parcels of its own.
fn paid(core: &Core, needs: &[(String, usize)]) -> Option<i64> {
    let needs = needs.iter().map(|(item, n)| Need {
        item: item.clone(),
        quantity: count(*n),
    });
    let request = Request {
        needs: needs.collect(),
        ..core.offered.request.clone()
    };
    let parcels = cheapest(&request).ok()?;
    let all_met = parcels.unmet.is_empty();
    all_met.then(|| parcels.landed.to_minor() + parcels.hassle.to_minor())
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
