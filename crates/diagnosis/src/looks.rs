//! Findings as likelihoods.
//!
//! A table of outcomes is followed row by row: a selector says whether one of the rows so far applied, so that the
//! functions a check names meet two or three at a time and not all at once.

use std::{collections::BTreeMap, ops::Deref, sync::Arc};

use catalogue::{Check, Target, Tells};
use units::Instrument;

use crate::{
    graph::{Graph, OrId},
    lower::Lowering,
    model::{Likelihood, Model, Table, Var},
    unroll::{Finding, Look, Readings, Seen, Unrolled, What, named_targets},
};

/// Chance that a check with requirements cannot be done: when one of them fails, when none does.
pub(crate) const CANNOT: [f64; 2] = [0.98, 0.01];

/// Draws and selectors shared between looks.
#[derive(Debug, Clone, Default)]
pub(crate) struct LookDraws {
    /// By machine, check, epoch: cannot be done when something fails, cannot be done though nothing does.
    doable: BTreeMap<(usize, usize, usize), [Var; 2]>,
    /// By session.
    blunders: BTreeMap<usize, Var>,
    /// By machine, check, epoch: what each row shows.
    same: BTreeMap<(usize, usize, usize), Vec<Var>>,
    /// By the functions a row names and the selector before it.
    selectors: BTreeMap<(Option<Var>, Vec<Var>), Var>,
}

/// A row of a check: when it applies, and what it shows.
struct Row<'a> {
    applies: Applies,
    shows: Shows<'a>,
}

/// The chance of each outcome.
enum Shows<'a> {
    PassOrFail([f64; 2]),
    Given(&'a [f64]),
}

impl Deref for Shows<'_> {
    type Target = [f64];

    fn deref(&self) -> &[f64] {
        match self {
            Self::PassOrFail(chances) => chances,
            Self::Given(chances) => chances,
        }
    }
}

/// When a row applies: none of the rows before it did (`before` is 0), and it does (`now` is 1).
#[derive(Clone, Copy)]
struct Applies {
    before: Option<Var>,
    /// None for the last row.
    now: Option<Var>,
}

impl Applies {
    /// The variables to ask, and whether the row applies in their states.
    fn vars(self) -> Vec<Var> {
        self.before.into_iter().chain(self.now).collect()
    }

    fn holds(self, at: &[usize]) -> bool {
        let mut at = at.iter();
        self.before.is_none_or(|_| at.next() == Some(&0))
            && self.now.is_none_or(|_| at.next() == Some(&1))
    }
}

impl Lowering<'_> {
    /// The likelihoods of all findings.
    pub(crate) fn looks(&mut self, unrolled: &Unrolled) {
        let mut sessions = vec![0_u32; unrolled.sessions];
        let mut tries: Vec<(usize, usize, usize)> = Vec::new();
        for finding in &unrolled.findings {
            if let What::Look(look) = &finding.what {
                sessions[look.session] += 1;
                tries.extend(look.requires.get().map(|_| tried(look)));
            }
        }
        tries.sort_unstable();
        self.model.likelihoods.reserve(unrolled.findings.len());
        let again = |look: &Look| {
            let key = tried(look);
            let first = tries.partition_point(|other| *other < key);
            tries.get(first + 1) == Some(&key)
        };
        for (index, finding) in unrolled.findings.iter().enumerate() {
            match &finding.what {
                What::Look(look) => {
                    let repeated = Repeated {
                        session: sessions[look.session] > 1,
                        tried: again(look),
                    };
                    let looking = &mut Looking {
                        graph: self.graph,
                        model: &mut self.model,
                        draws: &mut self.looks,
                    };
                    for table in looking.look(look, repeated) {
                        self.add(index, table);
                    }
                }
                What::Works { ors } => {
                    for &or in ors {
                        self.add(index, works(or));
                    }
                }
                _ => {
                    let table = self.truth(finding);
                    self.add(index, table);
                }
            }
        }
    }

    fn add(&mut self, finding: usize, table: Table) {
        let table = self.with_a_variable(table);
        self.model.likelihoods.push(Likelihood { table, finding });
    }

    /// A number that depends on nothing gets a variable of one state, so that it can be left out with its finding.
    fn with_a_variable(&mut self, table: Table) -> Table {
        if !table.vars.is_empty() {
            return table;
        }
        let var = self.model.root(vec![1.0]);
        Table {
            vars: vec![var],
            values: table.values,
        }
    }

    /// A truth found out.
    fn truth(&mut self, finding: &Finding) -> Table {
        match &finding.what {
            What::Mode { state, mode } => match self.read_from(*state) {
                Some((var, states)) => Table::from_fn(&self.model, vec![var], |at| {
                    let now = states.map_or(at[0], |states| states[at[0]]);
                    f64::from(u8::from(now == mode + 1))
                }),
                None => self.never(),
            },
            What::Unmodelled { machine } => match self.unmodelled_end.get(*machine) {
                Some(var) => Table {
                    vars: vec![var],
                    values: vec![0.0, 1.0],
                },
                None => self.never(),
            },
            What::Works { .. } | What::Look(_) => self.never(),
        }
    }

    /// A likelihood of 0 that still has a variable.
    fn never(&mut self) -> Table {
        let var = self.model.root(vec![1.0]);
        Table {
            vars: vec![var],
            values: vec![0.0],
        }
    }
}

