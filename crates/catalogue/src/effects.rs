//! What each mode breaks: the functions and rails that fail when it alone is present, leaks aside.

use std::collections::{BTreeMap, BTreeSet};

use crate::profile::{Check, Mode, Need, Part, Profile, RailFault, RailSide, Target, Tells};

/// A function, or one side of a rail; never a whole rail.
pub type Node = Target;

/// The functions and rails of a profile, and what breaks them.
pub struct Effects<'p> {
    profile: &'p Profile,
    /// In an order in which what is needed comes first.
    order: Vec<Node>,
    /// What each node needs of other nodes, with the chance that their failing breaks it.
    needs: BTreeMap<Node, Vec<(Node, f64)>>,
}

/// The sides that a target means.
#[must_use]
pub fn nodes_of(target: &Target) -> Vec<Node> {
    match target {
        Target::Rail(rail, RailSide::Whole) => vec![
            Target::Rail(rail.clone(), RailSide::Present),
            Target::Rail(rail.clone(), RailSide::High),
        ],
        other => vec![other.clone()],
    }
}

/// What a check asks about: what it tells, and what it cannot be done without.
#[must_use]
pub fn asked_by(check: &Check) -> BTreeSet<Node> {
    let told: Vec<&Target> = match &check.tells {
        Tells::Target { target, .. } => vec![target],
        Tells::Rows(rows) => rows.iter().flat_map(|row| &row.fails).collect(),
    };
    told.into_iter()
        .chain(&check.requires)
        .flat_map(nodes_of)
        .collect()
}

impl<'p> Effects<'p> {
    /// Looks at a profile.
    #[must_use]
    pub fn of(profile: &'p Profile) -> Effects<'p> {
        let mut needs: BTreeMap<Node, Vec<(Node, f64)>> = BTreeMap::new();
        for rail in &profile.rails {
            for node in nodes_of(&Target::Rail(rail.name.clone(), RailSide::Whole)) {
                needs.insert(node, Vec::new());
            }
        }
        for function in &profile.functions {
            let targets = function.needs.iter().filter_map(|need| match need {
                Need::Target { target, chance } => Some((target, *chance)),
                _ => None,
            });
            let targets = targets.flat_map(|(target, chance)| {
                nodes_of(target).into_iter().map(move |node| (node, chance))
            });
            needs.insert(Target::Function(function.id.clone()), targets.collect());
        }
        let mut effects = Effects {
            profile,
            order: Vec::new(),
            needs,
        };
        effects.order = effects.sorted();
        effects
    }

    /// The nodes, what is needed first; a profile has no loops.
    fn sorted(&self) -> Vec<Node> {
        let mut order: Vec<Node> = Vec::new();
        let mut placed: BTreeSet<&Node> = BTreeSet::new();
        while placed.len() < self.needs.len() {
            let ready: Vec<&Node> = self
                .needs
                .iter()
                .filter(|(node, needs)| {
                    !placed.contains(node) && needs.iter().all(|(need, _)| placed.contains(need))
                })
                .map(|(node, _)| node)
                .collect();
            if ready.is_empty() {
                break;
            }
            placed.extend(&ready);
            order.extend(ready.into_iter().cloned());
        }
        order
    }

    /// What a mode breaks by itself, with its chances.
    #[must_use]
    pub fn direct(&self, part: &Part, mode: &Mode) -> BTreeMap<Node, f64> {
        let mut direct: BTreeMap<Node, f64> = BTreeMap::new();
        let mut strike = |node: Node, chance: f64| {
            let so_far = direct.entry(node).or_insert(0.0);
            *so_far = 1.0 - (1.0 - *so_far) * (1.0 - chance);
        };
        for function in &self.profile.functions {
            let own = function.needs.iter().find_map(|need| match need {
                Need::Mode {
                    part: of,
                    mode: id,
                    chance,
                } if *of == part.reference && *id == mode.id => Some(*chance),
                _ => None,
            });
            let whole = function
                .needs
                .iter()
                .any(|need| matches!(need, Need::Part(of) if *of == part.reference));
            let spared = mode.spares.contains(&function.id);
            let chance = own.or((whole && !spared).then_some(1.0));
            if let Some(chance) = chance.filter(|chance| *chance > 0.0) {
                strike(Target::Function(function.id.clone()), chance);
            }
        }
        for rail in &self.profile.rails {
            if rail.fed_by.contains(&part.reference) {
                let side = match mode.rail {
                    RailFault::Low => RailSide::Present,
                    RailFault::High => RailSide::High,
                };
                strike(Target::Rail(rail.name.clone(), side), 1.0);
            }
        }
        for spoil in mode.spoils.iter().filter(|spoil| spoil.chance > 0.0) {
            let node = match &spoil.target {
                Target::Rail(rail, RailSide::Whole) => {
                    Target::Rail(rail.clone(), RailSide::Present)
                }
                other => other.clone(),
            };
            strike(node, spoil.chance);
        }
        direct
    }

    /// The chance of each node to fail when this breaks and nothing else does; sure and impossible ones are exact.
    #[must_use]
    pub fn spread(&self, direct: &BTreeMap<Node, f64>) -> BTreeMap<Node, f64> {
        let mut fails: BTreeMap<Node, f64> = BTreeMap::new();
        for node in &self.order {
            let mut holds = 1.0 - direct.get(node).copied().unwrap_or(0.0);
            for (need, chance) in self.needs.get(node).into_iter().flatten() {
                holds *= 1.0 - chance * fails.get(need).copied().unwrap_or(0.0);
            }
            if holds < 1.0 {
                fails.insert(node.clone(), 1.0 - holds);
            }
        }
        fails
    }
}
