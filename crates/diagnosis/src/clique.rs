//! Cliques of which only the entries are kept that can be other than 0; all lie in the same few lists, one after the other.

mod blocks;
mod listing;
mod unasked;

use std::{
    ops::{Deref, Range},
    sync::Arc,
};

use self::blocks::Blocks;
use crate::{
    error::Error,
    model::{Table, Var},
    order::Arrangement,
};

/// Slots of a row at most; a clique of more classes has several rows for a message entry.
const ROW: usize = u64::BITS as usize;

/// A clique: variables that are summed out together, with all that speaks of them.
#[derive(Debug)]
pub(crate) struct Node<'a> {
    /// Variables that stay, for the clique above.
    separator: &'a [Var],
    /// Variables that are summed out; an entry's class is the number of their state combination, the last varying fastest.
    pub(crate) vars: &'a [Var],
    pub(crate) classes: usize,
    pub(crate) entries: Range<usize>,
    /// Entries of its message: one for each state combination of the separator, the last variable varying fastest, but for blocks that were
    /// left out.
    pub(crate) groups: Range<usize>,
    rows: Range<usize>,
    /// Where those of its rows begin in [`Shape::places`].
    places: usize,
    /// Entries of its message in a row.
    pub(crate) wide: usize,
    pub(crate) children: &'a [u32],
    pub(crate) parent: Option<usize>,
    /// By class: the unmodelled fault sits at one of the variables; empty where it cannot.
    pub(crate) carries: &'a [bool],
    /// The unmodelled fault can sit here or below.
    pub(crate) dual: bool,
    /// Most roundings in an entry of the base.
    pub(crate) roundings: usize,
}

/// A clique as it is kept. Its lists begin here and end where those of the next one begin, but for `carries`, which has one for each class.
#[derive(Debug, Default)]
struct Begin {
    separator: u32,
    vars: u32,
    children: u32,
    entries: u32,
    groups: u32,
    rows: u32,
    places: u32,
    classes: u32,
    wide: u32,
    /// [`NONE`] for a root.
    parent: u32,
    /// [`NONE`] where the unmodelled fault cannot sit.
    carries: u32,
    roundings: u32,
    dual: bool,
}

/// Entries of a clique beside each other. Where a row stands is told by the states of the first variables of the separator; its slots
/// are the combinations of the clique's classes with those of the other variables, which vary fastest.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Row<'a> {
    /// By entry.
    pub(crate) classes: &'a [u16],
    /// The message entry of the first slot.
    pub(crate) group: usize,
    /// By entry: how much farther its message entry stands.
    pub(crate) groups: &'a [u16],
    /// By child: the entry of its message for the first slot.
    pub(crate) places: &'a [u32],
    /// By entry, for each child: how much farther that stands.
    pub(crate) offsets: &'a [u16],
}

/// The rows of a clique, one after the other.
pub(crate) struct Rows<'a> {
    shape: &'a Shape,
    left: &'a [RowKept],
    width: usize,
    /// Of those that are left, and others.
    places: &'a [u32],
}

impl<'a> Iterator for Rows<'a> {
    type Item = Row<'a>;

    #[inline(always)]
    fn next(&mut self) -> Option<Row<'a>> {
        let (row, left) = self.left.split_first()?;
        let (places, others) = self.places.split_at(self.width);
        (self.left, self.places) = (left, others);
        let (shape, kind) = (self.shape, row.kind as usize);
        let (begin, end) = (shape.kinds[kind], shape.kinds[kind + 1]);
        let entries = begin.classes as usize..end.classes as usize;
        Some(Row {
            classes: &shape.classes[entries.clone()],
            group: row.group as usize,
            groups: &shape.in_row[entries],
            places,
            offsets: &shape.offsets[begin.offsets as usize..end.offsets as usize],
        })
    }
}

/// A row as it is kept.
#[derive(Debug, Clone, Copy)]
struct RowKept {
    group: u32,
    kind: u32,
}

/// Slots that rows have in common. Its lists begin here and end where those of the next one begin.
#[derive(Debug, Clone, Copy, Default)]
struct Kind {
    classes: u32,
    offsets: u32,
}

/// No clique, nothing said.
const NONE: u32 = u32::MAX;

