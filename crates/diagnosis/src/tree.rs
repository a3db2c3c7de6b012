//! Exact inference: an elimination order found once, then one pass up and one pass down as often as asked.
//!
//! Buckets after Dechter ("Bucket elimination: a unifying framework for reasoning", Artificial Intelligence 113, 1999), those inside
//! each other joined to cliques. Only the entries that can be other than 0 are kept ("zero compression": Jensen & Andersen,
//! "Approximations in Bayesian belief universes for knowledge based systems", UAI 1990): functions that need each other leave few of them.
//! The signed form of an OR takes differences: findings that are nearly impossible lose digits in it. A running error analysis (Wilkinson,
//! "Rounding Errors in Algebraic Processes", 1963) bounds what is lost; where that is too much, another order is tried, then everything is reckoned with twice the digits.
//! A message carries a power of two beside its table, so that hundreds of findings do not underflow.

mod beside;
mod draft;
mod frame;
mod posteriors;

use std::{ops::Index, panic::resume_unwind, sync::Arc, thread};

use self::draft::Draft;
use crate::{
    asking::Works,
    clique::Cliques,
    error::Error,
    groups::threads,
    messages::{Dual, Messages, RANGE, times},
    model::{Likelihood, Model, Once, Table, Var},
    number::{LANES, Lanes, Number, Pair},
    order::Ties,
    pass::{Changes, Lost, Pass},
};

/// Most entries that all cliques together may have.
const MOST_ENTRIES: usize = 1 << 24;

/// Entries gone through with several questions that are worth a thread.
const WORTH_A_THREAD: usize = 1 << 17;

/// Bound of the relative rounding error above which another order, or pairs of doubles, are taken: answers are wanted within it.
const MOST_ROUNDING: f64 = 1e-9;

/// The bound above which an answer is refused even then.
const LEAST_DIGITS: f64 = 1e-6;

/// A compiled network.
#[derive(Debug, Clone)]
pub(crate) struct Tree {
    states: Arc<[usize]>,
    /// By variable of the model: it is the child of an OR.
    functions: Arc<[bool]>,
    cliques: Cliques,
    /// For each clique a number that is equal for cliques that depend on each other in some way.
    component: Arc<[usize]>,
    width: usize,
    /// Product of the tables without variables.
    scalar: f64,
    once: Option<Arc<Once>>,
    /// Some OR is split in the signed form.
    signed: bool,
    /// Roots of which nothing is left but rounding.
    noise: Vec<Lost>,
}

/// What changes from question to question: weights of single variables, findings left out.
#[derive(Debug, Clone, Default)]
pub(crate) struct Question {
    /// Weights for the states of a variable; several for one variable multiply.
    pub(crate) weights: Vec<(Var, Arc<[f64]>)>,
    /// Findings left out.
    pub(crate) without: Vec<usize>,
    /// Functions that work.
    pub(crate) works: Option<Arc<Works>>,
}

/// Messages of an upward pass.
#[derive(Debug, Clone)]
pub(crate) struct Upward {
    messages: Kept,
    /// Product of the roots, as natural logarithm; minus infinity for 0.
    pub(crate) log_total: f64,
    /// Bound of the relative rounding error of each root, where it was asked for.
    rounding: Option<f64>,
}

impl Upward {
    /// The bound of the relative rounding error is known, and small enough even if it gets so many times larger.
    pub(crate) fn enough_after(&self, times: f64) -> bool {
        let plain = matches!(self.messages, Kept::Plain(_));
        let bound = self.rounding.map(|rounding| rounding * times);
        plain && bound.is_some_and(|bound| bound <= MOST_ROUNDING)
    }
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
    /// That these functions work.
    pub(crate) fn that(works: &Arc<Works>) -> Self {
        Self {
            works: Some(Arc::clone(works)),
            ..Self::default()
        }
    }

    /// The logarithm of what the functions that work weigh beside the variables.
    fn log_scale(&self) -> f64 {
        self.works.as_ref().map_or(0.0, |works| works.scale.ln())
    }

