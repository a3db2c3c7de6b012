//! What follows from a plan: its parcels, and who gets what.

use std::collections::{BTreeMap, VecDeque};

use planning::{Choice, Kit, Plan};
use purchasing::{Need, Parcels, Request};
use units::Currency;

use crate::{
    building,
    intake::shares,
    offer::{Offered, is_from_donor},
    plan::cheapest,
    wish,
    workshop::Result,
};

/// What follows from a plan: its parcels, and who gets what.
pub(crate) struct Ordered {
    pub(crate) parcels: Parcels,
    pub(crate) needers: BTreeMap<String, Vec<String>>,
    pub(crate) money: BTreeMap<String, i64>,
    pub(crate) spares: i64,
    pub(crate) given: BTreeMap<(String, String), Vec<(String, String)>>,
}

impl Ordered {
    pub(crate) fn of(offered: &Offered, plan: &Plan, currency: Currency) -> Result<Ordered> {
        let mut needers = needers(offered, plan);
        let needs = needers
            .iter()
            .map(|(item, tags)| Need {
                item: item.clone(),
                quantity: count(tags.len()),
            })
            .collect();
        let request = Request {
            needs,
            ..offered.request.clone()
        };
        let mut parcels = cheapest(&request)?;
        if let Some(filled) = wish::filled(&request, &parcels, &offered.wishes)? {
            parcels = filled.parcels;
            for (item, count) in filled.taken {
                let tags = needers.entry(item).or_default();
                tags.extend((0..count).map(|_| wish::DRAWER.to_string()));
            }
        }
        let (money, spares) = money(&parcels, &needers, currency);
        Ok(Ordered {
            given: given(offered, plan),
            parcels,
            needers,
            money,
            spares,
        })
    }
}

pub(crate) fn kits(plan: &Plan) -> impl Iterator<Item = (&str, &Kit)> {
    plan.machines
        .iter()
        .filter_map(|decision| match &decision.choice {
            Choice::Repair(kit) => Some((decision.id.as_str(), kit)),
            Choice::Hold | Choice::Sell | Choice::Donor => None,
        })
}

/// Who needs each item that has to be bought: what is on hand goes to the first, and a board that is built needs its
/// parts.
fn needers(offered: &Offered, plan: &Plan) -> BTreeMap<String, Vec<String>> {
    let mut needs = building::Needs::new(&offered.instance, plan);
    for (tag, kit) in kits(plan) {
        for (item, n) in kit.items.iter().filter(|(item, _)| !is_from_donor(item)) {
            for _ in 0..*n {
                needs.add(tag, item);
            }
        }
    }
    let mut needers = needs.needers;
    if !plan.cases.is_empty() {
        // in no state of the machines is more used than was ordered; who needs it shows later
        for (item, tags) in &mut needers {
            let orders = plan.orders.iter().filter(|order| order.item == *item);
            let ordered: u32 = orders.map(|order| order.quantity).sum();
            tags.truncate(usize::try_from(ordered).unwrap_or(usize::MAX));
        }
        needers.retain(|_, tags| !tags.is_empty());
    }
    needers
}

/// Parts money of each machine, and of units that nobody needs; with postage and taxes it adds up to what is paid.
fn money(
    parcels: &Parcels,
    needers: &BTreeMap<String, Vec<String>>,
    currency: Currency,
) -> (BTreeMap<String, i64>, i64) {
    let mut waiting: BTreeMap<&String, VecDeque<&String>> = needers
        .iter()
        .map(|(item, tags)| (item, tags.iter().collect()))
        .collect();
    let mut money: BTreeMap<String, i64> = BTreeMap::new();
    let mut spares = 0;
    for line in parcels.parcels.iter().flat_map(|parcel| &parcel.lines) {
        debug_assert_eq!(line.total.currency, currency);
        for unit in shares(
            line.total.to_minor(),
            usize::try_from(line.quantity).unwrap_or(1),
        ) {
            match waiting.get_mut(&line.item).and_then(VecDeque::pop_front) {
                Some(tag) => *money.entry(tag.clone()).or_default() += unit,
                None => spares += unit,
            }
        }
    }
    (money, spares)
}

/// Which donor's part goes to whom.
fn given(offered: &Offered, plan: &Plan) -> BTreeMap<(String, String), Vec<(String, String)>> {
    let mut pool: BTreeMap<&String, VecDeque<(&String, &String)>> = BTreeMap::new();
    for decision in plan
        .machines
        .iter()
        .filter(|decision| decision.choice == Choice::Donor)
    {
        for ((tag, item), parts) in offered
            .gives
            .iter()
            .filter(|((tag, _), _)| *tag == decision.id)
        {
            pool.entry(item)
                .or_default()
                .extend(parts.iter().map(|part| (tag, part)));
        }
    }
    let mut given: BTreeMap<(String, String), Vec<(String, String)>> = BTreeMap::new();
    for (tag, kit) in kits(plan) {
        for (item, n) in kit.items.iter().filter(|(item, _)| is_from_donor(item)) {
            for _ in 0..*n {
                let Some((giver, part)) = pool.get_mut(item).and_then(VecDeque::pop_front) else {
                    continue;
                };
                given
                    .entry((tag.to_string(), item.clone()))
                    .or_default()
                    .push((giver.clone(), part.clone()));
            }
        }
    }
    given
}

/// A number of units as orders have it.
pub(crate) fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
