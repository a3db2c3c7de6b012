//! Listing the rows of cliques.
//!
//! All state combinations of a clique are gone through, row by row; where a table or a message from below has nothing to offer, there
//! is no entry. What a finding says does not count here, so that findings can be left out later, nor do sums that happen to cancel: an
//! entry that is left out is 0 whatever is asked.
//!
//! Which slots are left in a row is a set of bits: each factor has such a set for every place where a row can find it.

use std::{ops::Range, sync::Arc};

use super::{Cliques, Factor, Kind, NONE, Plan, ROW, RowKept, Shape, stride_in, too_large};
use crate::{error::Error, model::Var, number::Number, order::ones};

/// Entries for which room is made beforehand.
const WORTH_RESERVING: f64 = (1 << 21) as f64;

/// States tried in a walk, by entry that may be kept.
const STEPS_BY_ENTRY: usize = 8;
/// States that may always be tried.
const FREE_STEPS: usize = 1 << 20;

/// Combinations of a clique for which it pays to look at what tables farther up leave out.
const WORTH_RESTRICTING: f64 = 256.0;

/// Entries of which it pays to drop those that nothing above asks for.
const WORTH_DROPPING: usize = 1 << 10;

/// Entries of messages of which it pays to drop those that no row knows.
const WORTH_DROPPING_BLOCKS: usize = 1 << 12;

/// Entries of messages, by entry that may be kept: those that can only be 0 are kept too.
const GROUPS_BY_ENTRY: f64 = 8.0;
/// The most of them, whatever may be kept.
const MOST_GROUPS: f64 = (1 << 25) as f64;

/// A clique, a finding that speaks of it, and what that says by entry.
pub(super) type Said = (usize, usize, Vec<f64>);

impl<'a> Plan<'a> {
    /// Lists the rows of all cliques.
    pub(crate) fn build<T: Number>(self, most: usize) -> Result<Cliques, Error> {
        let states = self.states;
        let (mut shape, mut said) = self.listed::<T>(most)?;
        if shape.base.len() >= WORTH_DROPPING {
            shape.drop_unasked(&mut said);
        }
        if shape.all_groups() >= WORTH_DROPPING_BLOCKS {
            shape.drop_blocks(states);
        }
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

    /// The entries of all cliques, and what findings say by entry.
    fn listed<T: Number>(mut self, most: usize) -> Result<(Shape, Vec<Said>), Error> {
        self.fixed.sort_by_key(|(node, _)| *node);
        self.evidence.sort_by_key(|(node, ..)| *node);
        self.carriers.sort_by_key(|(node, ..)| *node);
        self.reserve(most)?;
        let above = self.zeros_from_above();
        self.shape.kinds.push(Kind::default());
        let mut list = List {
            states: self.states,
            most,
            shape: self.shape,
            said: Vec::with_capacity(self.evidence.len()),
            possible: Vec::new(),
            walk: Walk::default(),
        };
        let (mut fixed, mut evidence, mut carriers) =
            (&self.fixed[..], &self.evidence[..], &self.carriers[..]);
        let mut above = &above[..];
        for index in 0..list.shape.count() {
            let rough = Rough {
                index,
                fixed: of_node(&mut fixed, index, |(node, _)| *node),
                evidence: of_node(&mut evidence, index, |(node, ..)| *node),
                carriers: of_node(&mut carriers, index, |(node, ..)| *node),
                above: of_node(&mut above, index, |(node, _)| *node),
            };
            list.node::<T>(&rough).ok_or_else(|| too_large(most))?;
        }
        Ok(list.done())
    }

    /// Tables with zeros that are multiplied in farther up, at the large cliques that know all their variables too: what they leave out
    /// above need not be listed below.
    fn zeros_from_above(&self) -> Vec<(u32, Factor<'a>)> {
        let size =
            |vars: &[Var]| -> f64 { vars.iter().map(|&var| self.states[var] as f64).product() };
        let mut with_zeros: Vec<Vec<Factor<'a>>> = vec![Vec::new(); self.shape.count()];
        for &(node, factor) in &self.fixed {
            if factor.values().contains(&0.0) {
                with_zeros[node as usize].push(factor);
            }
        }
        let mut above = Vec::new();
        for (index, node) in self.shape.nodes().enumerate().rev() {
            for &child in node.children {
                let of_child = self.shape.node(child as usize);
                if size(of_child.separator) * (of_child.classes as f64) < WORTH_RESTRICTING {
                    continue;
                }
                let known = |factor: &&Factor<'a>| {
                    factor.vars().all(|var| of_child.separator.contains(&var))
                };
                let some: Vec<Factor<'a>> =
                    with_zeros[index].iter().filter(known).copied().collect();
                above.extend(some.iter().map(|&factor| (child, factor)));
                with_zeros[child as usize].extend(some);
            }
        }
        above.sort_by_key(|(node, _)| *node);
        above
    }