    /// Both questions at once.
    fn and(&self, more: &Self) -> Self {
        let mut both = self.clone();
        both.weights.extend(more.weights.iter().cloned());
        both.without.extend(&more.without);
        both
    }

    /// This variable is in this state.
    pub(crate) fn fix(&mut self, tree: &Tree, var: Var, state: usize) {
        let mut weights = vec![0.0; tree.states[var]];
        weights[state] = 1.0;
        self.weights.push((var, weights.into()));
    }
}

impl Tree {
    /// A tree in double precision, for networks that need no more.
    pub(crate) fn compile(model: &Model) -> Result<Self, Error> {
        Self::compile_within(model, &[], MOST_ENTRIES)
    }

    /// The same with tables that questions multiply in, refused if it needs more entries than this.
    pub(crate) fn compile_within(
        model: &Model,
        optional: &[Table],
        most: usize,
    ) -> Result<Self, Error> {
        Draft::of(model, optional, most, Ties::Early)?.tree::<f64>()
    }

    /// A tree with the digits that it needs, and its pass without a question.
    pub(crate) fn with_pass(
        model: &Model,
        optional: &[Table],
        most: usize,
    ) -> Result<(Self, Upward), Error> {
        let draft = |ties| Draft::of(model, optional, most, ties);
        let passed = |tree: Self| tree.first_pass().map(|upward| (tree, upward));
        if let Some(passed) = passed(draft(Ties::Early)?.tree::<f64>()?) {
            return Ok(passed);
        }
        // another order may lose fewer digits
        let other = draft(Ties::Late).and_then(|draft| draft.tree::<f64>());
        if let Some(passed) = other.ok().and_then(passed) {
            return Ok(passed);
        }
        let mut tree = draft(Ties::Early)?.tree::<Pair>()?;
        let mut upward = tree.upward(&Question::default());
        let (noise, certain): (Vec<Lost>, Vec<Lost>) = tree
            .rounding(&upward)
            .into_iter()
            .partition(|lost| lost.error > 0.0 && lost.error >= lost.value);
        if relative(&certain) > LEAST_DIGITS {
            return Err(Error::new(
                "the findings are so unlikely together that fewer than six digits of the answer would be certain; take back the one that is wrong, or settle a part",
            ));
        }
        if !noise.is_empty() {
            tree.noise = noise;
            upward = tree.upward(&Question::default());
        }
        upward.rounding = Some(relative(&certain));
        Ok((tree, upward))
    }

    /// The pass without a question after the tree was changed; none if it would need more digits.
    pub(crate) fn first_pass(&self) -> Option<Upward> {
        self.bounded(self.upward(&Question::default()))
    }

    fn bounded(&self, upward: Upward) -> Option<Upward> {
        let rounding = self.relative_rounding(&upward);
        self.enough(rounding).then_some(Upward {
            rounding: Some(rounding),
            ..upward
        })
    }

    /// The same after a change to what `before` had that makes no number more than so many times larger: what rounding can have done
    /// to a root stays within so many times the bound it had.
    pub(crate) fn pass_after(&self, before: &Upward, times: f64) -> Option<Upward> {
        self.surely(before, self.upward(&Question::default()), times)
    }

    /// The same after findings were added to these cliques: they make no number larger, but each rounds the numbers of its clique once more.
    pub(crate) fn pass_after_adding(&self, before: &Upward, touched: &[usize]) -> Option<Upward> {
        let mut dirty = vec![false; self.cliques.nodes.len()];
        touched.iter().for_each(|&node| dirty[node] = true);
        let upward = self.anew_where(dirty, before, &Question::default());
        self.surely(before, upward, 1.0 + touched.len() as f64)
    }

