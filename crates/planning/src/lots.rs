//! The quantities of an offer that a plan may order.

use units::Decimal;

use crate::instance::{Break, Offer};

/// Packs added to one lot only to raise the goods value, at most.
const MOST_FILLER: u32 = 100_000;

/// The same where a unit costs no whole number of coins, so that each quantity is a lot of its own.
const MOST_BROKEN: u32 = 60;

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
        let extra = match whole_coins(level) {
            Some(_) => 0,
            None => useful_packs(offer, level, slack).min(MOST_BROKEN),
        };
        let quantities = (low..first_full)
            .step_by(offer.pack as usize)
            .chain((0..=extra).map(|packs| first_full + packs * offer.pack));
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

fn filler(offer: &Offer, level: &Break, room: u32, slack: Slack) -> Option<(u32, i64)> {
    let each = whole_coins(level)?;
    let pack = each
        .checked_mul(i64::from(offer.pack))
        .filter(|pack| *pack > 0)?;
    let packs = useful_packs(offer, level, slack).min(room);
    (packs > 0).then_some((packs, pack))
}

/// The unit price, if it is a whole number of coins.
fn whole_coins(level: &Break) -> Option<i64> {
    i64::try_from(level.each)
        .ok()
        .filter(|_| level.each.fract().is_zero())
}

/// Beyond this many packs, leaving some out would save more than the fall in postage.
fn useful_packs(offer: &Offer, level: &Break, slack: Slack) -> u32 {
    let pack = level.each.checked_mul(Decimal::from(offer.pack));
    let pack = pack.and_then(|pack| i64::try_from(pack.floor()).ok());
    let Some(pack) = pack.filter(|pack| slack.any() && *pack > 0) else {
        return if slack.any() && level.each > Decimal::ZERO {
            MOST_FILLER
        } else {
            0
        };
    };
    let useful = (slack.drop + slack.least_order).div_euclid(pack) + 2;
    u32::try_from(useful)
        .unwrap_or(MOST_FILLER)
        .min(MOST_FILLER)
}

/// Whether packs could usefully be added that [`lots`] does not offer, because a unit costs no whole number of coins
/// and too many would be worth a lot of their own.
pub(crate) fn broken_prices(offer: &Offer, slack: Slack) -> bool {
    let broken = offer
        .breaks
        .iter()
        .filter(|level| whole_coins(level).is_none());
    let mut useful = broken.map(|level| useful_packs(offer, level, slack));
    useful.any(|packs| packs > MOST_BROKEN)
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
