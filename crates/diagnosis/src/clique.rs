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

/// States tried in a walk, by entry that may be kept.
const STEPS_BY_ENTRY: usize = 8;
/// States that may always be tried.
const FREE_STEPS: usize = 1 << 20;

/// Largest number of state combinations for which a lookup by plain index is kept.
const DENSE: u64 = 1 << 18;

/// State combinations of the variables that a clique sums out at most, where it can be split.
const MOST_CLASSES: usize = 1 << 10;

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
}

/// What a finding says, by entry of a clique.
#[derive(Debug, Clone)]
pub(crate) struct Evidence {
    pub(crate) finding: usize,
    pub(crate) node: usize,
    pub(crate) values: Arc<[f64]>,
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
    /// By clique: numbers of what is said there.
    pub(crate) said: Vec<Vec<usize>>,
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
    keys: Vec<u64>,
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
            .map(|class| place_of(class as u64, &node.vars, &own, states))
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
        self.said[node].push(self.evidence.len());
        self.evidence.push(Evidence {
            finding,
            node,
            values: values.into(),
        });
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
fn place_of(mut number: u64, vars: &[Var], strides: &[usize], states: &[usize]) -> usize {
    let mut place = 0;
    for (var, stride) in vars.iter().zip(strides).rev() {
        let size = states[*var] as u64;
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
    fixed: Vec<&'a Table>,
    evidence: Vec<(&'a Table, usize)>,
    /// Variables whose second state means that the unmodelled fault sits here, with its weight.
    carriers: Vec<(Var, f64)>,
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
    pub(crate) fn fixed(&mut self, table: &'a Table) -> f64 {
        match self.home(table) {
            Some(node) => {
                self.nodes[node].fixed.push(table);
                1.0
            }
            None => table.values[0],
        }
    }

    /// Takes in what was found; a table without variables is handed back as a number.
    pub(crate) fn finding(&mut self, table: &'a Table, finding: usize) -> f64 {
        match self.home(table) {
            Some(node) => {
                self.nodes[node].evidence.push((table, finding));
                1.0
            }
            None => table.values[0],
        }
    }

    /// A variable whose second state means that the unmodelled fault sits here.
    pub(crate) fn carrier(&mut self, var: Var, weight: f64) {
        self.nodes[self.home[var]].carriers.push((var, weight));
    }

    fn home(&self, table: &Table) -> Option<usize> {
        let first = table.vars.iter().min_by_key(|&&var| self.place[var])?;
        Some(self.home[*first])
    }

    /// Lists the entries of all cliques.
    pub(crate) fn build<T: Number>(self, most: usize) -> Result<Cliques, Error> {
        let mut list = List {
            states: self.states,
            most,
            cliques: Shape {
                home: self.home,
                ..Shape::default()
            },
            evidence: Vec::new(),
            said: Vec::with_capacity(self.nodes.len()),
            lookups: Vec::with_capacity(self.nodes.len()),
            depth_of: vec![0; self.states.len()],
            walk: Walk::default(),
        };
        for rough in self.nodes {
            list.node::<T>(rough).ok_or_else(|| too_large(most))?;
        }
        let mut shape = list.cliques;
        shape.starts.push(shape.base.len() as u32);
        Ok(Cliques {
            shape: Arc::new(shape),
            evidence: list.evidence,
            said: list.said,
            optional: Vec::new(),
        })
    }
}

/// From the number of a state combination to the message entry.
enum Lookup {
    Dense(Vec<u32>),
    Sorted { keys: Vec<u64>, first: u32 },
}

impl Lookup {
    fn of(keys: &[u64], first: usize, size: u64) -> Self {
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

    fn find(&self, key: u64) -> u32 {
        match self {
            Self::Dense(dense) => dense[key as usize],
            Self::Sorted { keys, first } => keys
                .binary_search(&key)
                .map_or(MISSING, |entry| first + entry as u32),
        }
    }
}

/// Cliques being listed.
struct List<'a> {
    states: &'a [usize],
    most: usize,
    cliques: Shape,
    evidence: Vec<Evidence>,
    said: Vec<Vec<usize>>,
    /// By clique, until its parent is listed: where its message's entries are, and of which variables it speaks.
    lookups: Vec<Option<(Lookup, Vec<Var>)>>,
    /// By variable of the clique at hand: its place in the walk.
    depth_of: Vec<u32>,
    walk: Walk,
}

impl<'a> List<'a> {
    /// Lists one clique; none if there are more entries than may be.
    fn node<T: Number>(&mut self, rough: Rough<'a>) -> Option<()> {
        let Rough {
            separator,
            vars,
            parent,
            children,
            fixed,
            evidence,
            carriers,
        } = rough;
        for (depth, &var) in (0_u32..).zip(separator.iter().chain(&vars)) {
            self.depth_of[var] = depth;
        }
        let size_of = |vars: &[Var]| {
            vars.iter().try_fold(1_u64, |size, &var| {
                size.checked_mul(self.states[var] as u64)
            })
        };
        let size = size_of(&separator)?;
        let classes = usize::try_from(size_of(&vars)?).ok()?;
        let messages: Vec<(Lookup, Vec<Var>)> = children
            .iter()
            .filter_map(|&child| self.lookups[child].take())
            .collect();
        self.prepare(&separator, &vars, &fixed, &evidence, &carriers, &messages);
        let first = self.cliques.base.len();
        let groups = self.cliques.keys.len();
        let maps = self.cliques.maps.len();
        let sources = Sources {
            fixed: &fixed,
            evidence: &evidence,
            messages: &messages,
            most: self.most,
        };
        self.walk.run::<T>(&sources, &mut self.cliques)?;
        if parent.is_none() && self.cliques.keys.len() == groups {
            // nothing is possible: the total is 0
            self.cliques.keys.push(0);
            self.cliques.starts.push(first as u32);
        }
        let index = self.cliques.nodes.len();
        let lookup = Lookup::of(&self.cliques.keys[groups..], groups, size);
        self.lookups.push(Some((lookup, separator.clone())));
        let numbers = self.evidence.len();
        for ((_, finding), values) in evidence.iter().zip(self.walk.evidence.drain(..)) {
            self.evidence.push(Evidence {
                finding: *finding,
                node: index,
                values: values.into(),
            });
        }
        self.said.push((numbers..self.evidence.len()).collect());
        let below = children.iter().any(|&child| self.cliques.nodes[child].dual);
        let mut node = Node {
            separator,
            vars,
            classes,
            entries: first..self.cliques.base.len(),
            groups: groups..self.cliques.keys.len(),
            maps,
            children,
            parent,
            carries: Vec::new(),
            dual: below || !carriers.is_empty(),
        };
        if !carriers.is_empty() {
            let stride = |var: Var| node.stride(var, self.states);
            let strides: Vec<_> = carriers.iter().map(|&(var, _)| stride(var)).collect();
            let sits = |class: usize| {
                let mut at = strides.iter();
                at.any(|&(stride, size)| class / stride % size == 1)
            };
            node.carries = (0..classes).map(sits).collect();
        }
        self.cliques.nodes.push(node);
        Some(())
    }

    /// Sets the walk up for a clique.
    fn prepare(
        &mut self,
        separator: &[Var],
        vars: &[Var],
        fixed: &[&Table],
        evidence: &[(&Table, usize)],
        carriers: &[(Var, f64)],
        messages: &[(Lookup, Vec<Var>)],
    ) {
        let walk = &mut self.walk;
        walk.clear(separator.len());
        for &var in separator.iter().chain(vars) {
            walk.sizes.push(self.states[var]);
            walk.carrier.push(None);
        }
        for &(var, weight) in carriers {
            walk.carrier[self.depth_of[var] as usize] = Some(weight);
        }
        for (number, table) in (0_u32..).zip(fixed) {
            walk.add(Source::Fixed(number), &table.vars, &self.depth_of);
        }
        for (number, (table, _)) in (0_u32..).zip(evidence) {
            walk.add(Source::Finding(number), &table.vars, &self.depth_of);
        }
        for (number, (_, vars)) in (0_u32..).zip(messages) {
            walk.add(Source::Message(number), vars, &self.depth_of);
        }
        walk.moves.sort_unstable_by_key(|step| step.depth);
        walk.complete.sort_unstable();
        let depths = walk.sizes.len();
        walk.moves_at = (0..=depths)
            .map(|depth| {
                walk.moves
                    .partition_point(|step| (step.depth as usize) < depth)
            })
            .collect();
        walk.complete_at = (0..=depths)
            .map(|depth| {
                walk.complete
                    .partition_point(|(at, _)| (*at as usize) < depth)
            })
            .collect();
    }
}

/// What a walk asks.
struct Sources<'a> {
    fixed: &'a [&'a Table],
    evidence: &'a [(&'a Table, usize)],
    messages: &'a [(Lookup, Vec<Var>)],
    most: usize,
}

