//! Exact inference: an elimination order found once, then one pass up and one pass down as often as asked.
//!
//! Buckets after Dechter ("Bucket elimination: a unifying framework for reasoning", Artificial Intelligence 113, 1999), the order by min-fill, messages
//! without division (Shafer & Shenoy 1990), for the signed auxiliaries of the noisy-OR may leave zeros.
//! The signed form takes differences: findings that are nearly impossible lose digits in it. [`Tree::rounding`] bounds what is
//! lost by a running error analysis (Wilkinson, "Rounding Errors in Algebraic Processes", 1963), so that the caller can fall back on a form without signs.
//! A message carries a power of two beside its table, so that hundreds of findings do not underflow.

use std::{collections::BTreeSet, sync::Arc};

use crate::{
    error::Error,
    model::{Model, Or, Table, Var},
};

/// Most entries that all cliques together may have: 2^25 of them take about a gibibyte with their maps.
const MOST_ENTRIES: usize = 1 << 25;

/// Relative rounding error of the tables multiplied into a clique, generously.
const OWN_ERROR: f64 = 8.0 * f64::EPSILON;

/// A compiled network.
#[derive(Debug)]
pub(crate) struct Tree {
    states: Vec<usize>,
    buckets: Vec<Bucket>,
    /// The bucket that eliminates a variable.
    bucket_of: Vec<usize>,
    /// Which bucket holds which finding's tables: (finding, bucket, index).
    findings: Vec<(usize, usize, usize)>,
    /// For each variable the roots of its connected component.
    component: Vec<usize>,
    width: usize,
    /// Product of the tables without variables.
    scalar: f64,
}

/// One eliminated variable with all that speaks of it.
#[derive(Debug)]
struct Bucket {
    /// Separator first, the eliminated variable last.
    vars: Vec<Var>,
    size: usize,
    /// Product of the tables that never change.
    base: Vec<f64>,
    /// Tables of findings, stretched to the clique.
    evidence: Vec<Vec<f64>>,
    /// Buckets whose message comes here, with the index of each clique entry in the message.
    children: Vec<(usize, Vec<u32>)>,
    parent: Option<usize>,
}

/// A table with a power of two beside it.
#[derive(Debug, Clone, PartialEq)]
struct Message {
    values: Vec<f64>,
    exponent: i32,
}

/// What changes from question to question: weights of single variables, findings left out.
#[derive(Debug, Clone, Default)]
pub(crate) struct Question {
    /// Weights for the states of a variable; several for one variable multiply.
    pub(crate) weights: Vec<(Var, Vec<f64>)>,
    /// Findings left out.
    pub(crate) without: Vec<usize>,
}

/// Messages of an upward pass.
#[derive(Debug, Clone)]
pub(crate) struct Upward {
    messages: Vec<Arc<Message>>,
    /// Product of the roots, as natural logarithm; minus infinity for 0.
    pub(crate) log_total: f64,
}

impl Question {
    /// This variable is in this state.
    pub(crate) fn fix(&mut self, tree: &Tree, var: Var, state: usize) {
        let mut weights = vec![0.0; tree.states[var]];
        weights[state] = 1.0;
        self.weights.push((var, weights));
    }
}

impl Tree {
    /// Finds an order, builds the cliques, multiplies in what never changes.
    pub(crate) fn compile(model: &Model) -> Result<Self, Error> {
        Self::compile_within(model, MOST_ENTRIES as f64)
    }

    /// The same under a limit of its own, [`MOST_ENTRIES`] at most.
    pub(crate) fn compile_within(model: &Model, most: f64) -> Result<Self, Error> {
        let most = most.min(MOST_ENTRIES as f64);
        let mut states: Vec<usize> = model
            .variables
            .iter()
            .map(|variable| variable.states)
            .collect();
        let (fixed, evidence) = split_ors(model, &mut states);
        let scopes: Vec<&[Var]> = fixed
            .iter()
            .chain(evidence.iter().map(|(table, _)| table))
            .map(|table| table.vars.as_slice())
            .collect();
        let (order, cliques) = eliminate(&states, &scopes);
        let entries = entries_of(&cliques, &states);
        if entries > most {
            return Err(Error::new(format!(
                "the findings tie too much together for an exact answer: {entries:.1e} table entries, expected at most {most:.1e}; settle a part that was swapped or looked at often"
            )));
        }
        Ok(Self::build(states, &order, cliques, &fixed, &evidence))
    }

