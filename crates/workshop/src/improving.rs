//! A plan that was cut short by the time limit is looked for longer, while others go on working.

use std::{sync::Arc, time::Duration};

use planning::Plan;

use crate::{
    Workshop, exact,
    ordered::Ordered,
    plan::{Core, FOR_THE_PLAN, NODES, core, key, refused},
    plan_view::view,
    workshop::{Result, State},
};

/// A search that goes on in the background ends after so many times the nodes.
const NODES_IN_BACKGROUND: u64 = 100;
/// It is given so many times the time that a page has, and twice as much each time again, so often at most.
const LONGER: f64 = 6.0;
const LEAST_LONGER: f64 = 30.0;
const MOST_TRIES: u32 = 4;

impl Workshop {
    /// Looks longer for the plan that holds and for what would change it, while others go on working; the next
    /// [`Workshop::plan`] then shows what was found. Returns at once where that is under way, or would be no use.
    ///
    /// # Errors
    /// As [`Workshop::plan`].
    pub fn improve(&self) -> Result<()> {
        let mut inner = self.fresh()?;
        let old = core(&mut inner)?;
        let state = inner.state();
        let open = inner.plans.views.get(&key(&old.limits));
        if inner.plans.improving || !open.is_some_and(|view| view.improving) {
            return Ok(());
        }
        inner.plans.improving = true;
        let (tried, last) = (inner.plans.tried, inner.plans.tried + 1 >= MOST_TRIES);
        drop(inner);
        let patience = longer(&state, tried);
        let found = better(&old, patience).and_then(|core| {
            let mut view = view(&state, &core, patience)?;
            view.improving &= !last;
            Ok((core, view))
        });
        let mut inner = self.fresh()?;
        if inner.plans.key != state.key() {
            return Ok(());
        }
        inner.plans.improving = false;
        inner.plans.tried = tried + 1;
        let (core, view) = found?;
        let key = key(&core.limits);
        inner.plans.cores.insert(key.clone(), Arc::new(core));
        inner.plans.views.insert(key, view);
        Ok(())
    }
}

/// How long the search goes on in the background.
fn longer(state: &State, tried: u32) -> Duration {
    let first = (state.folder.settings.plan_seconds * LONGER).max(LEAST_LONGER);
    Duration::from_secs_f64(first * f64::from(1_u32 << tried.min(MOST_TRIES)))
}

/// The same plan sought anew with more time: the better of both, and the nearer bound.
fn better(old: &Core, patience: Duration) -> Result<Core> {
    let settings = planning::Settings {
        node_limit: Some(NODES * NODES_IN_BACKGROUND),
        time_limit: Some(patience.mul_f64(FOR_THE_PLAN)),
        ..old.settings.clone()
    };
    if !old.cut {
        return Ok(old.with(old.plan.clone(), old.ordered(), false));
    }
    let (instance, currency) = (&old.offered.instance, old.offered.request.currency);
    let new = planning::solve(instance, &settings).map_err(refused)?;
    let bound = new.bound.min(old.plan.bound);
    let cut = !new.proven;
    let (new, ordered) = exact::settled(&old.offered, &settings, new, currency)?;
    let better = exact::worth(&new, &ordered.parcels) >= exact::worth(&old.plan, &old.parcels);
    let (plan, ordered) = match better {
        true => (new, ordered),
        false => (old.plan.clone(), old.ordered()),
    };
    Ok(old.with(Plan { bound, ..plan }, ordered, cut))
}

impl Core {
    /// The same with another plan.
    fn with(&self, plan: Plan, ordered: Ordered, cut: bool) -> Core {
        Core {
            cut,
            plan,
            parcels: ordered.parcels,
            needers: ordered.needers,
            money: ordered.money,
            spares: ordered.spares,
            given: ordered.given,
            turns: crate::turning::Turns::default(),
            ..self.clone()
        }
    }

    fn ordered(&self) -> Ordered {
        Ordered {
            parcels: self.parcels.clone(),
            needers: self.needers.clone(),
            money: self.money.clone(),
            spares: self.spares,
            given: self.given.clone(),
        }
    }
}
