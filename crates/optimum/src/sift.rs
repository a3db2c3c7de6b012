//! Sifting: leave out the variables that the relaxation's prices show to be out of place, and prove afterwards that
//! nothing better was left out.

use std::time::{Duration, Instant};

use crate::model::{Model, Sense};
use crate::relaxation::{Relaxation, relax};
use crate::solve::{Error, Settings, Solution, solve_whole};

/// Below this size the relaxation costs more than it saves.
const SMALL: usize = 250;

/// So many variables are left in the first round, twice as many in each further one.
const FEW: usize = 250;

/// Slack for the rounding in sums of reduced costs.
const LOOSE: f64 = 1e-6;

pub(crate) fn solve(model: &Model, settings: &Settings) -> Result<Solution, Error> {
    let clock = Clock::start(settings.time_limit);
    let open = model
        .columns
        .iter()
        .filter(|column| !column.fixed())
        .count();
    if open < SMALL {
        return solve_whole(model, settings);
    }
    let Some(relaxation) = relax(model, clock.left()) else {
        return solve_whole(model, &clock.rest_of(settings));
    };
    Sifter {
        model,
        settings,
        clock,
        relaxation,
    }
    .run()
}

struct Sifter<'m> {
    model: &'m Model,
    settings: &'m Settings,
    clock: Clock,
    relaxation: Relaxation,
}

impl Sifter<'_> {
    fn run(&self) -> Result<Solution, Error> {
        let mut best = self.known();
        let few = self.reach_of(FEW);
        let mut reach = best.as_ref().map_or(few, |best| self.distance(best));
        let mut nodes = 0;
        loop {
            let everything = self.relaxation.reduced.iter().all(|r| r.abs() <= reach);
            match solve_whole(&self.narrowed(reach), &self.rest(best.as_ref())) {
                Ok(found) => {
                    nodes += found.nodes;
                    let done = found.proven;
                    let bound = self.bound(&found, reach, everything);
                    best = Some(better(
                        self.model.sense,
                        best,
                        Solution {
                            bound,
                            nodes,
                            ..found
                        },
                    ));
                    let distance = best.as_ref().map_or(reach, |b| self.distance(b));
                    if !done || everything || distance <= reach {
                        return self.finish(best, reach, done, everything);
                    }
                    reach = distance.min(self.reach_of(2 * self.inside(reach)));
                }
                Err(Error::Infeasible) if !everything => {
                    reach = self.reach_of(4 * self.inside(reach))
                }
                Err(Error::LimitReached) if best.is_some() => {
                    return self.finish(best, 0.0, false, false);
                }
                Err(error) => return Err(error),
            }
        }
    }

    /// How far a solution is from the relaxation's bound: anything priced further out cannot improve it.
    fn distance(&self, solution: &Solution) -> f64 {
        let cost = self.cost(solution.objective);
        (cost - self.relaxation.bound) + LOOSE * (1.0 + cost.abs())
    }

    /// How many variables are priced within `reach`.
    fn inside(&self, reach: f64) -> usize {
        self.relaxation
            .reduced
            .iter()
            .filter(|r| r.abs() <= reach)
            .count()
    }

    /// The reach within which `count` variables are priced.
    fn reach_of(&self, count: usize) -> f64 {
        let mut prices: Vec<f64> = self.relaxation.reduced.iter().map(|r| r.abs()).collect();
        prices.sort_by(f64::total_cmp);
        prices.get(count).or(prices.last()).copied().unwrap_or(0.0)
    }

    /// The model with every variable priced further out than `reach` held where the relaxation wants it.
    fn narrowed(&self, reach: f64) -> Model {
        let mut model = self.model.clone();
        for (column, &reduced) in model.columns.iter_mut().zip(&self.relaxation.reduced) {
            if reduced > reach {
                column.high = column.low;
            } else if reduced < -reach {
                column.low = column.high;
            }
        }
        model
    }

    /// A bound for the whole model from the answer of the narrowed one.
    fn bound(&self, found: &Solution, reach: f64, everything: bool) -> f64 {
        let inside = self.cost(found.bound);
        let outside = self.relaxation.bound + reach;
        let bound = if everything {
            inside
        } else {
            inside.min(outside)
        };
        self.cost(bound.max(self.relaxation.bound))
    }

    fn finish(
        &self,
        best: Option<Solution>,
        reach: f64,
        done: bool,
        everything: bool,
    ) -> Result<Solution, Error> {
        let mut best = best.ok_or(Error::LimitReached)?;
        best.proven = done && (everything || self.distance(&best) <= reach);
        if best.proven {
            best.bound = best.objective;
        }
        Ok(best)
    }

    fn known(&self) -> Option<Solution> {
        let start = self.settings.start.clone()?;
        let bound = self.cost(self.relaxation.bound);
        crate::solve::accept(self.model, start, bound).ok()
    }

    fn rest(&self, best: Option<&Solution>) -> Settings {
        Settings {
            start: best.map(|b| b.values.clone()),
            ..self.clock.rest_of(self.settings)
        }
    }

    /// Turns an objective into a cost to be minimized, and back.
    fn cost(&self, objective: f64) -> f64 {
        match self.model.sense {
            Sense::Minimize => objective,
            Sense::Maximize => -objective,
        }
    }
}

fn better(sense: Sense, old: Option<Solution>, new: Solution) -> Solution {
    let Some(old) = old else { return new };
    let improves = match sense {
        Sense::Minimize => new.objective < old.objective,
        Sense::Maximize => new.objective > old.objective,
    };
    let (bound, nodes) = (new.bound, new.nodes);
    let kept = if improves { new } else { old };
    Solution {
        bound,
        nodes,
        ..kept
    }
}

struct Clock {
    started: Instant,
    limit: Option<Duration>,
}

impl Clock {
    fn start(limit: Option<Duration>) -> Clock {
        Clock {
            started: Instant::now(),
            limit,
        }
    }

    fn left(&self) -> Option<Duration> {
        self.limit
            .map(|limit| limit.saturating_sub(self.started.elapsed()))
    }

    fn rest_of(&self, settings: &Settings) -> Settings {
        Settings {
            time_limit: self.left(),
            ..settings.clone()
        }
    }
}