/// What a finding says, by entry of a clique.
#[derive(Debug, Clone)]
pub(crate) struct Evidence {
    pub(crate) finding: usize,
    pub(crate) node: usize,
    pub(crate) values: Arc<[f64]>,
    /// What else is said at the same clique, or [`NONE`].
    next: u32,
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
    /// By clique: the number of the last thing said there, or [`NONE`].
    said: Vec<u32>,
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
    /// By clique, and one more for the end.
    begins: Vec<Begin>,
    /// Of all cliques, as their nodes have them.
    separators: Vec<Var>,
    vars: Vec<Var>,
    children: Vec<u32>,
    carries: Vec<bool>,
    /// The clique that sums a variable out.
    home: Vec<u32>,
    /// By entry: product of the tables that never change.
    pub(crate) base: Vec<f64>,
    /// What the product leaves out by rounding; empty where it is not asked for.
    pub(crate) base_low: Vec<f64>,
    rows: Vec<RowKept>,
    /// By clique, where some were left out.
    blocks: Vec<Blocks>,
    /// Of all rows, as they have them.
    places: Vec<u32>,
    /// And one more for the end.
    kinds: Vec<Kind>,
    /// Of all kinds of rows, as they have them.
    classes: Vec<u16>,
    /// The groups of rows.
    in_row: Vec<u16>,
    offsets: Vec<u16>,
}

impl Cliques {
    /// A table's number for each entry of a clique; none if it asks for other variables.
    pub(crate) fn stretched(
        &self,
        index: usize,
        table: &Table,
        states: &[usize],
    ) -> Option<Vec<f64>> {
        let node = self.node(index);
        let known = |var: &Var| node.separator.contains(var) || node.vars.contains(var);
        if !table.vars.iter().all(known) {
            return None;
        }
        let strides = strides_in(table, node.separator, states);
        let inside = node.inside(states);
        let own = strides_in(table, &inside, states);
        let of_slot: Vec<usize> = (0..node.slots())
            .map(|slot| place_of(slot as u32, &inside, &own, states))
            .collect();
        let mut values = Vec::with_capacity(node.entries.len());
        for row in self.rows(&node) {
            let entry = row.group - node.groups.start;
            let state = match self.blocks.get(index) {
                Some(blocks) => blocks.state(entry),
                None => entry,
            };
            let at = place_of(state as u32, node.separator, &strides, states);
            let both = row.classes.iter().zip(row.groups);
            let slots =
                both.map(|(&class, &group)| usize::from(class) * node.wide + usize::from(group));
            values.extend(slots.map(|slot| table.values[at + of_slot[slot]]));
        }
        Some(values)
    }

    /// Where a table that questions multiply in stands; none if it has no variables, or no clique holds them.
    pub(crate) fn optional(&self, table: &Table, states: &[usize]) -> Option<Optional> {
        let node = table.vars.iter().map(|&var| self.home(var)).min()?;
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
            next: std::mem::replace(&mut self.said[node], number),
        });
    }

    /// Numbers of what is said at a clique.
    pub(crate) fn said(&self, node: usize) -> impl Iterator<Item = usize> {
        let some = |number: u32| (number != NONE).then_some(number as usize);
        std::iter::successors(some(self.said[node]), move |&number| {
            some(self.evidence[number].next)
        })
    }
}

impl Shape {
    /// How many cliques there are.
    pub(crate) fn count(&self) -> usize {
        self.begins.len() - 1
    }

