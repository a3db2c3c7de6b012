//! The search tree: the most promising open node first, then down from it as long as that leads somewhere.

use std::cmp::Ordering;
use std::collections::BinaryHeap;
use std::rc::Rc;

use crate::domain::{Bound, Domain};
use crate::form::{Form, Impossible};
use crate::groups::{Group, groups};
use crate::limits::Limits;
use crate::lp::{Basis, Mark, Outcome, Prices, Simplex, narrow};
use crate::mip::{AROUND, DEEPEST, between};
use crate::pseudo::{Pseudo, score};

/// A whole variable may be off by this much in a relaxation.
pub(crate) const WHOLE: f64 = 1e-6;

/// Things tried out on both sides before one is branched on, at the root and below.
const TRIED_AT_ROOT: usize = 30;
const TRIED: usize = 8;

/// Trials of which both sides are known are not repeated.
const KNOWN: u32 = 4;

/// Steps of one trial.
const TRIAL_STEPS: u64 = 100;

/// Trials without a better one before the search for one ends.
const PATIENCE: usize = 4;

/// Steps of one relaxation.
const STEPS: u64 = 50_000;

/// Nodes made before the first search between the best solution and a relaxation.
const FIRST_LOOK: u64 = 100;

/// The best solution so far.
#[derive(Debug, Clone)]
pub(crate) struct Best {
    pub(crate) values: Vec<f64>,
    pub(crate) cost: f64,
}

/// Something to branch on: a variable, or a group by its position after the variables.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Branch {
    thing: usize,
    fraction: f64,
    value: f64,
}

struct Node {
    bound: f64,
    /// For equal bounds: the later, deeper one first.
    number: u64,
    bounds: Rc<Vec<Bound>>,
    basis: Rc<Basis>,
    branch: Branch,
    up: bool,
}

impl PartialEq for Node {
    fn eq(&self, other: &Node) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Node {}

impl PartialOrd for Node {
    fn partial_cmp(&self, other: &Node) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Node {
    fn cmp(&self, other: &Node) -> Ordering {
        let by_bound = other.bound.total_cmp(&self.bound);
        by_bound.then(self.number.cmp(&other.number))
    }
}

/// A search over one form.
pub(crate) struct Tree<'l> {
    pub(crate) form: Rc<Form>,
    pub(crate) simplex: Simplex,
    groups: Vec<Group>,
    pseudo: Pseudo,
    domain: Domain,
    pub(crate) best: Option<Best>,
    /// Solutions that cost more are of no use.
    pub(crate) ceiling: f64,
    pub(crate) depth: usize,
    /// The number of nodes at which to look around again.
    look_at: u64,
    /// Solutions must be better than the best by this much.
    gap: f64,
    open: BinaryHeap<Node>,
    made: u64,
    /// The lowest bound of what had to be given up because of rounding.
    lost: f64,
    limits: &'l Limits,
}

/// What a tree came to.
pub(crate) struct Harvest {
    pub(crate) best: Option<Best>,
    /// No solution costs less, the best one found apart.
    pub(crate) bound: f64,
    pub(crate) complete: bool,
}

enum Visit {
    /// Nothing below is better.
    Closed,
    /// Branched on.
    Split(Branch, f64),
    /// A limit was reached.
    Stopped,
}

impl<'l> Tree<'l> {
    /// A tree whose root relaxation is solved, with the bounds that the simplex has.
    pub(crate) fn new(
        form: Rc<Form>,
        simplex: Simplex,
        best: Option<Best>,
        gap: f64,
        limits: &'l Limits,
    ) -> Tree<'l> {
        let groups = groups(&form);
        Tree {
            pseudo: Pseudo::new(form.width() + groups.len()),
            domain: Domain::new(Rc::clone(&form), &simplex.low, &simplex.high),
            open: BinaryHeap::new(),
            made: 0,
            lost: f64::INFINITY,
            form,
            simplex,
            groups,
            best,
            ceiling: f64::INFINITY,
            depth: 0,
            look_at: FIRST_LOOK,
            gap,
            limits,
        }
    }

