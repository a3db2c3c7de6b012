//! Exact inference: an elimination order found once, then one pass up and one pass down as often as asked.
//!
//! Buckets after Dechter ("Bucket elimination: a unifying framework for reasoning", Artificial Intelligence 113, 1999), those inside
//! each other joined to cliques. Only the entries that can be other than 0 are kept ("zero compression": Jensen & Andersen,
//! "Approximations in Bayesian belief universes for knowledge based systems", UAI 1990): functions that need each other leave few of them.
//! The signed form of an OR takes differences: findings that are nearly impossible lose digits in it. A running error analysis (Wilkinson,
//! "Rounding Errors in Algebraic Processes", 1963) bounds what is lost; where that is too much, everything is reckoned with twice the digits.
//! A message carries a power of two beside its table, so that hundreds of findings do not underflow.

use std::{collections::BTreeSet, ops::Index};

use crate::{
    clique::{Cliques, Plan, too_large},
    error::Error,
    model::{ALWAYS, Likelihood, Model, Once, Or, Table, Var},
    number::{Number, Pair},
    order::{Arrangement, arrange, entries_of},
    pass::{Changes, Lost, Messages, Pass, times},
};

/// Most entries that all cliques together may have.
const MOST_ENTRIES: usize = 1 << 24;

/// Entries, zeros included, by entry that may be kept, above which a network is refused before its cliques are listed.
const MOST_ZEROS: f64 = 32.0;

/// Roundings in the tables multiplied into a clique, generously.
const OWN_ROUNDINGS: f64 = 8.0;

/// Bound of the relative rounding error above which pairs of doubles are taken.
const MOST_ROUNDING: f64 = 5e-10;

/// The bound above which an answer is refused even then.
const LEAST_DIGITS: f64 = 1e-6;

/// A compiled network.
#[derive(Debug, Clone)]
pub(crate) struct Tree {
    states: Vec<usize>,
    cliques: Cliques,
    /// For each clique a number that is equal for cliques that depend on each other in some way.
    component: Vec<usize>,
    width: usize,
    /// Product of the tables without variables.
    scalar: f64,
    once: Option<Once>,
    /// Some OR is split in the signed form.
    signed: bool,
    /// Roots of which nothing is left but rounding.
    noise: Vec<Lost>,
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
    messages: Kept,
    /// Product of the roots, as natural logarithm; minus infinity for 0.
    pub(crate) log_total: f64,
}

/// Messages with as many digits as are needed.
#[derive(Debug, Clone)]
enum Kept {
    Plain(Messages<f64>),
    Pairs(Messages<Pair>),
}

/// By variable the chances of its states; those of variables that were not asked for are 0.
#[derive(Debug, Clone)]
pub(crate) struct Marginals {
    starts: Vec<u32>,
    values: Vec<f64>,
}

impl Marginals {
    /// All 0.
    fn empty(states: &[usize]) -> Self {
        let mut starts = Vec::with_capacity(states.len() + 1);
        let mut end = 0;
        for &states in states {
            starts.push(end);
            end += states as u32;
        }
        starts.push(end);
        Self {
            starts,
            values: vec![0.0; end as usize],
        }
    }

    /// Of the same variables, all 0.
    pub(crate) fn zeros(&self) -> Self {
        Self {
            starts: self.starts.clone(),
            values: vec![0.0; self.values.len()],
        }
    }

    pub(crate) fn of_mut(&mut self, var: Var) -> &mut [f64] {
        &mut self.values[self.starts[var] as usize..self.starts[var + 1] as usize]
    }
}

impl Index<Var> for Marginals {
    type Output = [f64];

    fn index(&self, var: Var) -> &[f64] {
        &self.values[self.starts[var] as usize..self.starts[var + 1] as usize]
    }
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
    /// A tree in double precision, for networks that need no more.
    pub(crate) fn compile(model: &Model) -> Result<Self, Error> {
        Draft::of(model, MOST_ENTRIES)?.tree::<f64>()
    }