/// What the likelihoods of looks are made from.
pub(crate) struct Looking<'a> {
    pub(crate) graph: &'a Graph,
    pub(crate) model: &'a mut Model,
    pub(crate) draws: &'a mut LookDraws,
}

/// Whether there are several looks of the same session, several tries of the same check in the same epoch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Repeated {
    session: bool,
    tried: bool,
}

impl Repeated {
    pub(crate) fn of(look: &Look, unrolled: &Unrolled) -> Self {
        Self {
            session: is_repeated(unrolled, |other| other.session == look.session),
            tried: is_repeated(unrolled, |other| tried(other) == tried(look)),
        }
    }
}

impl Looking<'_> {
    /// The tables whose product is the likelihood of a look.
    pub(crate) fn look(&mut self, look: &Look, repeated: Repeated) -> Vec<Table> {
        let check = &self.graph.boards[look.machine].profile.checks[look.check];
        let cannot = look.shown == Seen::Cannot;
        let doable = self.doable(look, cannot, repeated.tried);
        let mut tables: Vec<Table> = doable.into_iter().collect();
        if cannot {
            return tables;
        }
        let counts = counts(check, &look.shown);
        let blundered = counts.iter().sum::<f64>() / counts.len() as f64;
        let blunder = (repeated.session && check.blunder > 0.0).then(|| self.blunder(look, check));
        let rows = self.rows(check, &look.ors);
        let same = check.repeats_same.then(|| self.same(look, &rows));
        for (index, row) in rows.iter().enumerate() {
            let expected: f64 = row
                .shows
                .iter()
                .zip(&counts)
                .map(|(chance, count)| chance * count)
                .sum();
            let drawn = same.as_ref().map(|same| same[index]);
            let mut vars = row.applies.vars();
            let selectors = vars.len();
            vars.extend(drawn.into_iter().chain(blunder));
            let table = Table::from_fn(self.model, vars, |at| {
                let normal = if drawn.is_some() {
                    counts[at[selectors]]
                } else {
                    expected
                };
                let blunders = blunder.map(|_| at[at.len() - 1] > 0);
                match (row.applies.holds(at), blunders) {
                    (false, _) | (true, Some(true)) => 1.0,
                    (true, Some(false)) => normal,
                    (true, None) => (1.0 - check.blunder) * normal + check.blunder * blundered,
                }
            });
            multiply_in(&mut tables, table);
        }
        if let Some(blunder) = blunder {
            let table = Table::from_fn(self.model, vec![blunder], |at| {
                at[0].checked_sub(1).map_or(1.0, |outcome| counts[outcome])
            });
            multiply_in(&mut tables, table);
        }
        tables
    }

    /// That a check with requirements could be done, or could not.
    fn doable(&mut self, look: &Look, cannot: bool, tried_again: bool) -> Option<Table> {
        let or = look.requires.get()?;
        if !tried_again {
            let [if_fails, if_works] = CANNOT;
            let values =
                [if_works, if_fails].map(|chance| if cannot { chance } else { 1.0 - chance });
            return Some(Table {
                vars: vec![or],
                values: values.to_vec(),
            });
        }
        let model = &mut *self.model;
        let draws = self.draws.doable.entry(tried(look));
        let [if_fails, if_works] =
            *draws.or_insert_with(|| CANNOT.map(|cannot| model.root(vec![1.0 - cannot, cannot])));
        Some(Table::from_fn(model, vec![or, if_fails, if_works], |at| {
            let could_not = if at[0] == 1 { at[1] } else { at[2] } == 1;
            f64::from(u8::from(could_not == cannot))
        }))
    }

    /// State 0: no blunder; state i: outcome i − 1 whatever is true.
    fn blunder(&mut self, look: &Look, check: &Check) -> Var {
        let outcomes = check.outcomes.len();
        let mut chances = vec![1.0 - check.blunder];
        chances.resize(outcomes + 1, check.blunder / outcomes as f64);
        let model = &mut *self.model;
        *self
            .draws
            .blunders
            .entry(look.session)
            .or_insert_with(|| model.root(chances))
    }

    fn same(&mut self, look: &Look, rows: &[Row<'_>]) -> Vec<Var> {
        let model = &mut *self.model;
        let draws = self
            .draws
            .same
            .entry((look.machine, look.check, look.epoch));
        draws
            .or_insert_with(|| {
                rows.iter()
                    .map(|row| model.root(row.shows.to_vec()))
                    .collect()
            })
            .clone()
    }

    /// The rows of a check with their selectors.
    fn rows<'a>(&mut self, check: &'a Check, functions: &[Var]) -> Vec<Row<'a>> {
        let row = |before, now, shows| Row {
            applies: Applies { before, now },
            shows,
        };
        let given = match &check.tells {
            Tells::Target {
                false_pass,
                false_fail,
                ..
            } => {
                let fails = Some(functions[0]);
                let [bad, good] = [*false_pass, 1.0 - false_fail];
                return vec![
                    row(None, fails, Shows::PassOrFail([bad, 1.0 - bad])),
                    row(fails, None, Shows::PassOrFail([good, *false_fail])),
                ];
            }
            Tells::Rows(rows) => rows,
        };
        let named = named_targets(check);
        let mut before = None;
        let mut rows = Vec::with_capacity(given.len());
        for one in given {
            let places = one.fails.iter().filter_map(|target| place(&named, target));
            let fails: Vec<Var> = places.map(|place| functions[place]).collect();
            let now = (!fails.is_empty()).then(|| self.selector(before, fails));
            rows.push(row(before, now, Shows::Given(&one.shows)));
            if now.is_none() {
                break;
            }
            before = now;
        }
        rows
    }

    /// 1 if a row before applied or all these functions fail.
    fn selector(&mut self, before: Option<Var>, mut fails: Vec<Var>) -> Var {
        fails.sort_unstable();
        fails.dedup();
        if let (None, [function]) = (before, fails.as_slice()) {
            return *function;
        }
        let key = (before, fails);
        if let Some(&selector) = self.draws.selectors.get(&key) {
            return selector;
        }
        let child = self.model.variable(2);
        // a function may itself be the selector before
        let mut vars: Vec<Var> = before
            .into_iter()
            .chain(key.1.iter().copied().filter(|var| Some(*var) != before))
            .collect();
        let functions: Vec<usize> = key
            .1
            .iter()
            .filter_map(|var| vars.iter().position(|other| other == var))
            .collect();
        vars.push(child);
        let table = Table::from_fn(self.model, vars, |at| {
            let applies =
                (before.is_some() && at[0] == 1) || functions.iter().all(|&place| at[place] == 1);
            f64::from(u8::from((at[at.len() - 1] == 1) == applies))
        });
        self.model.conditionals.push(table);
        self.draws.selectors.insert(key, child);
        child
    }
}