    /// Searches until nothing is open or a limit is reached.
    pub(crate) fn run(mut self) -> Harvest {
        let mut complete = true;
        let mut lowest = f64::INFINITY;
        match self.visit(f64::NEG_INFINITY) {
            Visit::Closed => {}
            Visit::Stopped => {
                complete = false;
                lowest = f64::NEG_INFINITY;
            }
            Visit::Split(branch, bound) => self.grow(branch, bound),
        }
        while let Some(node) = self.open.pop() {
            if node.bound > self.cutoff() {
                break;
            }
            if self.limits.reached() {
                lowest = lowest.min(node.bound);
                complete = false;
                break;
            }
            self.jump(&node);
            let mut next = Some(node);
            while let Some(node) = next.take() {
                let bound = node.bound;
                match self.enter(&node) {
                    Visit::Closed => {}
                    Visit::Stopped => {
                        lowest = lowest.min(bound);
                        complete = false;
                    }
                    Visit::Split(branch, bound) => {
                        self.look_around();
                        next = self.split(branch, bound);
                    }
                }
                if !complete {
                    break;
                }
            }
            if !complete {
                break;
            }
        }
        let open = self.open.iter().map(|node| node.bound);
        let mut lowest = open.filter(|_| !complete).fold(lowest, f64::min);
        if self.lost < self.cutoff() {
            complete = false;
            lowest = lowest.min(self.lost);
        }
        Harvest {
            best: self.best,
            bound: lowest,
            complete,
        }
    }

    /// Costs above this are of no use.
    fn cutoff(&self) -> f64 {
        self.best
            .as_ref()
            .map_or(self.ceiling, |best| best.cost - self.gap)
    }

    /// The cutoff without the part that is not in the relaxation.
    fn relaxed_cutoff(&self) -> f64 {
        self.cutoff() - self.form.constant
    }

    /// Goes to the place in the tree from which a node branches.
    fn jump(&mut self, node: &Node) {
        self.domain.reset(&node.bounds);
        self.put_bounds();
        self.simplex.restore(&node.basis);
    }

    fn put_bounds(&mut self) {
        self.simplex.low.copy_from_slice(&self.domain.low);
        self.simplex.high.copy_from_slice(&self.domain.high);
    }

    /// A search between the best solution and the relaxation here; ever more seldom where it finds nothing.
    fn look_around(&mut self) {
        if self.depth >= DEEPEST || self.made < self.look_at {
            return;
        }
        let Some(best) = &self.best else { return };
        let (values, cost) = (best.values.clone(), best.cost);
        let part = self.limits.part(AROUND);
        let found = between(
            &self.form,
            values,
            &self.simplex.values(),
            &part,
            self.depth + 1,
        );
        if let Some(best) = found.best {
            self.offer(best.values);
        }
        let better = self
            .best
            .as_ref()
            .is_some_and(|best| best.cost < cost - self.gap);
        self.look_at = self.made
            + if better {
                FIRST_LOOK
            } else {
                FIRST_LOOK.max(self.made / 2)
            };
    }

    /// Takes a node's branch and looks at what is there.
    fn enter(&mut self, node: &Node) -> Visit {
        self.limits.count();
        if self.apply(node.branch, node.up).is_err() {
            return Visit::Closed;
        }
        self.put_bounds();
        self.simplex.refresh();
        let before = node.bound - self.form.constant;
        let visit = self.visit(node.bound);
        if let Visit::Split(_, bound) = &visit {
            let rise = bound - self.form.constant - before;
            let distance = distance(node.branch, node.up);
            self.pseudo.note(node.branch.thing, node.up, distance, rise);
        }
        visit
    }

    fn apply(&mut self, branch: Branch, up: bool) -> Result<(), Impossible> {
        for bound in self.bounds_of(branch, up) {
            self.domain.narrow(bound)?;
        }
        self.domain.propagate()
    }