    /// Makes room for all entries, where it is not much; of large ones most may turn out to be 0. Messages that are too large are refused.
    fn reserve(&mut self, most: usize) -> Result<(), Error> {
        let product =
            |vars: &[Var]| -> f64 { vars.iter().map(|&var| self.states[var] as f64).product() };
        let mut size = [0.0; 4];
        for node in self.shape.nodes() {
            let groups = product(node.separator);
            size[0] += groups * node.classes as f64;
            size[1] += groups;
            let rows = groups / node.wide as f64 * node.slots().div_ceil(ROW) as f64;
            size[2] += rows;
            size[3] += rows * node.children.len() as f64;
        }
        let [entries, groups, rows, places] = size;
        if groups > MOST_GROUPS.min(GROUPS_BY_ENTRY * most as f64) {
            return Err(too_large(most));
        }
        if entries.max(places) <= WORTH_RESERVING {
            let shape = &mut self.shape;
            shape.base.reserve_exact(entries as usize);
            shape.rows.reserve_exact(rows as usize);
            shape.places.reserve_exact(places as usize);
        }
        Ok(())
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
    /// Tables farther up that leave something out here too.
    above: &'a [(u32, Factor<'a>)],
}

/// Cliques being listed.
struct List<'a> {
    states: &'a [usize],
    most: usize,
    shape: Shape,
    /// What findings say: the clique, the finding, and by entry.
    said: Vec<Said>,
    /// By message entry: it can be other than 0.
    possible: Vec<bool>,
    walk: Walk,
}

impl List<'_> {
    /// What was listed; the room that listing took is given back.
    fn done(self) -> (Shape, Vec<Said>) {
        (self.shape, self.said)
    }

    /// Lists one clique; none if there are more entries than may be.
    fn node<T: Number>(&mut self, rough: &Rough<'_>) -> Option<()> {
        let index = rough.index;
        self.prepare(rough);
        let node = self.shape.node(index);
        let groups = node.separator.iter().map(|&var| self.states[var]);
        let first = node.groups.start;
        self.possible
            .resize(first + groups.product::<usize>(), false);
        let (below, possible) = self.possible.split_at_mut(first);
        let given = Given {
            rough,
            below,
            most: self.most,
        };
        self.walk.run::<T>(&given, possible, &mut self.shape)?;
        for ((_, _, finding), values) in rough.evidence.iter().zip(self.walk.said.drain(..)) {
            self.said.push((index, *finding, values));
        }
        self.carry(rough);
        let shape = &mut self.shape;
        shape.begins[index].roundings = self.walk.roundings as u32;
        let end = &mut shape.begins[index + 1];
        end.entries = shape.base.len() as u32;
        end.groups = self.possible.len() as u32;
        end.rows = shape.rows.len() as u32;
        end.places = shape.places.len() as u32;
        Some(())
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
        let inside = node.inside(states);
        let outside = node.separator.len() + node.vars.len() - inside.len();
        let outside = &node.separator[..outside];
        let walk = &mut self.walk;
        walk.clear();
        walk.factors = rough.tables() + 1 + node.children.len();
        let sizes = outside.iter().map(|&var| states[var] as u32);
        walk.sizes.extend(sizes);
        walk.state.resize(outside.len(), 0);
        walk.steps.resize(outside.len() * walk.factors, 0);
        walk.mix(node.slots());
        walk.wide = node.wide;
        walk.weigh(rough, &inside, states);
        let mut add = |vars: &mut dyn DoubleEndedIterator<Item = Var>, first: usize| {
            walk.add(vars, first, outside, &inside, states);
        };
        for (_, factor) in rough.fixed {
            add(&mut factor.vars(), 0);
        }
        for (_, factor, _) in rough.evidence {
            add(&mut factor.vars(), 0);
        }
        for (_, factor) in rough.above {
            add(&mut factor.vars(), 0);
        }
        add(&mut node.separator.iter().copied(), node.groups.start);
        for &child in node.children {
            let child = self.shape.node(child as usize);
            add(&mut child.separator.iter().copied(), child.groups.start);
        }
        let children = node.children.iter();
        let groups = children.map(|&child| self.shape.groups(child as usize));
        walk.messages.extend(groups);
        walk.said.resize_with(rough.evidence.len(), Vec::new);
    }
}

