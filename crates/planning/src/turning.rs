//! At which price the plan changes.

use crate::instance::Instance;
use crate::plan::Plan;
use crate::solve::{Error, NEAR, Settings, close, score, solve};

/// Plans looked at on the way to one price, at most.
const MOST_TRIES: usize = 24;

/// Where another plan becomes better.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// The first price at which it is.
    pub price: i64,
    /// The other plan, at that price.
    pub plan: Plan,
    /// No plan turns earlier: both this and the price before it were solved and proven.
    pub proven: bool,
}

/// Seeks the first price on the way from `from` to `to` at which `plan`, best at `from`, is not best any more: `at`
/// makes the pile at a price, with the same offers in the same order. `None` if the plan stays best all the way.
///
/// # Errors
/// If a pile makes no sense or a search fails.
pub fn turning(
    at: &dyn Fn(i64) -> Instance,
    plan: &Plan,
    (from, to): (i64, i64),
    settings: &Settings,
) -> Result<Option<Turn>, Error> {
    let walk = Walk {
        at,
        base: at(from),
        settings,
    };
    let step = (to - from).signum();
    let mut far = to;
    let mut other = match solve(&at(far), settings) {
        Ok(other) => other,
        Err(Error::Impossible | Error::TooFewWorking { .. } | Error::Conflict(_)) => {
            return Ok(None);
        }
        Err(error) => return Err(error),
    };
    let mut proven = other.proven;
    if step == 0 || !walk.beats(&other, &at(far), plan, far) {
        return Ok(None);
    }
    for _ in 0..MOST_TRIES {
        let found = at(far);
        let price = walk.crossing(&other, &found, plan, (from, far));
        let other_there = reprice(&found, &at(price), &other).unwrap_or_else(|| other.clone());
        if price == from + step {
            return Ok(Some(Turn {
                price,
                plan: other_there,
                proven,
            }));
        }
        let before = price - step;
        let best = solve(&at(before), settings)?;
        proven &= best.proven;
        if !walk.beats(&best, &at(before), plan, before) {
            return Ok(Some(Turn {
                price,
                plan: other_there,
                proven,
            }));
        }
        (far, other) = (before, best);
    }
    let last = at(far);
    let plan = reprice(&last, &last, &other).unwrap_or(other);
    Ok(Some(Turn {
        price: far,
        plan,
        proven: false,
    }))
}

struct Walk<'a> {
    at: &'a dyn Fn(i64) -> Instance,
    base: Instance,
    settings: &'a Settings,
}

impl Walk<'_> {
    /// Whether `other`, made for `found`, is better at this price than the plan.
    fn beats(&self, other: &Plan, found: &Instance, plan: &Plan, price: i64) -> bool {
        let there = (self.at)(price);
        let score = |from: &Instance, plan: &Plan| {
            reprice(from, &there, plan).map(|plan| score(&plan, self.settings.goal))
        };
        match (score(found, other), score(&self.base, plan)) {
            (Some(other), Some(stays)) => other > stays + NEAR,
            (Some(_), None) => true,
            (None, _) => false,
        }
    }

    /// The price nearest to `from` at which `other` is better, by halving.
    fn crossing(
        &self,
        other: &Plan,
        found: &Instance,
        plan: &Plan,
        (from, far): (i64, i64),
    ) -> i64 {
        let (mut near, mut far) = (from, far);
        while (far - near).abs() > 1 {
            let middle = near + (far - near) / 2;
            if self.beats(other, found, plan, middle) {
                far = middle;
            } else {
                near = middle;
            }
        }
        far
    }
}

/// The same plan at other prices; `None` if it breaks a limit there.
fn reprice(from: &Instance, to: &Instance, plan: &Plan) -> Option<Plan> {
    let mut plan = plan.clone();
    plan.shipping.clear();
    plan.hassle = 0;
    for order in &mut plan.orders {
        let at = from.offers.iter().position(|offer| {
            offer.vendor == order.vendor
                && offer.item == order.item
                && offer.total(order.quantity) == Some(order.cost)
        })?;
        order.cost = to.offers.get(at)?.total(order.quantity)?;
    }
    close(to, plan).ok()
}