    fn build(
        states: Vec<usize>,
        order: &[Var],
        cliques: Vec<Vec<Var>>,
        fixed: &[Table],
        evidence: &[(Table, Option<usize>)],
    ) -> Self {
        let mut bucket_of = vec![0; states.len()];
        for (bucket, &var) in order.iter().enumerate() {
            bucket_of[var] = bucket;
        }
        let width = cliques.iter().map(Vec::len).max().unwrap_or(0);
        let mut buckets: Vec<Bucket> = cliques
            .into_iter()
            .map(|vars| Bucket::new(vars, &states, &bucket_of))
            .collect();
        for index in 0..buckets.len() {
            if let Some(parent) = buckets[index].parent {
                let separator = buckets[index].vars[..buckets[index].vars.len() - 1].to_vec();
                let map = projection(&buckets[parent].vars, &separator, &states);
                buckets[parent].children.push((index, map));
            }
        }
        let home = |table: &Table| table.vars.iter().map(|&var| bucket_of[var]).min();
        let mut scalar = 1.0;
        for table in fixed {
            match home(table) {
                Some(bucket) => {
                    let Bucket { vars, base, .. } = &mut buckets[bucket];
                    multiply_table(base, table, vars, &states);
                }
                None => scalar *= table.values[0],
            }
        }
        let mut findings = Vec::new();
        for (table, finding) in evidence {
            let Some(bucket) = home(table) else {
                scalar *= table.values[0];
                continue;
            };
            let stretched = stretch(table, &buckets[bucket].vars, &states);
            match finding {
                Some(finding) => {
                    findings.push((*finding, bucket, buckets[bucket].evidence.len()));
                    buckets[bucket].evidence.push(stretched);
                }
                None => multiply(&mut buckets[bucket].base, &stretched),
            }
        }
        let component = components(&buckets);
        Self {
            states,
            buckets,
            bucket_of,
            findings,
            component,
            width,
            scalar,
        }
    }

    /// Variables in the largest clique.
    pub(crate) fn width(&self) -> usize {
        self.width
    }

    /// Entries of all cliques together.
    pub(crate) fn entries(&self) -> usize {
        self.buckets.iter().map(|bucket| bucket.size).sum()
    }

    /// The bucket that eliminates a variable; the auxiliary of the model's OR number i is variable number (variables + i).
    pub(crate) fn bucket(&self, var: Var) -> usize {
        self.bucket_of[var]
    }

    /// The bucket that takes this bucket's message.
    pub(crate) fn parent(&self, bucket: usize) -> Option<usize> {
        self.buckets[bucket].parent
    }

    /// A number that is equal for variables that depend on each other in some way.
    pub(crate) fn component(&self, var: Var) -> usize {
        self.component[self.bucket_of[var]]
    }

    /// A bound of the relative rounding error of an upward pass without a question, as a running error analysis finds it.
    pub(crate) fn rounding(&self, upward: &Upward) -> f64 {
        let unchanged = self.changes(&Question::default());
        let mut errors: Vec<Vec<f64>> = Vec::with_capacity(self.buckets.len());
        let mut relative = 0.0;
        for (index, bucket) in self.buckets.iter().enumerate() {
            let mut product = self.own(index, &unchanged);
            let mut error: Vec<f64> = product
                .iter()
                .map(|value| value.abs() * OWN_ERROR)
                .collect();
            let mut shift = upward.messages[index].exponent;
            for (child, map) in &bucket.children {
                let message = &upward.messages[*child];
                shift -= message.exponent;
                for ((value, error), &at) in product.iter_mut().zip(&mut error).zip(map) {
                    let (factor, factor_error) =
                        (message.values[at as usize], errors[*child][at as usize]);
                    *error = *error * factor.abs() + value.abs() * factor_error;
                    *value *= factor;
                    *error += value.abs() * f64::EPSILON;
                }
            }
            let states = self.states[bucket.vars[bucket.vars.len() - 1]];
            let scale = 2.0_f64.powi(-shift);
            let sums: Vec<f64> = error
                .chunks_exact(states)
                .map(|errors| scale * errors.iter().sum::<f64>())
                .collect();
            let values = &upward.messages[index].values;
            let own: Vec<f64> = sums
                .iter()
                .zip(values)
                .map(|(error, value)| error + value.abs() * f64::EPSILON * states as f64)
                .collect();
            if bucket.parent.is_none() && own[0] > 0.0 {
                relative += if values[0] > 0.0 {
                    own[0] / values[0]
                } else {
                    f64::INFINITY
                };
            }
            errors.push(own);
        }
        relative
    }

