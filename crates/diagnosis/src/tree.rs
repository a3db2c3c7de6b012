//! Exact inference: an elimination order found once, then one pass up and one pass down as often as asked.
//!
//! Buckets after Dechter ("Bucket elimination: a unifying framework for reasoning", Artificial Intelligence 113, 1999), messages
//! without division (Shafer & Shenoy 1990), for the signed auxiliaries of the noisy-OR may leave zeros. Only the entries that can
//! be other than 0 are kept ("zero compression": Jensen & Andersen, "Approximations in Bayesian belief universes for knowledge
//! based systems", UAI 1990): functions that need each other leave few of them.
//! The signed form takes differences: findings that are nearly impossible lose digits in it. [`Tree::rounding`] bounds what is
//! lost by a running error analysis (Wilkinson, "Rounding Errors in Algebraic Processes", 1963), so that the caller can fall back on a form without signs.
//! A message carries a power of two beside its table, so that hundreds of findings do not underflow.

use std::{collections::BTreeSet, sync::Arc};

use crate::{
    clique::{Bucket, InBucket, Plan, too_large},
    error::Error,
    layers::{Layers, times},
    model::{ALWAYS, Likelihood, Model, Once, Or, Table, Var},
    order::{arrange, entries_of},
};

/// Most entries that all cliques together may have.
const MOST_ENTRIES: usize = 1 << 24;

/// Entries, zeros included, by entry that may be kept, above which a network is refused before its cliques are listed.
const MOST_ZEROS: f64 = 32.0;

/// Relative rounding error of the tables multiplied into a clique, generously.
const OWN_ERROR: f64 = 8.0 * f64::EPSILON;

/// A compiled network.
#[derive(Debug, Clone)]
pub(crate) struct Tree {
    states: Vec<usize>,
    buckets: Vec<Bucket>,
    /// The bucket that eliminates a variable.
    bucket_of: Vec<usize>,
    findings: Vec<InBucket>,
    /// For each bucket a number that is equal for buckets that depend on each other in some way.
    component: Vec<usize>,
    width: usize,
    /// Product of the tables without variables.
    scalar: f64,
    once: Option<Once>,
}

