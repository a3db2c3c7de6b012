//! Cliques of which only the entries are kept that can be other than 0.
//!
//! A clique's entries are listed by walking its variables one after the other; where a table or a message from below has
//! nothing to offer for the states so far, the walk turns back. What a finding says does not count here, so that findings can be left out
//! later, nor do sums that happen to cancel: an entry that is left out is 0 whatever is asked.
//! All cliques lie in the same few lists, one after the other.

use std::{
    ops::{Deref, Range},
    sync::Arc,
};

use crate::{
    error::Error,
    model::{Table, Var},
    number::Number,
    order::Arrangement,
};

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

/// State combinations of the variables that a clique sums out at most, where it can be split.
const MOST_CLASSES: usize = 1 << 6;

/// A clique: variables that are summed out together, with all that speaks of them.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    /// Variables that stay, for the clique above.
    separator: Vec<Var>,
    /// Variables that are summed out; an entry's class is the number of their state combination, the last varying fastest.
    pub(crate) vars: Vec<Var>,
    pub(crate) classes: usize,
    pub(crate) entries: Range<usize>,
    /// Entries of its message: each is the sum of the clique's entries between two of [`Shape::starts`].
    pub(crate) groups: Range<usize>,
    /// Where its maps begin in [`Shape::maps`].
    pub(crate) maps: usize,
    pub(crate) children: Vec<usize>,
    pub(crate) parent: Option<usize>,
    /// By class: the unmodelled fault sits at one of the variables; empty where it cannot.
    pub(crate) carries: Vec<bool>,
    /// The unmodelled fault can sit here or below.
    pub(crate) dual: bool,
    /// Most roundings in an entry of the base.
    pub(crate) roundings: usize,
}

/// What a finding says, by entry of a clique.
#[derive(Debug, Clone)]
pub(crate) struct Evidence {
    pub(crate) finding: usize,
    pub(crate) node: usize,
    pub(crate) values: Arc<[f64]>,
    /// What else is said at the same clique.
    next: Option<u32>,
}

/// A table that questions multiply in, by entry of a clique.
#[derive(Debug, Clone)]
pub(crate) struct Optional {
    pub(crate) node: usize,
    pub(crate) values: Arc<[f64]>,
}

/// All cliques with what the findings say; a copy shares what no finding changes.
#[derive(Debug, Clone)]
pub(crate) struct Cliques {
    shape: Arc<Shape>,
    pub(crate) evidence: Vec<Evidence>,
    /// By clique: the number of the last thing said there.
    said: Vec<Option<u32>>,
    /// What questions multiply in.
    pub(crate) optional: Vec<Optional>,
}

impl Deref for Cliques {
    type Target = Shape;

    fn deref(&self) -> &Shape {
        &self.shape
    }
}

/// All cliques, children before their parents.
#[derive(Debug, Default)]
pub(crate) struct Shape {
    pub(crate) nodes: Vec<Node>,
    /// The clique that sums a variable out.
    pub(crate) home: Vec<usize>,
    /// By entry: product of the tables that never change.
    pub(crate) base: Vec<f64>,
    /// What the product leaves out by rounding; empty where it is not asked for.
    pub(crate) base_low: Vec<f64>,
    /// By entry.
    pub(crate) class: Vec<u16>,
    /// By message entry: where its entries begin; and the end.
    pub(crate) starts: Vec<u32>,
    /// By message entry: the number of the separator's state combination, the last variable varying fastest.
    keys: Vec<u32>,
    /// By entry, for each child of its clique: the message entry.
    pub(crate) maps: Vec<u32>,
}

impl Cliques {
    /// A table's number for each entry of a clique; none if it asks for other variables.
    pub(crate) fn stretched(
        &self,
        node: usize,
        table: &Table,
        states: &[usize],
    ) -> Option<Vec<f64>> {
        let node = &self.nodes[node];
        let strides = strides_in(table, &node.separator, states);
        let own = strides_in(table, &node.vars, states);
        let known = |var: &Var| node.separator.contains(var) || node.vars.contains(var);
        if !table.vars.iter().all(known) {
            return None;
        }
        let of_class: Vec<usize> = (0..node.classes)
            .map(|class| place_of(class as u32, &node.vars, &own, states))
            .collect();
        let mut values = Vec::with_capacity(node.entries.len());
        for group in node.groups.clone() {
            let at = place_of(self.keys[group], &node.separator, &strides, states);
            let entries = self.starts[group] as usize..self.starts[group + 1] as usize;
            values.extend(
                self.class[entries]
                    .iter()
                    .map(|&class| table.values[at + of_class[usize::from(class)]]),
            );
        }
        Some(values)
    }