/// What a walk asks.
struct Given<'a> {
    rough: &'a Rough<'a>,
    /// By entry of the messages from below: it can be other than 0.
    below: &'a [bool],
    most: usize,
}

impl<'a> Rough<'a> {
    /// The numbers of a table that never changes.
    fn fixed(&self, table: usize) -> &'a [f64] {
        self.fixed[table].1.values()
    }

    /// How many factors stand before the clique's own message.
    fn tables(&self) -> usize {
        self.fixed.len() + self.evidence.len() + self.above.len()
    }
}

/// A walk over the rows of a clique, with all slots at each.
#[derive(Debug, Default)]
struct Walk {
    /// By variable that tells the rows apart.
    sizes: Vec<u32>,
    state: Vec<u32>,
    /// Fixed tables first, then findings, then tables from above, then the clique's own message and those from below.
    factors: usize,
    /// By variable that tells the rows apart, for each factor: how far it goes with the variable's next state; once the walk begins, less
    /// what it goes back as all later variables take their first state again.
    steps: Vec<u32>,
    /// By factor: where it stands in the first slot.
    at: Vec<u32>,
    /// By factor, then by slot: how much farther it stands there.
    offsets: Vec<u32>,
    /// The same in the order of the state combinations, of the factor at hand.
    in_order: Vec<u32>,
    /// By slot: the number of its state combination, the last variable varying fastest.
    mixed: Vec<u32>,
    /// Message entries in a row.
    wide: usize,
    /// By slot: the weight of the unmodelled fault that sits there; 0 where it would sit at two places.
    weights: Vec<f64>,
    /// By child: the entries of its message.
    messages: Vec<Range<usize>>,
    /// By slot: the product of the tables that never change, as far as they are the same in all rows, and what that leaves out by rounding.
    constant: Vec<[f64; 2]>,
    /// The tables that are not.
    varying: Vec<usize>,
    /// The slots that are there in some rows: a bit for each.
    always: Vec<u64>,
    /// By finding: what it says, by entry.
    said: Vec<Vec<f64>>,
    /// Most roundings in the product of an entry.
    roundings: usize,
}

/// The slots that a factor leaves.
struct Leaves {
    factor: usize,
    /// Where the factor begins.
    first: u32,
    /// By place, for each row there: a bit for each slot.
    slots: Vec<u64>,
}

impl Walk {
    fn clear(&mut self) {
        self.sizes.clear();
        self.state.clear();
        self.steps.clear();
        self.at.clear();
        self.offsets.clear();
        self.weights.clear();
        self.messages.clear();
        self.constant.clear();
        self.varying.clear();
        self.said.clear();
    }

