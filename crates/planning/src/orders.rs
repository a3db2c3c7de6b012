//! The part of the model that orders: lots, postage, the money they take.

use optimum::{Relation, Var};

use crate::lots::{Lot, Slack, lots};
use crate::market::slack_of;
use crate::model::{Filler, LotVar, More, PileModel, units};

impl PileModel<'_> {
    pub(crate) fn add_lots(&mut self, most: &[u32], filler: Filler) {
        for vendor in &self.instance.vendors {
            let hassle = self.worth(-units(vendor.hassle));
            let used = self.model.binary(format!("order at {}", vendor.id), hassle);
            self.used.push(used);
        }
        for (at, offer) in self.instance.offers.iter().enumerate() {
            let wanted = self.items.find(&offer.item).map_or(0, |item| most[item]);
            let vendor = self.vendor(&offer.vendor);
            let slack = match filler {
                Filler::Amount => Slack::default(),
                Filler::Packs => {
                    vendor.map_or(Slack::default(), |v| slack_of(&self.instance.vendors[v]))
                }
            };
            let lots = lots(offer, wanted, slack);
            let vars: Vec<LotVar> = lots
                .iter()
                .map(|lot| self.add_lot(at, offer.pack, lot))
                .collect();
            if let Some(vendor) = vendor.filter(|_| !vars.is_empty()) {
                let mut one: Vec<(Var, f64)> = vars.iter().map(|lot| (lot.taken, 1.0)).collect();
                one.push((self.used[vendor], -1.0));
                self.model.row(
                    format!("offer {at} only with an order"),
                    one,
                    Relation::AtMost,
                    0.0,
                );
            }
            self.offers.push(vars);
        }
    }

    fn add_lot(&mut self, offer: usize, pack: u32, lot: &Lot) -> LotVar {
        let name = format!("offer {offer} lot {}", lot.quantity);
        let cost = self.worth(-units(lot.total));
        let taken = self.model.binary(&name, cost);
        let more = lot.more.map(|(most, price)| {
            let number = i32::try_from(most).unwrap_or(i32::MAX);
            let cost = self.worth(-units(price));
            let packs = self.model.whole(format!("{name} more"), (0, number), cost);
            let terms = [(packs, 1.0), (taken, -f64::from(most))];
            self.model.row(
                format!("{name} more only if taken"),
                terms,
                Relation::AtMost,
                0.0,
            );
            More {
                packs,
                most,
                pack,
                price,
            }
        });
        LotVar {
            quantity: lot.quantity,
            total: lot.total,
            taken,
            more,
        }
    }

    fn vendor(&self, id: &str) -> Option<usize> {
        self.instance
            .vendors
            .iter()
            .position(|vendor| vendor.id == id)
    }

    /// The goods value of one vendor, in model units.
    fn goods(&self, vendor: usize) -> (Vec<(Var, f64)>, i64) {
        let id = &self.instance.vendors[vendor].id;
        let mut terms = Vec::new();
        let mut most = 0;
        for (offer, lots) in self.instance.offers.iter().zip(&self.offers) {
            if offer.vendor == *id {
                terms.extend(lots.iter().map(|lot| (lot.taken, units(lot.total))));
                let more = lots.iter().filter_map(|lot| lot.more);
                terms.extend(more.map(|more| (more.packs, units(more.price))));
                most += lots.iter().map(LotVar::dearest).max().unwrap_or(0);
            }
        }
        (terms, most)
    }

    /// Postage in steps, exactly one of which holds for a vendor with an order; its fee goes to money and worth.
    pub(crate) fn add_postage(&mut self, filler: Filler) {
        let mut money: Vec<(Var, f64)> = Vec::new();
        for vendor in 0..self.used.len() {
            let (goods, most) = self.goods(vendor);
            money.extend(goods.iter().copied());
            money.extend(self.add_steps(vendor, goods, most, filler));
        }
        if let Some(limit) = self.instance.limits.money {
            self.model
                .row("money", money, Relation::AtMost, units(limit));
        }
    }

    fn add_steps(
        &mut self,
        vendor: usize,
        goods: Vec<(Var, f64)>,
        most: i64,
        filler: Filler,
    ) -> Vec<(Var, f64)> {
        let name = &self.instance.vendors[vendor].id;
        let steps = &self.instance.vendors[vendor].shipping;
        let slack = slack_of(&self.instance.vendors[vendor]);
        let room = match filler {
            Filler::Amount => slack.drop + slack.least_order,
            Filler::Packs => 0,
        };
        let steps: Vec<_> = steps
            .iter()
            .filter(|s| s.from == 0 || s.from <= most + room)
            .copied()
            .collect();
        let used = self.used[vendor];
        let (mut one, mut money) = (vec![(used, -1.0)], Vec::new());
        let (mut reach, mut below) = (goods.clone(), goods);
        for (index, step) in steps.iter().enumerate() {
            let fee = self.worth(-units(step.fee));
            let holds = self
                .model
                .binary(format!("{name} postage step {index}"), fee);
            let end = steps
                .get(index + 1)
                .map_or(most + room, |next| next.from - 1);
            one.push((holds, 1.0));
            reach.push((holds, -units(step.from)));
            below.push((holds, -units(end)));
            money.push((holds, units(step.fee)));
        }
        if self.instance.vendors[vendor].shipping.is_empty() {
            return money;
        }
        if room > 0 {
            let cost = self.worth(-1.0);
            let extra = self
                .model
                .real(format!("{name} filler"), (0.0, units(room)), cost);
            self.model.row(
                format!("{name} filler only with an order"),
                [(extra, 1.0), (used, -units(room))],
                Relation::AtMost,
                0.0,
            );
            reach.push((extra, 1.0));
            below.push((extra, 1.0));
            money.push((extra, 1.0));
        }
        self.model.row(
            format!("{name} one postage step"),
            one,
            Relation::Equal,
            0.0,
        );
        if steps.iter().any(|step| step.from > 0) {
            self.model.row(
                format!("{name} reaches its step"),
                reach,
                Relation::AtLeast,
                0.0,
            );
        }
        if steps.windows(2).any(|pair| pair[1].fee > pair[0].fee) {
            self.model.row(
                format!("{name} stays in its step"),
                below,
                Relation::AtMost,
                0.0,
            );
        }
        money
    }
}

impl LotVar {
    fn dearest(&self) -> i64 {
        self.total
            + self
                .more
                .map_or(0, |more| more.price * i64::from(more.most))
    }
}
