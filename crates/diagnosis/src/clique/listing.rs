//! Listing the entries of cliques.
//!
//! The state combinations of a clique's separator are gone through one after the other, at each all combinations of the variables
//! that are summed out; where a table or a message from below has nothing to offer, there is no entry. What a finding says does not
//! count here, so that findings can be left out later, nor do sums that happen to cancel: an entry that is left out is 0 whatever is asked.

use std::sync::Arc;

use super::{Cliques, Factor, NONE, Node, Plan, Shape, stride_in, too_large};
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
    pub(crate) fn build<T: Number>(mut self, most: usize) -> Result<Cliques, Error> {
        self.fixed.sort_by_key(|(node, _)| *node);
        self.evidence.sort_by_key(|(node, ..)| *node);
        self.carriers.sort_by_key(|(node, ..)| *node);
        self.place = Vec::new();
        self.reserve();
        let mut list = List {
            states: self.states,
            most,
            lookups: Vec::with_capacity(self.shape.count()),
            shape: self.shape,
            said: Vec::with_capacity(self.evidence.len()),
            walk: Walk::default(),
        };
        let (mut fixed, mut evidence, mut carriers) =
            (&self.fixed[..], &self.evidence[..], &self.carriers[..]);
        for index in 0..list.shape.count() {
            let rough = Rough {
                index,
                fixed: of_node(&mut fixed, index, |(node, _)| *node),
                evidence: of_node(&mut evidence, index, |(node, ..)| *node),
                carriers: of_node(&mut carriers, index, |(node, ..)| *node),
            };
            list.node::<T>(&rough).ok_or_else(|| too_large(most))?;
        }
        let List {
            mut shape, said, ..
        } = list;
        shape.starts.push(shape.base.len() as u32);
        shape.shrink();
        let mut cliques = Cliques {
            said: vec![NONE; shape.count()],
            shape: Arc::new(shape),
            evidence: Vec::with_capacity(said.len()),
            optional: Vec::new(),
        };
        for (node, finding, values) in said {
            cliques.add(node, finding, values);
        }
        Ok(cliques)
    }

    /// Makes room for all entries, where it is not much; of large ones most entries may turn out to be 0.
    fn reserve(&mut self) {
        let product =
            |vars: &[Var]| -> f64 { vars.iter().map(|&var| self.states[var] as f64).product() };
        let mut size = [0.0; 3];
        for node in self.shape.nodes() {
            let groups = product(node.separator);
            let entries = groups * node.classes as f64;
            size[0] += entries;
            size[1] += groups;
            size[2] += entries * node.children.len() as f64;
        }
        let [entries, groups, maps] = size;
        if entries.max(maps) <= WORTH_RESERVING {
            let shape = &mut self.shape;
            shape.base.reserve_exact(entries as usize);
            shape.class.reserve_exact(entries as usize);
            shape.keys.reserve_exact(groups as usize);
            shape.starts.reserve_exact(groups as usize + 1);
            shape.maps.reserve_exact(maps as usize);
        }
    }
}

/// Takes those of a clique off the front of a list in the order of the cliques.
fn of_node<'a, T>(left: &mut &'a [T], index: usize, node: impl Fn(&T) -> u32) -> &'a [T] {
    let count = left
        .iter()
        .take_while(|one| node(one) as usize == index)
        .count();
    let (some, others) = left.split_at(count);
    *left = others;
    some
}

/// What speaks of a clique, beside the messages from below.
struct Rough<'a> {
    index: usize,
    fixed: &'a [(u32, Factor<'a>)],
    evidence: &'a [(u32, Factor<'a>, usize)],
    carriers: &'a [(u32, Var, f64)],
}

/// From the number of a state combination to the message entry.
enum Lookup {
    Dense(Box<[u32]>),
    Sorted { keys: Box<[u32]>, first: u32 },
}

impl Lookup {
    fn of(keys: &[u32], first: usize, size: u32) -> Self {
        let first = first as u32;
        if size > DENSE {
            let keys = keys.into();
            return Self::Sorted { keys, first };
        }
        let mut dense = vec![MISSING; size as usize];
        for (entry, &key) in (first..).zip(keys) {
            dense[key as usize] = entry;
        }
        Self::Dense(dense.into())
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

/// Cliques being listed.
struct List<'a> {
    states: &'a [usize],
    most: usize,
    shape: Shape,
    /// What findings say: the clique, the finding, and by entry.
    said: Vec<(usize, usize, Vec<f64>)>,
    /// By clique, until its parent is listed.
    lookups: Vec<Option<Lookup>>,
    walk: Walk,
}

impl List<'_> {
    /// Lists one clique; none if there are more entries than may be.
    fn node<T: Number>(&mut self, rough: &Rough<'_>) -> Option<()> {
        let index = rough.index;
        let messages = self.messages(index);
        self.prepare(rough);
        let mut sizes = self.walk.sizes.iter().copied();
        let size = sizes.try_fold(1_u32, u32::checked_mul)?;
        let shape = &mut self.shape;
        let (first, groups) = (shape.base.len(), shape.keys.len());
        let given = Given {
            fixed: rough
                .fixed
                .iter()
                .map(|(_, factor)| factor.values())
                .collect(),
            evidence: rough
                .evidence
                .iter()
                .map(|(_, factor, _)| factor.values())
                .collect(),
            messages: &messages,
            most: self.most,
        };
        self.walk.run::<T>(&given, shape)?;
        let parent = shape.begins[index].parent;
        if parent == NONE && shape.keys.len() == groups {
            // nothing is possible: the total is 0
            shape.keys.push(0);
            shape.starts.push(first as u32);
        }
        let lookup = || Lookup::of(&shape.keys[groups..], groups, size);
        self.lookups.push((parent != NONE).then(lookup));
        for ((_, _, finding), values) in rough.evidence.iter().zip(self.walk.evidence.drain(..)) {
            self.said.push((index, *finding, values));
        }
        self.carry(rough);
        let shape = &mut self.shape;
        shape.begins[index].roundings = self.walk.roundings as u32;
        let end = &mut shape.begins[index + 1];
        end.entries = shape.base.len() as u32;
        end.groups = shape.keys.len() as u32;
        end.maps = shape.maps.len();
        Some(())
    }

