//! The optimum on small boards: dynamic programming over everything that can be known, and policies followed exactly.
//!
//! A course is worth the machine at its end less what is spent; its cost is the worth of a working machine less that.
//! States are told apart by their belief (each world with its chance) and by what was done, so courses that lead to the
//! same knowledge meet. A course may be cut off where it is hardly ever reached; the answer is then an interval that holds
//! the true value, never a guess.

use std::{
    collections::{BTreeMap, BTreeSet, hash_map::DefaultHasher},
    hash::{Hash, Hasher},
};

use crate::{
    belief::{Atlas, Belief, Way},
    board::Board,
    case::{Case, Clock, Decision, Move},
    error::Error,
    policy::Policy,
    terms::Terms,
};

/// The search goes over the courses again and again, each time further into the unlikely ones: what was learned before
/// shows where to look.
const FIRST_REACH: f64 = 0.3;
/// How much further.
const REACH_STEP: f64 = 0.5;

/// Decisions reached with less than this chance are not looked into.
const LEAST_REGRETTED: f64 = 0.005;
/// A remedy is done again until this chance is left that all of them failed.
const LEAST_FAILED: f64 = 0.01;

/// An interval that holds a value.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Within {
    /// At least.
    pub low: f64,
    /// At most.
    pub high: f64,
}

impl Within {
    fn exactly(value: f64) -> Self {
        Self {
            low: value,
            high: value,
        }
    }

    fn is_narrow(self, depth: Depth) -> bool {
        self.high - self.low <= depth.tolerance
    }

    fn middle(self) -> f64 {
        f64::midpoint(self.low, self.high)
    }

    fn add(&mut self, weight: f64, other: Within) {
        self.low += weight * other.low;
        self.high += weight * other.high;
    }
}

/// How finely a course is followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// Courses reached with less than this chance are cut off.
    pub least_reach: f64,
    /// Money by which a decision must be better to be looked at.
    pub tolerance: f64,
    /// States looked at before it is given up.
    pub most_states: usize,
}

impl Default for Depth {
    fn default() -> Self {
        Self {
            least_reach: 1e-5,
            tolerance: 0.01,
            most_states: 2_000_000,
        }
    }
}

/// The least expected cost that any policy has on one machine of a board, and the first decision of the course that has it.
///
/// # Errors
/// The board is too large.
pub fn least_cost(terms: &Terms, depth: Depth) -> Result<(Within, Decision), Error> {
    let board = terms.board();
    let mut solver = Solver::new(terms, &board, depth);
    let belief = solver.atlas.prior()?;
    let (value, first) = solver.narrowed(&belief, &Desk::new(terms))?;
    Ok((cost(terms, value), first))
}

/// What following a policy on one machine of a board costs, on the mean over all that may be true of the machine.
///
/// # Errors
/// The board is too large.
pub fn expected_cost(
    terms: &Terms,
    policy: &mut dyn Policy,
    depth: Depth,
) -> Result<Within, Error> {
    let board = terms.board();
    let mut follower = Follower {
        atlas: Atlas::new(terms, &board),
        depth,
        policy,
        states: 0,
    };
    let belief = follower.atlas.prior()?;
    let value = follower.follow(&belief, &Case::new(terms, Clock::Stands), 1.0)?;
    Ok(cost(terms, value))
}

/// Where a policy decides otherwise than the best course.
#[derive(Debug, Clone, PartialEq)]
pub struct Regret {
    /// What was done and seen before.
    pub moves: Vec<Move>,
    /// The chance to get there.
    pub reach: f64,
    /// What the policy decides.
    pub decision: Decision,
    /// What the best course decides.
    pub best: Decision,
    /// What this one decision loses, all after it being the best course; negative only within what was left open.
    pub loss: Within,
}