    /// The upward pass.
    pub(crate) fn upward(&self, question: &Question) -> Upward {
        let mut messages: Vec<Arc<Message>> = Vec::with_capacity(self.buckets.len());
        let changes = self.changes(question);
        for index in 0..self.buckets.len() {
            let message = self.message(index, &messages, &changes);
            messages.push(Arc::new(message));
        }
        let log_total = self.log_total(&messages);
        Upward {
            messages,
            log_total,
        }
    }

    /// The logarithm of the total for a question that adds to the one `base` answers: only what it touches is done anew.
    pub(crate) fn log_total_with(
        &self,
        base: &Upward,
        base_question: &Question,
        more: &Question,
    ) -> f64 {
        let mut question = base_question.clone();
        question.weights.extend(more.weights.iter().cloned());
        question.without.extend(&more.without);
        self.again(base, &question, more).log_total
    }

    /// An upward pass in which only what `more` touches is done anew; `question` is the whole question, `more` included.
    pub(crate) fn again(&self, base: &Upward, question: &Question, more: &Question) -> Upward {
        let changes = self.changes(question);
        let mut dirty = BTreeSet::new();
        for (var, _) in &more.weights {
            dirty.insert(self.bucket_of[*var]);
        }
        for (finding, bucket, _) in &self.findings {
            if more.without.contains(finding) {
                dirty.insert(*bucket);
            }
        }
        let mut messages = base.messages.clone();
        while let Some(index) = dirty.pop_first() {
            let message = self.message(index, &messages, &changes);
            if message != *messages[index] {
                messages[index] = Arc::new(message);
                dirty.extend(self.buckets[index].parent);
            }
        }
        let log_total = self.log_total(&messages);
        Upward {
            messages,
            log_total,
        }
    }

    /// Posterior of every variable of the model under a question, after its upward pass.
    pub(crate) fn marginals(&self, question: &Question, upward: &Upward) -> Vec<Vec<f64>> {
        self.downward(question, upward, &vec![true; self.buckets.len()])
    }

    /// Posteriors of these variables; those of others may be missing.
    pub(crate) fn marginals_of(
        &self,
        question: &Question,
        upward: &Upward,
        wanted: &[Var],
    ) -> Vec<Vec<f64>> {
        let mut needed = vec![false; self.buckets.len()];
        for &var in wanted {
            let mut at = Some(self.bucket_of[var]);
            while let Some(bucket) = at.filter(|&bucket| !needed[bucket]) {
                needed[bucket] = true;
                at = self.buckets[bucket].parent;
            }
        }
        self.downward(question, upward, &needed)
    }

    fn downward(&self, question: &Question, upward: &Upward, needed: &[bool]) -> Vec<Vec<f64>> {
        let changes = self.changes(question);
        let mut marginals: Vec<Vec<f64>> = self
            .states
            .iter()
            .map(|&states| vec![0.0; states])
            .collect();
        let mut down: Vec<Option<Message>> = vec![None; self.buckets.len()];
        for index in (0..self.buckets.len()).rev().filter(|&index| needed[index]) {
            let bucket = &self.buckets[index];
            let var = bucket.vars[bucket.vars.len() - 1];
            let states = self.states[var];
            let mut own = self.own(index, &changes);
            if let Some(message) = &down[index] {
                for (values, factor) in own.chunks_exact_mut(states).zip(&message.values) {
                    values.iter_mut().for_each(|value| *value *= factor);
                }
            }
            let belief = self.push_down(index, own, upward, needed, &mut down);
            let marginal = &mut marginals[var];
            for values in belief.chunks_exact(states) {
                marginal
                    .iter_mut()
                    .zip(values)
                    .for_each(|(sum, value)| *sum += value);
            }
            let total: f64 = marginal.iter().sum();
            if total != 0.0 {
                marginal
                    .iter_mut()
                    .for_each(|value| *value = (*value / total).clamp(0.0, 1.0));
            }
        }
        marginals
    }