    /// Where a table that questions multiply in stands; none if it has no variables, or no clique holds them.
    pub(crate) fn optional(&self, table: &Table, states: &[usize]) -> Option<Optional> {
        let node = table.vars.iter().map(|&var| self.home[var]).min()?;
        let values = self.stretched(node, table, states)?.into();
        Some(Optional { node, values })
    }

    /// Adds a finding's table to a clique.
    pub(crate) fn add(&mut self, node: usize, finding: usize, values: Vec<f64>) {
        let number = self.evidence.len() as u32;
        self.evidence.push(Evidence {
            finding,
            node,
            values: values.into(),
            next: self.said[node].replace(number),
        });
    }

    /// Numbers of what is said at a clique.
    pub(crate) fn said(&self, node: usize) -> impl Iterator<Item = usize> {
        let last = self.said[node].map(|number| number as usize);
        std::iter::successors(last, |&number| {
            self.evidence[number].next.map(|number| number as usize)
        })
    }
}

impl Shape {
    /// Room that is not used is given back.
    fn shrink(&mut self) {
        self.nodes.shrink_to_fit();
        self.base.shrink_to_fit();
        self.base_low.shrink_to_fit();
        self.class.shrink_to_fit();
        self.starts.shrink_to_fit();
        self.keys.shrink_to_fit();
        self.maps.shrink_to_fit();
    }
}

impl Node {
    /// Runs of classes in which a variable that is summed out here keeps its state, with that state.
    pub(crate) fn runs(
        &self,
        var: Var,
        states: &[usize],
    ) -> impl Iterator<Item = (usize, Range<usize>)> {
        let (stride, size) = self.stride(var, states);
        let runs = (0..self.classes).step_by(stride).enumerate();
        runs.map(move |(run, first)| (run % size, first..first + stride))
    }

    fn stride(&self, var: Var, states: &[usize]) -> (usize, usize) {
        let after = self.vars.iter().rev().take_while(|&&other| other != var);
        (after.map(|&var| states[var]).product(), states[var])
    }
}

/// By variable of a list: its stride in a table, 0 where the table does not know it.
fn strides_in(table: &Table, vars: &[Var], states: &[usize]) -> Vec<usize> {
    let mut strides = vec![0; vars.len()];
    let mut stride = 1;
    for var in table.vars.iter().rev() {
        if let Some(place) = vars.iter().position(|other| other == var) {
            strides[place] = stride;
        }
        stride *= states[*var];
    }
    strides
}

/// Where a state combination, given by its number, stands in a table with these strides.
fn place_of(mut number: u32, vars: &[Var], strides: &[usize], states: &[usize]) -> usize {
    let mut place = 0;
    for (var, stride) in vars.iter().zip(strides).rev() {
        let size = states[*var] as u32;
        place += (number % size) as usize * stride;
        number /= size;
    }
    place
}

/// The refusal of a network that would need more entries than these.
pub(crate) fn too_large(most: usize) -> Error {
    let message = format!(
        "the findings tie too much together for an exact answer: more than {:.1} million table entries; settle a part that was swapped or looked at often",
        most as f64 / 1e6
    );
    Error {
        too_large: true,
        ..Error::new(message)
    }
}

/// What goes into each clique, before its entries are listed.
pub(crate) struct Plan<'a> {
    states: &'a [usize],
    nodes: Vec<Rough<'a>>,
    /// The clique that sums a variable out.
    home: Vec<usize>,
    /// The place of a variable in the order.
    place: Vec<usize>,
}

/// A clique before its entries are listed.
struct Rough<'a> {
    separator: Vec<Var>,
    vars: Vec<Var>,
    parent: Option<usize>,
    children: Vec<usize>,
    fixed: Vec<Factor<'a>>,
    evidence: Vec<(Factor<'a>, usize)>,
    /// Variables whose second state means that the unmodelled fault sits here, with its weight.
    carriers: Vec<(Var, f64)>,
}