    /// A tree with the digits that it needs, and its pass without a question.
    pub(crate) fn with_pass(model: &Model, most: usize) -> Result<(Self, Upward), Error> {
        let draft = Draft::of(model, most)?;
        let tree = draft.tree::<f64>()?;
        let upward = tree.upward(&Question::default());
        if !tree.signed || relative(&tree.rounding(&upward)) <= MOST_ROUNDING {
            return Ok((tree, upward));
        }
        let mut tree = draft.tree::<Pair>()?;
        let messages = tree.upward(&Question::default());
        let (noise, certain): (Vec<Lost>, Vec<Lost>) = tree
            .rounding(&messages)
            .into_iter()
            .partition(|lost| lost.error > 0.0 && lost.error >= lost.value);
        if relative(&certain) > LEAST_DIGITS {
            return Err(Error::new(
                "the findings are so unlikely together that fewer than six digits of the answer would be certain; take back the one that is wrong, or settle a part",
            ));
        }
        tree.noise = noise;
        let upward = tree.upward(&Question::default());
        Ok((tree, upward))
    }

    /// The pass without a question after the tree was changed; none if it would need more digits.
    pub(crate) fn first_pass(&self) -> Option<Upward> {
        let upward = self.upward(&Question::default());
        let most = if self.with_pairs() {
            LEAST_DIGITS
        } else {
            MOST_ROUNDING
        };
        let enough = !self.signed || relative(&self.rounding(&upward)) <= most;
        enough.then_some(upward)
    }

    /// Gives a finding's table, which is there already, other values.
    pub(crate) fn set(&mut self, likelihood: &Likelihood) {
        for at in 0..self.cliques.evidence.len() {
            if self.cliques.evidence[at].finding == likelihood.finding {
                let node = self.cliques.evidence[at].node;
                let values = self
                    .cliques
                    .stretched(node, &likelihood.table, &self.states);
                self.cliques.evidence[at].values = values.unwrap_or_default();
            }
        }
    }

    /// Adds a finding, if a clique holds its variables.
    pub(crate) fn add(&mut self, likelihood: &Likelihood) -> Option<()> {
        let table = &likelihood.table;
        let node = table.vars.iter().map(|&var| self.cliques.home[var]).min()?;
        let values = self.cliques.stretched(node, table, &self.states)?;
        self.cliques.add(node, likelihood.finding, values);
        Some(())
    }

    /// Variables in the largest clique.
    pub(crate) fn width(&self) -> usize {
        self.width
    }

    /// Entries of all cliques together.
    pub(crate) fn entries(&self) -> usize {
        self.cliques.base.len()
    }

    /// The clique that sums this variable out; the auxiliary of the model's OR number i is variable number (variables + i).
    pub(crate) fn home(&self, var: Var) -> usize {
        self.cliques.home[var]
    }

    /// The clique that takes this clique's message.
    pub(crate) fn parent(&self, clique: usize) -> Option<usize> {
        self.cliques.nodes[clique].parent
    }

    /// A number that is equal for variables that depend on each other in some way.
    pub(crate) fn component(&self, var: Var) -> usize {
        self.component[self.cliques.home[var]]
    }

    /// What rounding can have done to an upward pass without a question.
    fn rounding(&self, upward: &Upward) -> Vec<Lost> {
        let changes = Changes::default();
        match &upward.messages {
            Kept::Plain(messages) => self.rounding_of(messages, &changes),
            Kept::Pairs(messages) => self.rounding_of(messages, &changes),
        }
    }

    fn rounding_of<T: Number>(&self, messages: &Messages<T>, changes: &Changes) -> Vec<Lost> {
        Pass::new(&self.cliques, changes).rounding(messages, OWN_ROUNDINGS * T::ROUNDING)
    }

    fn with_pairs(&self) -> bool {
        !self.cliques.base_low.is_empty()
    }