    /// Sends each child of a bucket its message down and returns the bucket's belief.
    fn push_down(
        &self,
        index: usize,
        own: Vec<f64>,
        upward: &Upward,
        needed: &[bool],
        down: &mut [Option<Message>],
    ) -> Vec<f64> {
        let children = &self.buckets[index].children;
        // what stands left of each child, then from the right what stands right of it
        let mut left = Vec::with_capacity(children.len() + 1);
        left.push(own);
        for (child, map) in children {
            let mut next = left[left.len() - 1].clone();
            for (entry, value) in next.iter_mut().enumerate() {
                *value *= upward.messages[*child].values[map[entry] as usize];
            }
            left.push(next);
        }
        let belief = left.pop().unwrap_or_default();
        let mut right = vec![1.0; belief.len()];
        for (at, (child, map)) in children.iter().enumerate().rev() {
            if needed[*child] {
                let mut values = vec![0.0; upward.messages[*child].values.len()];
                for (entry, left_value) in left[at].iter().enumerate() {
                    values[map[entry] as usize] += left_value * right[entry];
                }
                down[*child] = Some(Message::scaled(values, 0));
            }
            for (entry, value) in right.iter_mut().enumerate() {
                *value *= upward.messages[*child].values[map[entry] as usize];
            }
        }
        belief
    }

    /// Base, findings and weights of a bucket, without messages.
    fn own(&self, index: usize, changes: &Changes) -> Vec<f64> {
        let bucket = &self.buckets[index];
        let mut product = bucket.base.clone();
        for (at, table) in bucket.evidence.iter().enumerate() {
            if !changes.without.contains(&(index, at)) {
                multiply(&mut product, table);
            }
        }
        if let Some(weights) = &changes.weights[index] {
            let states = weights.len();
            for (entry, value) in product.iter_mut().enumerate() {
                *value *= weights[entry % states];
            }
        }
        product
    }

    fn message(&self, index: usize, messages: &[Arc<Message>], changes: &Changes) -> Message {
        let bucket = &self.buckets[index];
        let mut product = self.own(index, changes);
        let mut exponent = 0;
        for (child, map) in &bucket.children {
            let message = &messages[*child];
            exponent += message.exponent;
            for (value, &at) in product.iter_mut().zip(map) {
                *value *= message.values[at as usize];
            }
        }
        let states = self.states[bucket.vars[bucket.vars.len() - 1]];
        let values = product
            .chunks_exact(states)
            .map(|chunk| chunk.iter().sum())
            .collect();
        Message::scaled(values, exponent)
    }

    fn log_total(&self, messages: &[Arc<Message>]) -> f64 {
        let mut total = self.scalar.ln();
        for (bucket, message) in self.buckets.iter().zip(messages) {
            if bucket.parent.is_none() {
                // rounding of the signed auxiliaries may leave a tiny negative number in place of 0
                total += message.values[0].max(0.0).ln()
                    + f64::from(message.exponent) * std::f64::consts::LN_2;
            }
        }
        total
    }

    fn changes(&self, question: &Question) -> Changes {
        let mut weights: Vec<Option<Vec<f64>>> = vec![None; self.buckets.len()];
        for (var, more) in &question.weights {
            match &mut weights[self.bucket_of[*var]] {
                Some(weights) => multiply(weights, more),
                slot => *slot = Some(more.clone()),
            }
        }
        let without = self
            .findings
            .iter()
            .filter(|(finding, _, _)| question.without.contains(finding))
            .map(|&(_, bucket, at)| (bucket, at))
            .collect();
        Changes { weights, without }
    }
}

/// A question, by buckets.
struct Changes {
    weights: Vec<Option<Vec<f64>>>,
    without: BTreeSet<(usize, usize)>,
}