    /// A pass after a change, with what is known of its rounding; none if it would need more digits.
    fn surely(&self, before: &Upward, upward: Upward, times: f64) -> Option<Upward> {
        let shrunk = |(before, now): (f64, f64)| (before - now).exp();
        let roots = self.roots(before).into_iter().zip(self.roots(&upward));
        let worst = roots.map(shrunk).fold(1.0, f64::max);
        match before.rounding.map(|rounding| rounding * worst * times) {
            Some(rounding) if self.noise.is_empty() && self.enough(rounding) => Some(Upward {
                rounding: Some(rounding),
                ..upward
            }),
            _ => self.bounded(upward),
        }
    }

    fn enough(&self, rounding: f64) -> bool {
        let most = if self.with_pairs() {
            LEAST_DIGITS
        } else {
            MOST_ROUNDING
        };
        rounding <= most
    }

    fn relative_rounding(&self, upward: &Upward) -> f64 {
        if self.signed {
            relative(&self.rounding(upward))
        } else {
            0.0
        }
    }

    /// The logarithm of what each root says.
    fn roots(&self, upward: &Upward) -> Vec<f64> {
        match &upward.messages {
            Kept::Plain(messages) => self.roots_of(messages),
            Kept::Pairs(messages) => self.roots_of(messages),
        }
    }

    fn roots_of<T: Number>(&self, messages: &Messages<T>) -> Vec<f64> {
        let nodes = self.cliques.nodes.iter().enumerate();
        let roots = nodes.filter(|(_, node)| node.parent.is_none());
        roots
            .map(|(index, _)| {
                let [none, once] = self.root(index, messages);
                let exponent = f64::from(messages.exponent(index));
                (none.size() + once.size()).ln() + exponent * std::f64::consts::LN_2
            })
            .collect()
    }

    /// Gives a finding's table, which is there already, other values.
    pub(crate) fn set(&mut self, finding: usize, table: &Table) {
        for at in 0..self.cliques.evidence.len() {
            if self.cliques.evidence[at].finding == finding {
                let node = self.cliques.evidence[at].node;
                let values = self.cliques.stretched(node, table, &self.states);
                self.cliques.evidence[at].values = values.unwrap_or_default().into();
            }
        }
    }

    /// A copy with room for more findings.
    pub(crate) fn with_room(&self, more: usize) -> Self {
        Self {
            states: Arc::clone(&self.states),
            functions: Arc::clone(&self.functions),
            cliques: self.cliques.with_room(more),
            component: Arc::clone(&self.component),
            once: self.once.clone(),
            noise: self.noise.clone(),
            ..*self
        }
    }

    /// Adds a finding, if a clique holds its variables; the clique is handed back.
    pub(crate) fn add(&mut self, likelihood: &Likelihood) -> Option<usize> {
        let table = &likelihood.table;
        let node = table.vars.iter().map(|&var| self.cliques.home[var]).min()?;
        let values = self.cliques.stretched(node, table, &self.states)?;
        self.cliques.add(node, likelihood.finding, values);
        Some(node)
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
        match &upward.messages {
            Kept::Plain(messages) => self.rounding_of(messages),
            Kept::Pairs(messages) => self.rounding_of(messages),
        }
    }

    fn rounding_of<T: Number>(&self, messages: &Messages<T>) -> Vec<Lost> {
        let unchanged = Changes::none(&self.cliques);
        Pass::new(&self.cliques, &unchanged).rounding(messages)
    }

    fn with_pairs(&self) -> bool {
        !self.cliques.base_low.is_empty()
    }

    /// The upward pass.
    pub(crate) fn upward(&self, question: &Question) -> Upward {
        if self.with_pairs() {
            let (messages, log_total) = self.up(&self.changes(question));
            Upward {
                messages: Kept::Pairs(messages),
                log_total: log_total + question.log_scale(),
                rounding: None,
            }
        } else {
            let (messages, log_total) = self.up(&self.changes(question));
            Upward {
                messages: Kept::Plain(messages),
                log_total: log_total + question.log_scale(),
                rounding: None,
            }
        }
    }

    fn up<T: Number>(&self, changed: &Changed<T>) -> (Messages<T>, f64) {
        let messages = Pass::new(&self.cliques, &changed.cliques).up();
        let (total, log) = self.total(&messages, changed.once);
        (messages, total.high().ln() + log)
    }

