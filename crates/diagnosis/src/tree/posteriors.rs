//! Posteriors with many things said beside the findings, or some of these left out, each by itself.
//!
//! Upwards only the cliques change that this touches, and those above: the rest of the messages is that of the findings.

use crate::{
    clique::Node,
    messages::{Dual, Messages, Wanted, brought_back, times},
    model::Var,
    number::{LANES, Lanes, Number},
    workers::{side_by_side_in, threads},
};

use super::{
    Kept, Marginals, Question, Tree, Upward, WORTH_A_THREAD, frame::Frame, marginals::Way,
};

impl Tree {
    /// Posteriors of these variables with each thing that is asked beside the findings, whose pass is `base`; and the logarithms of the
    /// totals.
    pub(crate) fn posteriors_beside(
        &self,
        base: &Upward,
        beside: &[Question],
        wanted: &[Var],
    ) -> Vec<(f64, Marginals)> {
        let Kept::Plain(base) = &base.messages else {
            return self.marginals_of_each(beside, wanted);
        };
        self.beside(base, beside, Some(&self.way_to(wanted)))
    }

    /// The logarithms of the totals alone.
    pub(crate) fn log_totals_of(&self, base: &Upward, beside: &[Question]) -> Vec<f64> {
        let Kept::Plain(base) = &base.messages else {
            return self.log_totals(beside);
        };
        let each = self.beside(base, beside, None).into_iter();
        each.map(|(log, _)| log).collect()
    }

    /// With each thing that is asked the logarithm of the total, and the posteriors on this way.
    fn beside(
        &self,
        base: &Messages<f64>,
        beside: &[Question],
        way: Option<&Way>,
    ) -> Vec<(f64, Marginals)> {
        let found = self.found();
        // what touches the same cliques goes together
        let touched = |one: &Question| {
            let mut touched: Vec<usize> = self.touched(one).collect();
            touched.sort_unstable();
            touched.dedup();
            touched
        };
        let touched: Vec<Vec<usize>> = beside.iter().map(touched).collect();
        let mut order: Vec<usize> = (0..beside.len()).collect();
        order.sort_by(|&a, &b| touched[a].cmp(&touched[b]));
        let chunks: Vec<&[usize]> = order.chunks(LANES).collect();
        let several = chunks.len() * self.entries() >= WORTH_A_THREAD;
        let workers = if several { threads() } else { 1 };
        let room = || Frame::new(self, &found, base);
        let answer = |frame: &mut Frame<'_>, chunk: &[usize]| {
            let questions: Vec<Question> = chunk.iter().map(|&one| beside[one].clone()).collect();
            let touched = chunk.iter().flat_map(|&one| touched[one].iter().copied());
            let answers = frame.posteriors(&questions, touched, way);
            chunk.iter().copied().zip(answers).collect::<Vec<_>>()
        };
        let each = side_by_side_in(workers, chunks, room, answer);
        let mut each: Vec<_> = each.into_iter().flatten().collect();
        each.sort_by_key(|(one, _)| *one);
        each.into_iter().map(|(_, answer)| answer).collect()
    }

    /// For each root how much its two parts count, all other roots taken together.
    fn readings<T: Number>(&self, messages: &Messages<T>, once: Dual<T>) -> Vec<(usize, Dual<T>)> {
        let roots: Vec<usize> = self.cliques.roots().collect();
        let Some(known) = &self.once else {
            let alone = |root| (root, [T::ONE, T::ZERO]);
            return roots.into_iter().map(alone).collect();
        };
        let and = |product: Dual<T>, root: usize| {
            let mut product = times(product, self.root(root, messages));
            brought_back(&mut product, &mut []);
            product
        };
        let mut before = vec![[T::ONE, T::of(known.elsewhere, 0.0)]];
        for &root in &roots {
            before.push(and(before[before.len() - 1], root));
        }
        let mut after = [T::ONE, T::ZERO];
        let mut readings = Vec::with_capacity(roots.len());
        for (&root, &before) in roots.iter().zip(&before).rev() {
            let [none, faulty] = times(before, after);
            readings.push((root, [once[0] * none + once[1] * faulty, once[1] * none]));
            after = and(after, root);
        }
        readings
    }
}