    fn bounds_of(&self, branch: Branch, up: bool) -> Vec<Bound> {
        let n = self.form.width();
        if branch.thing >= n {
            let group = &self.groups[branch.thing - n];
            return if up {
                group.one(n).collect()
            } else {
                group.none().collect()
            };
        }
        let at = narrow(branch.thing);
        vec![if up {
            (at, branch.value.ceil(), f64::INFINITY)
        } else {
            (at, f64::NEG_INFINITY, branch.value.floor())
        }]
    }

    /// Solves the relaxation here and decides what to do.
    fn visit(&mut self, known: f64) -> Visit {
        loop {
            let Some(prices) = self.relax() else {
                return Visit::Closed;
            };
            let Ok(prices) = prices else {
                self.lost = self.lost.min(known);
                return Visit::Closed;
            };
            let bound = prices.bound + self.form.constant;
            if self.fix(&prices).is_err() {
                return Visit::Closed;
            }
            let values = self.simplex.values();
            let branches = self.branches(&values);
            if branches.is_empty() {
                if !self.finish(&values) {
                    self.lost = self.lost.min(bound);
                }
                return Visit::Closed;
            }
            match self.choose(branches, prices.bound) {
                Chosen::Branch(branch) => return Visit::Split(branch, bound),
                Chosen::Narrowed => {
                    if self.limits.reached() {
                        return Visit::Stopped;
                    }
                }
                Chosen::Closed => return Visit::Closed,
            }
        }
    }

    /// `None` if nothing below is better; `Err` if the relaxation could not be solved.
    fn relax(&mut self) -> Option<Result<Prices, ()>> {
        let cutoff = self.relaxed_cutoff();
        let mut outcome = self.simplex.solve(shaken(cutoff), STEPS);
        if outcome == Outcome::Cutoff && self.simplex.bound().bound <= cutoff {
            // the costs had been shifted too far
            self.simplex.unshift();
            outcome = self.simplex.solve(f64::INFINITY, STEPS);
        }
        if matches!(outcome, Outcome::Trouble | Outcome::Limit) {
            // once more from the beginning
            self.simplex.reset();
            outcome = self.simplex.solve(f64::INFINITY, STEPS);
        }
        match outcome {
            Outcome::Infeasible => None,
            Outcome::Trouble | Outcome::Limit => Some(Err(())),
            Outcome::Optimal | Outcome::Cutoff => {
                let prices = self.simplex.bound();
                (prices.bound <= cutoff).then_some(Ok(prices))
            }
        }
    }

    /// Whole variables that would cost too much away from their bound stay there.
    fn fix(&mut self, prices: &Prices) -> Result<(), Impossible> {
        let room = self.relaxed_cutoff() - prices.bound;
        if !room.is_finite() {
            return Ok(());
        }
        for (j, &reduced) in prices.reduced.iter().enumerate() {
            let (low, high) = (self.domain.low[j], self.domain.high[j]);
            let far = reduced.abs() * (high - low) > room && reduced != 0.0;
            if !self.form.whole[j] || low >= high || !far {
                continue;
            }
            let steps = (room / reduced.abs() + 1e-6).floor();
            let at = narrow(j);
            let bound = if reduced > 0.0 {
                (at, low, low + steps)
            } else {
                (at, high - steps, high)
            };
            self.domain.narrow(bound)?;
        }
        self.domain.propagate()
    }

    fn branches(&self, values: &[f64]) -> Vec<Branch> {
        let n = self.form.width();
        let mut found = Vec::new();
        for (thing, &value) in values.iter().enumerate() {
            let fraction = value - value.floor();
            if self.form.whole[thing] && fraction > WHOLE && fraction < 1.0 - WHOLE {
                found.push(Branch {
                    thing,
                    fraction,
                    value,
                });
            }
        }
        if found.is_empty() {
            return found;
        }
        for (at, group) in self.groups.iter().enumerate() {
            let value = group.sum(values);
            if value > 0.02 && value < 0.98 {
                found.push(Branch {
                    thing: n + at,
                    fraction: value,
                    value,
                });
            }
        }
        found
    }

