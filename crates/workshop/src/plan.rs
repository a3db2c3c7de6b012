//! The decision over the pile.

use crate::{
    Error, ErrorKind, PlanLimits, Workshop,
    views::{Ledger, PlanView, Written},
    workshop::{Inner, Result},
};

/// Plans reckoned so far.
#[derive(Debug, Default)]
pub(crate) struct Plans {}

pub(crate) struct Planned {
    pub(crate) view: PlanView,
    pub(crate) worth: String,
}

impl Planned {
    pub(crate) fn parcels(&self) -> usize {
        0
    }
}

pub(crate) fn plan(_inner: &mut Inner, _limits: &PlanLimits) -> Result<Planned> {
    Err(Error::new(ErrorKind::Internal, "not built yet"))
}

impl Workshop {
    pub(crate) fn limit(&self, _limits: &PlanLimits) -> Result<()> {
        Ok(())
    }

    /// The decision over the pile.
    pub fn plan(&self, _limits: &PlanLimits) -> Result<PlanView> {
        Err(Error::new(ErrorKind::Internal, "not built yet"))
    }

    /// The parcels of the plan.
    pub fn order(&self, _limits: &PlanLimits) -> Result<Ledger> {
        Err(Error::new(ErrorKind::Internal, "not built yet"))
    }

    /// Writes that a parcel was ordered.
    pub fn ordered(&self, _letter: &str) -> Result<Written> {
        Err(Error::new(ErrorKind::Internal, "not built yet"))
    }
}
