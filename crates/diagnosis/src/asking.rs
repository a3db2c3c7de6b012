//! What is only asked about: checks not yet made, and functions, as weights on the network of what was seen.
//!
//! That some functions work is a product: no cause of any of them acts. Asked for like that a function needs neither a variable nor a
//! table, each of its causes takes a weight (for findings that show nothing bad: Heckerman, "A tractable inference algorithm for
//! diagnosing multiple diseases", UAI 1989). What a check shows hangs on which of its functions fail; its chance is a sum over sets of
//! functions that work together, by inclusion and exclusion. The terms of such a sum are at most 1 and cancel, so a chance is off by
//! as much as the terms are, however small it is.
//!
//! Functions whose state something seen hangs on, and those that break others only with a chance, stay variables.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::Check;

use crate::{
    error::Error,
    graph::OrId,
    groups::Outer,
    looks::{CANNOT, rows_of},
    lower::{Asked, Lowered, Unmodelled, lower},
    model::{Model, Or, Table, Var},
    order::ones,
    tree::{Marginals, Question, Tree, Upward},
    unroll::Unrolled,
};

/// Terms of a sum over sets of functions, above which it is refused.
const MOST_TERMS: usize = 1 << 12;
/// What rounding leaves of a term that cancels.
const NOTHING: f64 = 1e-15;

/// Functions that work together: what that weighs each variable with.
#[derive(Debug, Clone)]
pub(crate) struct Works {
    pub(crate) weights: Vec<(Var, Arc<[f64]>)>,
    /// Numbers of tables over several variables.
    pub(crate) tables: Vec<usize>,
    /// What depends on no variable.
    pub(crate) scale: f64,
}

impl Works {
    /// This weighs a variable.
    pub(crate) fn weighing(var: Var, weights: &[f64]) -> Arc<Self> {
        Arc::new(Self {
            weights: vec![(var, weights.into())],
            ..Self::nothing()
        })
    }

    /// The variable of the one function that this is about.
    fn variable(&self) -> Option<Var> {
        match &self.weights[..] {
            [(var, weights)] if self.tables.is_empty() && self.scale == 1.0 => {
                (**weights == [1.0, 0.0]).then_some(*var)
            }
            _ => None,
        }
    }

    /// Of nothing is said that it works.
    pub(crate) fn nothing() -> Self {
        Self {
            weights: Vec::new(),
            tables: Vec::new(),
            scale: 1.0,
        }
    }
}

/// A chance as a sum: a factor, and the number of the functions that work.
pub(crate) type Sum = Vec<(f64, usize)>;

/// What would be shown by a check not yet made, by outcome; `cannot` comes last where the check has requirements.
#[derive(Debug)]
pub(crate) struct Open {
    pub(crate) check: usize,
    pub(crate) outcomes: Vec<Sum>,
    /// For each harm of the check: that it can be done and the harm's condition holds.
    pub(crate) harms: Vec<Option<Sum>>,
}

/// The network of what was seen, and the questions about it.
#[derive(Debug)]
pub(crate) struct Asking {
    pub(crate) lowered: Lowered,
    pub(crate) tree: Tree,
    pub(crate) upward: Upward,
    /// Tables over several variables that questions multiply in.
    pub(crate) tables: Vec<Table>,
    /// The first: of nothing is said that it works.
    pub(crate) works: Vec<Arc<Works>>,
    /// How many of them the checks speak of.
    told: usize,
    pub(crate) open: Vec<Open>,
    /// By function asked for: that it works.
    pub(crate) functions: Vec<usize>,
}

impl Asking {
    /// A network about which these checks and functions are asked; refused if it needs more entries than this.
    pub(crate) fn of(
        unrolled: &Unrolled,
        asked: &[Asked],
        functions: &[OrId],
        outer: Option<&Outer>,
        most: usize,
    ) -> Result<Self, Error> {
        let ors: Vec<OrId> = asked
            .iter()
            .flat_map(Asked::all)
            .chain(functions.iter().copied())
            .collect();
        let mut draft = Draft::new(lower(unrolled, &ors, outer, Unmodelled::Beside));
        let mut open = Vec::with_capacity(asked.len());
        for asked in asked {
            let profile = &unrolled.graph.boards[asked.machine].profile;
            open.push(draft.open(&profile.checks[asked.check], asked)?);
        }
        let told = draft.works.len();
        let functions = functions.iter().map(|&or| draft.work(or)).collect();
        draft.lowered.model.keep_findings();
        let (tree, upward) = Tree::with_pass(&draft.lowered.model, &draft.tables, most)?;
        Ok(Self {
            lowered: draft.lowered,
            tree,
            upward,
            tables: draft.tables,
            works: draft.works,
            told,
            open,
            functions,
        })
    }

