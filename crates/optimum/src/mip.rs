//! The whole search: made smaller, relaxed, begun with good solutions, narrowed by what they show, then the tree.

use std::rc::Rc;

use crate::cuts::cuts;
use crate::form::{Form, Impossible, Smaller};
use crate::limits::Limits;
use crate::lp::{Lp, Outcome, Prices, Simplex, narrow};
use crate::tree::{Best, Harvest, Tree, shaken};

/// Solutions need not be better than the best by less than this share of it.
const GAP: f64 = 1e-10;

/// The search begins anew when this share of the variables turned out to be settled.
const SETTLED: f64 = 0.1;

/// Whole costs above this are taken as any number.
const LARGEST_GRAIN: f64 = 1e9;

/// Searches within searches.
pub(crate) const DEEPEST: usize = 2;

/// Variables left open in a search nearby: a quarter of all, within these limits.
const FEW: usize = 150;
const MANY: usize = 400;

/// Nodes of a search within a search.
pub(crate) const AROUND: u64 = 150;

/// Rounds of cuts, and the share of what they gained so far below which a round is idle.
const CUT_ROUNDS: usize = 30;
const LITTLE: f64 = 0.01;

/// What a search came to.
pub(crate) struct Found {
    pub(crate) best: Option<Best>,
    pub(crate) bound: f64,
    pub(crate) complete: bool,
}

/// Searches a form, beginning with a known solution if there is one.
pub(crate) fn search(form: Form, best: Option<Best>, limits: &Limits, depth: usize) -> Found {
    Root {
        gap: 0.0,
        grain: grain(&form),
        form,
        best,
        ceiling: f64::INFINITY,
        limits,
        depth,
        bound: f64::NEG_INFINITY,
    }
    .run()
}

/// Searches a form for solutions that cost less than `ceiling`.
fn search_below(form: Form, ceiling: f64, limits: &Limits, depth: usize) -> Found {
    Root {
        gap: 0.0,
        grain: grain(&form),
        form,
        best: None,
        ceiling,
        limits,
        depth,
        bound: f64::NEG_INFINITY,
    }
    .run()
}

/// The largest whole number of which every solution's cost is a multiple.
fn grain(form: &Form) -> f64 {
    let mut divisor = 0_u64;
    for (&cost, &whole) in form.cost.iter().zip(&form.whole) {
        if cost == 0.0 {
            continue;
        }
        if !whole || cost.fract() != 0.0 || cost.abs() > LARGEST_GRAIN {
            return 0.0;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a whole number below the largest"
        )]
        let cost = cost.abs() as u64;
        divisor = gcd(divisor, cost);
    }
    #[expect(clippy::cast_precision_loss, reason = "below the largest")]
    let grain = divisor as f64;
    grain
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// Searches where a relaxation and a solution disagree.
pub(crate) fn between(
    form: &Form,
    values: Vec<f64>,
    relaxed: &[f64],
    limits: &Limits,
    depth: usize,
) -> Found {
    let mut form = form.clone();
    for j in 0..form.width() {
        if form.whole[j] && (relaxed[j] - values[j]).abs() < 1e-6 {
            form.low[j] = values[j];
            form.high[j] = values[j];
        }
    }
    let known = Best {
        cost: form.cost_of(&values),
        values,
    };
    search(form, Some(known), limits, depth)
}

struct Root<'l> {
    form: Form,
    best: Option<Best>,
    /// Solutions that cost more are of no use.
    ceiling: f64,
    gap: f64,
    /// All costs are multiples of this; 0 if nothing is known.
    grain: f64,
    limits: &'l Limits,
    depth: usize,
    bound: f64,
}

