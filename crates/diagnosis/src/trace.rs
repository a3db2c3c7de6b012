//! What the answers of a diagnosis hang on, without what was reckoned for them.

use std::sync::Arc;

use crate::{diagnosis::Diagnosis, groups::is_same_pile, situation::Situation, unroll::Unrolled};

/// What a diagnosis is of. Where two are equal the answers are the same: times count only as far as they part sessions and power-ups.
#[derive(Debug, Clone)]
pub struct Trace {
    situation: Arc<Situation>,
    groups: Vec<Arc<Unrolled>>,
}

impl PartialEq for Trace {
    fn eq(&self, other: &Self) -> bool {
        let (one, another) = (&self.situation, &other.situation);
        let mut steps = one.steps.iter().zip(&another.steps);
        let mut groups = self.groups.iter().zip(&other.groups);
        one.steps.len() == another.steps.len()
            && steps.all(|(a, b)| a.action == b.action)
            && is_same_pile(one, another)
            && self.groups.len() == other.groups.len()
            && groups.all(|(a, b)| Arc::ptr_eq(a, b) || a.is_timed_like(b))
    }
}

impl Diagnosis {
    /// What this is a diagnosis of; none where something was set aside, for what that is hangs on what was reckoned before.
    #[must_use]
    pub fn trace(&self) -> Option<Trace> {
        let groups = self.groups().iter();
        let whole = groups.clone().all(|group| group.aside.is_none());
        whole.then(|| Trace {
            situation: Arc::clone(self.situation()),
            groups: groups.map(|group| Arc::clone(&group.unrolled)).collect(),
        })
    }
}