/// Something that speaks of a clique's variables.
#[derive(Debug, Clone, Copy)]
struct Factor {
    source: Source,
    /// Number of the state combination so far.
    at: u64,
    /// For a message: the entry found.
    entry: u32,
}

#[derive(Debug, Clone, Copy)]
enum Source {
    Fixed(u32),
    Finding(u32),
    Message(u32),
}

/// A factor knows a variable.
#[derive(Debug, Clone, Copy)]
struct Move {
    depth: u32,
    factor: u32,
    stride: u64,
}

/// A walk over the state combinations of a clique.
#[derive(Debug, Default)]
struct Walk {
    sizes: Vec<usize>,
    /// Variables of the separator.
    kept: usize,
    /// By variable: weight of its second state, if that means the fault.
    carrier: Vec<Option<f64>>,
    /// Fixed tables first, then findings, then messages.
    factors: Vec<Factor>,
    first_message: usize,
    moves: Vec<Move>,
    moves_at: Vec<usize>,
    /// By variable: the factors that are complete with it.
    complete: Vec<(u32, u32)>,
    complete_at: Vec<usize>,
    steps: usize,
    /// The fault sits at a variable before.
    carried: bool,
    /// By finding: what it says, by entry.
    evidence: Vec<Vec<f64>>,
}

