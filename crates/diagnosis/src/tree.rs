//! Exact inference: an elimination order found once, then one pass up and one pass down as often as asked.
//!
//! Buckets after Dechter ("Bucket elimination: a unifying framework for reasoning", Artificial Intelligence 113, 1999), those inside
//! each other joined to cliques. Only the entries that can be other than 0 are kept ("zero compression": Jensen & Andersen,
//! "Approximations in Bayesian belief universes for knowledge based systems", UAI 1990): functions that need each other leave few of them.
//! The signed form of an OR takes differences: findings that are nearly impossible lose digits in it. What is lost is
//! bounded by a running error analysis; where that is too much, another order is tried, then everything is reckoned with twice the digits.
//! A message carries a power of two beside its table, so that hundreds of findings do not underflow.

mod beside;
mod draft;
mod frame;
mod marginals;
mod posteriors;
mod question;

use std::sync::Arc;

use self::{draft::Draft, question::Changed};
pub(crate) use self::{marginals::Marginals, question::Question};
use crate::{
    clique::Cliques,
    error::Error,
    messages::{Bounded, Dual, Errors, Messages, brought_back, times},
    model::{Likelihood, Model, Once, Table, Var},
    number::{LANES, Lanes, Number, Pair},
    order::Ties,
    pass::{Lost, Pass},
    workers::side_by_side_if,
};

/// Most entries that all cliques together may have.
const MOST_ENTRIES: usize = 1 << 24;

/// Entries gone through with several questions that are worth a thread.
const WORTH_A_THREAD: usize = 1 << 16;

/// Bound of the relative rounding error above which another order, or pairs of doubles, are taken: answers are wanted within it.
const MOST_ROUNDING: f64 = 1e-9;

/// Bounds of messages that are kept for the next finding. Of larger networks they would be a good part of the room that an answer takes.
const MOST_BOUNDS: usize = 1 << 12;

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
    component: Arc<[u32]>,
    width: usize,
    /// Product of the tables without variables.
    scalar: f64,
    once: Option<Arc<Once>>,
    /// Some OR is split in the signed form.
    signed: bool,
    /// Roots of which nothing is left but rounding.
    noise: Vec<Lost>,
}

/// Messages of an upward pass.
#[derive(Debug, Clone)]
pub(crate) struct Upward {
    messages: Kept,
    /// Product of the roots, as natural logarithm; minus infinity for 0.
    pub(crate) log_total: f64,
    /// Bound of the relative rounding error of each root, where it was asked for.
    rounding: Option<f64>,
    /// The bounds of the messages, where they were reckoned with it and take little room.
    errors: Option<Arc<Errors>>,
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
        let (mut upward, lost) = tree.with_bounds();
        let (noise, certain): (Vec<Lost>, Vec<Lost>) = lost
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

    /// The pass without a question, also after the tree was changed; none if it would need more digits.
    pub(crate) fn first_pass(&self) -> Option<Upward> {
        self.if_enough(self.with_bounds())
    }

    fn if_enough(&self, (upward, lost): (Upward, Vec<Lost>)) -> Option<Upward> {
        let rounding = relative(&lost);
        self.enough(rounding).then_some(Upward {
            rounding: Some(rounding),
            ..upward
        })
    }

    /// The pass without a question, and what rounding can have done to it.
    fn with_bounds(&self) -> (Upward, Vec<Lost>) {
        let unchanged = Question::default();
        if !self.signed {
            (self.upward(&unchanged), Vec::new())
        } else if self.with_pairs() {
            self.bounded(self.bounded_pass(), Kept::Pairs)
        } else {
            self.bounded(self.bounded_pass(), Kept::Plain)
        }
    }

    fn bounded_pass<T: Number>(&self) -> Bounded<T> {
        Pass::<T>::new(&self.cliques, &self.unchanged().cliques).up()
    }