    /// Slots beside each other seldom go into the same sum: a processor waits for the one before.
    fn mix(&mut self, slots: usize) {
        let common = |mut a: usize, mut b: usize| {
            while b > 0 {
                (a, b) = (b, a % b);
            }
            a
        };
        let step = match slots {
            16..=ROW => (slots * 3 / 8..).find(|&step| common(step, slots) == 1),
            _ => None,
        };
        self.mixed.clear();
        let mut mixed = 0;
        for _ in 0..slots {
            self.mixed.push(mixed as u32);
            mixed += step.unwrap_or(1);
            if mixed >= slots {
                mixed -= slots;
            }
        }
    }

    fn weigh(&mut self, rough: &Rough<'_>, inside: &[Var], states: &[usize]) {
        let slots = self.slots();
        self.weights.resize(slots, 1.0);
        if rough.carriers.is_empty() {
            return;
        }
        let mut sits = vec![false; slots];
        for &(_, carrier, weight) in rough.carriers {
            let (stride, size) = stride_in(inside, carrier, states);
            let sits_at = |slot: &usize| self.mixed[*slot] as usize / stride % size == 1;
            for slot in (0..slots).filter(sits_at) {
                // one fault sits at one place
                let other = std::mem::replace(&mut sits[slot], true);
                self.weights[slot] *= if other { 0.0 } else { weight };
            }
        }
    }

    /// Adds a factor over these variables, the last varying fastest, that begins here.
    fn add(
        &mut self,
        vars: &mut dyn DoubleEndedIterator<Item = Var>,
        first: usize,
        outside: &[Var],
        inside: &[Var],
        states: &[usize],
    ) {
        let factor = self.at.len();
        self.at.push(first as u32);
        self.in_order.clear();
        self.in_order.resize(self.slots(), 0);
        let mut stride = 1;
        for var in vars.rev() {
            let place = |list: &[Var]| list.iter().position(|&other| other == var);
            if let Some(depth) = place(outside) {
                self.steps[depth * self.factors + factor] = stride;
            } else if let Some(place) = place(inside) {
                let after = inside[place + 1..].iter();
                let run: usize = after.map(|&var| states[var]).product();
                for all in self.in_order.chunks_mut(run * states[var]) {
                    let mut more = 0;
                    for run in all.chunks_mut(run) {
                        run.iter_mut().for_each(|offset| *offset += more);
                        more += stride;
                    }
                }
            }
            stride *= states[var] as u32;
        }
        let mixed = self.mixed.iter().map(|&slot| self.in_order[slot as usize]);
        self.offsets.extend(mixed);
    }

    fn slots(&self) -> usize {
        self.mixed.len()
    }

    /// How much farther a factor stands, by slot.
    fn offsets_of(&self, factor: usize) -> &[u32] {
        &self.offsets[factor * self.slots()..][..self.slots()]
    }

    /// How far a factor goes with each variable that tells the rows apart, and how many states that has.
    fn steps_of(&self, factor: usize) -> impl Iterator<Item = (u32, u32)> {
        let steps = self.steps.iter().skip(factor).step_by(self.factors);
        steps.copied().zip(self.sizes.iter().copied())
    }

    /// Lists all rows; none if there are too many entries. A walk that finds too little is given up like one that lists too much.
    fn run<T: Number>(
        &mut self,
        given: &Given<'_>,
        possible: &mut [bool],
        out: &mut Shape,
    ) -> Option<()> {
        self.multiply::<T>(given.rough);
        let leaves = self.leaves(given);
        let most_steps = STEPS_BY_ENTRY * given.most + FREE_STEPS;
        let own = given.rough.tables();
        let first = self.at[own];
        let mut kinds = Vec::new();
        let walks: usize = self.sizes.iter().map(|&size| size as usize).product();
        self.begin();
        for walked in 1..=walks {
            for row in 0..self.always.len() {
                let bits = self.left(row, &leaves);
                if bits == 0 {
                    continue;
                }
                let kind = self.kind(&mut kinds, (row, bits), own, out);
                let group = self.at[own];
                out.rows.push(RowKept { group, kind });
                out.places.extend_from_slice(&self.at[own + 1..]);
                for &beside in out.groups_of(kind) {
                    possible[(group - first) as usize + usize::from(beside)] = true;
                }
                self.entries::<T>(slots_of(row, bits), given.rough, out);
                if out.base.len() > given.most {
                    return None;
                }
            }
            if walked * self.slots() > most_steps {
                return None;
            }
            self.next();
        }
        Some(())
    }

