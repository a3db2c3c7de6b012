//! Chips of a machine tried in the mule: which of them are worth it.

use std::sync::Arc;

use catalogue::{Part, Profile};
use diagnosis::{Economy, Moving, Step, Trial};

use crate::{
    folder::Folder,
    pile::Machine,
    reckon::{Reckoned, Trials, held, too_much},
    workshop::{Inner, Result},
};

/// The set-up of looks at the mule: it stands on the bench, closed and checked.
pub(crate) const MULE: &str = "mule";
/// Minutes of it where the workshop does not say. Common practice, no source.
pub(crate) const MULE_MINUTES: f64 = 3.0;

/// The mule for a machine's board, with what it would show of each chip.
pub(crate) struct Mule {
    /// Its tag, as it is typed.
    pub(crate) tag: String,
    trials: Trials,
}

impl Mule {
    /// The mule with the same board, if there is one on the bench.
    pub(crate) fn of(inner: &mut Inner, machine: &Machine) -> Option<Self> {
        let state = inner.state();
        let mut mules = state.pile.machines.iter();
        let mule = mules.find(|other| other.mule && other.board == machine.board)?;
        Some(Self {
            tag: mule.tag.clone(),
            trials: inner.cache().trials(&machine.board),
        })
    }

    /// What each try would save, the largest saving first.
    pub(crate) fn steps(
        &self,
        now: &Reckoned,
        folder: &Folder,
        machine: &Machine,
        board: &Arc<Profile>,
        economy: &Economy,
    ) -> Result<Arc<[Step]>> {
        let moving = |part: &Part| moving(folder, part);
        let trial = |part: &Part| {
            let known = held(&self.trials).get(&part.reference).cloned();
            if let Some(trial) = known {
                return Ok(trial);
            }
            let trial = Trial::of(board, part)?.map(Arc::new);
            held(&self.trials).insert(part.reference.clone(), trial.clone());
            Ok(trial)
        };
        let there = |step: &Step| {
            let part = step.tried.as_ref().and_then(|part| board.part(part));
            part.is_some_and(|part| !machine.empty.contains(&part.reference))
        };
        now.tries(&machine.tag, economy, || {
            let steps = now.diagnosis.tries(&machine.tag, economy, trial, moving);
            let mut steps = steps.map_err(|error| too_much(&error))?;
            steps.retain(there);
            Ok(steps)
        })
    }
}

/// Two chips come out and go in, there and back.
fn moving(folder: &Folder, part: &Part) -> Moving {
    let rule = folder.library.handling(part.mount);
    rule.map_or(
        Moving {
            minutes: 0.0,
            harm: 0.0,
        },
        |rule| Moving {
            minutes: 4.0 * rule.minutes,
            harm: 4.0 * (1.0 - rule.survives) + 4.0 * rule.harms_board,
        },
    )
}

/// A caution where a bad chip pulls down a supply: it would do so in the mule too.
pub(crate) fn shorts(board: &Profile, part: &str) -> Option<String> {
    let modes = board.part(part)?.modes.iter();
    let mut spoiled = modes.flat_map(|mode| &mode.spoils);
    let rail = spoiled.any(|spoil| matches!(spoil.target, catalogue::Target::Rail(..)));
    rail.then(|| {
        "A bad one can short the supply of the mule too: switch it on with a current limit, and off if it is reached.".to_string()
    })
}