    /// The upward pass.
    pub(crate) fn upward(&self, question: &Question) -> Upward {
        let (changes, once) = self.changes(question);
        let kept = if self.with_pairs() {
            Kept::Pairs(Pass::new(&self.cliques, &changes).up())
        } else {
            Kept::Plain(Pass::new(&self.cliques, &changes).up())
        };
        self.totalled(kept, once)
    }

    fn totalled(&self, messages: Kept, once: [f64; 2]) -> Upward {
        let log_total = match &messages {
            Kept::Plain(messages) => self.log_total(messages, once),
            Kept::Pairs(messages) => self.log_total(messages, once),
        };
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
        let (changes, once) = self.changes(question);
        let mut dirty = vec![false; self.cliques.nodes.len()];
        for (var, _) in &more.weights {
            dirty[self.cliques.home[*var]] = true;
        }
        for evidence in &self.cliques.evidence {
            dirty[evidence.node] |= more.without.contains(&evidence.finding);
        }
        let mut messages = base.messages.clone();
        match &mut messages {
            Kept::Plain(messages) => Pass::new(&self.cliques, &changes).again(messages, &mut dirty),
            Kept::Pairs(messages) => Pass::new(&self.cliques, &changes).again(messages, &mut dirty),
        }
        self.totalled(messages, once)
    }

    /// Posterior of every variable of the model under a question, after its upward pass.
    pub(crate) fn marginals(&self, question: &Question, upward: &Upward) -> Marginals {
        let wanted: Vec<Var> = (0..self.states.len()).collect();
        self.marginals_of(question, upward, &wanted)
    }

    /// Posteriors of these variables; those of others are left at 0.
    pub(crate) fn marginals_of(
        &self,
        question: &Question,
        upward: &Upward,
        wanted: &[Var],
    ) -> Marginals {
        match &upward.messages {
            Kept::Plain(messages) => self.down(question, messages, wanted),
            Kept::Pairs(messages) => self.down(question, messages, wanted),
        }
    }

    fn down<T: Number>(
        &self,
        question: &Question,
        messages: &Messages<T>,
        wanted: &[Var],
    ) -> Marginals {
        let nodes = &self.cliques.nodes;
        let mut asked = vec![false; nodes.len()];
        let mut needed = vec![false; nodes.len()];
        for &var in wanted {
            asked[self.cliques.home[var]] = true;
            let mut at = Some(self.cliques.home[var]);
            while let Some(node) = at.filter(|&node| !needed[node]) {
                needed[node] = true;
                at = nodes[node].parent;
            }
        }
        let (changes, once_weights) = self.changes(question);
        let mut marginals = Marginals::empty(&self.states);
        let reading = |root: usize| self.reading(root, messages, once_weights);
        Pass::new(&self.cliques, &changes).down(
            messages,
            &needed,
            &asked,
            reading,
            |node, sums| {
                for &var in &nodes[node].vars {
                    let marginal = marginals.of_mut(var);
                    nodes[node].by_state(sums, var, &self.states, marginal);
                    normalise(marginal);
                }
            },
        );
        if let Some(once) = &self.once {
            let total = self.product_of_roots(messages, None).0;
            let marginal = marginals.of_mut(once.var);
            for ((value, total), weight) in marginal.iter_mut().zip(total).zip(once_weights) {
                *value = total * weight;
            }
            normalise(marginal);
        }
        marginals
    }

    /// Product of the roots but one, without and with the unmodelled fault, and the logarithm that stands before it.
    fn product_of_roots<T: Number>(
        &self,
        messages: &Messages<T>,
        without: Option<usize>,
    ) -> ([f64; 2], f64) {
        let elsewhere = self.once.as_ref().map_or(0.0, |once| once.elsewhere);
        let mut product = [1.0, elsewhere];
        let mut log = self.scalar.ln();
        for (index, node) in self.cliques.nodes.iter().enumerate() {
            if node.parent.is_some() || Some(index) == without {
                continue;
            }
            let root = self.root(index, messages);
            product = times(product, root);
            log += f64::from(messages.exponent(index)) * std::f64::consts::LN_2;
            let largest = product[0].max(product[1]);
            if largest > 0.0 {
                product = product.map(|value| value / largest);
                log += largest.ln();
            }
        }
        (product, log)
    }