/// Every decision of a policy that loses something against the best course, the costliest by its reach first.
///
/// # Errors
/// The board is too large.
pub fn regrets(terms: &Terms, policy: &mut dyn Policy, depth: Depth) -> Result<Vec<Regret>, Error> {
    let board = terms.board();
    let mut solver = Solver::new(terms, &board, depth);
    let mut open = vec![(
        solver.atlas.prior()?,
        Desk::new(terms),
        Case::new(terms, Clock::Stands),
        1.0,
    )];
    let mut found = Vec::new();
    while let Some((belief, desk, case, reach)) = open.pop() {
        let forced = case.forced();
        let decision = forced.map_or_else(|| policy.decide(&case), Ok)?;
        if forced.is_none() {
            let (best, first) = solver.narrowed(&belief, &desk)?;
            let had = solver.with(&belief, &desk, decision)?;
            let loss = Within {
                low: best.low - had.high,
                high: best.high - had.low,
            };
            if first != decision && loss.middle() > depth.tolerance {
                found.push(Regret {
                    moves: case.history.clone(),
                    reach,
                    decision,
                    best: first,
                    loss,
                });
            }
        }
        if decision == Decision::Stop {
            continue;
        }
        let (then, _) = desk.after(terms, decision);
        for way in solver.atlas.after(&belief, decision)?.0 {
            let mut case = case.clone();
            case.write(decision, way.outcome);
            if reach * way.chance >= LEAST_REGRETTED {
                open.push((way.belief, then.clone(), case, reach * way.chance));
            }
        }
    }
    let weight = |regret: &Regret| regret.reach * regret.loss.middle();
    found.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    Ok(found)
}

fn cost(terms: &Terms, value: Within) -> Within {
    Within {
        low: terms.economy.worth - value.high,
        high: terms.economy.worth - value.low,
    }
}

struct Follower<'a> {
    atlas: Atlas<'a>,
    depth: Depth,
    policy: &'a mut dyn Policy,
    states: usize,
}

impl Follower<'_> {
    fn follow(&mut self, belief: &Belief, case: &Case<'_>, reach: f64) -> Result<Within, Error> {
        count(&mut self.states, self.depth)?;
        let economy = &case.terms.economy;
        let decision = match case.forced() {
            Some(forced) => forced,
            None if reach < self.depth.least_reach => {
                // taken as not eating more than ten machines bring
                return Ok(Within {
                    low: economy.hold - 10.0 * (economy.worth - economy.hold),
                    high: self.atlas.worth(belief, u64::MAX).1,
                });
            }
            None => self.policy.decide(case)?,
        };
        if decision == Decision::Stop {
            return Ok(Within::exactly(self.atlas.worth(belief, u64::MAX).0));
        }
        let (ways, harmed) = self.atlas.after(belief, decision)?;
        let mut value = Within::exactly(-case.price(decision) - harmed * economy.harm_cost);
        for way in ways {
            let mut then = case.clone();
            then.write(decision, way.outcome);
            value.add(
                way.chance,
                self.follow(&way.belief, &then, reach * way.chance)?,
            );
        }
        Ok(value)
    }
}

/// Counts a state, and gives up if there are too many.
fn count(states: &mut usize, depth: Depth) -> Result<(), Error> {
    *states += 1;
    if *states > depth.most_states {
        return Err(Error::new(format!(
            "found more than {} states of knowledge, expected a smaller board",
            depth.most_states
        )));
    }
    Ok(())
}

/// What was done, as far as it matters to what can be done.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Desk {
    /// By check: made since the last remedy.
    made: Vec<bool>,
    standing: BTreeSet<String>,
    /// By remedy: how often it was done.
    times: Vec<usize>,
    /// The last thing done was a remedy.
    mended: bool,
}

impl Desk {
    fn new(terms: &Terms) -> Self {
        Self {
            made: vec![false; terms.profile.checks.len()],
            standing: BTreeSet::new(),
            times: vec![0; terms.economy.remedies.len()],
            mended: false,
        }
    }

    /// What can be done.
    fn open(&self, terms: &Terms) -> Vec<Decision> {
        if self.mended {
            return vec![Decision::Check(terms.retest)];
        }
        let checks =
            (0..self.made.len()).filter(|&check| !self.made[check] && terms.at_hand[check]);
        let remedies = (0..self.times.len()).filter(|&remedy| self.may(terms, remedy));
        checks
            .map(Decision::Check)
            .chain(remedies.map(Decision::Remedy))
            .collect()
    }

    /// Whether a remedy may be done once more.
    fn may(&self, terms: &Terms, remedy: usize) -> bool {
        let fails = 1.0 - terms.economy.remedies[remedy].works;
        (0..self.times[remedy]).map(|_| fails).product::<f64>() > LEAST_FAILED
    }