impl Walk {
    fn clear(&mut self, kept: usize) {
        self.sizes.clear();
        self.carrier.clear();
        self.factors.clear();
        self.moves.clear();
        self.complete.clear();
        self.evidence.clear();
        self.kept = kept;
        self.steps = 0;
        self.carried = false;
    }

    fn add(&mut self, source: Source, vars: &[Var], depth_of: &[u32]) {
        let factor = self.factors.len() as u32;
        let mut stride = 1;
        let mut last = 0;
        for &var in vars.iter().rev() {
            let depth = depth_of[var];
            self.moves.push(Move {
                depth,
                factor,
                stride,
            });
            stride *= self.sizes[depth as usize] as u64;
            last = last.max(depth);
        }
        self.complete.push((last, factor));
        if matches!(source, Source::Finding(_)) {
            self.evidence.push(Vec::new());
        }
        self.factors.push(Factor {
            source,
            at: 0,
            entry: 0,
        });
    }

    fn run<T: Number>(&mut self, sources: &Sources<'_>, out: &mut Shape) -> Option<()> {
        let message = |factor: &Factor| matches!(factor.source, Source::Message(_));
        self.first_message = self.factors.iter().take_while(|one| !message(one)).count();
        self.step(0, 0, T::ONE, sources, out)
    }

    /// What the factors say that are complete with the variable at this depth; none where one forbids the states.
    fn said<T: Number>(&mut self, depth: usize, product: T, sources: &Sources<'_>) -> Option<T> {
        let mut product = product;
        for place in self.complete_at[depth]..self.complete_at[depth + 1] {
            let factor = &mut self.factors[self.complete[place].1 as usize];
            match factor.source {
                Source::Fixed(number) => {
                    let value = sources.fixed[number as usize].values[factor.at as usize];
                    if value == 0.0 {
                        return None;
                    }
                    product = product * T::of(value, 0.0);
                }
                Source::Finding(_) => {}
                Source::Message(number) => {
                    factor.entry = sources.messages[number as usize].0.find(factor.at);
                    if factor.entry == MISSING {
                        return None;
                    }
                }
            }
        }
        Some(product)
    }

