//! A good plan to begin with: a few machines at a time are decided anew while the others stay as they are.

use std::time::{Duration, Instant};

use crate::model::PileModel;

/// Smaller models are solved at once.
const SMALL: usize = 300;

/// Machines decided together.
const TOGETHER: usize = 8;

/// Rounds over the pile at most.
const ROUNDS: usize = 10;

/// Nodes of the search for one group.
const NODES: u64 = 300;

/// Share of the time that may go into the beginning.
const SHARE: f64 = 0.3;

/// Time used and left.
pub(crate) struct Clock {
    started: Instant,
    limit: Option<Duration>,
}

impl Clock {
    pub(crate) fn start(limit: Option<Duration>) -> Clock {
        Clock {
            started: Instant::now(),
            limit,
        }
    }

    /// What is left of a share of the limit.
    pub(crate) fn left(&self, share: f64) -> Option<Duration> {
        let limit = self.limit?.mul_f64(share);
        Some(limit.saturating_sub(self.started.elapsed()))
    }
}

/// Values of a plan to begin with: at first every machine is held, then groups of machines are decided anew as long as
/// that gains something. `None` where holding everything is not allowed.
pub(crate) fn improve(pile: &PileModel<'_>, clock: &Clock) -> Option<Vec<f64>> {
    let mut values = vec![0.0; pile.model.columns()];
    if pile.model.broken_at(&values).is_some() {
        return None;
    }
    if pile.model.columns() < SMALL {
        return Some(values);
    }
    let mut order: Vec<usize> = (0..pile.machines.len()).collect();
    for round in 0..ROUNDS {
        let before = pile.model.objective_at(&values);
        shuffle(&mut order, round);
        for open in order.chunks(TOGETHER) {
            if clock.left(SHARE).is_some_and(|left| left.is_zero()) {
                return Some(values);
            }
            let found = pile.with_open(open, &values).solve(&optimum::Settings {
                time_limit: clock.left(SHARE),
                node_limit: Some(NODES),
                start: Some(values.clone()),
            });
            // a group that cannot be solved in time simply stays
            if let Ok(found) = found
                && found.objective > pile.model.objective_at(&values)
            {
                values = found.values;
            }
        }
        if pile.model.objective_at(&values) <= before + 1e-9 && round > 0 {
            break;
        }
    }
    Some(values)
}

/// Another order each round, the same on every machine.
fn shuffle(order: &mut [usize], round: usize) {
    let mut state = 1 + round as u64;
    for last in (1..order.len()).rev() {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let other = usize::try_from(state >> 33).unwrap_or(0) % (last + 1);
        order.swap(last, other);
    }
}