    /// The parts for which a remedy can still be done, a bit each.
    fn within(&self, terms: &Terms) -> u64 {
        let can = |reference: &String| {
            let mut remedies = 0..self.times.len();
            remedies.any(|remedy| {
                terms.economy.remedies[remedy].part == *reference && self.may(terms, remedy)
            })
        };
        let parts = terms.profile.parts.iter().enumerate();
        parts
            .filter(|(_, part)| can(&part.reference))
            .map(|(bit, _)| 1 << bit)
            .sum()
    }

    /// The desk after a decision, and what that costs, minutes at their rate.
    fn after(&self, terms: &Terms, decision: Decision) -> (Desk, f64) {
        let economy = &terms.economy;
        let mut then = self.clone();
        let (mut minutes, mut money) = (0.0, 0.0);
        match decision {
            Decision::Check(check) => {
                then.made[check] = true;
                then.mended = false;
                minutes += terms.profile.checks[check].minutes;
                for set_up in &terms.profile.checks[check].set_up {
                    if then.standing.insert(set_up.clone()) {
                        minutes += economy.set_up_minutes.get(set_up).copied().unwrap_or(0.0);
                    }
                }
            }
            Decision::Remedy(remedy) => {
                then.made.fill(false);
                then.mended = true;
                then.times[remedy] += 1;
                minutes += economy.remedies[remedy].minutes;
                money += economy.remedies[remedy].money;
            }
            Decision::Stop => {}
        }
        (then, money + minutes * economy.rate_per_minute)
    }
}

struct Solver<'a> {
    terms: &'a Terms,
    atlas: Atlas<'a>,
    depth: Depth,
    states: usize,
    /// By state: with which reach it was looked at, and what came out.
    known: BTreeMap<u128, Known>,
}

/// What is known of a state.
#[derive(Debug, Clone, Copy)]
struct Known {
    value: Within,
    first: Decision,
    /// Down to which chance, from here, its courses were followed.
    reach: f64,
}

/// A decision to be looked at: where it leads, and what it may be worth.
struct Choice {
    decision: Decision,
    desk: Desk,
    /// Each way, and what it may be worth before anything is looked at.
    ways: Vec<(Way, Within)>,
    whole: Within,
}

impl<'a> Solver<'a> {
    fn new(terms: &'a Terms, board: &'a Board<'a>, depth: Depth) -> Self {
        Self {
            terms,
            atlas: Atlas::new(terms, board),
            depth,
            states: 0,
            known: BTreeMap::new(),
        }
    }

    /// The value of a state as if it were reached surely: over it again and again, each time further, until it is narrow.
    fn narrowed(&mut self, belief: &Belief, desk: &Desk) -> Result<(Within, Decision), Error> {
        let depth = self.depth;
        let mut reach = FIRST_REACH;
        loop {
            self.depth.least_reach = reach.max(depth.least_reach);
            let answer = self.solve(belief, desk, 1.0, f64::NEG_INFINITY)?;
            self.depth = depth;
            if answer.0.is_narrow(depth) || reach <= depth.least_reach {
                return Ok(answer);
            }
            reach *= REACH_STEP;
        }
    }

    /// The value of a decision, all after it being the best course.
    fn with(&mut self, belief: &Belief, desk: &Desk, decision: Decision) -> Result<Within, Error> {
        if decision == Decision::Stop {
            return Ok(Within::exactly(self.bounds(belief, desk).low));
        }
        let choice = self.choice(belief, desk, decision)?;
        let mut value = choice.whole;
        for (way, bound) in &choice.ways {
            let then = self.narrowed(&way.belief, &choice.desk)?.0;
            value.add(
                way.chance,
                Within {
                    low: then.low - bound.low,
                    high: then.high - bound.high,
                },
            );
        }
        Ok(value)
    }