    /// The chance that all functions of a set work, for each of these sets.
    pub(crate) fn chances(&self, works: &[usize]) -> Vec<f64> {
        // what stayed a variable is known for all of them by one pass down
        let variable = |works: &usize| self.works[*works].variable();
        let (single, several): (Vec<usize>, Vec<usize>) =
            works.iter().partition(|works| variable(works).is_some());
        let vars: Vec<Var> = single.iter().filter_map(variable).collect();
        let marginals = self
            .tree
            .marginals_of(&Question::default(), &self.upward, &vars);
        let questions = several.iter().map(|&set| Question::that(&self.works[set]));
        let questions: Vec<Question> = questions.collect();
        let mut logs = self
            .tree
            .log_totals_of(&self.upward, &questions)
            .into_iter();
        let chance = |works: &usize| match variable(works) {
            Some(var) => marginals[var][0],
            None => self.given_findings(logs.next().unwrap_or(f64::NEG_INFINITY)),
        };
        works.iter().map(chance).collect()
    }

    /// By state of a variable, where that is known beside all else: the chance of each set that checks speak of; 0 where it cannot be.
    pub(crate) fn told_by(&self, var: Var) -> Vec<Vec<f64>> {
        let works = &self.works[..self.told];
        let states = 0..self.lowered.model.states[var];
        let in_state = |state| {
            let mut question = Question::default();
            question.fix(&self.tree, var, state);
            question
        };
        let grounds: Vec<Question> = states.clone().map(in_state).collect();
        let pairs = states.flat_map(|state| (0..works.len()).map(move |works| (state, works)));
        let pairs: Vec<(usize, usize)> = pairs.collect();
        let logs = self.tree.log_totals_beside(&grounds, works, &pairs);
        // the first set says nothing
        let chance = |nothing: f64, log: f64| match nothing > f64::NEG_INFINITY {
            true => (log - nothing).exp(),
            false => 0.0,
        };
        let each = |logs: &[f64]| logs.iter().map(|&log| chance(logs[0], log)).collect();
        logs.chunks(works.len()).map(each).collect()
    }

    /// For each set that checks speak of the same, with the posteriors of these variables where they work.
    pub(crate) fn posteriors(&self, wanted: &[Var]) -> (Vec<f64>, Vec<Marginals>) {
        let works = self.works[..self.told].iter().map(Question::that);
        let works: Vec<Question> = works.collect();
        let each = self.tree.posteriors_beside(&self.upward, &works, wanted);
        let each = each.into_iter();
        each.map(|(log, marginals)| (self.given_findings(log), marginals))
            .unzip()
    }

    /// 0 where the findings contradict each other.
    fn given_findings(&self, log: f64) -> f64 {
        let possible = self.upward.log_total > f64::NEG_INFINITY;
        if possible {
            (log - self.upward.log_total).exp()
        } else {
            0.0
        }
    }
}

/// The chance that a sum stands for.
pub(crate) fn chance_of(sum: &Sum, chances: &[f64]) -> f64 {
    let terms = sum.iter().map(|(factor, works)| factor * chances[*works]);
    terms.sum::<f64>().clamp(0.0, 1.0)
}

/// Posteriors of these variables where what a sum stands for is true; `chance` is its chance.
pub(crate) fn posteriors_of(
    sum: &Sum,
    chance: f64,
    chances: &[f64],
    each: &[Marginals],
    wanted: &[Var],
) -> Marginals {
    let mut all = each[0].zeros();
    for &var in wanted {
        let of_var = all.of_mut(var);
        for (factor, works) in sum {
            let share = factor * chances[*works] / chance;
            for (all, one) in of_var.iter_mut().zip(&each[*works][var]) {
                *all += share * one;
            }
        }
        of_var
            .iter_mut()
            .for_each(|value| *value = value.clamp(0.0, 1.0));
    }
    all
}