    /// The logarithm of the total for a question that adds to the one `base` answers: only what it touches is done anew.
    pub(crate) fn log_total_with(
        &self,
        base: &Upward,
        base_question: &Question,
        more: &Question,
    ) -> f64 {
        self.again(base, &base_question.and(more), more).log_total
    }

    /// The same for many questions that add to it.
    pub(crate) fn log_totals_with(
        &self,
        base: &Upward,
        base_question: &Question,
        more: &[Question],
    ) -> Vec<f64> {
        match &base.messages {
            Kept::Plain(messages) => self.totals_with(messages, base_question, more),
            Kept::Pairs(messages) => self.totals_with(messages, base_question, more),
        }
    }

    fn totals_with<T: Number>(
        &self,
        base: &Messages<T>,
        base_question: &Question,
        more: &[Question],
    ) -> Vec<f64> {
        let mut messages = base.clone();
        let each = more.iter().map(|more| {
            let mut dirty = self.touched_by(more);
            let question = base_question.and(more);
            let log = self.up_again(&mut messages, &self.changes(&question), &mut dirty);
            for (node, _) in dirty.iter().enumerate().filter(|(_, dirty)| **dirty) {
                messages.restore(base, &self.cliques.nodes[node], node);
            }
            log
        });
        each.collect()
    }

    fn touched_by(&self, question: &Question) -> Vec<bool> {
        let mut touched = vec![false; self.cliques.nodes.len()];
        for (var, _) in &question.weights {
            touched[self.cliques.home[*var]] = true;
        }
        for evidence in &self.cliques.evidence {
            touched[evidence.node] |= question.without.contains(&evidence.finding);
        }
        touched
    }

    /// An upward pass in which only what `more` touches is done anew; `question` is the whole question, `more` included.
    pub(crate) fn again(&self, base: &Upward, question: &Question, more: &Question) -> Upward {
        self.anew_where(self.touched_by(more), base, question)
    }

    /// An upward pass in which only these cliques, and those above that change by them, are done anew.
    fn anew_where(&self, mut dirty: Vec<bool>, base: &Upward, question: &Question) -> Upward {
        let mut messages = base.messages.clone();
        let log_total = match &mut messages {
            Kept::Plain(messages) => self.up_again(messages, &self.changes(question), &mut dirty),
            Kept::Pairs(messages) => self.up_again(messages, &self.changes(question), &mut dirty),
        };
        Upward {
            messages,
            log_total,
            rounding: None,
        }
    }

    fn up_again<T: Number>(
        &self,
        messages: &mut Messages<T>,
        changed: &Changed<T>,
        dirty: &mut [bool],
    ) -> f64 {
        Pass::new(&self.cliques, &changed.cliques).again(messages, dirty);
        let (total, log) = self.total(messages, changed.once);
        total.high().ln() + log
    }

    /// The logarithms of the totals for several questions.
    pub(crate) fn log_totals(&self, questions: &[Question]) -> Vec<f64> {
        if self.with_pairs() {
            let each = questions.iter();
            return each
                .map(|question| self.upward(question).log_total)
                .collect();
        }
        self.by_chunks(questions, |some| {
            let changed = self.changes_of_each(some);
            let messages = Pass::new(&self.cliques, &changed.cliques).up();
            let (total, log) = self.total(&messages, changed.once);
            let logs = total.0.iter().zip(some);
            logs.map(|(total, question)| total.ln() + log + question.log_scale())
                .collect()
        })
    }