    /// The slots that are left in a row: a bit for each.
    fn left(&self, row: usize, leaves: &[Leaves]) -> u64 {
        leaves.iter().fold(self.always[row], |bits, of| {
            let place = (self.at[of.factor] - of.first) as usize;
            bits & of.slots[place * self.always.len() + row]
        })
    }

    /// The kind of rows with these slots, a new one if the clique has none so far.
    fn kind(
        &self,
        kinds: &mut Vec<((usize, u64), u32)>,
        slots: (usize, u64),
        own: usize,
        out: &mut Shape,
    ) -> u32 {
        if let Some((_, kind)) = kinds.iter().find(|(of, _)| *of == slots) {
            return *kind;
        }
        for slot in slots_of(slots.0, slots.1) {
            let mut offsets =
                (own..self.factors).map(|factor| self.offsets_of(factor)[slot] as u16);
            out.classes
                .push((self.mixed[slot] as usize / self.wide) as u16);
            out.in_row.extend(offsets.next());
            out.offsets.extend(offsets);
        }
        let kind = out.kinds.len() as u32 - 1;
        out.kinds.push(Kind {
            classes: out.classes.len() as u32,
            offsets: out.offsets.len() as u32,
        });
        kinds.push((slots, kind));
        kind
    }

    /// The entries of a row.
    fn entries<T: Number>(
        &mut self,
        slots: impl Iterator<Item = usize>,
        rough: &Rough<'_>,
        out: &mut Shape,
    ) {
        let all = self.slots();
        for slot in slots {
            let place =
                |factor: usize| (self.at[factor] + self.offsets[factor * all + slot]) as usize;
            let value = |&factor: &usize| T::of(at(rough.fixed(factor), place(factor)), 0.0);
            let [high, low] = self.constant[slot];
            let varying = self.varying.iter().map(value);
            let base = varying.fold(T::of(high, low), |all, value| all * value);
            out.base.push(base.high());
            if T::ROUNDING < f64::ROUNDING {
                out.base_low.push(base.low());
            }
            let evidence = rough.evidence.iter().enumerate();
            for ((number, (_, factor, _)), said) in evidence.zip(&mut self.said) {
                said.push(factor.values()[place(rough.fixed.len() + number)]);
            }
        }
    }

    /// Multiplies the tables that never change, as far as they are the same in all rows.
    fn multiply<T: Number>(&mut self, rough: &Rough<'_>) {
        // times 0, 1 or -1 is exact
        let exact = |value: &f64| [0.0, 1.0].contains(&value.abs());
        let rounds = |values: &[f64]| !values.iter().all(exact);
        let mut rounding = usize::from(rounds(&self.weights));
        let weights = self.weights.iter().map(|&weight| [weight, 0.0]);
        self.constant.extend(weights);
        for factor in 0..rough.fixed.len() {
            let values = rough.fixed(factor);
            rounding += usize::from(rounds(values));
            if self.varies(factor) {
                self.varying.push(factor);
                continue;
            }
            let offsets = &self.offsets[factor * self.slots()..][..self.slots()];
            for (one, &offset) in self.constant.iter_mut().zip(offsets) {
                let value = T::of(at(values, offset as usize), 0.0);
                let product = T::of(one[0], one[1]) * value;
                *one = [product.high(), product.low()];
            }
        }
        self.roundings = rounding.saturating_sub(1);
    }