    /// What a root says; what is no more than the rounding of the signed auxiliaries counts as 0.
    fn root<T: Number>(&self, root: usize, messages: &Messages<T>) -> [f64; 2] {
        let group = self.cliques.nodes[root].groups.start;
        let value = messages.at(group).map(|value| value.high().max(0.0));
        let noise = self.noise.iter().find(|lost| lost.root == root);
        let drowned = noise.is_some_and(|lost| {
            let shift = messages.exponent(root) - lost.exponent;
            (value[0] + value[1]) * 2.0_f64.powi(shift) <= lost.error
        });
        if drowned { [0.0; 2] } else { value }
    }

    /// How much the two parts of a root count, all other roots taken together.
    fn reading<T: Number>(&self, root: usize, messages: &Messages<T>, once: [f64; 2]) -> [T; 2] {
        let number = |value: f64| T::of(value, 0.0);
        if self.once.is_none() {
            return [T::ONE, T::ZERO];
        }
        let [none, faulty] = self.product_of_roots(messages, Some(root)).0;
        let [weight, weight_once] = once;
        [
            number(weight * none + weight_once * faulty),
            number(weight_once * none),
        ]
    }

    fn log_total<T: Number>(&self, messages: &Messages<T>, once: [f64; 2]) -> f64 {
        let ([none, faulty], log) = self.product_of_roots(messages, None);
        (none * once[0] + faulty * once[1]).ln() + log
    }

    /// A question, by cliques; and the weights of "no unmodelled fault" and of "one".
    fn changes(&self, question: &Question) -> (Changes, [f64; 2]) {
        let mut changes = Changes::default();
        let mut once = self.once.as_ref().map_or([1.0, 0.0], |once| once.weights);
        for (var, more) in &question.weights {
            if self.once.as_ref().is_some_and(|once| once.var == *var) {
                once = [once[0] * more[0], once[1] * more[1]];
                continue;
            }
            let node = self.cliques.home[*var];
            let classes = changes.weights(&self.cliques, node);
            self.cliques.nodes[node].weigh_classes(classes, *var, more, &self.states);
        }
        for (table, evidence) in self.cliques.evidence.iter().enumerate() {
            if question.without.contains(&evidence.finding) {
                changes.leave_out(table);
            }
        }
        (changes, once)
    }
}

/// A network in its order, before its cliques are listed.
struct Draft<'a> {
    model: &'a Model,
    states: Vec<usize>,
    split: Split,
    arranged: Arrangement,
    most: usize,
}

impl<'a> Draft<'a> {
    /// Finds an order; cliques that would come out larger than [`MOST_ENTRIES`] or this are refused.
    fn of(model: &'a Model, most: usize) -> Result<Self, Error> {
        let mut states = model.states.clone();
        let split = Split::of(model, &mut states);
        let scopes: Vec<&[Var]> = split
            .fixed(model)
            .chain(model.likelihoods.iter().map(|likelihood| &likelihood.table))
            .map(|table| table.vars.as_slice())
            .collect();
        let arranged = arrange(&mut states, &scopes);
        let most = most.min(MOST_ENTRIES);
        if entries_of(&arranged.cliques, &states) > MOST_ZEROS * most as f64 {
            return Err(too_large(most));
        }
        Ok(Self {
            model,
            states,
            split,
            arranged,
            most,
        })
    }

