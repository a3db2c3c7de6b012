//! Deciding in two stages: what is ordered and built is settled first; what is done to a machine is decided when the
//! faults have shown.
//!
//! A machine that is taken up costs its own minutes in any case; each joint state of the machines then has its own kits,
//! which share what there is. So nothing needs to be bought for two states that exclude each other.
//! A donor may be kept whole until then. One that is not taken up is given up or not by what the others have shown, for
//! nobody has looked at it; one that is taken up may still be given up by what it has shown itself.

use std::collections::{BTreeMap, BTreeSet};

use optimum::{Relation, Solution, Var};

use crate::instance::{Instance, Machine, Scenario};
use crate::kits::{Kits, Market, kits_of};
use crate::market::prices;
use crate::model::{PileModel, Question, SCALE, Sources, units};
use crate::plan::{Case, Choice, Chosen, Decision, Kit, Plan};
use crate::solve::{Error, Goal, Pin, Settings};

/// The states of each machine, and the joint states of all.
pub(crate) struct Joint {
    states: Vec<Vec<State>>,
    cases: Vec<JointCase>,
}

/// One state of one machine.
struct State {
    /// Position of the scenario; none is a state that nothing is known of.
    scenario: Option<usize>,
    chance: f64,
    /// The machine when it is known to be in this state.
    known: Machine,
}

struct JointCase {
    chance: f64,
    /// Position of the state of each machine.
    states: Vec<usize>,
}

/// The joint states, if there are at most `most`.
pub(crate) fn joint(instance: &Instance, settings: &Settings, most: usize) -> Option<Joint> {
    let mut states = Vec::new();
    let mut number = 1_usize;
    for machine in &instance.machines {
        // settled decisions make states fewer, but not the plan one of another kind
        number = number.saturating_mul(states_of(machine, None).len());
        let own = states_of(machine, settings.pins.get(&machine.id).copied());
        states.push(own);
    }
    if number > most {
        return None;
    }
    let mut cases = vec![JointCase {
        chance: 1.0,
        states: Vec::new(),
    }];
    for own in &states {
        let longer = cases.iter().flat_map(|case| {
            own.iter().enumerate().map(|(at, state)| JointCase {
                chance: case.chance * state.chance,
                states: case.states.iter().copied().chain([at]).collect(),
            })
        });
        cases = longer.collect();
    }
    Some(Joint { states, cases })
}

fn states_of(machine: &Machine, pin: Option<Pin>) -> Vec<State> {
    let known = |scenario: Option<&Scenario>| Machine {
        base_minutes: 0,
        scenarios: scenario
            .map(|scenario| Scenario {
                chance: 1.0,
                faults: scenario.faults.clone(),
            })
            .into_iter()
            .collect(),
        ..machine.clone()
    };
    let unknown = |chance: f64| State {
        scenario: None,
        chance,
        known: known(None),
    };
    if matches!(pin, Some(Pin::Hold | Pin::Donor | Pin::Sell)) {
        return vec![unknown(1.0)];
    }
    let there = machine.scenarios.iter().enumerate();
    let mut states: Vec<State> = there
        .filter(|(_, scenario)| scenario.chance > 0.0)
        .map(|(at, scenario)| State {
            scenario: Some(at),
            chance: scenario.chance,
            known: known(Some(scenario)),
        })
        .collect();
    let rest = 1.0 - states.iter().map(|state| state.chance).sum::<f64>();
    if rest > 1e-9 || states.is_empty() {
        states.push(unknown(rest.max(0.0)));
    }
    states
}

/// The model and what its variables stand for.
pub(crate) struct TwoStage<'i> {
    pub(crate) pile: PileModel<'i>,
    joint: &'i Joint,
    /// Kits of each machine in each of its states.
    kits: Vec<Vec<Kits<'i>>>,
    machines: Vec<First>,
    /// For each case and machine the variables of the kits.
    repair: Vec<Vec<Vec<Var>>>,
}

/// What is settled for a machine, and when it is given up.
struct First {
    taken_up: Var,
    /// Given up without a look at it: by what the others have shown, each with the cases it is for.
    donor: Vec<(Var, BTreeSet<usize>)>,
    /// Given up after a look at it, by case.
    late: Vec<Var>,
    sell: Option<Var>,
}

