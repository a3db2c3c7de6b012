//! The money curve: the best plan for every amount of money.

use std::collections::BTreeMap;
use std::time::Instant;

use crate::instance::Instance;
use crate::plan::Plan;
use crate::solve::{Error, NEAR, Settings, score, solve};

/// So many plans are sought evenly before the steps between them are.
const COARSE: usize = 8;

/// The best plans by rising money.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Each is the best for its own money, and, if the curve is complete, up to the money of the next.
    pub plans: Vec<Plan>,
    /// Every step is there. Else there may be more between two plans.
    pub complete: bool,
}

/// The money curve from nothing to where more money buys nothing more; the instance's own money limit plays no part.
/// At most `most` plans are sought, and no longer than the time limit of `settings` in all.
///
/// # Errors
/// If there is no plan even without a money limit, or a search fails.
pub fn curve(instance: &Instance, settings: &Settings, most: usize) -> Result<Curve, Error> {
    let mut sweep = Sweep {
        instance,
        settings,
        started: Instant::now(),
        steps: BTreeMap::new(),
        impossible: -1,
    };
    let top = sweep.best(None)?;
    let highest = top.money;
    sweep.steps.insert(highest, (top, i64::MAX));
    let mut solved = 1;
    let mut complete = false;
    while solved < most && !sweep.time_is_up() {
        let Some(gap) = sweep.widest() else {
            complete = true;
            break;
        };
        let probe = match solved {
            1 => 0.max(gap.from),
            n if n < COARSE => gap.from + (gap.to - gap.from) / 2,
            _ => gap.to,
        };
        sweep.probe(probe, gap.below)?;
        solved += 1;
    }
    Ok(Curve {
        complete: complete || sweep.widest().is_none(),
        plans: sweep.steps.into_values().map(|(plan, _)| plan).collect(),
    })
}

struct Sweep<'i> {
    instance: &'i Instance,
    settings: &'i Settings,
    started: Instant,
    /// By money: a plan, and the highest limit up to which it is known to be the best.
    steps: BTreeMap<i64, (Plan, i64)>,
    /// Up to this limit there is no plan.
    impossible: i64,
}

/// Limits of which the best plan is not known.
struct Gap {
    from: i64,
    to: i64,
    /// Money of the plan below, if there is one.
    below: Option<i64>,
}

impl Sweep<'_> {
    fn time_is_up(&self) -> bool {
        let limit = self.settings.time_limit;
        limit.is_some_and(|limit| self.started.elapsed() >= limit)
    }

    fn best(&self, money: Option<i64>) -> Result<Plan, Error> {
        let mut instance = self.instance.clone();
        instance.limits.money = money;
        let left = self.settings.time_limit;
        let settings = Settings {
            time_limit: left.map(|limit| limit.saturating_sub(self.started.elapsed())),
            ..self.settings.clone()
        };
        solve(&instance, &settings)
    }

    fn score(&self, plan: &Plan) -> f64 {
        score(plan, self.settings.goal)
    }

    /// The gap between the two plans that differ most; `None` if no gap is left.
    fn widest(&self) -> Option<Gap> {
        let mut best: Option<(f64, Gap)> = None;
        let mut below: Option<(&Plan, i64)> = None;
        for (money, (plan, reach)) in &self.steps {
            let known = below.map_or(self.impossible, |(_, reach)| reach);
            let rise = below.map_or(f64::INFINITY, |(lower, _)| {
                self.score(plan) - self.score(lower)
            });
            let open = known.saturating_add(1) < *money;
            if open && best.as_ref().is_none_or(|(most, _)| rise > *most) {
                let gap = Gap {
                    from: known + 1,
                    to: money - 1,
                    below: below.map(|(lower, _)| lower.money),
                };
                best = Some((rise, gap));
            }
            below = Some((plan, *reach));
        }
        best.map(|(_, gap)| gap)
    }

    fn probe(&mut self, limit: i64, below: Option<i64>) -> Result<(), Error> {
        let plan = match self.best(Some(limit)) {
            Ok(plan) => plan,
            Err(Error::Impossible | Error::TooFewWorking { .. } | Error::Conflict(_)) => {
                self.impossible = self.impossible.max(limit);
                return Ok(());
            }
            Err(error) => return Err(error),
        };
        let lower = below.and_then(|money| self.steps.get(&money));
        let rises = lower.is_none_or(|(lower, _)| self.score(&plan) > self.score(lower) + NEAR);
        if rises {
            self.steps.insert(plan.money, (plan, limit));
        } else if let Some((_, reach)) = below.and_then(|money| self.steps.get_mut(&money)) {
            *reach = (*reach).max(limit);
        }
        Ok(())
    }
}
