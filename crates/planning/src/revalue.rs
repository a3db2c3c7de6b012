//! The worth of a plan, computed from the rules alone: no kits, no lots, no model.

use std::collections::{BTreeMap, BTreeSet};

use crate::instance::{Instance, Machine, Remedy};
use crate::plan::{Choice, Kit, Plan};
use crate::two_stage_worth::revalue_cases;

/// What a plan comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worth {
    /// Worth of the whole, without hassle.
    pub value: f64,
    /// Orders and postage.
    pub money: i64,
    /// Expected minutes.
    pub minutes: f64,
    /// Expected number of working machines.
    pub working: f64,
}

/// Computes the worth of `plan` again and checks that it can be carried out within the limits.
///
/// # Errors
/// The first thing that is wrong with it, in words.
pub fn revalue(instance: &Instance, plan: &Plan) -> Result<Worth, String> {
    if !plan.cases.is_empty() {
        return revalue_cases(instance, plan);
    }
    let mut ledger = Ledger::new(instance);
    if plan.machines.len() != instance.machines.len() {
        return Err("the plan does not decide every machine once".to_string());
    }
    for (machine, decision) in instance.machines.iter().zip(&plan.machines) {
        if machine.id != decision.id {
            return Err(format!(
                "expected `{}`, found `{}`",
                machine.id, decision.id
            ));
        }
        ledger.decide(machine, &decision.choice)?;
    }
    ledger.build(plan)?;
    ledger.order(plan)?;
    ledger.close(&instance.limits)
}

struct Ledger<'i> {
    instance: &'i Instance,
    /// Items on hand, bought, built and given, less items used.
    stock: BTreeMap<&'i str, i64>,
    worth: f64,
    money: i64,
    minutes: f64,
    working: f64,
}

#[expect(clippy::cast_precision_loss, reason = "amounts are far below 2^53")]
fn real(amount: i64) -> f64 {
    amount as f64
}

impl<'i> Ledger<'i> {
    fn new(instance: &'i Instance) -> Ledger<'i> {
        let on_hand = instance.on_hand.iter();
        Ledger {
            instance,
            stock: on_hand
                .map(|(item, &n)| (item.as_str(), i64::from(n)))
                .collect(),
            worth: 0.0,
            money: 0,
            minutes: 0.0,
            working: 0.0,
        }
    }

    fn decide(&mut self, machine: &'i Machine, choice: &Choice) -> Result<(), String> {
        match choice {
            Choice::Hold => self.worth += real(machine.hold_value),
            Choice::Sell => match machine.sell_value {
                Some(price) => self.worth += real(price),
                None => return Err(format!("nobody buys `{}` as it stands", machine.id)),
            },
            Choice::Donor => {
                for given in &machine.donor {
                    *self.stock.entry(&given.item).or_default() += i64::from(given.n);
                }
            }
            Choice::Repair(kit) => self.repair(machine, kit)?,
        }
        Ok(())
    }

    fn repair(&mut self, machine: &Machine, kit: &Kit) -> Result<(), String> {
        let covered: BTreeSet<usize> = kit.covered.iter().copied().collect();
        if covered.is_empty() || covered.len() != kit.covered.len() {
            return Err(format!(
                "the kit of `{}` covers no scenario or one twice",
                machine.id
            ));
        }
        let mut used: BTreeSet<(&str, &str)> = BTreeSet::new();
        let mut chance = 0.0;
        let mut minutes = f64::from(machine.base_minutes);
        for &index in &covered {
            let scenario = machine
                .scenarios
                .get(index)
                .ok_or("a kit covers an unknown scenario")?;
            let mut works = scenario.chance;
            for fault in &scenario.faults {
                let remedy = self.remedy_for(machine, kit, fault)?;
                works *= remedy.works;
                minutes += scenario.chance * f64::from(remedy.minutes);
                self.worth -= scenario.chance * remedy.later;
                used.extend(
                    remedy
                        .item
                        .as_deref()
                        .map(|item| (fault.part.as_str(), item)),
                );
            }
            chance += works;
        }
        for (_, item) in used {
            let name = self.own_name(item)?;
            *self.stock.entry(name).or_default() -= 1;
        }
        self.worth += real(machine.value) * chance + real(machine.hold_value) * (1.0 - chance);
        self.minutes += minutes;
        self.working += chance;
        Ok(())
    }

    fn remedy_for(
        &self,
        machine: &Machine,
        kit: &Kit,
        fault: &crate::instance::Fault,
    ) -> Result<&'i Remedy, String> {
        let mut chosen = kit.remedies.iter().filter(|chosen| chosen.fault == *fault);
        let (Some(one), None) = (chosen.next(), chosen.next()) else {
            let (part, mode) = (&fault.part, &fault.mode);
            return Err(format!(
                "`{}` has not exactly one remedy for `{part}.{mode}`",
                machine.id
            ));
        };
        let remedy = self
            .instance
            .remedies
            .iter()
            .find(|remedy| remedy.id == one.remedy);
        remedy
            .filter(|remedy| remedy.device == fault.device && remedy.modes.contains(&fault.mode))
            .ok_or_else(|| {
                format!(
                    "remedy `{}` is not for `{}.{}`",
                    one.remedy, fault.device, fault.mode
                )
            })
    }