    pub(crate) fn nodes(&self) -> impl DoubleEndedIterator<Item = Node<'_>> + ExactSizeIterator {
        (0..self.count()).map(|index| self.node(index))
    }

    /// The cliques that hand nothing on.
    pub(crate) fn roots(&self) -> impl DoubleEndedIterator<Item = usize> {
        (0..self.count()).filter(|&index| self.begins[index].parent == NONE)
    }

    pub(crate) fn node(&self, index: usize) -> Node<'_> {
        let (begin, end) = (&self.begins[index], &self.begins[index + 1]);
        let within = |begin: u32, end: u32| begin as usize..end as usize;
        let carries = match begin.carries {
            NONE => &[],
            first => &self.carries[first as usize..][..begin.classes as usize],
        };
        Node {
            separator: &self.separators[within(begin.separator, end.separator)],
            vars: &self.vars[within(begin.vars, end.vars)],
            classes: begin.classes as usize,
            entries: within(begin.entries, end.entries),
            groups: within(begin.groups, end.groups),
            rows: within(begin.rows, end.rows),
            places: begin.places as usize,
            wide: begin.wide as usize,
            children: &self.children[within(begin.children, end.children)],
            parent: self.parent(index),
            carries,
            dual: begin.dual,
            roundings: begin.roundings as usize,
        }
    }

    /// The rows of a clique; its entries are theirs, one row after the other.
    #[inline(always)]
    pub(crate) fn rows<'a>(&'a self, node: &Node<'_>) -> Rows<'a> {
        Rows {
            shape: self,
            left: &self.rows[node.rows.clone()],
            width: node.children.len(),
            places: &self.places[node.places..],
        }
    }

    /// By entry of a kind of rows: how much farther its message entry stands.
    fn groups_of(&self, kind: u32) -> &[u16] {
        let [begin, end] = [0, 1].map(|next| self.kinds[kind as usize + next].classes as usize);
        &self.in_row[begin..end]
    }

    /// The class of each entry of a clique.
    pub(crate) fn classes_of(&self, node: &Node<'_>) -> impl Iterator<Item = usize> {
        let classes = self.rows(node).flat_map(|row| row.classes);
        classes.map(|&class| usize::from(class))
    }

    /// Entries of all messages together.
    pub(crate) fn all_groups(&self) -> usize {
        self.begins[self.count()].groups as usize
    }

    /// The clique that takes a clique's message.
    pub(crate) fn parent(&self, index: usize) -> Option<usize> {
        let parent = self.begins[index].parent;
        (parent != NONE).then_some(parent as usize)
    }

    /// Entries of a clique.
    pub(crate) fn entries(&self, index: usize) -> Range<usize> {
        self.begins[index].entries as usize..self.begins[index + 1].entries as usize
    }

    /// Entries of a clique's message.
    pub(crate) fn groups(&self, index: usize) -> Range<usize> {
        self.begins[index].groups as usize..self.begins[index + 1].groups as usize
    }

    /// State combinations that a clique sums out.
    pub(crate) fn classes(&self, index: usize) -> usize {
        self.begins[index].classes as usize
    }

    /// The clique that sums a variable out.
    pub(crate) fn home(&self, var: Var) -> usize {
        self.home[var] as usize
    }

    /// Room that is not used is given back, that of the longest lists last: for a while they are there twice.
    fn shrink(&mut self) {
        self.carries.shrink_to_fit();
        self.kinds.shrink_to_fit();
        self.classes.shrink_to_fit();
        self.in_row.shrink_to_fit();
        self.offsets.shrink_to_fit();
        give_back(&mut self.rows);
        give_back(&mut self.places);
        give_back(&mut self.base);
        give_back(&mut self.base_low);
    }
}

impl Node<'_> {
    /// Slots of a row.
    pub(crate) fn slots(&self) -> usize {
        self.classes * self.wide
    }

    /// The variables whose combinations the slots are, the last varying fastest.
    fn inside(&self, states: &[usize]) -> Vec<Var> {
        let mut wide = self.wide;
        let beside = self.separator.iter().rev().take_while(|&&var| {
            let more = wide > 1;
            wide /= states[var];
            more
        });
        let first = self.separator.len() - beside.count();
        let inside = self.vars.iter().chain(&self.separator[first..]);
        inside.copied().collect()
    }

    /// Runs of classes in which a variable that is summed out here keeps its state, with that state.
    pub(crate) fn runs(
        &self,
        var: Var,
        states: &[usize],
    ) -> impl Iterator<Item = (usize, Range<usize>)> {
        let (stride, size) = stride_in(self.vars, var, states);
        let runs = (0..self.classes).step_by(stride).enumerate();
        runs.map(move |(run, first)| (run % size, first..first + stride))
    }
}

/// Room that is not used is given back where it is worth a copy.
fn give_back<T>(list: &mut Vec<T>) {
    if list.len() < list.capacity() / 4 * 3 {
        list.shrink_to_fit();
    }
}

/// How many state combinations of the last variables of a separator have room in a row with all classes.
fn wide(classes: usize, separator: &[Var], states: &[usize]) -> usize {
    let mut wide = 1;
    for &var in separator.iter().rev() {
        if classes * wide * states[var] > ROW {
            break;
        }
        wide *= states[var];
    }
    wide
}