    /// Builds the cliques, multiplies in what never changes.
    fn tree<T: Number>(&self) -> Result<Tree, Error> {
        let model = self.model;
        let mut plan = Plan::new(&self.arranged, &self.states);
        let mut scalar = 1.0;
        for table in self.split.fixed(model) {
            scalar *= plan.fixed(table);
        }
        for (var, weight) in model.once.iter().flat_map(|once| &once.carriers) {
            plan.carrier(*var, *weight);
        }
        for likelihood in &model.likelihoods {
            scalar *= if likelihood.finding == ALWAYS {
                plan.fixed(&likelihood.table)
            } else {
                plan.finding(&likelihood.table, likelihood.finding)
            };
        }
        let cliques = plan.build::<T>(self.most)?;
        let mut component = components(&cliques);
        if let Some(once) = &model.once {
            join_carriers(&mut component, &cliques, cliques.home[once.var]);
        }
        let width = self.arranged.cliques.iter().map(Vec::len).max();
        Ok(Tree {
            states: self.states.clone(),
            cliques,
            component,
            width: width.unwrap_or(0),
            scalar,
            once: model.once.clone(),
            signed: self.split.signed,
            noise: Vec::new(),
        })
    }
}

/// The largest relative error.
fn relative(lost: &[Lost]) -> f64 {
    lost.iter().map(Lost::relative).fold(0.0, f64::max)
}

fn normalise(marginal: &mut [f64]) {
    let total: f64 = marginal.iter().sum();
    if total != 0.0 {
        marginal
            .iter_mut()
            .for_each(|value| *value = (*value / total).clamp(0.0, 1.0));
    }
}

/// The tables by which ORs are split.
struct Split {
    tables: Vec<Table>,
    signed: bool,
}

impl Split {
    /// Splits each OR by its auxiliary, which gets its number of states.
    fn of(model: &Model, states: &mut Vec<usize>) -> Self {
        let mut split = Self {
            tables: Vec::new(),
            signed: false,
        };
        for or in &model.ors {
            if let Some(works) = constant(or) {
                // nothing to ask: no auxiliary, and no difference of numbers that are nearly equal
                states.push(1);
                split.tables.push(Table {
                    vars: vec![or.child],
                    values: vec![works, 1.0 - works],
                });
                continue;
            }
            split.signed = true;
            // auxiliary 0: no cause acts; 1: whatever happens
            let auxiliary = states.len();
            states.push(2);
            split.tables.push(Table {
                vars: vec![auxiliary, or.child],
                values: vec![1.0, -1.0, 0.0, 1.0],
            });
            for survival in &or.survivals {
                let mut vars = vec![auxiliary];
                vars.extend(&survival.vars);
                let mut values = survival.values.clone();
                values.extend(std::iter::repeat_n(1.0, survival.values.len()));
                split.tables.push(Table { vars, values });
            }
        }
        if let Some(once) = &model.once {
            // its weights are read at the end; here it only stands by
            split.tables.push(Table {
                vars: vec![once.var],
                values: vec![1.0, 0.0],
            });
        }
        split
    }

    /// All tables that never change, but for what always counts of the findings.
    fn fixed<'a>(&'a self, model: &'a Model) -> impl Iterator<Item = &'a Table> {
        model.conditionals.iter().chain(&self.tables)
    }
}

/// Chance that an OR works, if it depends on nothing.
fn constant(or: &Or) -> Option<f64> {
    let values = or
        .survivals
        .iter()
        .map(|survival| survival.vars.is_empty().then(|| survival.values[0]));
    values.product()
}

fn components(cliques: &Cliques) -> Vec<usize> {
    let mut component: Vec<usize> = (0..cliques.nodes.len()).collect();
    for index in (0..cliques.nodes.len()).rev() {
        if let Some(parent) = cliques.nodes[index].parent {
            component[index] = component[parent];
        }
    }
    component
}

/// Components in which an unmodelled fault may sit depend on each other: there is at most one.
fn join_carriers(component: &mut [usize], cliques: &Cliques, standing: usize) {
    let carrying: BTreeSet<usize> = cliques
        .nodes
        .iter()
        .zip(component.iter())
        .filter(|(node, _)| !node.carries.is_empty())
        .map(|(_, component)| *component)
        .collect();
    for number in component.iter_mut() {
        if carrying.contains(number) {
            *number = standing;
        }
    }
}
