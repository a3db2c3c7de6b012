//! Listing the entries of cliques.
//!
//! The state combinations of a clique's separator are gone through one after the other, at each all combinations of the variables
//! that are summed out; where a table or a message from below has nothing to offer, there is no entry. What a finding says does not
//! count here, so that findings can be left out later, nor do sums that happen to cancel: an entry that is left out is 0 whatever is asked.

use std::sync::Arc;

use super::{Cliques, Factor, Node, Plan, Rough, Shape, too_large};
use crate::{error::Error, model::Var, number::Number};

/// A message that a state combination does not reach.
const MISSING: u32 = u32::MAX;

/// Entries for which room is made beforehand.
const WORTH_RESERVING: f64 = 65_536.0;

/// States tried in a walk, by entry that may be kept.
const STEPS_BY_ENTRY: usize = 8;
/// States that may always be tried.
const FREE_STEPS: usize = 1 << 20;

/// Largest number of state combinations for which a lookup by plain index is kept.
const DENSE: u32 = 1 << 18;

impl Plan<'_> {
    /// Lists the entries of all cliques.
    pub(crate) fn build<T: Number>(self, most: usize) -> Result<Cliques, Error> {
        let mut shape = Shape {
            home: self.home,
            ..Shape::default()
        };
        shape.nodes.reserve_exact(self.nodes.len());
        let each = self.nodes.iter().map(|rough| rough.size(self.states));
        let [entries, groups, maps] = each.fold([0.0; 3], |sum: [f64; 3], size| {
            [0, 1, 2].map(|at| sum[at] + size[at])
        });
        // of large ones, most entries may turn out to be 0
        if entries.max(maps) <= WORTH_RESERVING {
            shape.base.reserve_exact(entries as usize);
            shape.class.reserve_exact(entries as usize);
            shape.keys.reserve_exact(groups as usize);
            shape.starts.reserve_exact(groups as usize + 1);
            shape.maps.reserve_exact(maps as usize);
        }
        let mut list = List {
            states: self.states,
            most,
            shape,
            said: Vec::new(),
            lookups: Vec::with_capacity(self.nodes.len()),
            walk: Walk::default(),
        };
        for rough in self.nodes {
            list.node::<T>(rough).ok_or_else(|| too_large(most))?;
        }
        let mut shape = list.shape;
        shape.starts.push(shape.base.len() as u32);
        shape.shrink();
        let mut cliques = Cliques {
            said: vec![None; shape.nodes.len()],
            shape: Arc::new(shape),
            evidence: Vec::with_capacity(list.said.len()),
            optional: Vec::new(),
        };
        for said in list.said {
            cliques.add(said.node, said.finding, said.values);
        }
        Ok(cliques)
    }
}

/// From the number of a state combination to the message entry.
enum Lookup {
    Dense(Vec<u32>),
    Sorted { keys: Vec<u32>, first: u32 },
}

impl Lookup {
    fn of(keys: &[u32], first: usize, size: u32) -> Self {
        let first = first as u32;
        if size > DENSE {
            let keys = keys.to_vec();
            return Self::Sorted { keys, first };
        }
        let mut dense = vec![MISSING; size as usize];
        for (entry, &key) in (first..).zip(keys) {
            dense[key as usize] = entry;
        }
        Self::Dense(dense)
    }

    fn find(&self, key: usize) -> u32 {
        match self {
            Self::Dense(dense) => dense[key],
            Self::Sorted { keys, first } => keys
                .binary_search(&(key as u32))
                .map_or(MISSING, |entry| first + entry as u32),
        }
    }
}

/// A message from below while its clique waits for the one above: where its entries are, and of which variables it speaks.
struct Message {
    lookup: Lookup,
    vars: Vec<Var>,
}

/// What a finding says at a clique.
struct Said {
    node: usize,
    finding: usize,
    values: Vec<f64>,
}

/// Cliques being listed.
struct List<'a> {
    states: &'a [usize],
    most: usize,
    shape: Shape,
    said: Vec<Said>,
    /// By clique, until its parent is listed.
    lookups: Vec<Option<Message>>,
    walk: Walk,
}

