//! The quantities of an offer that a plan may order.

use units::Decimal;

use crate::instance::{Break, Offer};

/// Packs added to one lot only to raise the goods value, at most.
const MOST_FILLER: u32 = 100_000;

/// With price breaks further out, the least saving is taken as nothing.
const MOST_COMPARED: u32 = 1_000;

/// A quantity of one offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Lot {
    pub(crate) quantity: u32,
    /// Its price.
    pub(crate) total: i64,
    /// Packs that may be added at the same unit price, and the price of one.
    pub(crate) more: Option<(u32, i64)>,
}

/// How far spending more at a vendor than the goods are worth can pay.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Slack {
    /// The most that postage can fall.
    pub(crate) drop: i64,
    /// The goods value that an order must reach.
    pub(crate) least_order: i64,
}

impl Slack {
    pub(crate) fn any(self) -> bool {
        self.drop + self.least_order > 0
    }
}

/// The lots that can matter when at most `most` units can be used. Without slack those that another beats are left
/// out: as many usable units for no more. With slack, packs may be added to the largest lot of each price.
pub(crate) fn lots(offer: &Offer, most: u32, slack: Slack) -> Vec<Lot> {
    if offer.pack == 0 || (most == 0 && !slack.any()) {
        return Vec::new();
    }
    let mut lots = Vec::new();
    for (index, level) in offer.breaks.iter().enumerate() {
        let end = offer
            .breaks
            .get(index + 1)
            .map_or(u32::MAX, |next| next.from - 1);
        let high = end.min(offer.stock.unwrap_or(u32::MAX)) / offer.pack * offer.pack;
        let low = round_up(level.from.max(1), offer.pack);
        let first_full = round_up(most, offer.pack).max(low);
        let quantities = (low..first_full)
            .step_by(offer.pack as usize)
            .chain([first_full]);
        for quantity in quantities.take_while(|quantity| *quantity <= high) {
            if let Some(total) = offer.total(quantity) {
                let room = if quantity == first_full {
                    (high - quantity) / offer.pack
                } else {
                    0
                };
                lots.push(Lot {
                    quantity,
                    total,
                    more: filler(offer, level, room, slack),
                });
            }
        }
    }
    if slack.least_order == 0 {
        drop_beaten(&mut lots, most, slack.drop);
    }
    lots
}

/// Beyond this many packs, leaving some out would save more than the fall in postage.
fn filler(offer: &Offer, level: &Break, room: u32, slack: Slack) -> Option<(u32, i64)> {
    let each = i64::try_from(level.each)
        .ok()
        .filter(|_| level.each.fract().is_zero())?;
    let pack = each
        .checked_mul(i64::from(offer.pack))
        .filter(|pack| *pack > 0)?;
    let useful = (slack.drop + slack.least_order).div_euclid(pack) + 2;
    let packs = u32::try_from(useful)
        .unwrap_or(MOST_FILLER)
        .min(MOST_FILLER)
        .min(room);
    (slack.any() && packs > 0).then_some((packs, pack))
}

/// Whether packs could be added that [`lots`] does not offer, because a unit costs no whole number of coins.
pub(crate) fn broken_prices(offer: &Offer) -> bool {
    offer
        .breaks
        .iter()
        .any(|level| level.each != Decimal::ZERO && !level.each.fract().is_zero())
}

/// The least that ordering one unit less can save. Nothing where a pack or a price break makes the next unit free.
pub(crate) fn least_saving(offer: &Offer) -> i64 {
    let last = offer.breaks.last().map_or(0, |level| level.from);
    let stock = offer.stock.unwrap_or(u32::MAX);
    let most = last.saturating_add(offer.pack).min(stock);
    if most > MOST_COMPARED {
        return 0;
    }
    let mut one_less = 0;
    let mut saving = i64::MAX;
    for quantity in 1..=most {
        let cheapest = (quantity..=most)
            .filter_map(|larger| offer.total(larger))
            .min();
        let Some(cheapest) = cheapest else { break };
        saving = saving.min(cheapest - one_less);
        one_less = cheapest;
    }
    if saving == i64::MAX { 0 } else { saving.max(0) }
}

fn drop_beaten(lots: &mut Vec<Lot>, most: u32, drop: i64) {
    let all = lots.clone();
    let beats = |other: &Lot, lot: &Lot| {
        let (units, wanted) = (other.quantity.min(most), lot.quantity.min(most));
        let equal = units == wanted && other.total == lot.total;
        units >= wanted
            && lot.total - other.total >= drop
            && (!equal || other.quantity < lot.quantity)
    };
    lots.retain(|lot| {
        !all.iter()
            .any(|other| other.quantity != lot.quantity && beats(other, lot))
    });
}

fn round_up(quantity: u32, pack: u32) -> u32 {
    quantity.div_ceil(pack).saturating_mul(pack)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(
        pack: u32,
        stock: Option<u32>,
        breaks: &[(u32, i64)],
        most: u32,
        expected: &[(u32, i64)],
    ) {
        let offer = Offer {
            vendor: String::new(),
            item: String::new(),
            pack,
            stock,
            breaks: breaks
                .iter()
                .map(|&(from, each)| Break {
                    from,
                    each: Decimal::from(each),
                })
                .collect(),
        };
        let lots = lots(&offer, most, Slack::default());
        let pairs: Vec<(u32, i64)> = lots.iter().map(|lot| (lot.quantity, lot.total)).collect();
        assert_eq!(pairs, expected);
    }

    #[test]
    fn keeps_what_can_matter() {
        check(1, None, &[(1, 10)], 3, &[(1, 10), (2, 20), (3, 30)]);
        check(1, None, &[(1, 10), (4, 5)], 3, &[(1, 10), (4, 20)]);
        check(
            1,
            Some(3),
            &[(1, 10), (4, 5)],
            3,
            &[(1, 10), (2, 20), (3, 30)],
        );
        check(5, None, &[(5, 10), (10, 5)], 7, &[(10, 50)]);
        check(1, None, &[(3, 10)], 2, &[(3, 30)]);
        check(1, None, &[(1, 10)], 0, &[]);
    }
}