/// Tables that are left with no variable become part of the scale.
pub(crate) fn without_numbers(
    tables: &[Table],
    works: &[Arc<Works>],
) -> (Vec<Table>, Vec<Arc<Works>>) {
    if tables.is_empty() {
        return (Vec::new(), works.to_vec());
    }
    let mut left = Vec::new();
    let mut numbers = Vec::with_capacity(tables.len());
    for table in tables {
        numbers.push((!table.vars.is_empty()).then_some(left.len()));
        left.extend((!table.vars.is_empty()).then(|| table.clone()));
    }
    let each = works.iter().map(|works| {
        let numberless = works
            .tables
            .iter()
            .filter(|table| numbers[**table].is_none());
        let scale: f64 = numberless.map(|&table| tables[table].values[0]).product();
        Arc::new(Works {
            weights: works.weights.clone(),
            tables: works
                .tables
                .iter()
                .filter_map(|&table| numbers[table])
                .collect(),
            scale: works.scale * scale,
        })
    });
    let each = each.collect();
    (left, each)
}

/// The network in which functions that are only asked for are being replaced by weights.
struct Draft {
    lowered: Lowered,
    /// No OR has this number or a larger one.
    ors: usize,
    /// By variable: its OR, if that is only asked for.
    only_asked: BTreeMap<Var, Or>,
    tables: Vec<Table>,
    /// By variable of a function and place among its causes: the number of its table.
    numbers: BTreeMap<(Var, usize), usize>,
    works: Vec<Arc<Works>>,
    /// By OR that was asked for: all that work if it does.
    below: BTreeMap<OrId, OrSet>,
    /// By functions that work together, those below them included.
    known: BTreeMap<OrSet, usize>,
}

/// Some ORs, a bit each. The variable of an OR has its number.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct OrSet(Vec<u64>);

impl OrSet {
    fn none(ors: usize) -> Self {
        Self(vec![0; ors.div_ceil(64)])
    }

    /// False if it was there.
    fn insert(&mut self, or: OrId) -> bool {
        let (word, bit) = (&mut self.0[or / 64], 1 << (or % 64));
        let new = *word & bit == 0;
        *word |= bit;
        new
    }

    fn extend(&mut self, other: &Self) {
        let words = self.0.iter_mut().zip(&other.0);
        words.for_each(|(word, other)| *word |= other);
    }

    fn iter(&self) -> impl Iterator<Item = OrId> {
        ones(self.0.iter().copied())
    }
}

impl Draft {
    fn new(mut lowered: Lowered) -> Self {
        let only_asked = take_only_asked(&mut lowered.model);
        // an OR has the number of its variable
        let ors = lowered.model.states.len();
        Self {
            lowered,
            ors,
            only_asked,
            tables: Vec::new(),
            numbers: BTreeMap::new(),
            works: vec![Arc::new(Works::nothing())],
            below: BTreeMap::new(),
            known: BTreeMap::from([(OrSet::none(ors), 0)]),
        }
    }

    /// The number of "this function works".
    fn work(&mut self, or: OrId) -> usize {
        let all = self.below(or).clone();
        self.number(&all)
    }

    /// An OR with those below it that are only asked for too.
    fn below(&mut self, or: OrId) -> &OrSet {
        let below = || below_of(or, &self.only_asked, self.ors);
        self.below.entry(or).or_insert_with(below)
    }

    /// The number of "these functions work", those below them included.
    fn number(&mut self, all: &OrSet) -> usize {
        if let Some(&number) = self.known.get(all) {
            return number;
        }
        let works = self.product(all);
        self.works.push(Arc::new(works));
        self.known.insert(all.clone(), self.works.len() - 1);
        self.works.len() - 1
    }