impl Rough<'_> {
    /// At most so many entries, message entries and maps.
    fn size(&self, states: &[usize]) -> [f64; 3] {
        let product = |vars: &[Var]| vars.iter().map(|&var| states[var] as f64).product::<f64>();
        let groups = product(&self.separator);
        let entries = groups * product(&self.vars);
        [entries, groups, entries * self.children.len() as f64]
    }
}

/// A table, by itself or under the auxiliary of an OR: in the second state of that it counts 1.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Factor<'a> {
    pub(crate) under: Option<Var>,
    pub(crate) vars: &'a [Var],
    pub(crate) values: &'a [f64],
}

impl<'a> Factor<'a> {
    pub(crate) fn of(table: &'a Table) -> Self {
        Self {
            under: None,
            vars: &table.vars,
            values: &table.values,
        }
    }

    /// Its variables, the last varying fastest.
    pub(crate) fn all_vars(self) -> impl DoubleEndedIterator<Item = Var> + 'a {
        self.under.into_iter().chain(self.vars.iter().copied())
    }
}

impl<'a> Plan<'a> {
    /// A clique that lies inside the one below it is summed out together with that one.
    pub(crate) fn new(arranged: &Arrangement, states: &'a [usize]) -> Self {
        let Arrangement { cliques, parents } = arranged;
        let mut place = vec![0; states.len()];
        let mut children: Vec<Vec<usize>> = vec![Vec::new(); cliques.len()];
        for (index, clique) in cliques.iter().enumerate() {
            place[clique[0]] = index;
            if let Some(parent) = parents[index] {
                children[parent].push(index);
            }
        }
        // by clique: the one below that it joins; by clique: state combinations summed out so far
        let mut below: Vec<Option<usize>> = vec![None; cliques.len()];
        let mut joined = vec![false; cliques.len()];
        let mut classes: Vec<usize> = cliques.iter().map(|clique| states[clique[0]]).collect();
        for (index, clique) in cliques.iter().enumerate() {
            let inside = |child: &&usize| {
                cliques[**child].len() == clique.len() + 1
                    && classes[**child] * states[clique[0]] <= MOST_CLASSES
            };
            if let Some(&child) = children[index].iter().find(inside) {
                below[index] = Some(child);
                joined[child] = true;
                classes[index] *= classes[child];
            }
        }
        let mut node_of = vec![0; cliques.len()];
        let mut nodes: Vec<Rough<'a>> = Vec::with_capacity(cliques.len());
        for last in (0..cliques.len()).filter(|&index| !joined[index]) {
            let mut vars = Vec::new();
            let mut at = Some(last);
            while let Some(index) = at {
                node_of[index] = nodes.len();
                vars.push(cliques[index][0]);
                at = below[index];
            }
            let mut separator = cliques[last][1..].to_vec();
            separator.sort_unstable_by_key(|&var| std::cmp::Reverse(place[var]));
            nodes.push(Rough {
                separator,
                vars,
                parent: parents[last],
                children: Vec::new(),
                fixed: Vec::new(),
                evidence: Vec::new(),
                carriers: Vec::new(),
            });
        }
        for index in 0..nodes.len() {
            nodes[index].parent = nodes[index].parent.map(|parent| node_of[parent]);
            if let Some(parent) = nodes[index].parent {
                nodes[parent].children.push(index);
            }
        }
        let home = place.iter().map(|&index| node_of[index]).collect();
        Self {
            states,
            nodes,
            home,
            place,
        }
    }

    /// Takes in a table that never changes; one without variables is handed back as a number.
    pub(crate) fn fixed(&mut self, factor: Factor<'a>) -> f64 {
        match self.home(factor) {
            Some(node) => {
                self.nodes[node].fixed.push(factor);
                1.0
            }
            None => factor.values[0],
        }
    }

    /// Takes in what was found; a table without variables is handed back as a number.
    pub(crate) fn finding(&mut self, table: &'a Table, finding: usize) -> f64 {
        let factor = Factor::of(table);
        match self.home(factor) {
            Some(node) => {
                self.nodes[node].evidence.push((factor, finding));
                1.0
            }
            None => table.values[0],
        }
    }

    /// A variable whose second state means that the unmodelled fault sits here.
    pub(crate) fn carrier(&mut self, var: Var, weight: f64) {
        self.nodes[self.home[var]].carriers.push((var, weight));
    }

    fn home(&self, factor: Factor<'_>) -> Option<usize> {
        let first = factor.all_vars().min_by_key(|&var| self.place[var])?;
        Some(self.home[first])
    }

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
