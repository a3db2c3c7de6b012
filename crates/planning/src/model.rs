//! The plan as a model: which kits, donors, lots, parcels and builds.

use std::collections::BTreeMap;

use optimum::{Model, Relation, Sense, Var};

use crate::instance::{Instance, Machine};
use crate::kits::{Kits, Market, kits_of};
use crate::market::{Items, check, items_of, prices};
use crate::solve::{Error, Goal, Pin, Settings};

/// Coins to one unit of the model, so that its numbers stay of one size.
pub(crate) const SCALE: f64 = 100.0;

/// What is asked of the model.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Question<'q> {
    pub(crate) settings: &'q Settings,
    pub(crate) filler: Filler,
}

/// Goods that nobody needs, ordered to reach a lower postage or a least order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Filler {
    /// In any amount: few variables, and an optimum that is a bound, nearly always reached without.
    Amount,
    /// In whole packs of what the vendor sells: exact, and larger.
    Packs,
}

/// The model and what its variables stand for.
pub(crate) struct PileModel<'i> {
    pub(crate) instance: &'i Instance,
    pub(crate) model: Model,
    pub(crate) machines: Vec<MachineVars<'i>>,
    pub(crate) offers: Vec<Vec<LotVar>>,
    /// Whether each vendor gets an order.
    pub(crate) used: Vec<Var>,
    pub(crate) builds: Vec<BuildVars>,
    pub(crate) items: Items,
    pub(crate) goal: Goal,
}

pub(crate) struct MachineVars<'i> {
    pub(crate) machine: &'i Machine,
    pub(crate) kits: Kits<'i>,
    pub(crate) repair: Vec<Var>,
    pub(crate) donor: Option<Var>,
    pub(crate) sell: Option<Var>,
}

pub(crate) struct LotVar {
    pub(crate) quantity: u32,
    pub(crate) total: i64,
    pub(crate) taken: Var,
    pub(crate) more: Option<More>,
}

/// Packs that may be added to a lot.
#[derive(Clone, Copy)]
pub(crate) struct More {
    pub(crate) packs: Var,
    pub(crate) most: u32,
    /// Units in a pack.
    pub(crate) pack: u32,
    /// Price of a pack.
    pub(crate) price: i64,
}

pub(crate) struct BuildVars {
    pub(crate) number: Var,
    pub(crate) set_up: Var,
    pub(crate) most: u32,
}

/// What makes an item available: what may give it, and how many each gives.
#[derive(Default)]
pub(crate) struct Sources {
    pub(crate) gives: Vec<(Var, f64)>,
    pub(crate) uses: Vec<(Var, f64)>,
    /// Lots, donors and set-ups, each counted once.
    pub(crate) once: Vec<Var>,
}

/// Who uses an item: a name, what it is used by, and the item.
pub(crate) type Link = (String, Vec<Var>, usize);

#[expect(clippy::cast_precision_loss, reason = "amounts are far below 2^53")]
pub(crate) fn coins(amount: i64) -> f64 {
    amount as f64
}

pub(crate) fn units(amount: i64) -> f64 {
    coins(amount) / SCALE
}

