//! What the vendors, donors, builds and the drawer offer: items, and the least they cost a plan.

use std::collections::BTreeMap;

use crate::instance::{Instance, Vendor};
use crate::lots::{Slack, least_saving};
use crate::model::coins;
use crate::solve::{Error, Settings};

/// Names of items as positions.
#[derive(Debug, Default)]
pub(crate) struct Items {
    names: Vec<String>,
    positions: BTreeMap<String, usize>,
}

impl Items {
    pub(crate) fn position(&mut self, name: &str) -> usize {
        if let Some(&position) = self.positions.get(name) {
            return position;
        }
        self.names.push(name.to_string());
        self.positions
            .insert(name.to_string(), self.names.len() - 1);
        self.names.len() - 1
    }

    pub(crate) fn find(&self, name: &str) -> Option<usize> {
        self.positions.get(name).copied()
    }

    pub(crate) fn name(&self, position: usize) -> &str {
        &self.names[position]
    }

    pub(crate) fn len(&self) -> usize {
        self.names.len()
    }
}

/// The least that a unit of an item costs a plan.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Price {
    /// Goods saved by ordering one unit less. Nothing, if units come in packs, cheaper by the dozen, or from a donor.
    pub(crate) each: f64,
    /// By so much postage may rise when less is ordered.
    pub(crate) drop: f64,
    /// The lowest unit price that a vendor asks; nothing if none sells it. Only a guide.
    pub(crate) usual: Option<f64>,
}

impl Price {
    /// Holds for both sources.
    pub(crate) fn lower(self, other: Price) -> Price {
        Price {
            each: self.each.min(other.each),
            drop: self.drop.max(other.drop),
            usual: match (self.usual, other.usual) {
                (Some(one), Some(other)) => Some(one.min(other)),
                (one, other) => one.or(other),
            },
        }
    }
}

/// What an order at this vendor can be filled up for.
pub(crate) fn slack_of(vendor: &Vendor) -> Slack {
    let mut dearest = 0;
    let mut drop = 0;
    for step in &vendor.shipping {
        dearest = dearest.max(step.fee);
        drop = drop.max(dearest - step.fee);
    }
    Slack {
        drop,
        least_order: vendor.shipping.first().map_or(0, |step| step.from),
    }
}

/// Every item that something gives or uses.
pub(crate) fn items_of(instance: &Instance) -> Items {
    let mut items = Items::default();
    let sold = instance.offers.iter().map(|offer| offer.item.as_str());
    let given = instance.machines.iter().flat_map(|machine| &machine.donor);
    let used = instance
        .remedies
        .iter()
        .filter_map(|remedy| remedy.item.as_deref());
    let built = instance.builds.iter().map(|build| build.makes.as_str());
    let parts = instance.builds.iter().flat_map(|build| &build.uses);
    let on_hand = instance.on_hand.keys().map(String::as_str);
    let counts = given.chain(parts).map(|count| count.item.as_str());
    for name in sold.chain(counts).chain(used).chain(built).chain(on_hand) {
        items.position(name);
    }
    items
}

/// What the plan without one unit of each item surely saves; `None` if the item has no source.
pub(crate) fn prices(instance: &Instance, items: &Items) -> Vec<Option<Price>> {
    let mut prices: Vec<Option<Price>> = vec![None; items.len()];
    let mut lower = |name: &str, price: Price| {
        if let Some(item) = items.find(name) {
            prices[item] = Some(prices[item].map_or(price, |other| other.lower(price)));
        }
    };
    for offer in &instance.offers {
        let vendor = instance
            .vendors
            .iter()
            .find(|vendor| vendor.id == offer.vendor);
        let slack = vendor.map_or(Slack::default(), slack_of);
        // an order at its least value cannot do without a unit
        let each = if slack.least_order > 0 {
            0
        } else {
            least_saving(offer)
        };
        lower(
            &offer.item,
            Price {
                each: coins(each),
                drop: coins(slack.drop),
                usual: offer
                    .breaks
                    .iter()
                    .filter_map(|level| level.each.to_string().parse().ok())
                    .reduce(f64::min),
            },
        );
    }
    for given in instance.machines.iter().flat_map(|machine| &machine.donor) {
        lower(&given.item, Price::default());
    }
    for build in &instance.builds {
        lower(&build.makes, Price::default());
    }
    for (item, _) in instance.on_hand.iter().filter(|(_, n)| **n > 0) {
        lower(item, Price::default());
    }
    prices
}

/// Refuses an instance that makes no sense.
pub(crate) fn check(instance: &Instance, settings: &Settings) -> Result<(), Error> {
    let fail = |what: String| Err(Error::Input(what));
    for machine in &instance.machines {
        let total: f64 = machine
            .scenarios
            .iter()
            .map(|scenario| scenario.chance)
            .sum();
        let each = machine
            .scenarios
            .iter()
            .all(|scenario| (0.0..=1.0).contains(&scenario.chance));
        if !each || total > 1.0 + 1e-6 {
            return fail(format!(
                "machine `{}`: expected chances that add up to at most 1, found {total}",
                machine.id
            ));
        }
    }
    for remedy in &instance.remedies {
        if !(remedy.later >= 0.0 && remedy.later.is_finite()) {
            let (id, later) = (&remedy.id, remedy.later);
            return fail(format!(
                "remedy `{id}`: expected later costs of 0 or more, found {later}"
            ));
        }
        if !(0.0..=1.0).contains(&remedy.works) {
            let (id, works) = (&remedy.id, remedy.works);
            return fail(format!(
                "remedy `{id}`: expected a chance from 0 to 1, found {works}"
            ));
        }
    }
    for offer in &instance.offers {
        if !instance
            .vendors
            .iter()
            .any(|vendor| vendor.id == offer.vendor)
        {
            let (item, vendor) = (&offer.item, &offer.vendor);
            return fail(format!(
                "offer of `{item}`: expected a known vendor, found `{vendor}`"
            ));
        }
    }
    for vendor in &instance.vendors {
        if !vendor
            .shipping
            .windows(2)
            .all(|pair| pair[0].from < pair[1].from)
        {
            return fail(format!(
                "vendor `{}`: expected shipping steps with rising `from`",
                vendor.id
            ));
        }
    }
    let mut pinned = settings.pins.keys().chain(settings.remedies.keys());
    match pinned.find(|id| !instance.machines.iter().any(|machine| machine.id == **id)) {
        Some(id) => fail(format!("expected a machine of the pile, found `{id}`")),
        None => Ok(()),
    }
}
