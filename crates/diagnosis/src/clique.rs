//! Cliques of which only the entries are kept that can be other than 0; all lie in the same few lists, one after the other.

mod listing;

use std::{
    ops::{Deref, Range},
    sync::Arc,
};

use crate::{
    error::Error,
    model::{Table, Var},
    order::Arrangement,
};

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

    /// A copy with room for more that is said.
    pub(crate) fn with_room(&self, more: usize) -> Self {
        let mut evidence = Vec::with_capacity(self.evidence.len() + more);
        evidence.extend_from_slice(&self.evidence);
        Self {
            shape: Arc::clone(&self.shape),
            evidence,
            said: self.said.clone(),
            optional: self.optional.clone(),
        }
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
}