/// A message with a power of two beside it.
#[derive(Debug, Clone, PartialEq)]
struct Message {
    values: Layers,
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
        Self::compile_within(model, MOST_ENTRIES)
    }

    /// The same under a limit of its own, [`MOST_ENTRIES`] at most.
    pub(crate) fn compile_within(model: &Model, most: usize) -> Result<Self, Error> {
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
        let arranged = arrange(&mut states, &scopes);
        let most = most.min(MOST_ENTRIES);
        if entries_of(&arranged.cliques, &states) > MOST_ZEROS * most as f64 {
            return Err(too_large(most));
        }
        let mut bucket_of = vec![0; states.len()];
        for (bucket, clique) in arranged.cliques.iter().enumerate() {
            bucket_of[clique[0]] = bucket;
        }
        let width = arranged.cliques.iter().map(Vec::len).max().unwrap_or(0);
        let mut plan = Plan::new(arranged, &states, &bucket_of);
        let mut scalar = 1.0;
        for table in fixed {
            scalar *= plan.fixed(table);
        }
        for (var, weight) in model.once.iter().flat_map(|once| &once.carriers) {
            plan.carrier(*var, *weight);
        }
        for (table, finding) in evidence {
            scalar *= plan.finding(table, finding);
        }
        let (buckets, findings) = plan.build(most)?;
        let mut component = components(&buckets);
        if let Some(once) = &model.once {
            join_carriers(&mut component, &buckets, bucket_of[once.var]);
        }
        Ok(Self {
            states,
            buckets,
            bucket_of,
            findings,
            component,
            width,
            scalar,
            once: model.once.clone(),
        })
    }

    /// Gives a finding's table, which is there already, other values.
    pub(crate) fn set(&mut self, likelihood: &Likelihood) {
        for &(finding, bucket, at) in &self.findings {
            if finding == likelihood.finding {
                let values = self.stretched(bucket, &likelihood.table);
                self.buckets[bucket].evidence[at] = values.unwrap_or_default();
            }
        }
    }

    /// Adds a finding, if a clique holds its variables.
    pub(crate) fn add(&mut self, likelihood: &Likelihood) -> Option<()> {
        let table = &likelihood.table;
        let bucket = table.vars.iter().map(|&var| self.bucket_of[var]).min()?;
        let values = self.stretched(bucket, table)?;
        let at = self.buckets[bucket].evidence.len();
        self.buckets[bucket].evidence.push(values);
        self.findings.push((likelihood.finding, bucket, at));
        Some(())
    }

    fn stretched(&self, bucket: usize, table: &Table) -> Option<Vec<f64>> {
        self.buckets[bucket].stretched(table, &self.states)
    }

    /// Variables in the largest clique.
    pub(crate) fn width(&self) -> usize {
        self.width
    }

    /// Entries of all cliques together.
    pub(crate) fn entries(&self) -> usize {
        self.buckets.iter().map(Bucket::len).sum()
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
        let mut errors: Vec<Layers> = Vec::with_capacity(self.buckets.len());
        let mut relative = 0.0;
        for (index, bucket) in self.buckets.iter().enumerate() {
            let mut product = self.own(index, &unchanged);
            let mut error = product.magnitude(OWN_ERROR);
            let mut shift = upward.messages[index].exponent;
            for (child, map) in &bucket.children {
                let message = &upward.messages[*child];
                shift -= message.exponent;
                error.spread(&product, &message.values, &errors[*child], map);
                product.multiply(&message.values, map);
                error.add(&product.magnitude(f64::EPSILON));
            }
            let values = &upward.messages[index].values;
            let mut own = bucket.sum(&error);
            own.scale(2.0_f64.powi(-shift));
            own.add(&values.magnitude(f64::EPSILON * self.states[bucket.var] as f64));
            if bucket.parent.is_none() {
                let (error, value) = (own.total(0), values.total(0));
                if error > 0.0 {
                    relative += if value > 0.0 {
                        error / value
                    } else {
                        f64::INFINITY
                    };
                }
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
        let log_total = self.log_total(&messages, &changes);
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
        let log_total = self.log_total(&messages, &changes);
        Upward {
            messages,
            log_total,
        }
    }

    /// Posterior of every variable of the model under a question, after its upward pass.
    pub(crate) fn marginals(&self, question: &Question, upward: &Upward) -> Vec<Vec<f64>> {
        let wanted: Vec<Var> = (0..self.states.len()).collect();
        self.marginals_of(question, upward, &wanted)
    }

    /// Posteriors of these variables; those of others are left at 0.
    pub(crate) fn marginals_of(
        &self,
        question: &Question,
        upward: &Upward,
        wanted: &[Var],
    ) -> Vec<Vec<f64>> {
        let mut asked = vec![false; self.buckets.len()];
        let mut needed = asked.clone();
        for &var in wanted {
            asked[self.bucket_of[var]] = true;
            let mut at = Some(self.bucket_of[var]);
            while let Some(bucket) = at.filter(|&bucket| !needed[bucket]) {
                needed[bucket] = true;
                at = self.buckets[bucket].parent;
            }
        }
        let changes = self.changes(question);
        let mut marginals: Vec<Vec<f64>> = self
            .states
            .iter()
            .map(|&states| vec![0.0; states])
            .collect();
        let mut down: Vec<Option<Layers>> = vec![None; self.buckets.len()];
        // how the two layers of a component count: as at its root
        let mut reading = vec![[1.0, 1.0]; self.buckets.len()];
        for index in (0..self.buckets.len()).rev().filter(|&index| needed[index]) {
            let bucket = &self.buckets[index];
            reading[index] = match bucket.parent {
                Some(parent) => reading[parent],
                None => self.reading(index, upward, &changes),
            };
            let mut own = self.own(index, &changes);
            if let Some(message) = down[index].take() {
                bucket.multiply_by_group(&mut own, &message);
            }
            self.push_down(index, &own, upward, &needed, &mut down);
            if asked[index] {
                for (child, map) in &bucket.children {
                    own.multiply(&upward.messages[*child].values, map);
                }
                let marginal = &mut marginals[bucket.var];
                bucket.by_state(&own, reading[index], marginal);
                normalise(marginal);
            }
        }
        if let Some(once) = &self.once {
            let total = self.product_of_roots(&upward.messages, None).0;
            let marginal = &mut marginals[once.var];
            for ((value, total), weight) in marginal.iter_mut().zip(total).zip(changes.once) {
                *value = total * weight;
            }
            normalise(marginal);
        }
        marginals
    }

    /// Sends each child that is needed its message down: everything that comes into the bucket but from the child itself.
    fn push_down(
        &self,
        index: usize,
        own: &Layers,
        upward: &Upward,
        needed: &[bool],
        down: &mut [Option<Layers>],
    ) {
        let children = &self.buckets[index].children;
        let message = |child: usize| &upward.messages[child].values;
        let (receivers, others): (Vec<_>, Vec<_>) =
            children.iter().partition(|(child, _)| needed[*child]);
        if receivers.is_empty() {
            return;
        }
        let mut left = own.clone();
        for (child, map) in others {
            left.multiply(message(*child), map);
        }
        // what stands left of each receiver, then from the right what stands right of it
        let mut lefts = vec![left];
        for (child, map) in &receivers[..receivers.len() - 1] {
            let mut next = lefts[lefts.len() - 1].clone();
            next.multiply(message(*child), map);
            lefts.push(next);
        }
        let mut right: Option<Layers> = None;
        for ((child, map), mut product) in receivers.into_iter().zip(lefts).rev() {
            if let Some(right) = &right {
                product.multiply_entries(right);
            }
            let mut values = product.gather(map, message(*child).len());
            values.rescale();
            down[*child] = Some(values);
            right
                .get_or_insert_with(|| Layers::ones(own.len()))
                .multiply(message(*child), map);
        }
    }

    /// Base, findings and weights of a bucket, without messages.
    fn own(&self, index: usize, changes: &Changes) -> Layers {
        let bucket = &self.buckets[index];
        let mut product = bucket.base.clone();
        for (at, table) in bucket.evidence.iter().enumerate() {
            if !changes.without.contains(&(index, at)) {
                product.weigh(table);
            }
        }
        if let Some(weights) = &changes.weights[index] {
            bucket.weigh_states(&mut product, weights);
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
            product.multiply(&message.values, map);
        }
        let mut values = bucket.sum(&product);
        exponent += values.rescale();
        Message { values, exponent }
    }

    /// Product of the roots but one, without and with the unmodelled fault, and the logarithm that stands before it.
    fn product_of_roots(
        &self,
        messages: &[Arc<Message>],
        without: Option<usize>,
    ) -> ([f64; 2], f64) {
        let elsewhere = self.once.as_ref().map_or(0.0, |once| once.elsewhere);
        let mut product = [1.0, elsewhere];
        let mut log = self.scalar.ln();
        for (index, (bucket, message)) in self.buckets.iter().zip(messages).enumerate() {
            if bucket.parent.is_some() || Some(index) == without {
                continue;
            }
            // rounding of the signed auxiliaries may leave a tiny negative number in place of 0
            let root = message.values.at(0).map(|value| value.max(0.0));
            product = times(product, root);
            log += f64::from(message.exponent) * std::f64::consts::LN_2;
            let largest = product[0].max(product[1]);
            if largest > 0.0 {
                product = product.map(|value| value / largest);
                log += largest.ln();
            }
        }
        (product, log)
    }

    /// How much the layers of a root's component count, all other components taken together.
    fn reading(&self, root: usize, upward: &Upward, changes: &Changes) -> [f64; 2] {
        if self.once.is_none() {
            return [1.0, 0.0];
        }
        let [none, once] = self.product_of_roots(&upward.messages, Some(root)).0;
        let [weight, weight_once] = changes.once;
        [weight * none + weight_once * once, weight_once * none]
    }

    fn log_total(&self, messages: &[Arc<Message>], changes: &Changes) -> f64 {
        let ([none, once], log) = self.product_of_roots(messages, None);
        (none * changes.once[0] + once * changes.once[1]).ln() + log
    }

    fn changes(&self, question: &Question) -> Changes {
        let mut weights: Vec<Option<Vec<f64>>> = vec![None; self.buckets.len()];
        let mut once = self.once.as_ref().map_or([1.0, 0.0], |once| once.weights);
        for (var, more) in &question.weights {
            if self.once.as_ref().is_some_and(|once| once.var == *var) {
                once = [once[0] * more[0], once[1] * more[1]];
                continue;
            }
            match &mut weights[self.bucket_of[*var]] {
                Some(weights) => weights
                    .iter_mut()
                    .zip(more)
                    .for_each(|(weight, more)| *weight *= more),
                slot => *slot = Some(more.clone()),
            }
        }
        let without = self
            .findings
            .iter()
            .filter(|(finding, _, _)| question.without.contains(finding))
            .map(|&(_, bucket, at)| (bucket, at))
            .collect();
        Changes {
            weights,
            without,
            once,
        }
    }
}

/// A question, by buckets.
struct Changes {
    weights: Vec<Option<Vec<f64>>>,
    without: BTreeSet<(usize, usize)>,
    /// Weights of "no unmodelled fault" and of "one".
    once: [f64; 2],
}

fn normalise(marginal: &mut [f64]) {
    let total: f64 = marginal.iter().sum();
    if total != 0.0 {
        marginal
            .iter_mut()
            .for_each(|value| *value = (*value / total).clamp(0.0, 1.0));
    }
}

/// Splits each OR node by its auxiliary and returns the fixed tables and those of findings.
fn split_ors(model: &Model, states: &mut Vec<usize>) -> (Vec<Table>, Vec<(Table, usize)>) {
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
    if let Some(once) = &model.once {
        // its weights are read at the end; here it only stands by
        fixed.push(Table {
            vars: vec![once.var],
            values: vec![1.0, 0.0],
        });
    }
    let mut evidence = Vec::new();
    for likelihood in &model.likelihoods {
        if likelihood.finding == ALWAYS {
            fixed.push(likelihood.table.clone());
        } else {
            evidence.push((likelihood.table.clone(), likelihood.finding));
        }
    }
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

fn components(buckets: &[Bucket]) -> Vec<usize> {
    let mut component: Vec<usize> = (0..buckets.len()).collect();
    for index in (0..buckets.len()).rev() {
        if let Some(parent) = buckets[index].parent {
            component[index] = component[parent];
        }
    }
    component
}

/// Components in which an unmodelled fault may sit depend on each other: there is at most one.
fn join_carriers(component: &mut [usize], buckets: &[Bucket], standing: usize) {
    let carrying: BTreeSet<usize> = buckets
        .iter()
        .zip(component.iter())
        .filter(|(bucket, _)| bucket.base.has_once())
        .map(|(_, component)| *component)
        .collect();
    for number in component.iter_mut() {
        if carrying.contains(number) {
            *number = standing;
        }
    }
}
