//! Totals of many questions, each of them one of a few grounds with one of a few things said beside it.
//!
//! A ground is passed up and down once. Then it is known how much each entry of each message counts for the total (the derivatives of
//! [`crate::messages`]), and for what is said beside it only the cliques that this touches are summed anew, and those between them.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use crate::{
    asking::Works,
    messages::{Messages, Wanted, brought_back},
    number::{LANES, Lanes, Number},
    workers::{side_by_side_in, threads},
};

use super::{
    Question, Tree, WORTH_A_THREAD,
    frame::{Frame, Touch},
};

impl Tree {
    /// The logarithm of the total for each pair of a ground and what is said beside it. Grounds only weigh variables, all of them the same.
    pub(crate) fn log_totals_beside(
        &self,
        grounds: &[Question],
        beside: &[Arc<Works>],
        pairs: &[(usize, usize)],
    ) -> Vec<f64> {
        if self.with_pairs() || self.once.is_some() {
            let question = |&(ground, works): &(usize, usize)| Question {
                works: Some(Arc::clone(&beside[works])),
                ..grounds[ground].clone()
            };
            return self.log_totals(&pairs.iter().map(question).collect::<Vec<_>>());
        }
        let found = self.found();
        let spots: Vec<Spot> = beside
            .iter()
            .map(|works| self.spot(works, &found))
            .collect();
        let tops = || spots.iter().flat_map(|spot| &spot.tops);
        let needed = self.above(tops());
        let told: BTreeSet<usize> = tops().map(|&top| self.root_of(top)).collect();
        let (told, others): (Vec<usize>, Vec<usize>) =
            self.cliques.roots().partition(|root| told.contains(root));
        // by what is said, so that what several lanes ask for is done once
        let mut asked: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
        for (pair, &(ground, works)) in pairs.iter().enumerate() {
            asked.entry((ground / LANES, works)).or_default().push(pair);
        }
        let chunks: Vec<(usize, &[Question])> = grounds.chunks(LANES).enumerate().collect();
        let base: Messages<f64> = match grounds {
            [] => return Vec::new(),
            [first, ..] => self.up(&self.changes(first)).0,
        };
        let room = || Frame::new(self, &found, &base);
        let answer = |frame: &mut Frame<'_>, (number, some): (usize, &[Question])| {
            let mut answered = Vec::new();
            frame.ground(some, &grounds[0], &needed);
            let others = frame.product(&others, [Lanes::ONE], &[]);
            for ((_, works), asked) in asked.range((number, 0)..(number + 1, 0)) {
                let total = frame.total(&spots[*works], &told, others);
                let log = |&pair: &usize| (pair, total[pairs[pair].0 % LANES]);
                answered.extend(asked.iter().map(log));
            }
            answered
        };
        let worth = chunks.len() * self.entries() >= WORTH_A_THREAD;
        let workers = if worth { threads() } else { 1 };
        let each: Vec<Vec<(usize, f64)>> = side_by_side_in(workers, chunks, room, answer);
        let mut logs = vec![0.0; pairs.len()];
        for (pair, log) in each.into_iter().flatten() {
            logs[pair] = log;
        }
        logs
    }

    /// These cliques and all above them.
    fn above<'a>(&self, cliques: impl Iterator<Item = &'a usize>) -> Vec<bool> {
        let mut above = vec![false; self.cliques.count()];
        for &clique in cliques {
            let mut at = Some(clique);
            while let Some(node) = at.filter(|&node| !std::mem::replace(&mut above[node], true)) {
                at = self.parent(node);
            }
        }
        above
    }

    /// Where something is said.
    fn spot(&self, works: &Works, found: &[f64]) -> Spot {
        let mut touched: BTreeMap<usize, Touch> = BTreeMap::new();
        for (var, weights) in &works.weights {
            let home = self.cliques.home(*var);
            let node = self.cliques.node(home);
            let classes = &mut touched.entry(home).or_default().weights;
            classes.resize(node.classes, 1.0);
            for (state, run) in node.runs(*var, &self.states) {
                classes[run]
                    .iter_mut()
                    .for_each(|class| *class *= weights[state]);
            }
        }
        for &table in &works.tables {
            let table = &self.cliques.optional[table];
            let entries = self.cliques.entries(table.node);
            let known = &mut touched.entry(table.node).or_default().found;
            let known = known.get_or_insert_with(|| found[entries].to_vec());
            let values = known.iter_mut().zip(&*table.values);
            values.for_each(|(known, value)| *known *= value);
        }
        let (path, tops) = self.between(touched.keys().copied());
        Spot {
            log_scale: works.scale.ln(),
            touched,
            path,
            tops,
        }
    }

    /// The cliques between these, children before their parents, and for each tree of cliques the one that has all of its below or at it.
    fn between(&self, touched: impl Iterator<Item = usize>) -> (Vec<usize>, Vec<usize>) {
        let mut below = vec![0_usize; self.cliques.count()];
        let mut of_root: BTreeMap<usize, usize> = BTreeMap::new();
        for node in touched {
            below[node] += 1;
            *of_root.entry(self.root_of(node)).or_default() += 1;
        }
        let (mut path, mut tops) = (Vec::new(), Vec::new());
        for node in 0..below.len() {
            if below[node] == 0 {
                continue;
            }
            match self.parent(node) {
                Some(parent) if below[node] < of_root[&self.root_of(node)] => {
                    below[parent] += below[node];
                    path.push(node);
                }
                _ => tops.push(node),
            }
        }
        (path, tops)
    }

    fn root_of(&self, clique: usize) -> usize {
        let mut at = clique;
        while let Some(parent) = self.parent(at) {
            at = parent;
        }
        at
    }
}