    /// Answers questions as many at a time as there are lanes, side by side where that pays; what comes out does not depend on it.
    fn by_chunks<T: Send>(
        &self,
        questions: &[Question],
        answer: impl Fn(&[Question]) -> Vec<T> + Sync,
    ) -> Vec<T> {
        let chunks: Vec<&[Question]> = questions.chunks(LANES).collect();
        let threads = threads().min(chunks.len());
        if threads < 2 || chunks.len() * self.entries() < WORTH_A_THREAD {
            return chunks.into_iter().flat_map(answer).collect();
        }
        let each = |some: &[&[Question]]| -> Vec<T> {
            some.iter().flat_map(|&some| answer(some)).collect()
        };
        let (own, others) = chunks.split_at(chunks.len().div_ceil(threads));
        thread::scope(|scope| {
            let shares = others.chunks(own.len());
            let working: Vec<_> = shares.map(|some| scope.spawn(move || each(some))).collect();
            let mut found = each(own);
            for work in working {
                found.extend(work.join().unwrap_or_else(|panic| resume_unwind(panic)));
            }
            found
        })
    }

    /// Posteriors of these variables under several questions, with the logarithms of the totals.
    pub(crate) fn marginals_of_each(
        &self,
        questions: &[Question],
        wanted: &[Var],
    ) -> Vec<(f64, Marginals)> {
        if self.with_pairs() {
            let answer = |question: &Question| {
                let upward = self.upward(question);
                let marginals = self.marginals_of(question, &upward, wanted);
                (upward.log_total, marginals)
            };
            return questions.iter().map(answer).collect();
        }
        let way = self.way_to(wanted);
        self.by_chunks(questions, |some| {
            let changed = self.changes_of_each(some);
            let messages = Pass::new(&self.cliques, &changed.cliques).up();
            let mut lanes = vec![Marginals::empty(&self.states); some.len()];
            self.down(&changed, &messages, &way, &mut lanes, |sum, lane| {
                sum.0[lane]
            });
            let (total, log) = self.total(&messages, changed.once);
            let logs = total.0.iter().zip(some);
            let logs = logs.map(|(total, question)| total.ln() + log + question.log_scale());
            logs.zip(lanes).collect()
        })
    }

    /// Posterior of every variable that is no function under a question, after its upward pass; those of functions are left at 0.
    pub(crate) fn marginals(&self, question: &Question, upward: &Upward) -> Marginals {
        let is_told = |var: &Var| !self.functions[*var];
        let wanted: Vec<Var> = (0..self.functions.len()).filter(is_told).collect();
        self.marginals_of(question, upward, &wanted)
    }

    /// Posteriors of these variables; those of others are left at 0.
    pub(crate) fn marginals_of(
        &self,
        question: &Question,
        upward: &Upward,
        wanted: &[Var],
    ) -> Marginals {
        let way = self.way_to(wanted);
        let mut found = [Marginals::empty(&self.states)];
        match &upward.messages {
            Kept::Plain(messages) => {
                let changed = self.changes(question);
                self.down(&changed, messages, &way, &mut found, |sum, _| sum);
            }
            Kept::Pairs(messages) => {
                let changed = self.changes(question);
                self.down(&changed, messages, &way, &mut found, |sum, _| sum.high());
            }
        }
        let [marginals] = found;
        marginals
    }

    /// The cliques of these variables and all above them.
    fn way_to(&self, wanted: &[Var]) -> Way {
        let nodes = &self.cliques.nodes;
        let mut way = Way {
            asked: vec![false; nodes.len()],
            needed: vec![false; nodes.len()],
        };
        for &var in wanted {
            way.asked[self.cliques.home[var]] = true;
            let mut at = Some(self.cliques.home[var]);
            while let Some(node) = at.filter(|&node| !way.needed[node]) {
                way.needed[node] = true;
                at = nodes[node].parent;
            }
        }
        way
    }