    /// No cause of any of these acts.
    fn product(&mut self, all: &OrSet) -> Works {
        let mut weights: BTreeMap<Var, Vec<f64>> = BTreeMap::new();
        let mut works = Works::nothing();
        for var in all.iter() {
            let Some(or) = self.only_asked.get(&var) else {
                weigh(&mut weights, var, &[1.0, 0.0]);
                continue;
            };
            for (place, table) in or.survivals.iter().enumerate() {
                match table.vars[..] {
                    [] => works.scale *= table.values[0],
                    [below] if self.only_asked.contains_key(&below) => {}
                    [below] => weigh(&mut weights, below, &table.values),
                    _ => {
                        let number = *self.numbers.entry((var, place)).or_insert_with(|| {
                            self.tables.push(table.clone());
                            self.tables.len() - 1
                        });
                        works.tables.push(number);
                    }
                }
            }
        }
        let weights = weights.into_iter();
        works.weights = weights
            .map(|(var, weights)| (var, weights.into()))
            .collect();
        works
    }

    /// A check not yet made, in a session of its own.
    fn open(&mut self, check: &Check, asked: &Asked) -> Result<Open, Error> {
        let shown = Shown::of(check, asked)?;
        let outcomes = shown.outcomes.iter().map(|sum| self.sum(sum, &shown.ors));
        let outcomes = outcomes.collect();
        let harms = asked.harms.iter().map(|when| {
            let ors: Vec<OrId> = shown.ors.iter().copied().chain(*when).collect();
            let mut fails = shown.done.clone();
            fails.add(-1.0, &shown.done.and(1 << shown.ors.len()));
            when.map(|_| self.sum(&fails, &ors))
        });
        let harms = harms.collect();
        Ok(Open {
            check: asked.check,
            outcomes,
            harms,
        })
    }

    fn sum(&mut self, sets: &Sets, ors: &[OrId]) -> Sum {
        let below: Vec<OrSet> = ors.iter().map(|&or| self.below(or).clone()).collect();
        let mut all = OrSet::none(self.ors);
        let mut sum: BTreeMap<usize, f64> = BTreeMap::new();
        for &(set, factor) in &sets.0 {
            all.0.fill(0);
            let named = ones(std::iter::once(set)).filter_map(|place| below.get(place));
            named.for_each(|below| all.extend(below));
            *sum.entry(self.number(&all)).or_default() += factor;
        }
        let terms = sum.into_iter().map(|(works, factor)| (factor, works));
        terms.filter(|(factor, _)| factor.abs() > NOTHING).collect()
    }
}

/// An OR with those below it that are only asked for too.
fn below_of(or: OrId, only_asked: &BTreeMap<Var, Or>, ors: usize) -> OrSet {
    let mut all = OrSet::none(ors);
    let mut open = vec![or];
    while let Some(var) = open.pop() {
        if let (true, Some(or)) = (all.insert(var), only_asked.get(&var)) {
            let below = or.survivals.iter().flat_map(|table| &table.vars);
            open.extend(below.filter(|var| only_asked.contains_key(var)));
        }
    }
    all
}

/// Multiplies the weights of a variable.
fn weigh(weights: &mut BTreeMap<Var, Vec<f64>>, var: Var, by: &[f64]) {
    let known = weights.entry(var).or_insert_with(|| vec![1.0; by.len()]);
    for (weight, by) in known.iter_mut().zip(by) {
        *weight *= by;
    }
}

/// Takes those ORs out of a network on which nothing seen hangs and no chance of another OR; what is left of each is its number.
fn take_only_asked(model: &mut Model) -> BTreeMap<Var, Or> {
    let children: BTreeMap<Var, usize> = model
        .ors
        .iter()
        .enumerate()
        .map(|(number, or)| (or.child, number))
        .collect();
    let likelihoods = model.likelihoods.iter().map(|one| &one.table);
    let tables = likelihoods.chain(&model.conditionals);
    let mut open: Vec<Var> = tables.flat_map(|table| table.vars.clone()).collect();
    for table in model.ors.iter().flat_map(|or| &or.survivals) {
        if !is_whole(table) {
            open.extend(&table.vars);
        }
    }
    let mut stays = vec![false; model.ors.len()];
    while let Some(var) = open.pop() {
        if let Some(&number) = children.get(&var)
            && !std::mem::replace(&mut stays[number], true)
        {
            let causes = &model.ors[number].survivals;
            open.extend(causes.iter().flat_map(|table| &table.vars));
        }
    }
    let mut stays = stays.into_iter();
    let (kept, taken): (Vec<Or>, Vec<Or>) = std::mem::take(&mut model.ors)
        .into_iter()
        .partition(|_| stays.next() == Some(true));
    model.ors = kept;
    for or in &taken {
        model.states[or.child] = 1;
    }
    taken.into_iter().map(|or| (or.child, or)).collect()
}