/// How many classes a variable keeps its state, and how many states it has.
fn stride_in(vars: &[Var], var: Var, states: &[usize]) -> (usize, usize) {
    let after = vars.iter().rev().take_while(|&&other| other != var);
    (after.map(|&var| states[var]).product(), states[var])
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
    /// Without entries.
    shape: Shape,
    /// With the clique that takes each in.
    fixed: Vec<(u32, Factor<'a>)>,
    /// The same for findings, with their numbers.
    evidence: Vec<(u32, Factor<'a>, usize)>,
    /// Variables whose second state means that the unmodelled fault sits here, with its weight, by clique.
    carriers: Vec<(u32, Var, f64)>,
}

/// What a network is the product of.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Factor<'a> {
    Table(&'a Table),
    /// Under the auxiliary of an OR: in the second state of that it counts 1.
    Under(u32, &'a Table),
    /// The auxiliary of an OR and its child.
    Sign(&'a [Var; 2]),
}

/// The child of an OR by its auxiliary: what fails is all that happens less that no cause acts.
const SIGN: [f64; 4] = [1.0, -1.0, 0.0, 1.0];

impl<'a> Factor<'a> {
    /// Its variables, the last varying fastest.
    pub(crate) fn vars(self) -> impl DoubleEndedIterator<Item = Var> + 'a {
        let (under, vars) = match self {
            Self::Table(table) => (None, &table.vars[..]),
            Self::Under(under, table) => (Some(under as Var), &table.vars[..]),
            Self::Sign(vars) => (None, &vars[..]),
        };
        under.into_iter().chain(vars.iter().copied())
    }

    /// Its numbers; beyond their end it counts 1.
    fn values(self) -> &'a [f64] {
        match self {
            Self::Table(table) | Self::Under(_, table) => &table.values,
            Self::Sign(_) => &SIGN,
        }
    }
}

impl<'a> Plan<'a> {
    pub(crate) fn new(arranged: Arrangement, states: &'a [usize]) -> Self {
        Self {
            states,
            shape: Shape::without_entries(arranged, states),
            fixed: Vec::new(),
            evidence: Vec::new(),
            carriers: Vec::new(),
        }
    }

    /// Takes in a table that never changes; one without variables is handed back as a number.
    pub(crate) fn fixed(&mut self, factor: Factor<'a>) -> f64 {
        match self.home(factor) {
            Some(node) => {
                self.fixed.push((node, factor));
                1.0
            }
            None => factor.values()[0],
        }
    }

    /// Takes in what was found; a table without variables is handed back as a number.
    pub(crate) fn finding(&mut self, table: &'a Table, finding: usize) -> f64 {
        let factor = Factor::Table(table);
        match self.home(factor) {
            Some(node) => {
                self.evidence.push((node, factor, finding));
                1.0
            }
            None => table.values[0],
        }
    }

    /// A variable whose second state means that the unmodelled fault sits here.
    pub(crate) fn carrier(&mut self, var: Var, weight: f64) {
        self.carriers.push((self.shape.home[var], var, weight));
    }

    fn home(&self, factor: Factor<'_>) -> Option<u32> {
        factor.vars().map(|var| self.shape.home[var]).min()
    }
}

impl Shape {
    fn without_entries(arranged: Arrangement, states: &[usize]) -> Self {
        let count = arranged.parents.len();
        let mut shape = Self {
            begins: Vec::with_capacity(count + 1),
            home: vec![NONE; states.len()],
            ..Self::default()
        };
        let summed = arranged.summed.iter();
        let all = summed.clone().sum::<u32>() as usize;
        shape.vars.reserve_exact(all);
        shape
            .separators
            .reserve_exact(arranged.cliques.vars() - all);
        let each = arranged.cliques.iter().zip(summed).zip(&arranged.parents);
        for (node, ((clique, &summed), parent)) in each.enumerate() {
            let (vars, separator) = clique.split_at(summed as usize);
            vars.iter().for_each(|&var| shape.home[var] = node as u32);
            let classes = vars.iter().map(|&var| states[var]).product();
            shape.begins.push(Begin {
                separator: shape.separators.len() as u32,
                vars: shape.vars.len() as u32,
                classes: classes as u32,
                wide: wide(classes, separator, states) as u32,
                parent: parent.map_or(NONE, |parent| parent as u32),
                carries: NONE,
                ..Begin::default()
            });
            shape.vars.extend(vars);
            shape.separators.extend(separator);
        }
        shape.begins.push(Begin {
            separator: shape.separators.len() as u32,
            vars: shape.vars.len() as u32,
            ..Begin::default()
        });
        shape.name_children();
        shape
    }

    /// From the parents of the cliques to their children.
    fn name_children(&mut self) {
        let count = self.count();
        let parents: Vec<u32> = self.begins.iter().map(|begin| begin.parent).collect();
        for &parent in parents[..count].iter().filter(|&&parent| parent != NONE) {
            self.begins[parent as usize].children += 1;
        }
        // first where those of each end, then, the last one first, where they begin
        let mut end = 0;
        for begin in &mut self.begins {
            end += begin.children;
            begin.children = end;
        }
        self.children = vec![NONE; end as usize];
        for (index, &parent) in parents[..count].iter().enumerate().rev() {
            if parent != NONE {
                let begin = &mut self.begins[parent as usize].children;
                *begin -= 1;
                self.children[*begin as usize] = index as u32;
            }
        }
    }
}