impl First {
    /// What says that the machine is given up in a case.
    fn donors(&self, case: usize) -> impl Iterator<Item = Var> {
        let unseen = self
            .donor
            .iter()
            .filter(move |(_, cases)| cases.contains(&case));
        unseen
            .map(|(var, _)| *var)
            .chain(self.late.get(case).copied())
    }
}

impl<'i> TwoStage<'i> {
    pub(crate) fn new(
        instance: &'i Instance,
        joint: &'i Joint,
        question: Question<'_>,
    ) -> Result<TwoStage<'i>, Error> {
        let mut model = TwoStage {
            pile: PileModel::empty(instance, question)?,
            joint,
            kits: Vec::new(),
            machines: Vec::new(),
            repair: Vec::new(),
        };
        model.make_kits(question.settings);
        model.add_first(question.settings)?;
        let most = model.most_needed();
        model.pile.add_builds(&most);
        let most = model.pile.with_parts(most);
        model.pile.add_lots(&most, question.filler);
        model.pile.add_postage(question.filler);
        for case in 0..joint.cases.len() {
            model.add_case(case);
        }
        model.keep_settled(question.settings)?;
        model.limit();
        Ok(model)
    }

    fn make_kits(&mut self, settings: &Settings) {
        let instance = self.pile.instance;
        let prices = prices(instance, &self.pile.items);
        let free = settings.goal == Goal::Worth && instance.limits.least_working.is_none();
        for (machine, states) in instance.machines.iter().zip(&self.joint.states) {
            let pinned = settings.pins.get(&machine.id) == Some(&Pin::Repair);
            let made = states.iter().map(|state| {
                let only = only(settings, state);
                let market = Market {
                    instance,
                    items: &self.pile.items,
                    prices: &prices,
                    worth_decides: free && !pinned && only.is_empty(),
                    only: (!only.is_empty()).then_some(&only),
                };
                kits_of(&market, &state.known)
            });
            self.kits.push(made.collect());
        }
    }

    fn add_first(&mut self, settings: &Settings) -> Result<(), Error> {
        let instance = self.pile.instance;
        for (at, machine) in instance.machines.iter().enumerate() {
            let id = &machine.id;
            let pin = settings.pins.get(id).copied();
            let remedies = settings.remedies.contains_key(id);
            if remedies && matches!(pin, Some(Pin::Hold | Pin::Donor | Pin::Sell)) {
                return Err(Error::NoKit(id.clone()));
            }
            let repairs = remedies || pin == Some(Pin::Repair);
            if repairs && self.kits[at].iter().all(|kits| kits.list.is_empty()) {
                return Err(Error::NoKit(id.clone()));
            }
            let minutes = self.pile.minutes_cost(f64::from(machine.base_minutes));
            let cost = self.pile.worth(-minutes);
            let taken_up = self.pile.model.binary(format!("{id} taken up"), cost);
            if matches!(pin, Some(Pin::Hold | Pin::Donor | Pin::Sell)) {
                self.pile.model.fix(taken_up, 0.0);
            }
            let free = pin.is_none() && !remedies;
            let donor = self.add_donors(at, pin, free && !machine.donor.is_empty());
            let price = machine
                .sell_value
                .filter(|_| free || pin == Some(Pin::Sell));
            let sell = price.map(|price| {
                let more = self.pile.worth(units(price - machine.hold_value));
                self.pile.model.binary(format!("{id} sold"), more)
            });
            if pin == Some(Pin::Sell) && sell.is_none() {
                return Err(Error::NoKit(id.clone()));
            }
            let settled = repairs || matches!(pin, Some(Pin::Donor | Pin::Sell));
            let relation = if settled {
                Relation::Equal
            } else {
                Relation::AtMost
            };
            let first = [Some(taken_up), sell];
            let classes = match donor.as_slice() {
                [] => vec![None],
                several => several.iter().map(|(var, _)| Some(*var)).collect(),
            };
            for (class, donor) in classes.into_iter().enumerate() {
                let one = first.iter().copied().chain([donor]).flatten();
                let terms = one.map(|var| (var, 1.0));
                let name = format!("{id} one choice {class}");
                self.pile.model.row(name, terms, relation, 1.0);
            }
            let late = match free && !machine.donor.is_empty() {
                true => self.add_late(machine),
                false => Vec::new(),
            };
            self.machines.push(First {
                taken_up,
                donor,
                late,
                sell,
            });
        }
        Ok(())
    }

    /// Variables for giving a machine up without a look at it: one if that is settled, else one for each joint state of
    /// the others.
    fn add_donors(
        &mut self,
        at: usize,
        pin: Option<Pin>,
        free: bool,
    ) -> Vec<(Var, BTreeSet<usize>)> {
        let mut classes: BTreeMap<Vec<usize>, BTreeSet<usize>> = BTreeMap::new();
        for (number, case) in self.joint.cases.iter().enumerate() {
            let mut others = case.states.clone();
            others.remove(at);
            if pin == Some(Pin::Donor) {
                others.clear();
            }
            classes.entry(others).or_default().insert(number);
        }
        if !free && pin != Some(Pin::Donor) {
            classes.clear();
        }
        let machine = &self.pile.instance.machines[at];
        let lost = self.pile.worth(-units(machine.hold_value));
        let mut vars = Vec::new();
        for (class, cases) in classes.into_values().enumerate() {
            let chance: f64 = cases
                .iter()
                .map(|&case| self.joint.cases[case].chance)
                .sum();
            let name = format!("{} donor {class}", machine.id);
            vars.push((self.pile.model.binary(name, chance * lost), cases));
        }
        vars
    }

    /// Variables for giving a machine up after a look at it.
    fn add_late(&mut self, machine: &Machine) -> Vec<Var> {
        let lost = self.pile.worth(-units(machine.hold_value));
        let mut vars = Vec::new();
        for (number, case) in self.joint.cases.iter().enumerate() {
            let name = format!("{} given up in case {number}", machine.id);
            vars.push(self.pile.model.binary(name, case.chance * lost));
        }
        vars
    }

    /// The most of each item that the machines can use in any one case.
    fn most_needed(&self) -> Vec<u32> {
        let mut most = vec![0; self.pile.items.len()];
        for states in &self.kits {
            let mut own: BTreeMap<usize, u32> = BTreeMap::new();
            let kits = states.iter().flat_map(|kits| &kits.list);
            for &(item, n) in kits.flat_map(|kit| &kit.items) {
                let entry = own.entry(item).or_default();
                *entry = n.max(*entry);
            }
            for (item, n) in own {
                most[item] += n;
            }
        }
        most
    }

    /// One joint state: its kits, and that they use no more than there is.
    fn add_case(&mut self, at: usize) {
        let joint = self.joint;
        let case = &joint.cases[at];
        let instance = self.pile.instance;
        let mut sources: Vec<Sources> = (0..self.pile.items.len())
            .map(|_| Sources::default())
            .collect();
        self.pile.add_givers(&mut sources);
        for (machine, first) in instance.machines.iter().zip(&self.machines) {
            for given in machine.donor.iter().filter(|given| given.n > 0) {
                let Some(item) = self.pile.items.find(&given.item) else {
                    continue;
                };
                for donor in first.donors(at) {
                    sources[item].gives.push((donor, f64::from(given.n)));
                    sources[item].once.push(donor);
                }
            }
        }
        let mut repair = Vec::new();
        let mut links = Vec::new();
        for (number, machine) in instance.machines.iter().enumerate() {
            let kits = &self.kits[number][case.states[number]];
            let rise = units(machine.value - machine.hold_value);
            let mut vars = Vec::new();
            let mut by_item: BTreeMap<usize, Vec<Var>> = BTreeMap::new();
            for (index, kit) in kits.list.iter().enumerate() {
                let gain = match self.pile.goal {
                    Goal::Worth => {
                        rise * kit.chance - self.pile.minutes_cost(kit.minutes) - kit.later / SCALE
                    }
                    Goal::Working => kit.chance,
                };
                let name = format!("{} kit {index} in case {at}", machine.id);
                let var = self.pile.model.binary(name, case.chance * gain);
                for &(item, n) in &kit.items {
                    sources[item].uses.push((var, f64::from(n)));
                    by_item.entry(item).or_default().push(var);
                }
                vars.push(var);
            }
            let first = &self.machines[number];
            let late = first.late.get(at);
            if !vars.is_empty() || late.is_some() {
                let one = vars.iter().chain(late).map(|&var| (var, 1.0));
                let terms = one.chain([(first.taken_up, -1.0)]);
                let name = format!("{} taken up for case {at}", machine.id);
                self.pile.model.row(name, terms, Relation::AtMost, 0.0);
            }
            let id = format!("{} in case {at}", machine.id);
            links.extend(
                by_item
                    .into_iter()
                    .map(|(item, vars)| (id.clone(), vars, item)),
            );
            repair.push(vars);
        }
        self.repair.push(repair);
        self.pile
            .add_balance(&format!(" in case {at}"), sources, links);
    }

    /// A machine that is to be repaired is so in some state, and a part that is to be put right is in some.
    fn keep_settled(&mut self, settings: &Settings) -> Result<(), Error> {
        let instance = self.pile.instance;
        for (number, machine) in instance.machines.iter().enumerate() {
            let id = &machine.id;
            let parts = settings.remedies.get(id);
            if parts.is_none() && settings.pins.get(id) != Some(&Pin::Repair) {
                continue;
            }
            let mut rows: Vec<Option<&String>> = vec![None];
            rows.extend(parts.into_iter().flat_map(BTreeMap::keys).map(Some));
            for part in rows {
                let mends = |kit: &crate::kits::Kit<'_>| {
                    let mut faults = kit.remedies.iter().map(|(fault, _)| fault);
                    part.is_none_or(|part| faults.any(|fault| fault.part == *part))
                };
                let mut terms = Vec::new();
                for (case, repair) in self.joint.cases.iter().zip(&self.repair) {
                    let kits = &self.kits[number][case.states[number]].list;
                    let own = kits.iter().zip(&repair[number]);
                    terms.extend(
                        own.filter(|(kit, _)| mends(kit))
                            .map(|(_, &var)| (var, 1.0)),
                    );
                }
                if terms.is_empty() {
                    return Err(Error::NoKit(id.clone()));
                }
                let name = match part {
                    None => format!("{id} repaired"),
                    Some(part) => format!("{part} of {id} put right"),
                };
                self.pile.model.row(name, terms, Relation::AtLeast, 1.0);
            }
        }
        Ok(())
    }

    /// Every kit with its variable and the chance of its case.
    fn all_kits(&self) -> impl Iterator<Item = (f64, &crate::kits::Kit<'i>, Var)> {
        self.joint
            .cases
            .iter()
            .zip(&self.repair)
            .flat_map(move |(case, repair)| {
                let machines = case.states.iter().zip(repair).enumerate();
                machines.flat_map(move |(number, (&state, vars))| {
                    let kits = self.kits[number][state].list.iter();
                    kits.zip(vars)
                        .map(move |(kit, &var)| (case.chance, kit, var))
                })
            })
    }

    fn limit(&mut self) {
        let instance = self.pile.instance;
        if let Some(limit) = instance.limits.minutes {
            let kits = self.all_kits();
            let mut terms: Vec<(Var, f64)> = kits
                .map(|(chance, kit, var)| (var, chance * kit.minutes))
                .collect();
            for (machine, first) in instance.machines.iter().zip(&self.machines) {
                terms.push((first.taken_up, f64::from(machine.base_minutes)));
            }
            terms.extend(self.pile.build_minutes());
            self.pile
                .model
                .row("minutes", terms, Relation::AtMost, limit);
        }
        if let Some(least) = instance.limits.least_working {
            let kits = self.all_kits();
            let terms: Vec<(Var, f64)> = kits
                .map(|(chance, kit, var)| (var, chance * kit.chance))
                .collect();
            self.pile
                .model
                .row("working", terms, Relation::AtLeast, least);
        }
    }

    /// What the kits left out for want of room can add to any bound.
    pub(crate) fn left_out(&self) -> f64 {
        let dropped = |kits: &Kits<'_>| match self.pile.goal {
            Goal::Worth => kits.dropped.unwrap_or(0.0).max(0.0),
            Goal::Working => kits.dropped.map_or(0.0, |_| 1.0),
        };
        let machines = self.joint.states.iter().zip(&self.kits);
        machines
            .flat_map(|(states, kits)| states.iter().zip(kits))
            .map(|(state, kits)| state.chance * dropped(kits))
            .sum()
    }

    /// The plan that a solution stands for, with what is done in each case.
    pub(crate) fn plan(&self, solution: &Solution) -> Plan {
        let mut plan = self.pile.plan(solution);
        let cases = self.joint.cases.iter().zip(&self.repair);
        plan.cases = cases
            .enumerate()
            .map(|(at, (case, repair))| self.case(at, case, repair, solution))
            .collect();
        let instance = self.pile.instance;
        for (number, machine) in instance.machines.iter().enumerate() {
            plan.machines.push(Decision {
                id: machine.id.clone(),
                choice: summed(machine, number, &plan.cases),
            });
        }
        plan
    }

    fn case(&self, at: usize, case: &JointCase, repair: &[Vec<Var>], solution: &Solution) -> Case {
        let instance = self.pile.instance;
        let mut machines = Vec::new();
        for (number, machine) in instance.machines.iter().enumerate() {
            let first = &self.machines[number];
            let state = case.states[number];
            let yes = |var: Option<Var>| var.is_some_and(|var| solution.chosen(var));
            let chosen = repair[number].iter().position(|&var| solution.chosen(var));
            let choice = match chosen {
                Some(index) => {
                    let kit = self.pile.kit(&self.kits[number][state].list[index]);
                    Choice::Repair(kit)
                }
                None if first.donors(at).any(|var| yes(Some(var))) => Choice::Donor,
                None if yes(first.sell) => Choice::Sell,
                None => Choice::Hold,
            };
            machines.push(Decision {
                id: machine.id.clone(),
                choice,
            });
        }
        let states = case.states.iter().zip(&self.joint.states);
        Case {
            chance: case.chance,
            states: states.map(|(&at, own)| own[at].scenario).collect(),
            machines,
        }
    }
}