/// Adds a table to a product; one over the same variables takes it in.
fn multiply_in(tables: &mut Vec<Table>, table: Table) {
    match tables.iter_mut().find(|known| known.vars == table.vars) {
        Some(known) => {
            let values = known.values.iter_mut().zip(&table.values);
            values.for_each(|(known, value)| *known *= value);
        }
        None => tables.push(table),
    }
}

/// An OR does not fail.
fn works(or: OrId) -> Table {
    Table {
        vars: vec![or],
        values: vec![1.0, 0.0],
    }
}

fn place(named: &[&Target], target: &Target) -> Option<usize> {
    named.iter().position(|other| *other == target)
}

/// Several looks are of this kind.
fn is_repeated(unrolled: &Unrolled, kind: impl Fn(&Look) -> bool) -> bool {
    let of_kind = |finding: &&Arc<Finding>| match &finding.what {
        What::Look(look) => kind(look),
        _ => false,
    };
    unrolled.findings.iter().filter(of_kind).nth(1).is_some()
}

/// What is drawn once: whether this check can be done on this machine in this epoch.
fn tried(look: &Look) -> (usize, usize, usize) {
    (look.machine, look.check, look.epoch)
}

/// How much what was seen counts for each outcome.
fn counts(check: &Check, seen: &Seen) -> Vec<f64> {
    match seen {
        Seen::Outcome(outcome) => (0..check.outcomes.len())
            .map(|other| f64::from(u8::from(other == *outcome)))
            .collect(),
        Seen::Readings(readings) => {
            let Readings {
                values, components, ..
            } = &**readings;
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            let instrument = Instrument {
                name: String::new(),
                components: components.clone(),
            };
            let outside = check.limits.as_ref().map_or(0.0, |limits| {
                limits.probability_outside(mean, instrument.sigma(mean))
            });
            vec![1.0 - outside, outside]
        }
        Seen::Cannot => vec![1.0; check.outcomes.len()],
    }
}

/// The rows of a check: the places among what it names of the functions that fail, and the chance of each outcome.
pub(crate) fn rows_of(check: &Check) -> Vec<(Vec<usize>, Vec<f64>)> {
    match &check.tells {
        Tells::Target {
            false_pass,
            false_fail,
            ..
        } => vec![
            (vec![0], vec![*false_pass, 1.0 - false_pass]),
            (Vec::new(), vec![1.0 - false_fail, *false_fail]),
        ],
        Tells::Rows(rows) => {
            let named = named_targets(check);
            let rows = rows.iter();
            rows.map(|row| {
                (
                    row.fails
                        .iter()
                        .filter_map(|one| place(&named, one))
                        .collect(),
                    row.shows.clone(),
                )
            })
            .collect()
        }
    }
}
