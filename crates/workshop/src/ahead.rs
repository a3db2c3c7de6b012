//! While somebody works at a machine: what its card will need after the next finding.

use std::{
    collections::BTreeMap,
    sync::{Arc, OnceLock},
};

use catalogue::{Check, Profile};
use diagnosis::{Economy, Trace};
use journal::{Draft, Shown};
use rayon::{ThreadPool, ThreadPoolBuilder};

use crate::{
    Workshop,
    card::{card_of, standing},
    economy::economy,
    entry::{Finding, Understanding},
    findings::finding_drafts,
    pile::Machine,
    reckon::{Answers, Boards, Reckoned},
    supposing::{Speaker, Supposed},
    tries::Mule,
    workshop::{Inner, Result, State},
};

/// What is as good as never shown is not reckoned ahead.
const LEAST_CHANCE: f64 = 0.005;

/// Answers for states that may come.
#[derive(Debug, Default)]
pub(crate) struct Ahead {
    states: Vec<(Trace, Answers)>,
    /// The state from which they were reckoned.
    from: (i64, u64),
    /// By machine: how many of its findings were gone through.
    done: BTreeMap<String, usize>,
}

impl Ahead {
    /// The answers for what came; all others are dropped then.
    pub(crate) fn of(&mut self, came: &Reckoned) -> Option<Answers> {
        if self.states.is_empty() || !came.left_out.is_empty() {
            return None;
        }
        let trace = came.diagnosis.trace()?;
        let place = self.states.iter().position(|(known, _)| *known == trace)?;
        let (_, answers) = std::mem::take(self).states.swap_remove(place);
        Some(answers)
    }

    /// How many findings of a machine were gone through in this state.
    fn done(&mut self, state: (i64, u64), tag: &str) -> &mut usize {
        if self.from != state {
            *self = Ahead {
                from: state,
                ..Ahead::default()
            };
        }
        self.done.entry(tag.to_string()).or_default()
    }

    fn keep(&mut self, reckoned: Reckoned) {
        if let Some(trace) = reckoned.diagnosis.trace() {
            self.states.push((trace, reckoned.into_answers()));
        }
    }
}

impl Workshop {
    /// Reckons what the card of a machine will need after each finding that may come next, those first that the card asks for, as long
    /// as `go_on` says so; others can go on working, and asked again it goes on where it ended. How many findings it went through is
    /// handed back.
    ///
    /// # Errors
    /// As [`Workshop::card`].
    pub fn reckon_ahead(&self, tag: &str, go_on: impl Fn() -> bool + Sync) -> Result<usize> {
        let start = Start::of(&mut *self.fresh()?, tag)?;
        match one_thread() {
            Some(one_thread) => one_thread.install(|| self.go_through(&start, &go_on)),
            None => Ok(0),
        }
    }

    fn go_through(&self, start: &Start, go_on: impl Fn() -> bool) -> Result<usize> {
        let mut through = 0;
        for drafts in start.findings()?.iter().skip(start.done) {
            if !go_on() {
                break;
            }
            let then = start.after(drafts)?;
            let mut inner = self.fresh()?;
            let key = start.state.key();
            if inner.state().key() != key {
                break;
            }
            let ahead = &mut inner.cache().ahead;
            *ahead.done(key, &start.tag) += 1;
            then.into_iter().for_each(|then| ahead.keep(then));
            through += 1;
        }
        Ok(through)
    }
}

/// Where nobody waits for an answer; the other threads are for those who do. It stays, for what a thread allocated that has ended is
/// slow to be used again.
fn one_thread() -> Option<&'static ThreadPool> {
    static ONE_THREAD: OnceLock<Option<ThreadPool>> = OnceLock::new();
    let made = || ThreadPoolBuilder::new().num_threads(1).build().ok();
    ONE_THREAD.get_or_init(made).as_ref()
}

/// A machine as things stand.
struct Start {
    state: Arc<State>,
    boards: Boards,
    board: Arc<Profile>,
    tag: String,
    speaker: Speaker,
    now: Arc<Reckoned>,
    mule: Option<Mule>,
    /// How many findings were gone through before.
    done: usize,
}

impl Start {
    fn of(inner: &mut Inner, tag: &str) -> Result<Start> {
        let state = inner.state();
        let machine = state.machine(tag)?;
        Ok(Start {
            boards: state.boards()?,
            board: state.folder.board(&machine.board)?,
            tag: machine.tag.clone(),
            speaker: Speaker {
                who: inner.who().to_string(),
                time: inner.now(),
            },
            now: inner.reckoned()?,
            mule: Mule::of(inner, machine),
            done: *inner.cache().ahead.done(state.key(), &machine.tag),
            state,
        })
    }

    /// What may be found next: by the checks that save most, then by those that were made before.
    fn findings(&self) -> Result<Vec<Vec<Draft>>> {
        let machine = self.state.machine(&self.tag)?;
        let economy = self.economy(&self.state, machine);
        let advice = self.now.advice(&self.tag, &economy)?;
        let (steps, _) = &*advice;
        let likely = steps.iter().flat_map(|step| {
            let outcomes = step.outcomes.iter();
            let likely = outcomes.filter(|(_, chance)| *chance >= LEAST_CHANCE);
            likely.map(|(outcome, _)| (&step.check, outcome))
        });
        let made = |check: &&Check| !steps.iter().any(|step| step.check == check.id);
        let again = self.board.checks.iter().filter(made).flat_map(|check| {
            let outcomes = check.outcomes.iter();
            outcomes.map(|outcome| (&check.id, &outcome.id))
        });
        let all = likely.chain(again);
        Ok(all
            .map(|(check, outcome)| finding_drafts(machine, &seen(check, outcome)))
            .collect())
    }

    /// All that the card needs once this was found; none where that contradicts the rest, or cannot be done.
    fn after(&self, drafts: &[Draft]) -> Result<Option<Reckoned>> {
        let then = Supposed::with(&self.state, &self.boards, &self.now, drafts, &self.speaker);
        let Ok(Some(Supposed { state, reckoned })) = then else {
            return Ok(None);
        };
        let economy = self.economy(&state, state.machine(&self.tag)?);
        // what was before is another question
        let was = || Ok(Vec::new());
        let mule = self.mule.as_ref();
        card_of(&state, &self.tag, &reckoned, was, &economy, mule)?;
        Ok(Some(reckoned))
    }

    fn economy(&self, state: &State, machine: &Machine) -> Economy {
        let standing = standing(state, machine, &self.speaker.time);
        economy(&state.folder, &self.board, machine, &standing)
    }
}

/// A check that showed this.
fn seen(check: &str, outcome: &str) -> Understanding {
    let shown = match outcome {
        "cannot" => Shown::Cannot,
        outcome => Shown::Outcome(outcome.to_string()),
    };
    Understanding {
        findings: vec![Finding {
            check: check.to_string(),
            text: outcome.to_string(),
            shown,
            source: None,
        }],
        ..Understanding::default()
    }
}

#[cfg(test)]
#[path = "ahead_tests.rs"]
mod tests;