impl Message {
    /// Keeps the largest number within a range in which products do not underflow.
    fn scaled(mut values: Vec<f64>, mut exponent: i32) -> Self {
        let largest = values
            .iter()
            .fold(0.0_f64, |largest, value| largest.max(value.abs()));
        if largest > 0.0 && !(1e-30..=1e30).contains(&largest) {
            let shift = largest.log2().floor() as i32;
            let factor = 2.0_f64.powi(-shift);
            values.iter_mut().for_each(|value| *value *= factor);
            exponent += shift;
        }
        Self { values, exponent }
    }
}

impl Bucket {
    fn new(mut vars: Vec<Var>, states: &[usize], bucket_of: &[usize]) -> Self {
        // the clique comes with the eliminated variable first
        vars.rotate_left(1);
        let separator = vars.len() - 1;
        vars[..separator].sort_unstable_by_key(|&var| std::cmp::Reverse(bucket_of[var]));
        let size = vars.iter().map(|&var| states[var]).product();
        let parent = vars[..separator].iter().map(|&var| bucket_of[var]).min();
        Self {
            vars,
            size,
            base: vec![1.0; size],
            evidence: Vec::new(),
            children: Vec::new(),
            parent,
        }
    }
}

/// Splits each OR node by its auxiliary and returns the fixed tables and those of findings.
fn split_ors(model: &Model, states: &mut Vec<usize>) -> (Vec<Table>, Vec<(Table, Option<usize>)>) {
    let mut fixed = model.conditionals.clone();
    for or in &model.ors {
        if let Some(works) = constant(or) {
            // nothing to ask: no auxiliary, and no difference of numbers that are nearly equal
            states.push(1);
            fixed.push(Table {
                vars: vec![or.child],
                values: vec![works, 1.0 - works],
            });
            continue;
        }
        // auxiliary 0: no cause acts; 1: whatever happens
        let auxiliary = states.len();
        states.push(2);
        fixed.push(Table {
            vars: vec![auxiliary, or.child],
            values: vec![1.0, -1.0, 0.0, 1.0],
        });
        for survival in &or.survivals {
            let mut vars = vec![auxiliary];
            vars.extend(&survival.vars);
            let mut values = survival.values.clone();
            values.extend(std::iter::repeat_n(1.0, survival.values.len()));
            fixed.push(Table { vars, values });
        }
    }
    let evidence = model
        .likelihoods
        .iter()
        .map(|likelihood| (likelihood.table.clone(), likelihood.finding))
        .collect();
    (fixed, evidence)
}

/// Chance that an OR works, if it depends on nothing.
fn constant(or: &Or) -> Option<f64> {
    let values = or
        .survivals
        .iter()
        .map(|survival| survival.vars.is_empty().then(|| survival.values[0]));
    values.product()
}

/// What the greedy elimination takes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Greed {
    /// Fewest new edges, then smallest clique.
    Fill,
    /// Smallest clique, then fewest new edges.
    Size,
}

/// Total size above which a second order is tried.
const SMALL_ENOUGH: f64 = 20_000.0;

/// Eliminates greedily; each clique starts with its eliminated variable. Where the cliques come out large another rule of
/// choice is tried and the smaller result kept.
fn eliminate(states: &[usize], scopes: &[&[Var]]) -> (Vec<Var>, Vec<Vec<Var>>) {
    let first = eliminate_by(states, scopes, Greed::Fill);
    if entries_of(&first.1, states) <= SMALL_ENOUGH {
        return first;
    }
    let second = eliminate_by(states, scopes, Greed::Size);
    if entries_of(&second.1, states) < entries_of(&first.1, states) {
        second
    } else {
        first
    }
}

/// Entries of all cliques together.
fn entries_of(cliques: &[Vec<Var>], states: &[usize]) -> f64 {
    let size = |clique: &Vec<Var>| {
        clique
            .iter()
            .map(|&var| states[var] as f64)
            .product::<f64>()
    };
    cliques.iter().map(size).sum()
}