impl Root<'_> {
    fn run(mut self) -> Found {
        loop {
            self.gap = self.gap_now();
            let Ok(smaller) = self.form.clone().smaller() else {
                return self.closed();
            };
            if smaller.form.width() == 0 {
                self.offer(&smaller, &[]);
                return self.closed();
            }
            match self.round(smaller) {
                Some(found) => return found,
                None => continue,
            }
        }
    }

    /// One round: relax, look for solutions, settle what can be; `None` if much was settled.
    fn round(&mut self, smaller: Smaller) -> Option<Found> {
        let form = Rc::new(smaller.form.clone());
        let mut simplex = Simplex::new(Rc::new(lp_of(&form)));
        let cutoff = self.cutoff() - form.constant;
        match simplex.solve(shaken(cutoff), u64::MAX) {
            Outcome::Infeasible => return Some(self.closed()),
            Outcome::Cutoff if simplex.bound().bound > cutoff => return Some(self.closed()),
            Outcome::Trouble | Outcome::Limit => return Some(self.open()),
            Outcome::Optimal | Outcome::Cutoff => {}
        }
        let mut prices = simplex.bound();
        if self.depth < DEEPEST && self.cut(&form, &mut simplex, &mut prices).is_err() {
            return Some(self.closed());
        }
        self.bound = self.bound.max(prices.bound + form.constant);
        let known = self
            .best
            .as_ref()
            .and_then(|best| smaller.shrink(&best.values));
        let known = known.map(|values| Best {
            cost: form.cost_of(&values),
            values,
        });
        let mut tree = Tree::new(Rc::clone(&form), simplex, known, self.gap, self.limits);
        tree.ceiling = self.ceiling;
        tree.depth = self.depth;
        tree.dive();
        if let Some(best) = &tree.best {
            let values = best.values.clone();
            self.offer(&smaller, &values);
        }
        self.look_around(&smaller, &tree, &prices);
        if prices.bound + form.constant > self.cutoff() {
            return Some(self.closed());
        }
        if self.settle(&smaller, &prices) > SETTLED && !self.limits.reached() {
            return None;
        }
        tree.best = self.best.as_ref().and_then(|best| {
            let values = smaller.shrink(&best.values)?;
            Some(Best {
                cost: form.cost_of(&values),
                values,
            })
        });
        let harvest = tree.run();
        Some(self.reap(&smaller, harvest))
    }

    /// Adds cuts as long as they raise the bound; `Err` if nothing better than the best is left.
    fn cut(
        &self,
        form: &Form,
        simplex: &mut Simplex,
        prices: &mut Prices,
    ) -> Result<(), Impossible> {
        let cutoff = self.cutoff() - form.constant;
        let first = prices.bound;
        let mut idle = 0;
        for _ in 0..CUT_ROUNDS {
            let rows = cuts(form, simplex);
            if rows.is_empty() || self.limits.out_of_time() {
                break;
            }
            let before = simplex.clone();
            *simplex = simplex.with_rows(&rows);
            match simplex.solve(shaken(cutoff), 20_000) {
                Outcome::Infeasible => return Err(Impossible),
                Outcome::Trouble | Outcome::Limit => {
                    *simplex = before;
                    break;
                }
                Outcome::Optimal | Outcome::Cutoff => {}
            }
            let now = simplex.bound();
            if now.bound > cutoff {
                return Err(Impossible);
            }
            let rise = now.bound - prices.bound;
            if now.bound > prices.bound {
                *prices = now;
            }
            *simplex = without_loose(simplex, form.rows.len());
            idle = if rise < LITTLE * (prices.bound - first) {
                idle + 1
            } else {
                0
            };
            if idle >= 3 {
                break;
            }
        }
        Ok(())
    }

    /// Searches of their own in small parts of the form.
    fn look_around(&mut self, smaller: &Smaller, tree: &Tree<'_>, prices: &Prices) {
        if self.depth >= DEEPEST {
            return;
        }
        let relaxed = tree.simplex.values();
        self.look_nearby(smaller, &relaxed, prices);
        self.look_between(smaller, &relaxed);
    }

    /// Only among the variables that cost little away from where the relaxation has them.
    fn look_nearby(&mut self, smaller: &Smaller, relaxed: &[f64], prices: &Prices) {
        let mut far: Vec<f64> = prices.reduced.iter().map(|r| r.abs()).collect();
        let few = (far.len() / 4).clamp(FEW, MANY);
        if self.limits.reached() || far.len() < 2 * FEW {
            return;
        }
        let (_, reach, _) = far.select_nth_unstable_by(few, f64::total_cmp);
        let reach = *reach;
        let mut form = smaller.form.clone();
        for (j, &value) in relaxed.iter().enumerate() {
            let whole = form.whole[j] && (value - value.round()).abs() < 1e-9;
            if whole && prices.reduced[j].abs() > reach {
                form.low[j] = value.round();
                form.high[j] = form.low[j];
            }
        }
        // the best need not lie in there: only what is better than it is looked for
        let ceiling = self.cutoff() - smaller.form.constant + form.constant;
        let part = self.limits.part(AROUND);
        self.take(smaller, search_below(form, ceiling, &part, self.depth + 1));
    }

    /// Only where the relaxation and the best solution disagree.
    fn look_between(&mut self, smaller: &Smaller, relaxed: &[f64]) {
        let Some(best) = self.best.as_ref().filter(|_| !self.limits.reached()) else {
            return;
        };
        let Some(values) = smaller.shrink(&best.values) else {
            return;
        };
        let part = self.limits.part(AROUND);
        let found = between(&smaller.form, values, relaxed, &part, self.depth + 1);
        self.take(smaller, found);
    }

    fn take(&mut self, smaller: &Smaller, found: Found) {
        if let Some(best) = found.best {
            self.offer(smaller, &best.values);
        }
    }

    /// Narrows variables that would cost too much elsewhere; returns the share that is settled by it.
    fn settle(&mut self, smaller: &Smaller, prices: &Prices) -> f64 {
        let room = self.cutoff() - smaller.form.constant - prices.bound;
        if !room.is_finite() {
            return 0.0;
        }
        let mut settled = 0_u32;
        for (j, from) in smaller.from.iter().enumerate() {
            let Ok(at) = *from else { continue };
            let (low, high) = (smaller.form.low[at], smaller.form.high[at]);
            self.form.low[j] = low;
            self.form.high[j] = high;
            let reduced = prices.reduced[at];
            let far = reduced.abs() * (high - low) > room && reduced != 0.0;
            if !smaller.form.whole[at] || !far {
                continue;
            }
            let steps = (room.max(0.0) / reduced.abs() + 1e-6).floor();
            if reduced > 0.0 {
                self.form.high[j] = low + steps;
            } else {
                self.form.low[j] = high - steps;
            }
            settled += u32::from(steps == 0.0);
        }
        f64::from(settled) / f64::from(narrow(smaller.form.width()))
    }

    fn offer(&mut self, smaller: &Smaller, values: &[f64]) {
        let values = smaller.enlarge(values);
        let cost = self.form.cost_of(&values);
        if self.best.as_ref().is_none_or(|best| cost < best.cost) && self.form.allows(&values) {
            self.best = Some(Best { values, cost });
            self.gap = self.gap_now();
        }
    }

    fn reap(&mut self, smaller: &Smaller, harvest: Harvest) -> Found {
        if let Some(best) = harvest.best {
            self.offer(smaller, &best.values);
        }
        if harvest.complete {
            return self.closed();
        }
        self.bound = self.bound.max(harvest.bound);
        self.open()
    }

    fn gap_now(&self) -> f64 {
        self.best.as_ref().map_or(0.0, |best| {
            let rounding = GAP * (1.0 + best.cost.abs());
            rounding.max(self.limits.gap()).max(self.grain - 1e-3)
        })
    }

    fn cutoff(&self) -> f64 {
        self.best
            .as_ref()
            .map_or(self.ceiling, |best| best.cost - self.gap)
    }

    fn closed(&mut self) -> Found {
        let best = self.best.take();
        Found {
            bound: best.as_ref().map_or(f64::INFINITY, |best| best.cost),
            best,
            complete: true,
        }
    }

    fn open(&mut self) -> Found {
        Found {
            best: self.best.take(),
            bound: self.bound,
            complete: false,
        }
    }
}

/// The same program without the rows after the first `kept` that do not bind.
fn without_loose(simplex: &Simplex, kept: usize) -> Simplex {
    simplex.keep_rows(|row| row < kept || !simplex.loose(row))
}

fn lp_of(form: &Form) -> Lp {
    let bounds: Vec<(f64, f64)> = form
        .low
        .iter()
        .copied()
        .zip(form.high.iter().copied())
        .collect();
    Lp::new(form.cost.clone(), &bounds, &form.rows)
}