    /// Walks the states of one variable and all that follow; `number` is that of the combination so far. None if there are too
    /// many entries.
    fn step<T: Number>(
        &mut self,
        depth: usize,
        number: u64,
        product: T,
        sources: &Sources<'_>,
        out: &mut Shape,
    ) -> Option<()> {
        if depth == self.kept {
            return self.group(number, product, sources, out);
        }
        let size = self.sizes[depth];
        for state in 0..size {
            if let Some(product) = self.said(depth, product, sources) {
                self.step(
                    depth + 1,
                    number * size as u64 + state as u64,
                    product,
                    sources,
                    out,
                )?;
            }
            self.shift(depth);
        }
        self.back(depth, sources)
    }

    /// The entries of one message entry.
    fn group<T: Number>(
        &mut self,
        key: u64,
        product: T,
        sources: &Sources<'_>,
        out: &mut Shape,
    ) -> Option<()> {
        let begin = out.base.len();
        self.inside(self.kept, 0, product, sources, out)?;
        if out.base.len() > begin {
            out.keys.push(key);
            out.starts.push(begin as u32);
        }
        Some(())
    }

    /// Walks the variables that are summed out.
    fn inside<T: Number>(
        &mut self,
        depth: usize,
        class: usize,
        product: T,
        sources: &Sources<'_>,
        out: &mut Shape,
    ) -> Option<()> {
        let size = self.sizes[depth];
        let before = self.carried;
        for state in 0..size {
            let sits = self.carrier[depth].filter(|_| state == 1);
            // one fault sits at one place
            let open = self.said(depth, product, sources);
            if let Some(product) = open.filter(|_| !(before && sits.is_some())) {
                let product = sits.map_or(product, |weight| product * T::of(weight, 0.0));
                self.carried = before || sits.is_some();
                let class = class * size + state;
                if depth + 1 == self.sizes.len() {
                    self.entry(class, product, sources, out)?;
                } else {
                    self.inside(depth + 1, class, product, sources, out)?;
                }
            }
            self.shift(depth);
        }
        self.carried = before;
        self.back(depth, sources)
    }

    fn shift(&mut self, depth: usize) {
        for step in &self.moves[self.moves_at[depth]..self.moves_at[depth + 1]] {
            self.factors[step.factor as usize].at += step.stride;
        }
    }

    /// Back to the first state. A walk that turns back too often is given up like one that lists too much.
    fn back(&mut self, depth: usize, sources: &Sources<'_>) -> Option<()> {
        let size = self.sizes[depth];
        for step in &self.moves[self.moves_at[depth]..self.moves_at[depth + 1]] {
            self.factors[step.factor as usize].at -= step.stride * size as u64;
        }
        self.steps += size;
        (self.steps <= STEPS_BY_ENTRY * sources.most + FREE_STEPS).then_some(())
    }

    fn entry<T: Number>(
        &mut self,
        class: usize,
        product: T,
        sources: &Sources<'_>,
        out: &mut Shape,
    ) -> Option<()> {
        if out.base.len() == sources.most {
            return None;
        }
        out.base.push(product.high());
        if T::ROUNDING < f64::EPSILON {
            out.base_low.push(product.low());
        }
        out.class.push(class as u16);
        let (before, messages) = self.factors.split_at(self.first_message);
        for factor in before {
            if let Source::Finding(number) = factor.source {
                let (table, _) = sources.evidence[number as usize];
                self.evidence[number as usize].push(table.values[factor.at as usize]);
            }
        }
        out.maps.extend(messages.iter().map(|factor| factor.entry));
        Some(())
    }
}