/// Where something is said beside a ground.
struct Spot {
    log_scale: f64,
    touched: BTreeMap<usize, Touch>,
    /// Cliques whose messages change, as far as that has to be known; smaller numbers first.
    path: Vec<usize>,
    /// For each tree of cliques the one at which the total is read; smaller numbers first.
    tops: Vec<usize>,
}

impl Frame<'_> {
    /// Passes grounds up, where they differ from the first one, which is the base, and down to the cliques that are needed.
    fn ground(&mut self, grounds: &[Question], first: &Question, needed: &[bool]) {
        let tree = self.tree;
        let differs = |ground: &'_ Question| {
            let weights = ground.weights.iter().zip(&first.weights);
            let new = weights.filter(|(weights, first)| !Arc::ptr_eq(&weights.1, &first.1));
            let new = new.map(|(weights, _)| tree.cliques.home(weights.0));
            new.collect::<Vec<_>>()
        };
        self.put_back(|_| false);
        self.copied.fill(false);
        self.up_anew(grounds, grounds.iter().flat_map(differs));
        let mut by_class = Vec::new();
        for node in (0..needed.len()).rev().filter(|&node| needed[node]) {
            let clique = self.node(node);
            if clique.parent.is_none() {
                self.down.begin(node, &clique, [Lanes::ONE, Lanes::ZERO]);
            }
            let wanted = Wanted::of(&clique, needed, false);
            self.hand_down(node, &clique, wanted, &mut by_class);
        }
    }

    /// The logarithm of each ground's total with what is said beside it; `others` is the product of the roots at which nothing is.
    fn total(
        &mut self,
        spot: &Spot,
        told: &[usize],
        (others, power): (Lanes, i32),
    ) -> [f64; LANES] {
        let changed = || spot.path.iter().chain(&spot.tops).copied();
        let changes = |node| {
            let inside = |list: &[usize]| list.binary_search(&node).is_ok();
            inside(&spot.path) || inside(&spot.tops)
        };
        self.put_back(changes);
        for node in changed() {
            self.keep(node);
            self.message(node, spot.touched.get(&node));
        }
        self.others.extend(changed());
        let tops = spot.tops.iter().map(|&top| {
            let groups = self.tree.cliques.groups(top);
            let counts = self.down.by_sum[groups.clone()].iter();
            let mut all = Lanes::ZERO;
            let each = self.up.sums[groups].iter().zip(counts);
            each.for_each(|(&sum, &counts)| all += sum * counts);
            let exponent = self.down.exponents[top] + self.up.exponents[top];
            (self.tree.root_of(top), all, exponent)
        });
        let tops: Vec<(usize, Lanes, i32)> = tops.collect();
        let (product, more) = self.product(told, [others], &tops);
        let power = f64::from(power + more) * std::f64::consts::LN_2;
        let before = self.tree.scalar.ln() + spot.log_scale + power;
        product.0.map(|total| total.ln() + before)
    }

    /// Copies a clique's message of the ground before it becomes another one.
    fn keep(&mut self, index: usize) {
        if std::mem::replace(&mut self.copied[index], true) {
            return;
        }
        let groups = self.tree.cliques.groups(index);
        self.of_ground.sums.resize(self.up.sums.len(), Lanes::ZERO);
        self.of_ground.exponents.resize(self.copied.len(), 0);
        self.of_ground.sums[groups.clone()].copy_from_slice(&self.up.sums[groups]);
        self.of_ground.exponents[index] = self.up.exponents[index];
    }

    /// Puts messages of the ground back, but for those that become others now.
    fn put_back(&mut self, but: impl Fn(usize) -> bool) {
        debug_assert!(self.up.faulty.is_empty(), "only sums are put back");
        let mut others = std::mem::take(&mut self.others);
        for index in others.drain(..).filter(|&index| !but(index)) {
            let groups = self.tree.cliques.groups(index);
            self.up.sums[groups.clone()].copy_from_slice(&self.of_ground.sums[groups]);
            self.up.exponents[index] = self.of_ground.exponents[index];
        }
        self.others = others;
    }

    /// The product of some roots and this, with its power of two; what is told of a root stands in its place.
    fn product(
        &self,
        roots: &[usize],
        mut product: [Lanes; 1],
        told: &[(usize, Lanes, i32)],
    ) -> (Lanes, i32) {
        let mut exponent = 0;
        for &root in roots {
            let group = self.tree.cliques.groups(root).start;
            let known = told.iter().find(|(told, _, _)| *told == root);
            let (value, power) = known.map_or(
                (self.up.sums[group], self.up.exponents[root]),
                |&(_, value, power)| (value, power),
            );
            product[0] = product[0] * value.positive();
            exponent += power + brought_back(&mut product, &mut []);
        }
        let [product] = product;
        (product, exponent)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Model, Table, Var};

    /// A ring of variables with a few states each, every one tied to the next two.
    fn ring(count: usize) -> Model {
        let states: Vec<usize> = (0..count).map(|var| 2 + var % 2).collect();
        let tied = |var: Var| {
            let vars = [var, (var + 1) % count, (var + 2) % count];
            let entries: usize = vars.iter().map(|&var| states[var]).product();
            let number = |entry: usize| 0.1 + ((entry * 7 + var * 5) % 11) as f64 / 11.0;
            Table {
                vars: vars.to_vec(),
                values: (0..entries).map(number).collect(),
            }
        };
        Model {
            conditionals: (0..count).map(tied).collect(),
            states,
            ..Model::default()
        }
    }

    #[test]
    fn as_asked_one_by_one() {
        let model = ring(17);
        let tree = Tree::compile_within(&model, &[], usize::MAX).expect("a small network");
        let weighing = |var: Var, number: usize| -> Arc<[f64]> {
            let states = 0..model.states[var];
            let weights = states.map(|state| ((state + number) % 3) as f64 / 2.0 + 0.1);
            weights.collect()
        };
        // more than fit beside each other, so that room is used again
        let ground = |number: usize| Question {
            weights: [3, 11].map(|var| (var, weighing(var, number))).to_vec(),
            ..Question::default()
        };
        let grounds: Vec<Question> = (0..3 * LANES - 1).map(ground).collect();
        let said = |var: Var| Works::weighing(var, &weighing(var, var));
        let beside: Vec<Arc<Works>> = (0..model.states.len()).map(said).collect();
        let pairs: Vec<(usize, usize)> = (0..grounds.len() * beside.len())
            .map(|pair| (pair % grounds.len(), pair * 5 % beside.len()))
            .collect();
        let logs = tree.log_totals_beside(&grounds, &beside, &pairs);
        for (&(ground, works), log) in pairs.iter().zip(logs) {
            let question = Question {
                works: Some(Arc::clone(&beside[works])),
                ..grounds[ground].clone()
            };
            let alone = tree.upward(&question).log_total;
            assert!(
                (log - alone).abs() < 1e-12,
                "{ground}, {works}: {log}, alone {alone}"
            );
        }
    }
}