    /// The item's name as the instance holds it.
    fn own_name(&self, item: &str) -> Result<&'i str, String> {
        let mut names = self
            .instance
            .remedies
            .iter()
            .filter_map(|remedy| remedy.item.as_deref());
        let found = names.find(|name| *name == item);
        found.ok_or_else(|| format!("unknown item `{item}`"))
    }

    fn build(&mut self, plan: &Plan) -> Result<(), String> {
        for (id, n) in &plan.builds {
            let build = self.instance.builds.iter().find(|build| build.id == *id);
            let build = build.ok_or_else(|| format!("unknown build `{id}`"))?;
            if *n == 0 {
                continue;
            }
            self.minutes +=
                f64::from(build.setup_minutes) + f64::from(*n) * f64::from(build.unit_minutes);
            *self.stock.entry(&build.makes).or_default() += i64::from(*n);
            for part in &build.uses {
                *self.stock.entry(&part.item).or_default() -= i64::from(part.n) * i64::from(*n);
            }
        }
        Ok(())
    }

    fn order(&mut self, plan: &Plan) -> Result<(), String> {
        let mut goods: BTreeMap<&str, i64> = BTreeMap::new();
        for order in &plan.orders {
            let offers = self.instance.offers.iter();
            let mut fitting = offers.filter(|o| o.vendor == order.vendor && o.item == order.item);
            let name = || format!("{} {} at {}", order.quantity, order.item, order.vendor);
            let offer = fitting.find(|offer| offer.total(order.quantity) == Some(order.cost));
            let offer =
                offer.ok_or_else(|| format!("no offer sells `{}` for {}", name(), order.cost))?;
            *goods.entry(&offer.vendor).or_default() += order.cost;
            *self.stock.entry(&offer.item).or_default() += i64::from(order.quantity);
        }
        for (id, value) in goods {
            let vendor = self.instance.vendors.iter().find(|vendor| vendor.id == id);
            let postage = vendor.and_then(|vendor| vendor.postage(value));
            let postage = postage.ok_or_else(|| format!("`{id}` takes no order of {value}"))?;
            self.money += value + postage;
        }
        Ok(())
    }

    fn close(self, limits: &crate::instance::Limits) -> Result<Worth, String> {
        if let Some((item, short)) = self.stock.iter().find(|(_, n)| **n < 0) {
            return Err(format!("{} of `{item}` are missing", -short));
        }
        if limits.money.is_some_and(|most| self.money > most) {
            return Err(format!(
                "the plan costs {}, more than the limit",
                self.money
            ));
        }
        if limits
            .minutes
            .is_some_and(|most| self.minutes > most + 1e-6)
        {
            return Err(format!(
                "the plan takes {} minutes, more than the limit",
                self.minutes
            ));
        }
        if limits
            .least_working
            .is_some_and(|least| self.working < least - 1e-6)
        {
            return Err(format!("{} machines work, fewer than wanted", self.working));
        }
        Ok(Worth {
            value: self.worth - self.instance.rate_per_minute * self.minutes - real(self.money),
            money: self.money,
            minutes: self.minutes,
            working: self.working,
        })
    }
}