impl<'i> PileModel<'i> {
    pub(crate) fn new(
        instance: &'i Instance,
        question: Question<'_>,
    ) -> Result<PileModel<'i>, Error> {
        let mut pile = PileModel::empty(instance, question)?;
        pile.add_machines(question)?;
        let most = pile.most_needed();
        pile.add_builds(&most);
        let most = pile.with_parts(most);
        pile.add_lots(&most, question.filler);
        pile.add_postage(question.filler);
        pile.balance();
        pile.limit();
        Ok(pile)
    }

    /// A model without anything in it.
    pub(crate) fn empty(
        instance: &'i Instance,
        question: Question<'_>,
    ) -> Result<PileModel<'i>, Error> {
        check(instance, question.settings)?;
        Ok(PileModel {
            instance,
            model: Model::new(Sense::Maximize),
            machines: Vec::new(),
            offers: Vec::new(),
            used: Vec::new(),
            builds: Vec::new(),
            items: items_of(instance),
            goal: question.settings.goal,
        })
    }

    /// An objective coefficient that counts only when worth decides.
    pub(crate) fn worth(&self, amount: f64) -> f64 {
        match self.goal {
            Goal::Worth => amount,
            Goal::Working => 0.0,
        }
    }

    pub(crate) fn minutes_cost(&self, minutes: f64) -> f64 {
        self.instance.rate_per_minute * minutes / SCALE
    }

    fn add_machines(&mut self, question: Question<'_>) -> Result<(), Error> {
        let instance = self.instance;
        let settings = question.settings;
        let free = settings.goal == Goal::Worth && instance.limits.least_working.is_none();
        let items = std::mem::take(&mut self.items);
        let prices = prices(instance, &items);
        for machine in &instance.machines {
            let remedies = settings.remedies.get(&machine.id);
            let pin = settings.pins.get(&machine.id).copied();
            let pin = match (pin, remedies) {
                (Some(Pin::Hold | Pin::Donor | Pin::Sell), Some(_)) => {
                    return Err(Error::NoKit(machine.id.clone()));
                }
                (_, Some(_)) => Some(Pin::Repair),
                (pin, None) => pin,
            };
            let market = Market {
                instance,
                items: &items,
                prices: &prices,
                worth_decides: free && pin != Some(Pin::Repair),
                only: remedies,
            };
            let kits = match pin {
                None | Some(Pin::Repair | Pin::Keep) => kits_of(&market, machine),
                Some(Pin::Hold | Pin::Donor | Pin::Sell) => Kits::default(),
            };
            let vars = self.add_machine(machine, kits, pin)?;
            self.machines.push(vars);
        }
        self.items = items;
        Ok(())
    }

    fn add_machine(
        &mut self,
        machine: &'i Machine,
        kits: Kits<'i>,
        pin: Option<Pin>,
    ) -> Result<MachineVars<'i>, Error> {
        let id = &machine.id;
        let rise = units(machine.value - machine.hold_value);
        let mut one = Vec::new();
        for (index, kit) in kits.list.iter().enumerate() {
            let gain = match self.goal {
                Goal::Worth => {
                    rise * kit.chance - self.minutes_cost(kit.minutes) - kit.later / SCALE
                }
                Goal::Working => kit.chance,
            };
            one.push(self.model.binary(format!("{id} kit {index}"), gain));
        }
        let repair = one.clone();
        let gives = !machine.donor.is_empty() && pin.is_none();
        let donor = (gives || pin == Some(Pin::Donor)).then(|| {
            let lost = self.worth(-units(machine.hold_value));
            self.model.binary(format!("{id} donor"), lost)
        });
        let price = machine
            .sell_value
            .filter(|_| matches!(pin, None | Some(Pin::Sell)));
        let sell = price.map(|price| {
            let more = self.worth(units(price - machine.hold_value));
            self.model.binary(format!("{id} sold"), more)
        });
        one.extend(donor.into_iter().chain(sell));
        let relation = match pin {
            Some(Pin::Repair | Pin::Donor | Pin::Sell) => Relation::Equal,
            _ => Relation::AtMost,
        };
        if one.is_empty() && relation == Relation::Equal {
            return Err(Error::NoKit(id.clone()));
        }
        if !one.is_empty() {
            let terms = one.into_iter().map(|var| (var, 1.0));
            self.model
                .row(format!("{id} one choice"), terms, relation, 1.0);
        }
        Ok(MachineVars {
            machine,
            kits,
            repair,
            donor,
            sell,
        })
    }

    /// The most of each item that the machines can use.
    fn most_needed(&self) -> Vec<u32> {
        let mut most = vec![0; self.items.len()];
        for machine in &self.machines {
            let mut own: BTreeMap<usize, u32> = BTreeMap::new();
            for &(item, n) in machine.kits.list.iter().flat_map(|kit| &kit.items) {
                let entry = own.entry(item).or_default();
                *entry = n.max(*entry);
            }
            for (item, n) in own {
                most[item] += n;
            }
        }
        most
    }

    pub(crate) fn add_builds(&mut self, most: &[u32]) {
        for build in &self.instance.builds {
            let id = &build.id;
            let wanted = self.items.find(&build.makes).map_or(0, |item| most[item]);
            let number = i32::try_from(wanted).unwrap_or(i32::MAX);
            let unit = self.worth(-self.minutes_cost(f64::from(build.unit_minutes)));
            let number = self.model.whole(format!("{id} number"), (0, number), unit);
            let set_up = self.worth(-self.minutes_cost(f64::from(build.setup_minutes)));
            let set_up = self.model.binary(format!("{id} set up"), set_up);
            let terms = [(number, 1.0), (set_up, -f64::from(wanted))];
            self.model
                .row(format!("{id} set up first"), terms, Relation::AtMost, 0.0);
            self.builds.push(BuildVars {
                number,
                set_up,
                most: wanted,
            });
        }
    }

    /// Adds what the builds can use to what the machines can use.
    pub(crate) fn with_parts(&self, mut most: Vec<u32>) -> Vec<u32> {
        for (build, vars) in self.instance.builds.iter().zip(&self.builds) {
            for part in &build.uses {
                if let Some(item) = self.items.find(&part.item) {
                    most[item] += part.n * vars.most;
                }
            }
        }
        most
    }

    /// No more of an item is used than there is; and nothing uses an item that nothing gives.
    fn balance(&mut self) {
        let mut sources: Vec<Sources> = (0..self.items.len()).map(|_| Sources::default()).collect();
        self.add_givers(&mut sources);
        let mut links: Vec<Link> = Vec::new();
        for machine in &self.machines {
            let mut by_item: BTreeMap<usize, Vec<Var>> = BTreeMap::new();
            for (kit, &var) in machine.kits.list.iter().zip(&machine.repair) {
                for &(item, n) in &kit.items {
                    sources[item].uses.push((var, f64::from(n)));
                    by_item.entry(item).or_default().push(var);
                }
            }
            let id = &machine.machine.id;
            links.extend(
                by_item
                    .into_iter()
                    .map(|(item, vars)| (id.clone(), vars, item)),
            );
        }
        self.add_balance("", sources, links);
    }

    /// Rows of balance for what is used, with what the builds use added.
    pub(crate) fn add_balance(
        &mut self,
        suffix: &str,
        mut sources: Vec<Sources>,
        mut links: Vec<Link>,
    ) {
        for (build, vars) in self.instance.builds.iter().zip(&self.builds) {
            for part in &build.uses {
                if let Some(item) = self.items.find(&part.item) {
                    sources[item].uses.push((vars.number, f64::from(part.n)));
                    links.push((build.id.clone(), vec![vars.set_up], item));
                }
            }
        }
        for (item, source) in sources
            .iter()
            .enumerate()
            .filter(|(_, s)| !s.uses.is_empty())
        {
            let name = self.items.name(item);
            let on_hand = self.instance.on_hand.get(name).copied().unwrap_or(0);
            let given = source.gives.iter().map(|&(var, n)| (var, -n));
            let terms: Vec<(Var, f64)> = source.uses.iter().copied().chain(given).collect();
            self.model.row(
                format!("enough {name}{suffix}"),
                terms,
                Relation::AtMost,
                f64::from(on_hand),
            );
        }
        for (who, vars, item) in links {
            let name = self.items.name(item);
            if self.instance.on_hand.get(name).is_none_or(|n| *n == 0) {
                let given = sources[item].once.iter().map(|&var| (var, -1.0));
                let terms: Vec<(Var, f64)> = vars
                    .into_iter()
                    .map(|var| (var, 1.0))
                    .chain(given)
                    .collect();
                self.model.row(
                    format!("{who} gets {name} somewhere{suffix}"),
                    terms,
                    Relation::AtMost,
                    0.0,
                );
            }
        }
    }

    pub(crate) fn add_givers(&self, sources: &mut [Sources]) {
        for (offer, lots) in self.instance.offers.iter().zip(&self.offers) {
            for lot in lots {
                if let Some(item) = self.items.find(&offer.item) {
                    sources[item]
                        .gives
                        .push((lot.taken, f64::from(lot.quantity)));
                    sources[item].once.push(lot.taken);
                }
            }
        }
        for machine in &self.machines {
            for (donor, given) in machine
                .donor
                .iter()
                .flat_map(|d| machine.machine.donor.iter().map(move |g| (d, g)))
            {
                if let Some(item) = self.items.find(&given.item).filter(|_| given.n > 0) {
                    sources[item].gives.push((*donor, f64::from(given.n)));
                    sources[item].once.push(*donor);
                }
            }
        }
        for (build, vars) in self.instance.builds.iter().zip(&self.builds) {
            if let Some(item) = self.items.find(&build.makes) {
                sources[item].gives.push((vars.number, 1.0));
                sources[item].once.push(vars.set_up);
            }
        }
    }

    fn limit(&mut self) {
        let repairs = || {
            self.machines
                .iter()
                .flat_map(|m| m.kits.list.iter().zip(&m.repair))
        };
        let minutes: Vec<(Var, f64)> = repairs().map(|(kit, &var)| (var, kit.minutes)).collect();
        let working: Vec<(Var, f64)> = repairs().map(|(kit, &var)| (var, kit.chance)).collect();
        if let Some(limit) = self.instance.limits.minutes {
            let mut terms = minutes;
            terms.extend(self.build_minutes());
            self.model.row("minutes", terms, Relation::AtMost, limit);
        }
        if let Some(least) = self.instance.limits.least_working {
            self.model.row("working", working, Relation::AtLeast, least);
        }
    }

    /// What the builds take, in minutes.
    pub(crate) fn build_minutes(&self) -> Vec<(Var, f64)> {
        let builds = self.instance.builds.iter().zip(&self.builds);
        let each = builds.flat_map(|(build, vars)| {
            [
                (vars.number, f64::from(build.unit_minutes)),
                (vars.set_up, f64::from(build.setup_minutes)),
            ]
        });
        each.collect()
    }

    /// What the kits left out for want of room can add to any bound.
    pub(crate) fn left_out(&self) -> f64 {
        let dropped = self.machines.iter().filter_map(|m| m.kits.dropped);
        match self.goal {
            Goal::Worth => dropped.map(|gain| gain.max(0.0)).sum(),
            Goal::Working => dropped.map(|_| 1.0).sum(),
        }
    }

    /// The objective of a solution in coins (or machines), the constant part added.
    pub(crate) fn in_coins(&self, objective: f64) -> f64 {
        match self.goal {
            Goal::Worth => {
                let held: i64 = self.instance.machines.iter().map(|m| m.hold_value).sum();
                (objective + units(held)) * SCALE
            }
            Goal::Working => objective,
        }
    }
}