    fn bounded<T: Number>(
        &self,
        bounded: Bounded<T>,
        kept: impl Fn(Messages<T>) -> Kept,
    ) -> (Upward, Vec<Lost>) {
        let lost = bounded.lost(&self.cliques);
        let Bounded { messages, errors } = bounded;
        let (total, log) = self.total(&messages, self.unchanged().once);
        let upward = Upward {
            messages: kept(messages),
            log_total: total.high().ln() + log,
            rounding: None,
            errors: (self.cliques.all_groups() <= MOST_BOUNDS).then(|| Arc::new(errors)),
        };
        (upward, lost)
    }

    /// The same after a change to what `before` had that makes no number more than so many times larger.
    pub(crate) fn pass_after(&self, before: &Upward, times: f64) -> Option<Upward> {
        let upward = self.upward(&Question::default());
        self.surely(before, upward, times)
            .or_else(|| self.first_pass())
    }

    /// The same after findings were added to these cliques: they make no number larger, but each rounds the numbers of its clique once more.
    pub(crate) fn pass_after_adding(&self, before: &Upward, touched: &[usize]) -> Option<Upward> {
        let mut dirty = vec![false; self.cliques.count()];
        touched.iter().for_each(|&node| dirty[node] = true);
        let upward = self.anew_where(dirty.clone(), before, &Question::default());
        if let Some(upward) = self.surely(before, upward, 1.0 + touched.len() as f64) {
            return Some(upward);
        }
        let (Kept::Plain(messages), Some(errors)) = (&before.messages, &before.errors) else {
            return self.first_pass();
        };
        let mut bounded = Bounded {
            messages: messages.clone(),
            errors: Errors::clone(errors),
        };
        Pass::<f64>::new(&self.cliques, &self.unchanged().cliques).again(&mut bounded, &mut dirty);
        self.if_enough(self.bounded(bounded, Kept::Plain))
    }

    /// A pass after such a change, with what is known of its rounding: what that can have done to a root stays within so many times
    /// the bound it had. None if it might need more digits.
    fn surely(&self, before: &Upward, upward: Upward, times: f64) -> Option<Upward> {
        let worst = match (&before.messages, &upward.messages) {
            (Kept::Plain(before), Kept::Plain(now)) => self.shrunk(before, now),
            (Kept::Pairs(before), Kept::Pairs(now)) => self.shrunk(before, now),
            _ => return None,
        };
        let rounding = before.rounding? * worst * times;
        let enough = self.noise.is_empty() && self.enough(rounding);
        enough.then_some(Upward {
            rounding: Some(rounding),
            ..upward
        })
    }

    fn enough(&self, rounding: f64) -> bool {
        let most = if self.with_pairs() {
            LEAST_DIGITS
        } else {
            MOST_ROUNDING
        };
        rounding <= most
    }

    /// How many times smaller a root became at most; 1 where none did.
    fn shrunk<T: Number>(&self, before: &Messages<T>, now: &Messages<T>) -> f64 {
        let times = |root: usize| {
            let size = |messages: &Messages<T>| {
                let [none, once] = self.root(root, messages);
                none.size() + once.size()
            };
            let shift = before.exponent(root) - now.exponent(root);
            match (size(before), size(now)) {
                // most roots stay what they were
                (before, now) if before == now && shift == 0 => 1.0,
                (before, now) => before / now * 2.0_f64.powi(shift),
            }
        };
        self.cliques.roots().map(times).fold(1.0, f64::max)
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
        let node = table.vars.iter().map(|&var| self.cliques.home(var)).min()?;
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
        self.cliques.home(var)
    }

    /// The clique that takes this clique's message.
    pub(crate) fn parent(&self, clique: usize) -> Option<usize> {
        self.cliques.parent(clique)
    }