    /// The downward pass; `part` takes a question's number out of those of all.
    fn down<T: Number>(
        &self,
        changed: &Changed<T>,
        messages: &Messages<T>,
        way: &Way,
        found: &mut [Marginals],
        part: impl Fn(T, usize) -> f64,
    ) {
        let nodes = &self.cliques.nodes;
        let reading = |root: usize| self.reading(root, messages, changed.once);
        let mut by_state: Vec<T> = Vec::new();
        Pass::new(&self.cliques, &changed.cliques).down(
            messages,
            &way.needed,
            &way.asked,
            reading,
            |node, sums| {
                for &var in &nodes[node].vars {
                    by_state.clear();
                    by_state.resize(self.states[var], T::ZERO);
                    for (state, run) in nodes[node].runs(var, &self.states) {
                        for &sum in &sums[run] {
                            by_state[state] += sum;
                        }
                    }
                    for (lane, marginals) in found.iter_mut().enumerate() {
                        let marginal = marginals.of_mut(var);
                        for (value, &sum) in marginal.iter_mut().zip(&by_state) {
                            *value = part(sum, lane);
                        }
                        normalise(marginal);
                    }
                }
            },
        );
        if let Some(once) = &self.once {
            let total = self.product_of_roots(messages, None).0;
            for (lane, marginals) in found.iter_mut().enumerate() {
                let marginal = marginals.of_mut(once.var);
                for (state, value) in marginal.iter_mut().enumerate() {
                    *value = part(total[state] * changed.once[state], lane);
                }
                normalise(marginal);
            }
        }
    }

    /// Product of the roots but one, without and with the unmodelled fault, and the logarithm that stands before it.
    fn product_of_roots<T: Number>(
        &self,
        messages: &Messages<T>,
        without: Option<usize>,
    ) -> (Dual<T>, f64) {
        let elsewhere = self.once.as_ref().map_or(0.0, |once| once.elsewhere);
        let mut product = [T::ONE, T::of(elsewhere, 0.0)];
        let mut log = self.scalar.ln();
        for (index, node) in self.cliques.nodes.iter().enumerate() {
            if node.parent.is_some() || Some(index) == without {
                continue;
            }
            product = times(product, self.root(index, messages));
            log += f64::from(messages.exponent(index)) * std::f64::consts::LN_2;
            let largest = product[0].size().max(product[1].size());
            if largest > 0.0 && !RANGE.contains(&largest) {
                let shift = largest.log2().floor();
                product = product.map(|value| value.shifted((-shift).exp2()));
                log += shift * std::f64::consts::LN_2;
            }
        }
        (product, log)
    }

    /// What a root says; what is no more than the rounding of the signed auxiliaries counts as 0.
    fn root<T: Number>(&self, root: usize, messages: &Messages<T>) -> Dual<T> {
        let group = self.cliques.nodes[root].groups.start;
        let value = messages.at(group).map(Number::positive);
        let noise = self.noise.iter().find(|lost| lost.root == root);
        let drowned = noise.is_some_and(|lost| {
            let shift = messages.exponent(root) - lost.exponent;
            (value[0].size() + value[1].size()) * 2.0_f64.powi(shift) <= lost.error
        });
        if drowned { [T::ZERO; 2] } else { value }
    }

    /// How much the two parts of a root count, all other roots taken together.
    fn reading<T: Number>(&self, root: usize, messages: &Messages<T>, once: Dual<T>) -> Dual<T> {
        if self.once.is_none() {
            return [T::ONE, T::ZERO];
        }
        let [none, faulty] = self.product_of_roots(messages, Some(root)).0;
        let [weight, weight_once] = once;
        [weight * none + weight_once * faulty, weight_once * none]
    }

    /// The total, and the logarithm that stands before it.
    fn total<T: Number>(&self, messages: &Messages<T>, once: Dual<T>) -> (T, f64) {
        let ([none, faulty], log) = self.product_of_roots(messages, None);
        (none * once[0] + faulty * once[1], log)
    }

    /// A question, by cliques.
    fn changes<T: Number>(&self, question: &Question) -> Changed<T> {
        let mut changed = self.unchanged();
        let multiply = |value: &mut T, by| *value = *value * T::of(by, 0.0);
        self.weigh(&mut changed, &question.weights, multiply);
        if let Some(works) = &question.works {
            self.weigh(&mut changed, &works.weights, multiply);
            self.multiply_in(&mut changed, works, 1);
        }
        self.leave_out(&mut changed, &question.without, 1);
        changed
    }

