//! What the findings say, reckoned once for each state of the journal.

use std::{
    collections::BTreeMap,
    convert::Infallible,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

use catalogue::Profile;
use diagnosis::{
    Course, Diagnosis, Economy, Explanation, Fit, FunctionChance, Holder, ModeChance, Speaks, Step,
    Trial,
};

use crate::{
    Error, ErrorKind,
    ahead::Ahead,
    contradiction::{LeftOut, Sound, sound},
    folder::Folder,
    pile::{Machine, Pile},
    shelving::Blank,
    situation::Setting,
    views::JobCard,
};

/// The boards of the pile by id.
pub(crate) type Boards = BTreeMap<String, Arc<Profile>>;

/// A diagnosed pile.
#[derive(Debug)]
pub(crate) struct Reckoned {
    pub(crate) setting: Setting,
    pub(crate) diagnosis: Diagnosis,
    /// Lines that do not count, for they rule each other out.
    pub(crate) left_out: Vec<LeftOut>,
    answers: Mutex<Answers>,
}

/// What was asked of a diagnosis so far.
#[derive(Debug, Default)]
pub(crate) struct Answers {
    fits: ByMachine<Arc<[Fit]>>,
    speaks: ByMachine<Arc<[Speaks]>>,
    functions: ByMachine<Arc<[FunctionChance]>>,
    /// As many as were asked for.
    explanations: BTreeMap<(String, usize), Arc<[Explanation]>>,
    advice: ByStanding<Advice>,
    tries: ByStanding<Arc<[Step]>>,
}

type ByMachine<T> = BTreeMap<String, T>;

/// By machine and standing set-ups.
type ByStanding<T> = BTreeMap<(String, Vec<String>), T>;

/// What every check not yet made would save, and the best course without them.
type Advice = Arc<(Vec<Step>, Course)>;

/// Best courses of machines of which nothing was seen.
pub(crate) type Blanks = Arc<Mutex<BTreeMap<Blank, Course>>>;

/// By position: what a mule shows of its chip; none where it is not tried.
pub(crate) type Trials = Arc<Mutex<BTreeMap<String, Option<Arc<Trial>>>>>;

/// A mode of a machine, or of a thing outside that it is used with.
#[derive(Debug, Clone)]
pub(crate) struct Suspicion {
    /// Position, or the outside thing's id.
    pub(crate) part: String,
    pub(crate) mode: String,
    pub(crate) chance: f64,
    pub(crate) site: catalogue::Site,
    pub(crate) outside: bool,
}

/// The boards that the pile needs.
pub(crate) fn boards(pile: &Pile, folder: &Folder) -> Result<Boards, Error> {
    let mut boards = Boards::new();
    for machine in &pile.machines {
        if !boards.contains_key(&machine.board) {
            boards.insert(machine.board.clone(), folder.board(&machine.board)?);
        }
    }
    Ok(boards)
}

impl Reckoned {
    /// Diagnoses the pile without these lines; what is the same as before is not reckoned again.
    pub(crate) fn of(
        pile: &Pile,
        boards: &Boards,
        without: &[i64],
        before: Option<&Reckoned>,
    ) -> Result<Reckoned, Error> {
        let before = before.map(|before| &before.diagnosis);
        let Sound {
            setting,
            diagnosis,
            left_out,
        } = sound(pile, boards, without, before)?;
        Ok(Reckoned {
            setting,
            diagnosis,
            left_out,
            answers: Mutex::default(),
        })
    }

    /// A pile that has lines more than this one; nothing if they cannot be true with those that count here.
    pub(crate) fn supposing(
        &self,
        pile: &Pile,
        boards: &Boards,
    ) -> Result<Option<Reckoned>, Error> {
        let without: Vec<i64> = self.left_out.iter().map(|out| out.line).collect();
        let setting = Setting::of(pile, boards, &without);
        let diagnosis = self
            .diagnosis
            .again(Arc::clone(&setting.situation))
            .map_err(|error| too_much(&error))?;
        let possible = diagnosis.log_p_findings().is_finite();
        Ok(possible.then(|| Reckoned {
            setting,
            diagnosis,
            left_out: self.left_out.clone(),
            answers: Mutex::default(),
        }))
    }

    /// What was asked before, or is reckoned now.
    fn answer<K: Ord, V: Clone, E>(
        &self,
        of: fn(&mut Answers) -> &mut BTreeMap<K, V>,
        key: K,
        reckon: impl FnOnce() -> Result<V, E>,
    ) -> Result<V, E> {
        // nothing is reckoned under the lock
        let known = of(&mut held(&self.answers)).get(&key).cloned();
        if let Some(known) = known {
            return Ok(known);
        }
        let found = reckon()?;
        of(&mut held(&self.answers)).insert(key, found.clone());
        Ok(found)
    }

    /// All that was asked so far.
    pub(crate) fn into_answers(self) -> Answers {
        self.answers
            .into_inner()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// P(finding | all others) for each finding on a machine and on those with which it exchanged chips.
    pub(crate) fn fits(&self, tag: &str) -> Arc<[Fit]> {
        let reckon = || Ok::<_, Infallible>(self.diagnosis.given_others_of(tag).into());
        let Ok(fits) = self.answer(|answers| &mut answers.fits, tag.to_string(), reckon);
        fits
    }

    /// How all that was found on them speaks about the modes of the machine.
    pub(crate) fn speaks(&self, tag: &str) -> Result<Arc<[Speaks]>, Error> {
        let reckon = || told(self.diagnosis.for_and_against(tag));
        self.answer(|answers| &mut answers.speaks, tag.to_string(), reckon)
    }

    /// The chance that each function of a machine fails.
    pub(crate) fn functions(&self, tag: &str) -> Result<Arc<[FunctionChance]>, Error> {
        let reckon = || told(self.diagnosis.functions(tag));
        self.answer(|answers| &mut answers.functions, tag.to_string(), reckon)
    }

    /// All modes of a machine and of the outside things of its board, likeliest first.
    pub(crate) fn modes(&self, machine: &Machine, board: &Profile) -> Vec<Suspicion> {
        let modes = self.diagnosis.modes_of(&machine.tag).into_iter();
        let modes = modes
            .chain(self.diagnosis.outside())
            .filter_map(|mode| suspicion(mode, machine, board));
        in_order(modes.collect())
    }

    /// The same without a line; none where that has to be reckoned by itself.
    pub(crate) fn modes_before(
        &self,
        line: i64,
        machine: &Machine,
        board: &Profile,
    ) -> Option<Vec<Suspicion>> {
        let step = self.setting.lines.iter().position(|other| *other == line)?;
        let known = self.diagnosis.modes_before(&machine.tag, step);
        let modes = known.filter(|_| self.left_out.is_empty())?.into_iter();
        let modes = modes.filter_map(|mode| suspicion(mode, machine, board));
        Some(in_order(modes.collect()))
    }

    /// The likeliest sets of modes of a machine.
    pub(crate) fn explanations(
        &self,
        tag: &str,
        count: usize,
    ) -> Result<Arc<[Explanation]>, Error> {
        let reckon = || told(self.diagnosis.explanations(tag, count));
        let key = (tag.to_string(), count);
        self.answer(|answers| &mut answers.explanations, key, reckon)
    }

    /// What to do next with a machine; the economy is that of its board with the set-ups that stand.
    pub(crate) fn advice(&self, tag: &str, economy: &Economy) -> Result<Advice, Error> {
        let key = (tag.to_string(), economy.standing.clone());
        let reckon = || {
            let advice = self.diagnosis.next(tag, economy);
            advice.map(Arc::new).map_err(|error| too_much(&error))
        };
        self.answer(|answers| &mut answers.advice, key, reckon)
    }

    /// What trying chips of a machine in the mule saves, as `reckon` tells; the economy as for [`Reckoned::advice`].
    pub(crate) fn tries(
        &self,
        tag: &str,
        economy: &Economy,
        reckon: impl FnOnce() -> Result<Vec<Step>, Error>,
    ) -> Result<Arc<[Step]>, Error> {
        let key = (tag.to_string(), economy.standing.clone());
        self.answer(|answers| &mut answers.tries, key, || Ok(reckon()?.into()))
    }

    /// Reckons for several machines what [`Reckoned::advice`] answers afterwards.
    pub(crate) fn advise_each(&self, asked: &[(&str, &Economy)]) -> Result<(), Error> {
        let key = |(tag, economy): &(&str, &Economy)| (tag.to_string(), economy.standing.clone());
        let mut open: Vec<(&str, &Economy)> = asked.to_vec();
        let known = held(&self.answers);
        open.retain(|one| !known.advice.contains_key(&key(one)));
        drop(known);
        let found = self.diagnosis.next_each(&open);
        let found = found.map_err(|error| too_much(&error))?.into_iter();
        held(&self.answers)
            .advice
            .extend(open.iter().map(key).zip(found.map(Arc::new)));
        Ok(())
    }

    /// Chance that nothing at all is wrong with a machine.
    pub(crate) fn whole(&self, tag: &str) -> Result<f64, Error> {
        let whole = self.diagnosis.nothing_wrong(tag);
        whole.map_err(|error| too_much(&error))
    }
}

/// What was kept, even if somebody panicked while holding it: each entry is whole.
pub(crate) fn held<T>(kept: &Mutex<T>) -> MutexGuard<'_, T> {
    kept.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Does it on one of the threads that work side by side: there are as many as processors, and this one does not come on top.
pub(crate) fn among_workers<R: Send>(work: impl FnOnce() -> R + Send) -> R {
    rayon::scope(|_| work())
}

/// Lets what waits be done first, so that what follows fills a gap in which others cannot be helped.
pub(crate) fn others_first() {
    while rayon::yield_now() == Some(rayon::Yield::Executed) {}
}

/// Does both at once: one by whoever is free, the other here.
pub(crate) fn both<A: Send, B>(
    one: impl FnOnce() -> A + Send,
    other: impl FnOnce() -> B,
) -> (A, B) {
    let mut answer = None;
    let other = rayon::in_place_scope(|scope| {
        scope.spawn(|_| answer = Some(one()));
        other()
    });
    let one = answer.unwrap_or_else(|| unreachable!("a scope ends when all in it is done"));
    (one, other)
}

/// Likeliest first. Equal chances differ by rounding errors; the order must not hang on these.
fn in_order(mut modes: Vec<Suspicion>) -> Vec<Suspicion> {
    let size = |one: &Suspicion| (one.chance * 1e9).round();
    modes.sort_by(|a, b| {
        size(b)
            .total_cmp(&size(a))
            .then_with(|| a.part.cmp(&b.part))
    });
    modes
}

/// A list that can be kept and shown at once.
fn told<T>(found: Result<Vec<T>, diagnosis::Error>) -> Result<Arc<[T]>, Error> {
    found.map(Arc::from).map_err(|error| too_much(&error))
}

/// An answer that cannot be given.
pub(crate) fn too_much(error: &diagnosis::Error) -> Error {
    Error::new(ErrorKind::Refused, error.message.clone())
}

fn suspicion(mode: ModeChance, machine: &Machine, board: &Profile) -> Option<Suspicion> {
    let (part, outside) = match mode.holder {
        Holder::Position { machine: tag, part } if tag == machine.tag => (part, false),
        Holder::Outside(id) if board.outside.iter().any(|outside| outside.id == id) => (id, true),
        Holder::Position { .. } | Holder::Marked(_) | Holder::Outside(_) => return None,
    };
    Some(Suspicion {
        part,
        mode: mode.mode,
        chance: mode.chance,
        site: mode.site,
        outside,
    })
}

/// What was reckoned for one state of journal and folder.
#[derive(Debug, Default)]
pub(crate) struct Cache {
    /// Last line and folder state it belongs to.
    key: (i64, u64),
    by_without: BTreeMap<Vec<i64>, Arc<Reckoned>>,
    /// What was reckoned last for another state, to start from.
    before: Option<Arc<Reckoned>>,
    /// What was reckoned for states that may come.
    pub(crate) ahead: Ahead,
    /// Job cards by tag and standing set-ups.
    cards: BTreeMap<(String, Vec<String>), JobCard>,
    /// They hang on the folder alone.
    blanks: Blanks,
    /// By board: what a mule shows of each chip that was asked for; it hangs on the folder alone.
    trials: BTreeMap<String, Trials>,
}

impl Cache {
    /// A card made before for this state.
    pub(crate) fn card(&self, tag: &str, standing: &[String]) -> Option<JobCard> {
        self.cards
            .get(&(tag.to_string(), standing.to_vec()))
            .cloned()
    }

    /// Keeps a card.
    pub(crate) fn keep_card(&mut self, standing: Vec<String>, card: JobCard) {
        self.cards.insert((card.tag.clone(), standing), card);
    }

    /// The best courses of machines of which nothing was seen, as many as were asked for.
    pub(crate) fn blanks(&self) -> Blanks {
        Arc::clone(&self.blanks)
    }

    /// What a mule with this board shows of each chip that was asked for.
    pub(crate) fn trials(&mut self, board: &str) -> Trials {
        let known = self.trials.entry(board.to_string()).or_default();
        Arc::clone(known)
    }

    /// Drops what belongs to another state.
    pub(crate) fn keep(&mut self, key: (i64, u64)) {
        if self.key != key {
            let last = self.by_without.remove(&Vec::new());
            let mut kept = Cache {
                key,
                before: last.or(self.before.take()),
                ..Cache::default()
            };
            // what hangs on the folder
            if self.key.1 == key.1 {
                kept.blanks = std::mem::take(&mut self.blanks);
                kept.trials = std::mem::take(&mut self.trials);
                kept.ahead = std::mem::take(&mut self.ahead);
            }
            *self = kept;
        }
    }

    /// Diagnoses the pile without these lines, unless that was done before.
    pub(crate) fn fill(
        &mut self,
        pile: &Pile,
        boards: &Boards,
        without: &[i64],
    ) -> Result<(), Error> {
        if !self.by_without.contains_key(without) {
            let before = self.by_without.values().next().or(self.before.as_ref());
            let before = before.map(Arc::as_ref);
            let mut reckoned = Reckoned::of(pile, boards, without, before)?;
            if let Some(answers) = self.ahead.of(&reckoned) {
                reckoned.answers = Mutex::new(answers);
            }
            self.by_without.insert(without.to_vec(), Arc::new(reckoned));
        }
        Ok(())
    }

    /// What [`Cache::fill`] left there.
    pub(crate) fn at(&self, without: &[i64]) -> Option<&Arc<Reckoned>> {
        self.by_without.get(without)
    }
}