    /// A number that is equal for variables that depend on each other in some way.
    pub(crate) fn component(&self, var: Var) -> usize {
        self.component[self.cliques.home(var)] as usize
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
                errors: None,
            }
        } else {
            let (messages, log_total) = self.up(&self.changes(question));
            Upward {
                messages: Kept::Plain(messages),
                log_total: log_total + question.log_scale(),
                rounding: None,
                errors: None,
            }
        }
    }

    fn up<T: Number>(&self, changed: &Changed<T>) -> (Messages<T>, f64) {
        let messages: Messages<T> = Pass::new(&self.cliques, &changed.cliques).up();
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

    /// The same for many questions that add to it, each weighing variables best a little differently than the one before.
    pub(crate) fn log_totals_with(
        &self,
        base: Upward,
        base_question: &Question,
        more: &[Question],
    ) -> Vec<f64> {
        let (mut messages, mut before) = (base.messages, &Question::default());
        let each = more.iter().map(|more| {
            let dirty = self.touched_by(&more.apart_from(before));
            before = more;
            self.change(&mut messages, &base_question.and(more), dirty)
        });
        each.collect()
    }

    /// The logarithm of the total for a question that differs a little from the one `base` answers. `near` is a copy of that, and
    /// is one again afterwards.
    pub(crate) fn log_total_near(
        &self,
        near: &mut Upward,
        base: &Upward,
        question: &Question,
        differs: &Question,
    ) -> f64 {
        let dirty = self.touched_by(differs);
        match (&mut near.messages, &base.messages) {
            (Kept::Plain(near), Kept::Plain(base)) => self.total_near(near, base, question, dirty),
            (Kept::Pairs(near), Kept::Pairs(base)) => self.total_near(near, base, question, dirty),
            _ => self.again(base, question, differs).log_total,
        }
    }

    fn total_near<T: Number>(
        &self,
        near: &mut Messages<T>,
        base: &Messages<T>,
        question: &Question,
        mut dirty: Vec<bool>,
    ) -> f64 {
        let log = self.up_again(near, &self.changes(question), &mut dirty);
        for (node, _) in dirty.iter().enumerate().filter(|(_, dirty)| **dirty) {
            near.restore(base, &self.cliques.node(node), node);
        }
        log
    }

    /// An upward pass in which only what `more` touches is done anew; `question` is the whole question, `more` included.
    pub(crate) fn again(&self, base: &Upward, question: &Question, more: &Question) -> Upward {
        self.anew_where(self.touched_by(more), base, question)
    }

    /// An upward pass in which only these cliques, and those above that change by them, are done anew.
    fn anew_where(&self, dirty: Vec<bool>, base: &Upward, question: &Question) -> Upward {
        let mut messages = base.messages.clone();
        let log_total = self.change(&mut messages, question, dirty);
        Upward {
            messages,
            log_total,
            rounding: None,
            errors: None,
        }
    }

    /// Changes messages to those of another question, which differs from theirs at these cliques; the logarithm of its total.
    fn change(&self, messages: &mut Kept, question: &Question, mut dirty: Vec<bool>) -> f64 {
        match messages {
            Kept::Plain(messages) => self.up_again(messages, &self.changes(question), &mut dirty),
            Kept::Pairs(messages) => self.up_again(messages, &self.changes(question), &mut dirty),
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
            let messages: Messages<Lanes> = Pass::new(&self.cliques, &changed.cliques).up();
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
        let worth = chunks.len() * self.entries() >= WORTH_A_THREAD;
        let each = side_by_side_if(worth, chunks, answer);
        each.into_iter().flatten().collect()
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
        for index in self.cliques.roots() {
            if Some(index) == without {
                continue;
            }
            product = times(product, self.root(index, messages));
            log += f64::from(messages.exponent(index)) * std::f64::consts::LN_2;
            let shift = brought_back(&mut product, &mut []);
            log += f64::from(shift) * std::f64::consts::LN_2;
        }
        (product, log)
    }

    /// What a root says; what is no more than the rounding of the signed auxiliaries counts as 0.
    fn root<T: Number>(&self, root: usize, messages: &Messages<T>) -> Dual<T> {
        let group = self.cliques.groups(root).start;
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
}

/// The largest relative error.
fn relative(lost: &[Lost]) -> f64 {
    lost.iter().map(Lost::relative).fold(0.0, f64::max)
}