/// The variable alone decides: its second state breaks what it stands under, its first does not.
fn is_whole(table: &Table) -> bool {
    table.vars.len() == 1 && table.values == [1.0, 0.0]
}

/// A chance as a sum over sets of functions that work: a bit for each, and its factor; smaller numbers first.
#[derive(Debug, Clone, Default, PartialEq)]
struct Sets(Vec<(u64, f64)>);

impl Sets {
    fn number(number: f64) -> Self {
        Self(vec![(0, number)])
    }

    fn add(&mut self, factor: f64, other: &Self) {
        let mut sum = Vec::with_capacity(self.0.len() + other.0.len());
        let mut known = self.0.iter().copied().peekable();
        let mut more = other.0.iter().copied().peekable();
        loop {
            let next = match (known.peek(), more.peek()) {
                (Some(one), Some(other)) => one.0.min(other.0),
                (Some(only), None) | (None, Some(only)) => only.0,
                (None, None) => break,
            };
            let is_next = |&(set, _): &(u64, f64)| set == next;
            let mut all = known.next_if(is_next).map_or(0.0, |(_, factor)| factor);
            if let Some((_, more)) = more.next_if(is_next) {
                all += factor * more;
            }
            if all.abs() > NOTHING {
                sum.push((next, all));
            }
        }
        self.0 = sum;
    }

    /// And these functions work.
    fn and(&self, set: u64) -> Self {
        let mut all = self.0.clone();
        all.iter_mut().for_each(|(other, _)| *other |= set);
        all.sort_by_key(|(set, _)| *set);
        all.dedup_by(|(set, factor), (before, sum)| {
            let same = set == before;
            if same {
                *sum += *factor;
            }
            same
        });
        Self(all)
    }

    fn times(&self, other: &Self) -> Self {
        let mut product = Self::default();
        for &(set, factor) in &other.0 {
            product.add(factor, &self.and(set));
        }
        product
    }

    /// And all of these functions fail.
    fn and_fail(&self, functions: &[usize]) -> Result<Self, Error> {
        let mut fail = self.clone();
        for place in functions {
            let works = fail.and(1 << place);
            fail.add(-1.0, &works);
            if fail.0.len() > MOST_TERMS {
                return Err(too_many());
            }
        }
        Ok(fail)
    }
}

fn too_many() -> Error {
    Error::new(
        "a check names too many functions at once, expected rows of at most twelve; split the check",
    )
}

/// What a check shows, by the functions that work.
struct Shown {
    /// Those it names, and last what it requires.
    ors: Vec<OrId>,
    outcomes: Vec<Sets>,
    /// It can be done.
    done: Sets,
}

impl Shown {
    fn of(check: &Check, asked: &Asked) -> Result<Self, Error> {
        let ors: Vec<OrId> = asked.ors.iter().copied().chain(asked.requires).collect();
        if ors.len() >= 63 {
            return Err(too_many());
        }
        let mut done = Sets::number(1.0);
        if asked.requires.is_some() {
            let [fails, works] = CANNOT.map(|cannot| Sets::number(1.0 - cannot));
            let works = works.and(1 << asked.ors.len());
            done = fails.and_fail(&[asked.ors.len()])?;
            done.add(1.0, &works);
        }
        let count = check.outcomes.len();
        let mut outcomes = vec![Sets::number(check.blunder / count as f64); count];
        let mut before = Sets::number(1.0);
        for (fails, shows) in rows_of(check) {
            let applies = before.and_fail(&fails)?;
            for (outcome, shows) in outcomes.iter_mut().zip(&shows) {
                outcome.add((1.0 - check.blunder) * shows, &applies);
            }
            before.add(-1.0, &applies);
        }
        let mut outcomes: Vec<Sets> = outcomes.iter().map(|shown| shown.times(&done)).collect();
        if asked.requires.is_some() {
            let mut cannot = Sets::number(1.0);
            cannot.add(-1.0, &done);
            outcomes.push(cannot);
        }
        Ok(Self {
            ors,
            outcomes,
            done,
        })
    }
}