    /// The value of a state; one that cannot be more than `need` is not looked at further.
    fn solve(
        &mut self,
        belief: &Belief,
        desk: &Desk,
        reach: f64,
        need: f64,
    ) -> Result<(Within, Decision), Error> {
        let key = key(belief, desk);
        let known = match self.known.get(&key) {
            Some(&known) => known,
            None => Known {
                value: self.bounds(belief, desk),
                first: Decision::Stop,
                reach: f64::INFINITY,
            },
        };
        let mut value = known.value;
        let hopeless = value.high <= need || value.is_narrow(self.depth);
        let far = reach < self.depth.least_reach && !desk.mended;
        // it was followed as far as this already, and everything that `need` asks for was looked at
        let done = known.reach <= self.depth.least_reach / reach && known.value.low >= need;
        if hopeless || far || done {
            return Ok((value, known.first));
        }
        count(&mut self.states, self.depth)?;
        let (better, first) = self.best(belief, desk, reach, need)?;
        value = Within {
            low: value.low.max(better.low),
            high: value.high.min(better.high),
        };
        let reach = if value.low >= need {
            self.depth.least_reach / reach
        } else {
            f64::INFINITY
        };
        self.known.insert(
            key,
            Known {
                value,
                first,
                reach,
            },
        );
        Ok((value, first))
    }

    /// What a state is worth at least, as it is, and at most, to one who knew the truth.
    fn bounds(&mut self, belief: &Belief, desk: &Desk) -> Within {
        let due = if desk.mended {
            desk.after(self.terms, Decision::Check(self.terms.retest)).1
        } else {
            0.0
        };
        let (as_it_is, at_best) = self.atlas.worth(belief, desk.within(self.terms));
        Within {
            low: as_it_is - due,
            high: at_best - due,
        }
    }

    fn choice(
        &mut self,
        belief: &Belief,
        desk: &Desk,
        decision: Decision,
    ) -> Result<Choice, Error> {
        let (ways, harmed) = self.atlas.after(belief, decision)?;
        let (desk, price) = desk.after(self.terms, decision);
        let mut whole = Within::exactly(-price - harmed * self.terms.economy.harm_cost);
        let mut list = Vec::new();
        for way in ways {
            let known = self
                .known
                .get(&key(&way.belief, &desk))
                .map(|known| known.value);
            let within = known.unwrap_or_else(|| self.bounds(&way.belief, &desk));
            whole.add(way.chance, within);
            list.push((way, within));
        }
        Ok(Choice {
            decision,
            desk,
            ways: list,
            whole,
        })
    }

    /// The best decision, the promising ones first; one that cannot be better than what is had is left out.
    fn best(
        &mut self,
        belief: &Belief,
        desk: &Desk,
        reach: f64,
        need: f64,
    ) -> Result<(Within, Decision), Error> {
        let mut choices = Vec::new();
        for decision in desk.open(self.terms) {
            choices.push(self.choice(belief, desk, decision)?);
        }
        choices.sort_by(|a, b| b.whole.middle().total_cmp(&a.whole.middle()));
        let mut value = if desk.mended {
            Within::exactly(f64::NEG_INFINITY)
        } else {
            Within::exactly(self.bounds(belief, desk).low)
        };
        let mut first = Decision::Stop;
        for choice in choices {
            let least = need.max(value.low + self.depth.tolerance);
            let decision = choice.decision;
            let then = if choice.whole.high <= least {
                choice.whole
            } else {
                self.total(choice, reach, least)?
            };
            value.high = value.high.max(then.high);
            if then.low > value.low {
                value.low = then.low;
                first = decision;
            }
        }
        Ok((value, first))
    }

    /// The value of a decision; it is dropped as soon as it cannot be more than `need`.
    fn total(&mut self, choice: Choice, reach: f64, need: f64) -> Result<Within, Error> {
        let mut value = choice.whole;
        for (way, bound) in &choice.ways {
            if value.high <= need {
                break;
            }
            // what this way must be worth at least, the others being worth all they may be
            let needed = bound.high - (value.high - need) / way.chance;
            let then = self
                .solve(&way.belief, &choice.desk, reach * way.chance, needed)?
                .0;
            value.add(
                way.chance,
                Within {
                    low: then.low.max(bound.low) - bound.low,
                    high: then.high.min(bound.high) - bound.high,
                },
            );
        }
        Ok(value)
    }
}

/// What tells two states of knowledge apart.
fn key(belief: &Belief, desk: &Desk) -> u128 {
    let half = |salt: u64| {
        let mut hasher = DefaultHasher::new();
        (salt, desk).hash(&mut hasher);
        for (world, chance) in belief {
            (world, (chance * 1e10).round() as u64).hash(&mut hasher);
        }
        u128::from(hasher.finish())
    };
    half(1) << 64 | half(2)
}
