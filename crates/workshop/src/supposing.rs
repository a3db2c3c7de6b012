//! The pile as it would be: lines that nobody wrote.

use std::sync::Arc;

use jiff::ZonedDateTime;
use journal::{Draft, Entry};

use crate::{
    Error, ErrorKind,
    reckon::{Boards, Reckoned},
    workshop::{Result, State},
};

/// Who says so, and when.
#[derive(Debug, Clone)]
pub(crate) struct Speaker {
    pub(crate) who: String,
    pub(crate) time: ZonedDateTime,
}

/// A state with lines more, and what it says.
pub(crate) struct Supposed {
    pub(crate) state: State,
    pub(crate) reckoned: Reckoned,
}

impl Supposed {
    /// The state as it would be with these lines, if they can be; nothing where they contradict what was found.
    ///
    /// # Errors
    /// If they cannot be done, or tie too much together.
    pub(crate) fn with(
        state: &State,
        boards: &Boards,
        now: &Reckoned,
        drafts: &[Draft],
        speaker: &Speaker,
    ) -> Result<Option<Supposed>> {
        let first = state.pile.last() + 1;
        let entry = |(id, draft): (i64, &Draft)| Entry {
            id,
            batch: first,
            time: speaker.time.clone(),
            who: speaker.who.clone(),
            machine: draft.machine.clone(),
            epoch: draft.epoch,
            line: draft.line.clone(),
        };
        let pile = state.pile.with((first..).zip(drafts).map(entry));
        if let Some(problem) = pile.problems.iter().find(|problem| problem.line >= first) {
            return Err(Error::new(ErrorKind::Refused, problem.what.clone()));
        }
        let reckoned = now.supposing(&pile, boards)?;
        Ok(reckoned.map(|reckoned| Supposed {
            state: state.supposing(pile),
            reckoned,
        }))
    }

    /// How likely the lines are, given all that was found.
    pub(crate) fn chance(&self, now: &Reckoned) -> f64 {
        let ratio = self.reckoned.diagnosis.log_p_findings() - now.diagnosis.log_p_findings();
        ratio.exp().min(1.0)
    }
}

impl State {
    /// The same folder with another pile.
    pub(crate) fn supposing(&self, pile: crate::pile::Pile) -> State {
        State {
            folder: Arc::clone(&self.folder),
            version: self.version,
            pile,
        }
    }
}