    /// A whole solution of the relaxation becomes the best if it stands up to the check.
    fn finish(&mut self, values: &[f64]) -> bool {
        let Some(values) = self.rounded(values) else {
            return false;
        };
        self.offer(values)
    }

    /// Takes values over if they are a solution and better than the best.
    pub(crate) fn offer(&mut self, values: Vec<f64>) -> bool {
        if !self.form.allows(&values) {
            return false;
        }
        let cost = self.form.cost_of(&values);
        if self.best.as_ref().is_none_or(|best| cost < best.cost) {
            self.best = Some(Best { values, cost });
        }
        true
    }

    /// Whole variables rounded; the others follow from them by a relaxation of their own.
    fn rounded(&mut self, values: &[f64]) -> Option<Vec<f64>> {
        round_values(&self.form, &mut self.simplex, values)
    }

    /// The branch that promises to raise the bound most on both sides; those not known well are tried out.
    fn choose(&mut self, mut branches: Vec<Branch>, bound: f64) -> Chosen {
        let most = if self.made == 0 { TRIED_AT_ROOT } else { TRIED };
        let expected: Vec<f64> = branches
            .iter()
            .map(|b| score(self.pseudo.expect(b.thing, b.fraction)))
            .collect();
        let mut order: Vec<usize> = (0..branches.len()).collect();
        order.sort_by(|&a, &b| expected[b].total_cmp(&expected[a]).then(a.cmp(&b)));
        let mut best: Option<(f64, usize)> = None;
        let (mut tried, mut idle) = (0, 0);
        let mut mark = None;
        for at in order {
            let branch = branches[at];
            let mut value = expected[at];
            if self.pseudo.seen(branch.thing) < KNOWN {
                if tried >= most || idle >= PATIENCE + most / 4 {
                    break;
                }
                tried += 1;
                let mark = mark.get_or_insert_with(|| self.simplex.mark());
                match self.both_sides(branch, bound, mark) {
                    Ok(rises) => value = score(rises),
                    Err(chosen) => return chosen,
                }
            }
            if best.is_none_or(|(other, _)| value > other) {
                best = Some((value, at));
                idle = 0;
            } else {
                idle += 1;
            }
        }
        best.map_or(Chosen::Closed, |(_, at)| {
            Chosen::Branch(branches.swap_remove(at))
        })
    }

    /// The rises on both sides; if one side is impossible the other is taken at once.
    fn both_sides(
        &mut self,
        branch: Branch,
        bound: f64,
        mark: &Mark,
    ) -> Result<(f64, f64), Chosen> {
        let down = self.trial(branch, false, bound, mark);
        let up = self.trial(branch, true, bound, mark);
        let side = match (down, up) {
            (Some(down), Some(up)) => return Ok((down, up)),
            (None, None) => return Err(Chosen::Closed),
            (down, _) => down.is_none(),
        };
        if self.apply(branch, side).is_err() {
            return Err(Chosen::Closed);
        }
        self.put_bounds();
        self.simplex.refresh();
        Err(Chosen::Narrowed)
    }

    /// The rise of the bound on one side, after a few steps; `None` if nothing is there.
    fn trial(&mut self, branch: Branch, up: bool, before: f64, mark: &Mark) -> Option<f64> {
        for (j, low, high) in self.bounds_of(branch, up) {
            let j = j as usize;
            let (low, high) = (low.max(self.simplex.low[j]), high.min(self.simplex.high[j]));
            self.simplex.set_bounds(j, low, high.max(low));
        }
        self.simplex.refresh();
        let cutoff = self.relaxed_cutoff();
        let outcome = self.simplex.solve(shaken(cutoff), TRIAL_STEPS);
        let rise = match outcome {
            Outcome::Infeasible => None,
            Outcome::Cutoff if self.simplex.bound().bound > cutoff => None,
            _ => Some((self.simplex.objective() - before).max(0.0)),
        };
        self.simplex.back_to(mark);
        if let Some(rise) = rise {
            self.pseudo
                .note(branch.thing, up, distance(branch, up), rise);
        }
        rise
    }

