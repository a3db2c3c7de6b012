//! Where the plan's reckoning of money and the parcels' differ.
//!
//! The plan takes every parcel as light, as worth less than what duty begins with, and puts tax on all goods that are not
//! sold with it. Only the parcels are exact. So what they cost more is charged to their vendors and the plan sought again;
//! the best of these plans is kept, and its bound is that of the first, with what the plan may have taken too much.

use std::collections::BTreeMap;

use planning::{Instance, Plan};
use purchasing::Parcels;
use units::{Currency, Decimal};

use crate::{
    offer::Offered,
    ordered::Ordered,
    plan::{round, whole},
    workshop::Result,
};

/// Plans sought with what the parcels cost more, at most.
const ROUNDS: u32 = 2;
/// Each in so large a part of the time there was for the first.
const PART: u32 = 8;

/// The plan, or one that is better once its parcels are reckoned.
pub(crate) fn settled(
    offered: &Offered,
    settings: &planning::Settings,
    plan: Plan,
    currency: Currency,
) -> Result<(Plan, Ordered)> {
    let (bound, instance) = (plan.bound, &offered.instance);
    let settings = planning::Settings {
        time_limit: settings.time_limit.map(|limit| limit / PART),
        ..settings.clone()
    };
    let ordered = Ordered::of(offered, &plan, currency)?;
    let mut extra: BTreeMap<String, i64> = BTreeMap::new();
    let mut costs = surcharges(instance, &ordered.parcels);
    let mut best = (plan, ordered);
    for _ in 0..ROUNDS {
        let dearer =
            |(vendor, cost): (&String, &i64)| extra.get(vendor).is_none_or(|old| old < cost);
        if !costs.iter().any(dearer) {
            break;
        }
        for (vendor, cost) in costs {
            let known = extra.entry(vendor).or_default();
            *known = cost.max(*known);
        }
        let Ok(other) = planning::solve(&charged(instance, &extra), &settings) else {
            break;
        };
        let other = Plan {
            bound,
            proven: false,
            ..uncharged(other, &extra)
        };
        let ordered = Ordered::of(offered, &other, currency)?;
        costs = surcharges(instance, &ordered.parcels);
        if rank(instance, &other, &ordered.parcels) > rank(instance, &best.0, &best.1.parcels) {
            best = (other, ordered);
        }
    }
    Ok(best)
}

/// Whether the limit on money is kept, then what the plan is worth with its parcels as they are.
fn rank(instance: &Instance, plan: &Plan, parcels: &Parcels) -> (bool, i64) {
    let landed = parcels.landed.to_minor();
    let kept = instance.limits.money.is_none_or(|most| landed <= most);
    (kept, round(worth(plan, parcels)))
}

/// What a plan is worth with its parcels as they are, bother taken off.
pub(crate) fn worth(plan: &Plan, parcels: &Parcels) -> f64 {
    plan.value + whole(plan.money - parcels.landed.to_minor() - parcels.hassle.to_minor())
}

/// How much better another plan could be at most, in coins.
pub(crate) fn gap(offered: &Offered, plan: &Plan, parcels: &Parcels) -> i64 {
    let gap = plan.bound - worth(plan, parcels);
    let gap = (round(gap) + too_much(offered)).max(0);
    // sums that are rounded parcel by parcel and line by line differ by so much
    if plan.proven && gap <= rounding(parcels) {
        0
    } else {
        gap
    }
}

fn rounding(parcels: &Parcels) -> i64 {
    let lines = parcels.parcels.iter().map(|parcel| 3 + parcel.lines.len());
    i64::try_from(lines.sum::<usize>()).unwrap_or(i64::MAX)
}

/// What each parcel costs more than the plan reckons for the same goods.
fn surcharges(instance: &Instance, parcels: &Parcels) -> BTreeMap<String, i64> {
    let mut found = BTreeMap::new();
    for parcel in &parcels.parcels {
        let goods = parcel.lines.iter().map(|line| {
            let mut offers = instance.offers.iter();
            let offer = offers.find(|one| one.vendor == parcel.vendor && one.item == line.item)?;
            offer.total(line.quantity)
        });
        let Some(goods) = goods.sum::<Option<i64>>() else {
            continue;
        };
        let mut vendors = instance.vendors.iter();
        let vendor = vendors.find(|vendor| vendor.id == parcel.vendor);
        let Some(postage) = vendor.and_then(|vendor| vendor.postage(goods)) else {
            continue;
        };
        let more = parcel.landed.to_minor() - goods - postage;
        let coins = i64::try_from(3 + parcel.lines.len()).unwrap_or(i64::MAX);
        if more > coins {
            found.insert(parcel.vendor.clone(), more);
        }
    }
    found
}

fn charged(instance: &Instance, extra: &BTreeMap<String, i64>) -> Instance {
    let mut charged = instance.clone();
    for vendor in &mut charged.vendors {
        let Some(more) = extra.get(&vendor.id) else {
            continue;
        };
        if vendor.shipping.is_empty() {
            vendor.shipping.push(planning::Step { from: 0, fee: 0 });
        }
        for step in &mut vendor.shipping {
            step.fee += more;
        }
    }
    charged
}

/// The same plan at the money of the pile as it is.
fn uncharged(mut plan: Plan, extra: &BTreeMap<String, i64>) -> Plan {
    for (vendor, fee) in &mut plan.shipping {
        if let Some(more) = extra.get(vendor) {
            *fee -= more;
            plan.money -= more;
            plan.value += whole(*more);
        }
    }
    plan
}

/// The most by which the plan may take a parcel as too dear: tax on goods that are below the limit for tax.
fn too_much(offered: &Offered) -> i64 {
    let request = &offered.request;
    let each = request.vendors.iter().filter_map(|vendor| {
        let from = vendor.vat_from.filter(|_| !vendor.vat_included)?;
        let rate = match from.currency == request.currency {
            true => Decimal::ONE,
            false => *request.rates.get(&from.currency)?,
        };
        let tax = from.amount * rate * (Decimal::ONE + vendor.duty) * vendor.vat;
        let money = units::Money {
            amount: tax,
            currency: request.currency,
        };
        let dearest = offered
            .instance
            .vendors
            .iter()
            .find(|one| one.id == vendor.id);
        let fees = dearest.map_or(0, |one| {
            one.shipping.iter().map(|step| step.fee).max().unwrap_or(0)
        });
        Some(money.to_minor() + fees)
    });
    each.sum()
}

/// Whether some parcel may cost more, or less, than the plan reckons.
pub(crate) fn differs(offered: &Offered) -> bool {
    let differs = |vendor: &purchasing::Vendor| {
        let limits = vendor.duty_from.is_some() || vendor.vat_from.is_some();
        vendor.by_weight.len() > 1 || limits || !vendor.clearance.amount.is_zero()
    };
    offered.request.vendors.iter().any(differs)
}
