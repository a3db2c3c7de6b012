//! Candidate lots: the quantities of an offer that can be part of a cheapest order.

use units::Decimal;

use crate::invoice::Priced;

/// Above this many quantities of one price, the ones between become a counted variable.
const MOST_LOTS: u32 = 150;

/// No order has more packs of one line.
const MOST_PACKS: u32 = 1_000_000;

/// A quantity of one offer, taken or not.
#[derive(Debug, Clone)]
pub(crate) struct Lot {
    pub(crate) quantity: u32,
    /// Price of the line in the smallest coins.
    pub(crate) total: i64,
    /// Further packs at the same unit price that may be added.
    pub(crate) more: Option<More>,
}

/// Packs that may be added to a lot without leaving its price break.
#[derive(Debug, Clone)]
pub(crate) struct More {
    pub(crate) pack: u32,
    pub(crate) most: u32,
    /// Unit price in the smallest coins.
    pub(crate) each: Decimal,
}

impl Lot {
    /// At most this, with all that may be added, in the smallest coins.
    pub(crate) fn dearest(&self) -> i64 {
        let added = self.more.as_ref().map_or(Decimal::ZERO, |more| {
            more.each * Decimal::from(more.pack) * Decimal::from(more.most)
        });
        self.total + i64::try_from(added.ceil()).unwrap_or(i64::MAX / 4) + 1
    }
}

/// How far spending more at a vendor than the goods are worth can pay, in the smallest coins.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Slack {
    /// The most that postage can fall.
    pub(crate) drop: i64,
    /// The most that postage can rise with the weight.
    pub(crate) rise: i64,
    /// The goods value that an order must reach.
    pub(crate) least_order: i64,
}

/// The lots of `offer` that can matter when `need` units are wanted. `alone` says that no other offer can give a part
/// of the need.
pub(crate) fn candidates(offer: &Priced, need: u32, slack: Slack, alone: bool) -> Vec<Lot> {
    let mut lots = Vec::new();
    for (index, &(from, each)) in offer.breaks.iter().enumerate() {
        let end = offer
            .breaks
            .get(index + 1)
            .map_or(u32::MAX, |next| next.0 - 1);
        let low = round_up(from.max(offer.least).max(1), offer.pack);
        let high = round_down(end.min(offer.most), offer.pack);
        if let Some(low) = low.filter(|low| *low <= high) {
            add_level(&mut lots, offer, each, (low, high), need, slack);
        }
    }
    if alone {
        lots.retain(|lot| lot.quantity >= need);
    }
    // with a least order, a dear lot may be the one that reaches it
    if slack.least_order == 0 {
        pareto(&mut lots, need, slack);
    }
    lots
}

fn add_level(
    lots: &mut Vec<Lot>,
    offer: &Priced,
    each: Decimal,
    (low, high): (u32, u32),
    need: u32,
    slack: Slack,
) {
    let pack = offer.pack;
    let lot = |quantity, more| Lot {
        quantity,
        total: offer.total(quantity),
        more,
    };
    // quantities below the need, one lot each, or counted if they are many
    let below = high.min(round_down(need.saturating_sub(1), pack));
    if low <= below {
        if (below - low) / pack < MOST_LOTS {
            lots.extend((low..=below).step_by(pack as usize).map(|q| lot(q, None)));
        } else {
            let most = (below - low) / pack;
            lots.push(lot(low, Some(More { pack, most, each })));
        }
    }
    // the first quantity that covers the need, with filler if spending more can pay
    if let Some(first) = round_up(need.max(low), pack).filter(|first| *first <= high) {
        let most = ((high - first) / pack).min(filler_packs(each, pack, slack));
        let more = (most > 0).then_some(More { pack, most, each });
        lots.push(lot(first, more));
    }
}

/// How many packs can be worth buying only to raise the goods value: beyond this, leaving out as many as cost the
/// fall in postage would save more and still reach the least order.
fn filler_packs(each: Decimal, pack: u32, slack: Slack) -> u32 {
    let useful = slack.drop + slack.least_order;
    if useful == 0 || each.is_zero() {
        return 0;
    }
    let packs = (Decimal::from(useful) / (each * Decimal::from(pack))).ceil();
    u32::try_from(packs).unwrap_or(MOST_PACKS).min(MOST_PACKS) + 1
}

/// Drops each lot to which another gives as much for at least so much less as postage can fall, or rise with the weight
/// (for no more, if it never does).
fn pareto(lots: &mut Vec<Lot>, need: u32, slack: Slack) {
    let units = |lot: &Lot| lot.quantity.min(need);
    let all = lots.clone();
    let beats = |other: &Lot, lot: &Lot, earlier: bool| {
        let saves = lot.total - other.total;
        let equal = units(other) == units(lot) && saves == 0;
        let rise = if other.quantity > lot.quantity {
            slack.rise
        } else {
            0
        };
        units(other) >= units(lot) && saves >= slack.drop + rise && (!equal || earlier)
    };
    let mut index = 0;
    lots.retain(|lot| {
        let at = index;
        index += 1;
        let counted_up = lot.more.is_some() && lot.quantity < need;
        let beaten = all
            .iter()
            .enumerate()
            .any(|(other_at, other)| other_at != at && beats(other, lot, other_at < at));
        counted_up || !beaten
    });
}

fn round_up(quantity: u32, pack: u32) -> Option<u32> {
    quantity.div_ceil(pack).checked_mul(pack)
}

fn round_down(quantity: u32, pack: u32) -> u32 {
    quantity / pack * pack
}