    /// Goes down without looking back, fixing what is nearly whole; what it finds becomes the best. The place in the
    /// tree stays as it was.
    pub(crate) fn dive(&mut self) {
        let (mark, bounds) = (self.simplex.mark(), self.domain.changes());
        while !self.limits.reached() {
            let values = self.simplex.values();
            let Some(branch) = self.nearest(&values) else {
                self.finish(&values);
                break;
            };
            if self.apply(branch, branch.fraction >= 0.3).is_err() {
                break;
            }
            self.put_bounds();
            self.simplex.refresh();
            if self.simplex.solve(self.relaxed_cutoff(), STEPS) != Outcome::Optimal {
                break;
            }
        }
        self.domain.reset(&bounds);
        self.simplex.back_to(&mark);
    }

    /// The variable that is nearest to a whole number, but not there.
    fn nearest(&self, values: &[f64]) -> Option<Branch> {
        let mut best: Option<(f64, Branch)> = None;
        for (thing, &value) in values.iter().enumerate() {
            let fraction = value - value.floor();
            if !self.form.whole[thing] || fraction <= WHOLE || fraction >= 1.0 - WHOLE {
                continue;
            }
            let merit = if fraction >= 0.3 {
                fraction
            } else {
                0.3 - fraction
            };
            if best.is_none_or(|(other, _)| merit > other) {
                best = Some((
                    merit,
                    Branch {
                        thing,
                        fraction,
                        value,
                    },
                ));
            }
        }
        best.map(|(_, branch)| branch)
    }

    /// Both sides of the first branch.
    fn grow(&mut self, branch: Branch, bound: f64) {
        if let Some(node) = self.split(branch, bound) {
            self.open.push(node);
        }
    }

    /// Opens both sides of a branch; returns the one to go to at once.
    fn split(&mut self, branch: Branch, bound: f64) -> Option<Node> {
        let bounds = Rc::new(self.domain.changes());
        let basis = Rc::new(self.simplex.basis());
        let mut side = |up: bool| {
            self.made += 1;
            Node {
                bound,
                number: self.made,
                bounds: Rc::clone(&bounds),
                basis: Rc::clone(&basis),
                branch,
                up,
            }
        };
        let (down, up) = (side(false), side(true));
        let expected = self.pseudo.expect(branch.thing, branch.fraction);
        let (first, second) = if expected.0 < expected.1 {
            (down, up)
        } else {
            (up, down)
        };
        self.open.push(second);
        Some(first)
    }
}

/// A cutoff for costs that have been changed a little.
pub(crate) fn shaken(cutoff: f64) -> f64 {
    cutoff + 1e-6 * (1.0 + cutoff.abs())
}

enum Chosen {
    Branch(Branch),
    /// One side is impossible: the other holds here.
    Narrowed,
    Closed,
}

fn distance(branch: Branch, up: bool) -> f64 {
    if up {
        1.0 - branch.fraction
    } else {
        branch.fraction
    }
}

/// Whole variables rounded; where there are others, they are chosen best for that.
pub(crate) fn round_values(form: &Form, simplex: &mut Simplex, values: &[f64]) -> Option<Vec<f64>> {
    let mut rounded: Vec<f64> = values
        .iter()
        .zip(&form.whole)
        .map(|(&value, &whole)| if whole { value.round() } else { value })
        .collect();
    if form.whole.iter().all(|&whole| whole) || form.allows(&rounded) {
        return Some(rounded);
    }
    let mark = simplex.mark();
    for (j, &value) in rounded.iter().enumerate() {
        if form.whole[j] {
            simplex.set_bounds(j, value, value);
        }
    }
    simplex.refresh();
    let outcome = simplex.solve(f64::INFINITY, STEPS);
    if outcome == Outcome::Optimal {
        for (j, value) in simplex.values().into_iter().enumerate() {
            if !form.whole[j] {
                rounded[j] = value;
            }
        }
    }
    simplex.back_to(&mark);
    (outcome == Outcome::Optimal).then_some(rounded)
}