impl<'a> List<'a> {
    /// Lists one clique; none if there are more entries than may be.
    fn node<T: Number>(&mut self, rough: Rough<'a>) -> Option<()> {
        let size_of = |vars: &[Var]| {
            vars.iter().try_fold(1_u32, |size, &var| {
                size.checked_mul(self.states[var] as u32)
            })
        };
        let size = size_of(&rough.separator)?;
        let classes = size_of(&rough.vars)? as usize;
        let messages: Vec<Message> = rough
            .children
            .iter()
            .filter_map(|&child| self.lookups[child].take())
            .collect();
        self.prepare(&rough, classes, &messages);
        let first = self.shape.base.len();
        let groups = self.shape.keys.len();
        let maps = self.shape.maps.len();
        let given = Given {
            fixed: &rough.fixed,
            evidence: &rough.evidence,
            messages: &messages,
            most: self.most,
        };
        self.walk.run::<T>(&given, &mut self.shape)?;
        if rough.parent.is_none() && self.shape.keys.len() == groups {
            // nothing is possible: the total is 0
            self.shape.keys.push(0);
            self.shape.starts.push(first as u32);
        }
        let index = self.shape.nodes.len();
        self.lookups.push(rough.parent.map(|_| Message {
            lookup: Lookup::of(&self.shape.keys[groups..], groups, size),
            vars: rough.separator.clone(),
        }));
        for ((_, finding), values) in rough.evidence.iter().zip(self.walk.evidence.drain(..)) {
            self.said.push(Said {
                node: index,
                finding: *finding,
                values,
            });
        }
        let nodes = &self.shape.nodes;
        let below = rough.children.iter().any(|&child| nodes[child].dual);
        let mut node = Node {
            separator: rough.separator,
            vars: rough.vars,
            classes,
            entries: first..self.shape.base.len(),
            groups: groups..self.shape.keys.len(),
            maps,
            children: rough.children,
            parent: rough.parent,
            carries: Vec::new(),
            dual: below || !rough.carriers.is_empty(),
            roundings: self.walk.roundings,
        };
        if !rough.carriers.is_empty() {
            let stride = |var: Var| node.stride(var, self.states);
            let strides: Vec<_> = rough.carriers.iter().map(|&(var, _)| stride(var)).collect();
            let sits = |class: usize| {
                let mut at = strides.iter();
                at.any(|&(stride, size)| class / stride % size == 1)
            };
            node.carries = (0..classes).map(sits).collect();
        }
        self.shape.nodes.push(node);
        Some(())
    }

    /// Sets the walk up for a clique.
    fn prepare(&mut self, rough: &Rough<'a>, classes: usize, messages: &[Message]) {
        let states = self.states;
        let walk = &mut self.walk;
        walk.clear();
        walk.sizes
            .extend(rough.separator.iter().map(|&var| states[var] as u32));
        walk.state.resize(walk.sizes.len(), 0);
        walk.weigh(rough, classes, states);
        for factor in &rough.fixed {
            walk.add(factor.all_vars(), rough, states);
        }
        for (factor, _) in &rough.evidence {
            walk.add(factor.all_vars(), rough, states);
            walk.evidence.push(Vec::new());
        }
        for message in messages {
            walk.add(message.vars.iter().copied(), rough, states);
        }
        walk.moves.sort_unstable_by_key(|step| step.depth);
        walk.found.resize(messages.len(), 0);
    }
}

/// What a walk asks.
struct Given<'a> {
    fixed: &'a [Factor<'a>],
    evidence: &'a [(Factor<'a>, usize)],
    messages: &'a [Message],
    most: usize,
}

/// A factor knows a variable of the separator.
#[derive(Debug, Clone, Copy)]
struct Move {
    depth: u32,
    factor: u32,
    stride: u32,
}

/// A walk over the state combinations of a separator, with all classes at each.
#[derive(Debug, Default)]
struct Walk {
    /// By variable of the separator.
    sizes: Vec<u32>,
    state: Vec<u32>,
    /// Sorted by depth.
    moves: Vec<Move>,
    /// By factor (fixed tables first, then findings, then messages): where it stands in the first class.
    at: Vec<u32>,
    /// By factor, then by class: how much farther it stands there.
    offsets: Vec<u32>,
    /// By class: the weight of the unmodelled fault that sits there; 0 where it would sit at two places.
    weights: Vec<f64>,
    /// By message: the entry found.
    found: Vec<u32>,
    /// By finding: what it says, by entry.
    evidence: Vec<Vec<f64>>,
    steps: usize,
    /// Most roundings in the product of an entry.
    roundings: usize,
}

impl Walk {
    fn clear(&mut self) {
        self.sizes.clear();
        self.state.clear();
        self.moves.clear();
        self.at.clear();
        self.offsets.clear();
        self.weights.clear();
        self.found.clear();
        self.evidence.clear();
        self.steps = 0;
        self.roundings = 0;
    }

    fn weigh(&mut self, rough: &Rough<'_>, classes: usize, states: &[usize]) {
        self.weights.resize(classes, 1.0);
        let mut sits = vec![
            false;
            if rough.carriers.is_empty() {
                0
            } else {
                classes
            }
        ];
        for &(carrier, weight) in &rough.carriers {
            let after = rough.vars.iter().rev().take_while(|&&var| var != carrier);
            let stride: usize = after.map(|&var| states[var]).product();
            for class in (0..classes).filter(|class| class / stride % states[carrier] == 1) {
                // one fault sits at one place
                let other = std::mem::replace(&mut sits[class], true);
                self.weights[class] *= if other { 0.0 } else { weight };
            }
        }
    }