    /// The messages to a clique, by child.
    fn messages(&mut self, index: usize) -> Vec<Lookup> {
        let children = self.shape.node(index).children.iter();
        children
            .filter_map(|&child| self.lookups[child as usize].take())
            .collect()
    }

    /// Where the unmodelled fault can sit.
    fn carry(&mut self, rough: &Rough<'_>) {
        let node = self.shape.node(rough.index);
        let below = node
            .children
            .iter()
            .any(|&child| self.shape.begins[child as usize].dual);
        if !rough.carriers.is_empty() {
            let stride = |&(_, var, _): &(u32, Var, f64)| stride_in(node.vars, var, self.states);
            let strides: Vec<(usize, usize)> = rough.carriers.iter().map(stride).collect();
            let sits = |class: usize| {
                let mut at = strides.iter();
                at.any(|&(stride, size)| class / stride % size == 1)
            };
            let carries: Vec<bool> = (0..node.classes).map(sits).collect();
            self.shape.begins[rough.index].carries = self.shape.carries.len() as u32;
            self.shape.carries.extend(carries);
        }
        self.shape.begins[rough.index].dual = below || !rough.carriers.is_empty();
    }

    /// Sets the walk up for a clique.
    fn prepare(&mut self, rough: &Rough<'_>) {
        let states = self.states;
        let node = self.shape.node(rough.index);
        let walk = &mut self.walk;
        walk.clear();
        walk.sizes
            .extend(node.separator.iter().map(|&var| states[var] as u32));
        walk.state.resize(walk.sizes.len(), 0);
        walk.weigh(rough, &node, states);
        for (_, factor) in rough.fixed {
            walk.add(factor.vars(), &node, states);
        }
        for (_, factor, _) in rough.evidence {
            walk.add(factor.vars(), &node, states);
            walk.evidence.push(Vec::new());
        }
        for &child in node.children {
            let separator = self.shape.node(child as usize).separator;
            walk.add(separator.iter().copied(), &node, states);
        }
        walk.moves.sort_unstable_by_key(|step| step.depth);
        walk.found.resize(node.children.len(), 0);
    }
}

/// What a walk asks.
struct Given<'a> {
    fixed: Vec<&'a [f64]>,
    evidence: Vec<&'a [f64]>,
    messages: &'a [Lookup],
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

    fn weigh(&mut self, rough: &Rough<'_>, node: &Node<'_>, states: &[usize]) {
        let classes = node.classes;
        self.weights.resize(classes, 1.0);
        let mut sits = vec![
            false;
            if rough.carriers.is_empty() {
                0
            } else {
                classes
            }
        ];
        for &(_, carrier, weight) in rough.carriers {
            let (stride, size) = stride_in(node.vars, carrier, states);
            for class in (0..classes).filter(|class| class / stride % size == 1) {
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
        node: &Node<'_>,
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
            if let Some(depth) = place(node.separator) {
                self.moves.push(Move {
                    depth: depth as u32,
                    factor,
                    stride,
                });
            } else if let Some(place) = place(node.vars) {
                let after = node.vars[place + 1..].iter();
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
            for (number, values) in given.fixed.iter().enumerate() {
                // beyond its end: its auxiliary says that it does not count
                let value = values.get(place(number, class, self));
                let value = value.copied().unwrap_or(1.0);
                if value == 0.0 {
                    continue 'class;
                }
                product = product * T::of(value, 0.0);
                // times 1 or -1 is exact
                others += usize::from(value.abs() != 1.0);
            }
            for (number, message) in given.messages.iter().enumerate() {
                let entry = message.find(place(messages + number, class, self));
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
            // one by one: there are few, and a copy is a call
            out.maps.extend(self.found.iter().copied());
            for (number, values) in given.evidence.iter().enumerate() {
                let value = values[place(findings + number, class, self)];
                self.evidence[number].push(value);
            }
        }
        self.steps += classes;
        (self.steps <= STEPS_BY_ENTRY * given.most + FREE_STEPS).then_some(())
    }
}