    /// What the factors leave that leave anything out, and differ from row to row; what others leave out is never there.
    fn leaves(&mut self, given: &Given<'_>) -> Vec<Leaves> {
        let rough = given.rough;
        self.always.clear();
        self.always.resize(self.slots().div_ceil(ROW), 0);
        let constant = self.constant.iter().map(|&[high, _]| high != 0.0);
        set(&mut self.always, constant);
        let mut leaves = Vec::new();
        for &factor in &self.varying {
            let values = rough.fixed(factor);
            if values.contains(&0.0) {
                leaves.push(self.leaves_of(factor, |place| at(values, place) != 0.0));
            }
        }
        let above = rough.fixed.len() + rough.evidence.len();
        for (factor, (_, table)) in (above..).zip(rough.above) {
            let values = table.values();
            leaves.push(self.leaves_of(factor, |place| at(values, place) != 0.0));
        }
        let messages = rough.tables() + 1;
        for number in 0..self.messages.len() {
            let possible = &given.below[self.messages[number].clone()];
            if !possible.contains(&false) {
                continue;
            }
            let of = self.leaves_of(messages + number, |place| possible[place]);
            if self.varies(messages + number) {
                leaves.push(of);
            } else {
                let always = self.always.iter_mut().zip(of.slots);
                always.for_each(|(always, slots)| *always &= slots);
            }
        }
        leaves
    }

    /// It depends on what tells the rows apart.
    fn varies(&self, factor: usize) -> bool {
        self.steps_of(factor).any(|(step, _)| step > 0)
    }

    fn leaves_of(&self, factor: usize, possible: impl Fn(usize) -> bool) -> Leaves {
        let mut places = vec![0];
        for (step, states) in self.steps_of(factor).filter(|(step, _)| *step > 0) {
            let before = places.len();
            for state in 1..states {
                for at in 0..before {
                    places.push(places[at] + state * step);
                }
            }
        }
        let rows = self.always.len();
        let end = places.last().map_or(0, |&last| last as usize + 1);
        let mut slots = vec![0; end * rows];
        for place in places.into_iter().map(|place| place as usize) {
            let offsets = self.offsets_of(factor).iter();
            let possible = offsets.map(|&offset| possible(place + offset as usize));
            set(&mut slots[place * rows..][..rows], possible);
        }
        Leaves {
            factor,
            first: self.at[factor],
            slots,
        }
    }

    /// From steps of single variables to those of the walk.
    fn begin(&mut self) {
        let mut back = vec![0_u32; self.factors];
        let steps = self.steps.chunks_exact_mut(self.factors.max(1)).rev();
        for (steps, &size) in steps.zip(self.sizes.iter().rev()) {
            for (step, back) in steps.iter_mut().zip(&mut back) {
                let all = *step * (size - 1);
                *step = step.wrapping_sub(*back);
                *back += all;
            }
        }
    }

    /// Goes to the next row, the last variable varying fastest, if there is one.
    fn next(&mut self) {
        for depth in (0..self.sizes.len()).rev() {
            self.state[depth] += 1;
            if self.state[depth] < self.sizes[depth] {
                let steps = &self.steps[depth * self.factors..];
                for (at, &step) in self.at.iter_mut().zip(steps) {
                    *at = at.wrapping_add(step);
                }
                return;
            }
            self.state[depth] = 0;
        }
    }
}

/// A table's number; beyond its end its auxiliary says that it does not count.
fn at(values: &[f64], place: usize) -> f64 {
    values.get(place).copied().unwrap_or(1.0)
}

/// Sets the bits of what holds.
fn set(bits: &mut [u64], all: impl Iterator<Item = bool>) {
    for (number, one) in all.enumerate() {
        bits[number / ROW] |= u64::from(one) << (number % ROW);
    }
}

/// The slots of a row whose bits are set.
fn slots_of(row: usize, bits: u64) -> impl Iterator<Item = usize> {
    ones(std::iter::once(bits)).map(move |bit| row * ROW + bit)
}