    /// Adds a factor over these variables, the last varying fastest.
    fn add(
        &mut self,
        vars: impl DoubleEndedIterator<Item = Var>,
        rough: &Rough<'_>,
        states: &[usize],
    ) {
        let factor = self.at.len() as u32;
        self.at.push(0);
        let start = self.offsets.len();
        self.offsets.resize(start + self.weights.len(), 0);
        let offsets = &mut self.offsets[start..];
        let mut stride = 1;
        for var in vars.rev() {
            let place = |list: &[Var]| list.iter().position(|&other| other == var);
            if let Some(depth) = place(&rough.separator) {
                self.moves.push(Move {
                    depth: depth as u32,
                    factor,
                    stride,
                });
            } else if let Some(place) = place(&rough.vars) {
                let after = rough.vars[place + 1..].iter();
                let run: usize = after.map(|&var| states[var]).product();
                for (number, run) in offsets.chunks_mut(run).enumerate() {
                    let more = (number % states[var]) as u32 * stride;
                    run.iter_mut().for_each(|offset| *offset += more);
                }
            }
            stride *= states[var] as u32;
        }
    }

    /// Lists all entries; none if there are too many.
    fn run<T: Number>(&mut self, given: &Given<'_>, out: &mut Shape) -> Option<()> {
        let mut key = 0;
        loop {
            let begin = out.base.len();
            self.classes::<T>(given, out)?;
            if out.base.len() > begin {
                out.keys.push(key);
                out.starts.push(begin as u32);
            }
            key += 1;
            if !self.next() {
                return Some(());
            }
        }
    }

    /// Goes to the next state combination of the separator, the last variable varying fastest; false after the last one.
    fn next(&mut self) -> bool {
        let mut end = self.moves.len();
        for depth in (0..self.sizes.len()).rev() {
            let of_depth = self.moves[..end].iter().rev();
            let begin = end
                - of_depth
                    .take_while(|step| step.depth as usize == depth)
                    .count();
            let moves = &self.moves[begin..end];
            end = begin;
            self.state[depth] += 1;
            if self.state[depth] < self.sizes[depth] {
                for step in moves {
                    self.at[step.factor as usize] += step.stride;
                }
                return true;
            }
            self.state[depth] = 0;
            for step in moves {
                self.at[step.factor as usize] -= step.stride * (self.sizes[depth] - 1);
            }
        }
        false
    }

    /// The entries of one state combination of the separator. A walk that finds too little is given up like one that lists too much.
    fn classes<T: Number>(&mut self, given: &Given<'_>, out: &mut Shape) -> Option<()> {
        let classes = self.weights.len();
        let place = |factor: usize, class: usize, walk: &Self| {
            (walk.at[factor] + walk.offsets[factor * classes + class]) as usize
        };
        let findings = given.fixed.len();
        let messages = findings + given.evidence.len();
        'class: for class in 0..classes {
            if self.weights[class] == 0.0 {
                continue;
            }
            let mut product = T::of(self.weights[class], 0.0);
            let mut others = usize::from(self.weights[class] != 1.0);
            for (number, factor) in given.fixed.iter().enumerate() {
                // beyond its end: its auxiliary says that it does not count
                let value = factor.values.get(place(number, class, self));
                let value = value.copied().unwrap_or(1.0);
                if value == 0.0 {
                    continue 'class;
                }
                product = product * T::of(value, 0.0);
                // times 1 or -1 is exact
                others += usize::from(value.abs() != 1.0);
            }
            for (number, message) in given.messages.iter().enumerate() {
                let entry = message.lookup.find(place(messages + number, class, self));
                if entry == MISSING {
                    continue 'class;
                }
                self.found[number] = entry;
            }
            if out.base.len() == given.most {
                return None;
            }
            self.roundings = self.roundings.max(others.saturating_sub(1));
            out.base.push(product.high());
            if T::ROUNDING < f64::ROUNDING {
                out.base_low.push(product.low());
            }
            out.class.push(class as u16);
            out.maps.extend_from_slice(&self.found);
            for (number, (factor, _)) in given.evidence.iter().enumerate() {
                let value = factor.values[place(findings + number, class, self)];
                self.evidence[number].push(value);
            }
        }
        self.steps += classes;
        (self.steps <= STEPS_BY_ENTRY * given.most + FREE_STEPS).then_some(())
    }
}