impl Messages<f64> {
    /// The same messages in each lane, in room that was used before.
    pub(super) fn beside_each_other(&self, mut room: Messages<Lanes>) -> Messages<Lanes> {
        let fill = |lanes: &mut Vec<Lanes>, numbers: &[f64]| {
            lanes.clear();
            lanes.extend(numbers.iter().map(|&one| Lanes::of(one, 0.0)));
        };
        fill(&mut room.sums, &self.sums);
        fill(&mut room.faulty, &self.faulty);
        room.exponents.clone_from(&self.exponents);
        room
    }
}

impl Frame<'_> {
    /// Posteriors on the way down, and logarithms of the totals.
    fn posteriors(
        &mut self,
        questions: &[Question],
        touched: impl Iterator<Item = usize>,
        way: Option<&Way>,
    ) -> Vec<(f64, Marginals)> {
        let tree = self.tree;
        self.up_anew(questions, touched);
        let states = way.map_or(&[][..], |_| &tree.states);
        let mut found = vec![Marginals::empty(states); questions.len()];
        if let Some(way) = way {
            self.read_down(way, &mut found);
        }
        let (total, log) = tree.total(&self.up, self.changed.once);
        let logs = total.0.iter().zip(questions);
        let logs = logs.map(|(total, question)| total.ln() + log + question.log_scale());
        logs.zip(found).collect()
    }

    /// Passes these questions up, in the cliques that they touch and those above; the others say what they say in the base.
    pub(super) fn up_anew(&mut self, questions: &[Question], touched: impl Iterator<Item = usize>) {
        let cliques = &self.tree.cliques;
        self.changed = self.tree.changes_of_each(questions);
        let mut dirty = vec![false; cliques.count()];
        touched.for_each(|node| dirty[node] = true);
        for node in 0..dirty.len() {
            if dirty[node] {
                self.message(node, None);
                if let Some(parent) = cliques.parent(node) {
                    dirty[parent] = true;
                }
            } else if self.dirty[node] {
                self.restore(node);
            }
        }
        self.dirty = dirty;
    }

    /// The message of a clique as it is in the base.
    fn restore(&mut self, index: usize) {
        let (node, base) = (self.node(index), self.base);
        for group in node.groups.clone() {
            self.up.sums[group] = Lanes::of(base.sums[group], 0.0);
            if node.dual {
                self.up.faulty[group] = Lanes::of(base.faulty[group], 0.0);
            }
        }
        self.up.exponents[index] = base.exponents[index];
    }

    fn read_down(&mut self, way: &Way, found: &mut [Marginals]) {
        let tree = self.tree;
        for (root, reading) in tree.readings(&self.up, self.changed.once) {
            self.down.begin(root, &self.node(root), reading);
        }
        let mut by_class = Vec::new();
        for index in (0..tree.cliques.count()).rev() {
            if !way.needed[index] {
                continue;
            }
            let node = self.node(index);
            let wanted = Wanted::of(&node, &way.needed, way.asked[index]);
            self.hand_down(index, &node, wanted, &mut by_class);
            if way.asked[index] {
                self.read(&node, &by_class, found);
            }
        }
        if let Some(once) = &tree.once {
            let ([none, faulty], _) = tree.product_of_roots(&self.up, None);
            let [weight, weight_once] = self.changed.once;
            write(once.var, &[none * weight, faulty * weight_once], found);
        }
    }

    /// The chances of the variables that a clique sums out.
    fn read(&self, node: &Node<'_>, by_class: &[Lanes], found: &mut [Marginals]) {
        for &var in node.vars {
            let mut by_state = vec![Lanes::ZERO; self.tree.states[var]];
            for (state, run) in node.runs(var, &self.tree.states) {
                by_class[run].iter().for_each(|&sum| by_state[state] += sum);
            }
            write(var, &by_state, found);
        }
    }
}

fn write(var: Var, by_state: &[Lanes], found: &mut [Marginals]) {
    for (lane, marginals) in found.iter_mut().enumerate() {
        marginals.write(var, by_state.iter().map(|state| state.0[lane]));
    }
}
