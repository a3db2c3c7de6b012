//! Totals of many questions, each of them one of a few grounds with one of a few things said beside it.
//!
//! A ground is passed up and down once. Then it is known how much each entry of each message counts for the total (the derivatives of
//! [`crate::pass`]), and for what is said beside it only the cliques that this touches are summed anew, and those between them.

use std::{collections::BTreeMap, sync::Arc};

use crate::{
    asking::Works,
    groups::{side_by_side, threads},
    number::{LANES, Lanes, Number},
    pass::RANGE,
};

use super::{Changed, Question, Tree, WORTH_A_THREAD};

impl Tree {
    /// The logarithm of the total for each pair of a ground, which only weighs variables, and what is said beside it.
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
        let needed = self.above(spots.iter().flat_map(|spot| &spot.tops));
        // by what is said, so that what several lanes ask for is done once
        let mut asked: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
        for (pair, &(ground, works)) in pairs.iter().enumerate() {
            asked.entry((ground / LANES, works)).or_default().push(pair);
        }
        let answer = |(number, some): (usize, &[Question])| {
            let mut frame = Frame::of(self, &found, some, &needed);
            let asked = asked.range((number, 0)..(number + 1, 0));
            let each = asked.flat_map(|((_, works), asked)| {
                let total = frame.total(&spots[*works]);
                let log = |&pair: &usize| (pair, total[pairs[pair].0 % LANES]);
                asked.iter().map(log).collect::<Vec<_>>()
            });
            each.collect::<Vec<_>>()
        };
        let chunks: Vec<_> = grounds.chunks(LANES).enumerate().collect();
        let several = threads() > 1 && chunks.len() * self.entries() >= WORTH_A_THREAD;
        let each: Vec<Vec<(usize, f64)>> = match several {
            true => side_by_side(chunks, answer),
            false => chunks.into_iter().map(answer).collect(),
        };
        let mut logs = vec![0.0; pairs.len()];
        for (pair, log) in each.into_iter().flatten() {
            logs[pair] = log;
        }
        logs
    }

    /// By entry: all that is known without a question.
    fn found(&self) -> Vec<f64> {
        let mut found = self.cliques.base.clone();
        for evidence in &self.cliques.evidence {
            let entries = self.cliques.nodes[evidence.node].entries.clone();
            let values = found[entries].iter_mut().zip(&*evidence.values);
            values.for_each(|(found, value)| *found *= value);
        }
        found
    }

    /// These cliques and all above them.
    fn above<'a>(&self, cliques: impl Iterator<Item = &'a usize>) -> Vec<bool> {
        let mut above = vec![false; self.cliques.nodes.len()];
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
            let home = self.cliques.home[*var];
            let node = &self.cliques.nodes[home];
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
            let entries = self.cliques.nodes[table.node].entries.clone();
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
        let mut below = vec![0_usize; self.cliques.nodes.len()];
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
    /// Cliques whose messages change, as far as that has to be known.
    path: Vec<usize>,
    /// For each tree of cliques the one at which the total is read.
    tops: Vec<usize>,
}

/// What is said in one clique.
#[derive(Default)]
struct Touch {
    /// By class; empty for 1.
    weights: Vec<f64>,
    /// By entry: all that is known, with what is said.
    found: Option<Vec<f64>>,
}

/// Some grounds, passed up and down.
struct Frame<'a> {
    tree: &'a Tree,
    found: &'a [f64],
    changed: Changed<Lanes>,
    /// By message entry; a power of two by clique stands beside it.
    up: Vec<Lanes>,
    exponents: Vec<i32>,
    /// By message entry: how much it counts for the total of its tree.
    down: Vec<Lanes>,
    down_exponents: Vec<i32>,
    /// By class of the clique at hand.
    weights: Vec<Lanes>,
}

impl<'a> Frame<'a> {
    fn of(tree: &'a Tree, found: &'a [f64], grounds: &[Question], needed: &[bool]) -> Self {
        let entries = tree.cliques.starts.len() - 1;
        let nodes = tree.cliques.nodes.len();
        let mut frame = Self {
            tree,
            found,
            changed: tree.changes_of_each(grounds),
            up: vec![Lanes::ZERO; entries],
            exponents: vec![0; nodes],
            down: vec![Lanes::ZERO; entries],
            down_exponents: vec![0; nodes],
            weights: Vec::new(),
        };
        for node in 0..nodes {
            frame.message(node, None);
        }
        for node in (0..nodes).rev().filter(|&node| needed[node]) {
            frame.hand_down(node, needed);
        }
        frame
    }

    /// The weights of a clique's classes.
    fn weigh(&mut self, index: usize, touch: Option<&Touch>) {
        let classes = self.tree.cliques.nodes[index].classes;
        self.weights.clear();
        match self.changed.cliques.of(index, classes) {
            Some(weights) => self.weights.extend_from_slice(weights),
            None => self.weights.resize(classes, Lanes::ONE),
        }
        let beside = touch.into_iter().flat_map(|touch| &touch.weights);
        for (weight, &beside) in self.weights.iter_mut().zip(beside) {
            *weight = *weight * Lanes::of(beside, 0.0);
        }
    }