/// The settled remedies for the parts that are bad in this state.
fn only(settings: &Settings, state: &State) -> BTreeMap<String, BTreeSet<String>> {
    let Some(parts) = settings.remedies.get(&state.known.id) else {
        return BTreeMap::new();
    };
    let faults = state.known.scenarios.iter().flat_map(|s| &s.faults);
    let bad: BTreeSet<&String> = faults.map(|fault| &fault.part).collect();
    let here = parts.iter().filter(|(part, _)| bad.contains(part));
    here.map(|(part, ids)| (part.clone(), ids.clone()))
        .collect()
}

/// One decision for a machine out of those of all cases: a kit that is expected to do, take and use what they do on
/// average, of each item the most.
fn summed(machine: &Machine, number: usize, cases: &[Case]) -> Choice {
    let mut sum = Kit {
        remedies: Vec::new(),
        covered: Vec::new(),
        items: Vec::new(),
        chance: 0.0,
        minutes: f64::from(machine.base_minutes),
        later: 0.0,
    };
    let mut items: BTreeMap<String, u32> = BTreeMap::new();
    let mut remedies: Vec<Chosen> = Vec::new();
    let mut covered = BTreeSet::new();
    let mut settled: Option<Choice> = None;
    for case in cases {
        match &case.machines[number].choice {
            Choice::Repair(kit) => {
                sum.chance += case.chance * kit.chance;
                sum.minutes += case.chance * kit.minutes;
                sum.later += case.chance * kit.later;
                covered.extend(case.states[number]);
                for chosen in &kit.remedies {
                    if !remedies.contains(chosen) {
                        remedies.push(chosen.clone());
                    }
                }
                for (item, n) in &kit.items {
                    let most = items.entry(item.clone()).or_default();
                    *most = n.max(most).to_owned();
                }
            }
            // kept whole until the faults have shown, then given up in some cases only
            other if settled.as_ref().is_some_and(|known| known != other) => {
                settled = Some(Choice::Hold);
            }
            other => settled = Some(other.clone()),
        }
    }
    if covered.is_empty() {
        return settled.unwrap_or(Choice::Hold);
    }
    sum.remedies = remedies;
    sum.covered = covered.into_iter().collect();
    sum.items = items.into_iter().collect();
    Choice::Repair(sum)
}
