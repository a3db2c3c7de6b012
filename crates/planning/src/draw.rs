//! From a solution of the model to the plan it stands for.

use optimum::Solution;

use crate::model::{MachineVars, More, PileModel};
use crate::plan::{Choice, Chosen, Decision, Kit, Order, Plan};

impl PileModel<'_> {
    /// The plan that a solution stands for. Its sums are left for [`revalue`](crate::revalue).
    pub(crate) fn plan(&self, solution: &Solution) -> Plan {
        let mut plan = Plan {
            value: 0.0,
            money: 0,
            minutes: 0.0,
            working: 0.0,
            hassle: 0,
            machines: self
                .machines
                .iter()
                .map(|m| self.decision(m, solution))
                .collect(),
            builds: Vec::new(),
            orders: Vec::new(),
            shipping: Vec::new(),
            bound: 0.0,
            proven: false,
            cases: Vec::new(),
        };
        for (build, vars) in self.instance.builds.iter().zip(&self.builds) {
            let number = whole(solution.value(vars.number));
            if number > 0 {
                plan.builds.push((build.id.clone(), number));
            }
        }
        for (offer, lots) in self.instance.offers.iter().zip(&self.offers) {
            for lot in lots.iter().filter(|lot| solution.chosen(lot.taken)) {
                let added = |more: More| (whole(solution.value(more.packs)), more);
                let (units, price) = lot.more.map(added).map_or((0, 0), |(packs, more)| {
                    (packs * more.pack, i64::from(packs) * more.price)
                });
                plan.orders.push(Order {
                    vendor: offer.vendor.clone(),
                    item: offer.item.clone(),
                    quantity: lot.quantity + units,
                    cost: lot.total + price,
                });
            }
        }
        plan
    }

    fn decision(&self, vars: &MachineVars<'_>, solution: &Solution) -> Decision {
        let chosen = vars.repair.iter().position(|&var| solution.chosen(var));
        let choice = match (chosen, vars.donor) {
            (Some(index), _) => Choice::Repair(self.kit(&vars.kits.list[index])),
            (None, Some(donor)) if solution.chosen(donor) => Choice::Donor,
            _ if vars.sell.is_some_and(|sell| solution.chosen(sell)) => Choice::Sell,
            _ => Choice::Hold,
        };
        Decision {
            id: vars.machine.id.clone(),
            choice,
        }
    }

    pub(crate) fn kit(&self, kit: &crate::kits::Kit<'_>) -> Kit {
        let remedies = kit.remedies.iter().map(|&(fault, at)| Chosen {
            fault: fault.clone(),
            remedy: self.instance.remedies[at].id.clone(),
        });
        let items = kit
            .items
            .iter()
            .map(|&(item, n)| (self.items.name(item).to_string(), n));
        let mut items: Vec<(String, u32)> = items.collect();
        items.sort();
        let mut covered = kit.covered.clone();
        covered.sort_unstable();
        Kit {
            remedies: remedies.collect(),
            covered,
            items,
            chance: kit.chance,
            minutes: kit.minutes,
            later: kit.later,
        }
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a whole number between 0 and its limit"
)]
fn whole(value: f64) -> u32 {
    value as u32
}