    /// Sums of a clique by message entry.
    fn sums(
        &mut self,
        index: usize,
        touch: Option<&Touch>,
        mut take: impl FnMut(&mut Self, usize, Lanes),
    ) {
        self.weigh(index, touch);
        let cliques = &self.tree.cliques;
        let node = &cliques.nodes[index];
        let first = node.entries.start;
        let width = node.children.len();
        let found = match touch.and_then(|touch| touch.found.as_deref()) {
            Some(found) => found,
            None => &self.found[node.entries.clone()],
        };
        for group in node.groups.clone() {
            let mut sum = Lanes::ZERO;
            let within = cliques.starts[group] as usize..cliques.starts[group + 1] as usize;
            for at in within {
                let weight = self.weights[usize::from(cliques.class[at])];
                let mut value = weight * Lanes::of(found[at - first], 0.0);
                for &entry in &cliques.maps[node.maps + (at - first) * width..][..width] {
                    value = value * self.up[entry as usize];
                }
                sum += value;
            }
            take(self, group, sum);
        }
    }

    fn message(&mut self, index: usize, touch: Option<&Touch>) {
        self.sums(index, touch, |frame, group, sum| frame.up[group] = sum);
        let node = &self.tree.cliques.nodes[index];
        self.exponents[index] = self.below(index) + brought_back(&mut self.up[node.groups.clone()]);
    }

    /// The powers of two that the messages to a clique have together.
    fn below(&self, index: usize) -> i32 {
        let children = self.tree.cliques.nodes[index].children.iter();
        children.map(|&child| self.exponents[child]).sum()
    }

    /// How much the messages to a clique count.
    fn hand_down(&mut self, index: usize, needed: &[bool]) {
        let cliques = &self.tree.cliques;
        let node = &cliques.nodes[index];
        if node.parent.is_none() {
            self.down[node.groups.start] = Lanes::ONE;
        }
        self.down_exponents[index] += brought_back(&mut self.down[node.groups.clone()]);
        if !node.children.iter().any(|&child| needed[child]) {
            return;
        }
        let all = self.down_exponents[index] + self.below(index);
        for &child in &node.children {
            self.down_exponents[child] = all - self.exponents[child];
        }
        self.weigh(index, None);
        let first = node.entries.start;
        let width = node.children.len();
        let mut before = vec![Lanes::ZERO; width];
        for group in node.groups.clone() {
            let above = self.down[group];
            let within = cliques.starts[group] as usize..cliques.starts[group + 1] as usize;
            for at in within {
                let weight = self.weights[usize::from(cliques.class[at])];
                let mut value = weight * Lanes::of(self.found[at], 0.0) * above;
                let map = &cliques.maps[node.maps + (at - first) * width..][..width];
                if let [child] = *map {
                    self.down[child as usize] += value;
                    continue;
                }
                for (before, &child) in before.iter_mut().zip(map) {
                    *before = value;
                    value = value * self.up[child as usize];
                }
                let mut after = Lanes::ONE;
                for (&before, &child) in before.iter().zip(map).rev() {
                    self.down[child as usize] += before * after;
                    after = after * self.up[child as usize];
                }
            }
        }
    }

    /// The logarithm of each ground's total with what is said beside it.
    fn total(&mut self, spot: &Spot) -> [f64; LANES] {
        let saved: Vec<(Vec<Lanes>, i32)> = spot
            .path
            .iter()
            .map(|&node| {
                let groups = self.tree.cliques.nodes[node].groups.clone();
                (self.up[groups].to_vec(), self.exponents[node])
            })
            .collect();
        for &node in &spot.path {
            self.message(node, spot.touched.get(&node));
        }
        let tops: Vec<(usize, Lanes, i32)> = spot
            .tops
            .iter()
            .map(|&top| {
                let mut all = Lanes::ZERO;
                self.sums(top, spot.touched.get(&top), |frame, group, sum| {
                    all += sum * frame.down[group];
                });
                let exponent = self.down_exponents[top] + self.below(top);
                (self.tree.root_of(top), all, exponent)
            })
            .collect();
        for (&node, (sums, exponent)) in spot.path.iter().zip(saved) {
            let groups = self.tree.cliques.nodes[node].groups.clone();
            self.up[groups].copy_from_slice(&sums);
            self.exponents[node] = exponent;
        }
        self.product(&tops, spot.log_scale)
    }

    /// The product of all trees of cliques, some of them being told, as logarithm.
    fn product(&self, told: &[(usize, Lanes, i32)], log_scale: f64) -> [f64; LANES] {
        let mut product = [Lanes::ONE];
        let mut exponent = 0;
        for (root, node) in self.tree.cliques.nodes.iter().enumerate() {
            if node.parent.is_some() {
                continue;
            }
            let known = told.iter().find(|(told, _, _)| *told == root);
            let (value, power) = known.map_or(
                (self.up[node.groups.start], self.exponents[root]),
                |&(_, value, power)| (value, power),
            );
            product[0] = product[0] * value.positive();
            exponent += power + brought_back(&mut product);
        }
        let before =
            self.tree.scalar.ln() + log_scale + f64::from(exponent) * std::f64::consts::LN_2;
        product[0].0.map(|total| total.ln() + before)
    }
}

/// Brings numbers back into range by a power of two, which is handed back.
fn brought_back(numbers: &mut [Lanes]) -> i32 {
    let sizes = numbers.iter().map(|number| number.size());
    let largest = sizes.fold(0.0, f64::max);
    if largest <= 0.0 || RANGE.contains(&largest) {
        return 0;
    }
    let shift = largest.log2().floor() as i32;
    let power = 2.0_f64.powi(-shift);
    for number in numbers {
        *number = number.shifted(power);
    }
    shift
}