fn eliminate_by(states: &[usize], scopes: &[&[Var]], greed: Greed) -> (Vec<Var>, Vec<Vec<Var>>) {
    let mut neighbours: Vec<BTreeSet<Var>> = vec![BTreeSet::new(); states.len()];
    for scope in scopes {
        for &a in *scope {
            neighbours[a].extend(scope.iter().filter(|&&b| b != a));
        }
    }
    let cost = |var: Var, neighbours: &[BTreeSet<Var>]| -> (u64, u64) {
        let around: Vec<Var> = neighbours[var].iter().copied().collect();
        let unknown = |(i, &a): (usize, &Var)| {
            around[i + 1..]
                .iter()
                .filter(|b| !neighbours[a].contains(b))
                .count() as u64
        };
        let fill = around.iter().enumerate().map(unknown).sum();
        let size = around.iter().fold(states[var] as u64, |size, &var| {
            size.saturating_mul(states[var] as u64)
        });
        match greed {
            Greed::Fill => (fill, size),
            Greed::Size => (size, fill),
        }
    };
    let mut costs: Vec<(u64, u64)> = (0..states.len())
        .map(|var| cost(var, &neighbours))
        .collect();
    let mut queue: BTreeSet<((u64, u64), Var)> = costs.iter().copied().zip(0..).collect();
    let mut order = Vec::with_capacity(states.len());
    let mut cliques = Vec::with_capacity(states.len());
    while let Some((_, var)) = queue.pop_first() {
        let around: Vec<Var> = std::mem::take(&mut neighbours[var]).into_iter().collect();
        let mut stale: BTreeSet<Var> = around.iter().copied().collect();
        for (i, &a) in around.iter().enumerate() {
            neighbours[a].remove(&var);
            for &b in &around[i + 1..] {
                if neighbours[a].insert(b) {
                    neighbours[b].insert(a);
                    // a new edge changes the fill of those that see both ends
                    stale.extend(neighbours[a].intersection(&neighbours[b]));
                }
            }
        }
        for &other in &stale {
            let new = cost(other, &neighbours);
            if new != costs[other] {
                queue.remove(&(costs[other], other));
                queue.insert((new, other));
                costs[other] = new;
            }
        }
        order.push(var);
        let mut clique = vec![var];
        clique.extend(around);
        cliques.push(clique);
    }
    (order, cliques)
}

/// For each entry of a clique the index of the entry of a table over some of its variables, in the table's order.
fn projection(clique: &[Var], vars: &[Var], states: &[usize]) -> Vec<u32> {
    let mut strides = vec![0_usize; clique.len()];
    let mut stride = 1;
    for var in vars.iter().rev() {
        let at = clique
            .iter()
            .position(|other| other == var)
            .unwrap_or_else(|| unreachable!("a clique holds its tables"));
        strides[at] = stride;
        stride *= states[*var];
    }
    let mut map = Vec::with_capacity(clique.iter().map(|&var| states[var]).product());
    map.push(0);
    for (&var, &stride) in clique.iter().zip(&strides).rev() {
        for state in 1..states[var] {
            let shift = (state * stride) as u32;
            let below = map.len() / state;
            map.extend_from_within(..below);
            let start = map.len() - below;
            map[start..].iter_mut().for_each(|at| *at += shift);
        }
    }
    map
}

/// Multiplies a table into a clique's product.
fn multiply_table(product: &mut [f64], table: &Table, clique: &[Var], states: &[usize]) {
    for (value, at) in product
        .iter_mut()
        .zip(projection(clique, &table.vars, states))
    {
        *value *= table.values[at as usize];
    }
}

fn stretch(table: &Table, clique: &[Var], states: &[usize]) -> Vec<f64> {
    let mut stretched = vec![1.0; clique.iter().map(|&var| states[var]).product()];
    multiply_table(&mut stretched, table, clique, states);
    stretched
}

fn multiply(product: &mut [f64], by: &[f64]) {
    for (value, by) in product.iter_mut().zip(by) {
        *value *= by;
    }
}

fn components(buckets: &[Bucket]) -> Vec<usize> {
    let mut component: Vec<usize> = (0..buckets.len()).collect();
    for index in (0..buckets.len()).rev() {
        if let Some(parent) = buckets[index].parent {
            component[index] = component[parent];
        }
    }
    component
}
