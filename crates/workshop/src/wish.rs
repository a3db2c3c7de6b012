//! Wishes: things that have a use one day. They are ordered along where that makes the order no dearer, as when they
//! reach the goods value from which postage falls.

use std::{collections::BTreeMap, time::Instant};

use journal::{Draft, Line};
use purchasing::{Need, Parcels, Request};

use crate::{
    Error, ErrorKind, Workshop,
    names::{choices, nearest},
    ordered::kits,
    plan::{Core, FOR_THE_ORDER, cheapest},
    stock::{StockRow, item, one_thing},
    views::Written,
    words::{quoted, trimmed},
    workshop::{Result, State},
};

/// Who a wish is for.
pub(crate) const DRAWER: &str = "the drawer";
/// Wishes that are looked at together, in the order of their names.
const MOST_TOGETHER: usize = 4;
/// Uses of a thing below this are not told.
const LEAST_USED: f64 = 0.05;

impl Workshop {
    /// Writes what is wanted for the drawer where it costs nothing more; it takes the place of an earlier wish for the
    /// same. Or ends a wish.
    ///
    /// # Errors
    /// If no number and name can be read, or there is no such wish to end.
    pub fn wish(&self, what: &str, end: bool) -> Result<Written> {
        let mut inner = self.fresh()?;
        let (count, name) = one_thing(what)?;
        let entries = inner.write(|state| {
            let item = item(state, &name);
            if end && !state.pile.wishes.contains_key(&item) {
                let message = format!("expected a wish, found none for {}", quoted(&name));
                return Err(Error::new(ErrorKind::NotFound, message).hint("see `stock`"));
            }
            Ok(vec![Draft {
                machine: None,
                epoch: 0,
                line: Line::Wish {
                    item,
                    count: if end { 0 } else { count },
                },
            }])
        })?;
        let line = entries.first();
        let offers = &inner.state().folder.offers;
        let changed = match line.map(|entry| &entry.line) {
            Some(Line::Wish { item, count: 0 }) => format!("{item} is wanted no more."),
            Some(Line::Wish { item, count }) if offers.iter().any(|offer| offer.item == *item) => {
                format!(
                    "{count} × {item} wanted for the drawer: ordered along where that makes the order no dearer."
                )
            }
            Some(Line::Wish { item, count }) => {
                let known = offers.iter().map(|offer| offer.item.as_str());
                let near = match nearest(item, known) {
                    near if near.is_empty() => String::new(),
                    near => format!(" (nearest are {})", choices(near)),
                };
                format!(
                    "{count} × {item} wanted for the drawer; nobody offers anything of that name{near}, so the wish waits until a price list does."
                )
            }
            _ => String::new(),
        };
        Ok(Written {
            lines: entries.iter().map(|entry| entry.id).collect(),
            understood: Vec::new(),
            changed,
        })
    }
}

/// Parcels with wishes in them.
pub(crate) struct Filled {
    pub(crate) parcels: Parcels,
    /// Wishes that are in them, and how many.
    pub(crate) taken: Vec<(String, u32)>,
}

/// The parcels with some of the wishes in them, if that is no dearer than without: the cheapest choice of wishes, of
/// equal ones the one with most in it.
pub(crate) fn filled(
    request: &Request,
    without: &Parcels,
    wishes: &BTreeMap<String, u32>,
) -> Result<Option<Filled>> {
    if without.parcels.is_empty() {
        return Ok(None);
    }
    let sold = |item: &String| request.offers.iter().any(|offer| offer.item == *item);
    let wishes: Vec<(&String, u32)> = wishes
        .iter()
        .filter(|(item, count)| **count > 0 && sold(item))
        .map(|(item, count)| (item, *count))
        .take(MOST_TOGETHER)
        .collect();
    let cost = |parcels: &Parcels| parcels.landed.to_minor() + parcels.hassle.to_minor();
    let started = Instant::now();
    let mut best: Option<((i64, i64), Filled)> = None;
    for mask in 1..1_u32 << wishes.len() {
        if started.elapsed() >= FOR_THE_ORDER {
            break;
        }
        let chosen = wishes.iter().enumerate();
        let chosen = chosen.filter(|(bit, _)| mask >> bit & 1 == 1);
        let chosen: Vec<(String, u32)> = chosen
            .map(|(_, (item, count))| ((*item).clone(), *count))
            .collect();
        let mut needs = request.needs.clone();
        for (item, count) in &chosen {
            match needs.iter_mut().find(|need| need.item == *item) {
                Some(need) => need.quantity += count,
                None => needs.push(Need {
                    item: item.clone(),
                    quantity: *count,
                }),
            }
        }
        let with = cheapest(&Request {
            needs,
            ..request.clone()
        })?;
        let units: i64 = chosen.iter().map(|(_, count)| i64::from(*count)).sum();
        let rank = (cost(&with), -units);
        let better = best.as_ref().is_none_or(|(known, _)| rank < *known);
        if with.unmet == without.unmet && cost(&with) <= cost(without) && better {
            let filled = Filled {
                parcels: with,
                taken: chosen,
            };
            best = Some((rank, filled));
        }
    }
    Ok(best.map(|(_, filled)| filled))
}

/// The wishes as they are shown.
pub(crate) fn rows(state: &State) -> Vec<StockRow> {
    let row = |(item, count): (&String, &u32)| StockRow {
        amount: format!("{count} ×"),
        what: item.clone(),
        mark: None,
        from: "ordered along where the order gets no dearer".to_string(),
        works: None,
    };
    state.pile.wishes.iter().map(row).collect()
}

/// What the machines that the plan mends are expected to use up later: what is fitted now fails again now and then.
pub(crate) fn used_later(state: &State, core: &Core) -> Vec<StockRow> {
    let years = state.folder.settings.horizon_years;
    let instance = &core.offered.instance;
    let mut used: BTreeMap<&str, f64> = BTreeMap::new();
    for (tag, kit) in kits(&core.plan) {
        let mut machines = instance.machines.iter();
        let Some(machine) = machines.find(|machine| machine.id == tag) else {
            continue;
        };
        for chosen in &kit.remedies {
            let mut remedies = instance.remedies.iter();
            let remedy = remedies.find(|remedy| remedy.id == chosen.remedy);
            let Some((remedy, fails)) = remedy.zip(core.offered.fails.get(&chosen.remedy)) else {
                continue;
            };
            let there = kit
                .covered
                .iter()
                .filter_map(|at| machine.scenarios.get(*at));
            let there = there.filter(|scenario| scenario.faults.contains(&chosen.fault));
            let chance: f64 = there.map(|scenario| scenario.chance).sum();
            if let Some(item) = &remedy.item {
                *used.entry(item).or_default() += years * fails * remedy.works * chance;
            }
        }
    }
    let told = used.iter().filter(|(_, number)| **number >= LEAST_USED);
    let told = told.filter(|(item, _)| core.offered.price(item).is_some());
    let row = |(item, number): (&&str, &f64)| StockRow {
        amount: format!("{number:.2} ×"),
        what: core.title_of(item).to_string(),
        mark: None,
        from: format!("on average in {} years", trimmed(years, 1)),
        works: None,
    };
    told.map(row).collect()
}