    fn leave_out<T: Number>(&self, changed: &mut Changed<T>, without: &[usize], chosen: u8) {
        if without.is_empty() {
            return;
        }
        for (table, evidence) in self.cliques.evidence.iter().enumerate() {
            if without.contains(&evidence.finding) {
                changed.cliques.leave_out(table, chosen);
            }
        }
    }

    /// Several questions, by cliques. What all of them weigh alike is weighed once.
    fn changes_of_each(&self, questions: &[Question]) -> Changed<Lanes> {
        let mut changed = self.unchanged();
        let everywhere = |value: &mut Lanes, by| *value = *value * Lanes::of(by, 0.0);
        let first = &questions[0];
        let alike = |at: usize| {
            let (var, weights) = &first.weights[at];
            questions.iter().all(|question| {
                let other = question.weights.get(at);
                other.is_some_and(|other| other.0 == *var && Arc::ptr_eq(&other.1, weights))
            })
        };
        let alike: Vec<bool> = (0..first.weights.len()).map(alike).collect();
        for (weights, _) in first
            .weights
            .iter()
            .zip(&alike)
            .filter(|(_, alike)| **alike)
        {
            self.weigh(&mut changed, std::slice::from_ref(weights), everywhere);
        }
        let same_works = questions.iter().all(|question| match &question.works {
            Some(works) => first
                .works
                .as_ref()
                .is_some_and(|one| Arc::ptr_eq(one, works)),
            None => first.works.is_none(),
        });
        if let Some(works) = first.works.as_ref().filter(|_| same_works) {
            self.weigh(&mut changed, &works.weights, everywhere);
            self.multiply_in(&mut changed, works, Lanes::ALL);
        }
        for (lane, question) in questions.iter().enumerate() {
            let multiply = |value: &mut Lanes, by| value.0[lane] *= by;
            for (at, weights) in question.weights.iter().enumerate() {
                if alike.get(at) != Some(&true) {
                    self.weigh(&mut changed, std::slice::from_ref(weights), multiply);
                }
            }
            if let Some(works) = question.works.as_ref().filter(|_| !same_works) {
                self.weigh(&mut changed, &works.weights, multiply);
                self.multiply_in(&mut changed, works, 1 << lane);
            }
            self.leave_out(&mut changed, &question.without, 1 << lane);
        }
        changed
    }

    /// The tables over several variables that say that functions work.
    fn multiply_in<T: Number>(&self, changed: &mut Changed<T>, works: &Works, chosen: u8) {
        for &table in &works.tables {
            let node = self.cliques.optional[table].node;
            changed.cliques.multiply_in(node, table, chosen);
        }
    }

    fn unchanged<T: Number>(&self) -> Changed<T> {
        let once = self.once.as_ref().map_or([1.0, 0.0], |once| once.weights);
        Changed {
            cliques: Changes::none(&self.cliques),
            once: once.map(|weight| T::of(weight, 0.0)),
        }
    }

    fn weigh<T: Number>(
        &self,
        changed: &mut Changed<T>,
        weights: &[(Var, Arc<[f64]>)],
        multiply: impl Fn(&mut T, f64),
    ) {
        for (var, more) in weights {
            if self.once.as_ref().is_some_and(|once| once.var == *var) {
                for (weight, &by) in changed.once.iter_mut().zip(&**more) {
                    multiply(weight, by);
                }
                continue;
            }
            let node = self.cliques.home[*var];
            let runs = self.cliques.nodes[node].runs(*var, &self.states);
            let classes = changed.cliques.weights(&self.cliques, node);
            for (state, run) in runs {
                for value in &mut classes[run] {
                    multiply(value, more[state]);
                }
            }
        }
    }
}

/// A question, by cliques, and the weights of "no unmodelled fault" and of "one".
struct Changed<T> {
    cliques: Changes<T>,
    once: Dual<T>,
}

/// The cliques that a downward pass goes through, and those that are asked.
struct Way {
    asked: Vec<bool>,
    needed: Vec<bool>,
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
