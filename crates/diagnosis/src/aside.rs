//! What is set aside where the findings tie too much together for an exact answer.
//!
//! Parts that come and go and contacts that acts touched tie every epoch to all others, but nearly all of those modes are next to
//! impossible. The least likely are taken as not there until the rest fits; all answers are exact for what is left, and what was set aside
//! is bounded: as no finding is more likely than certain, P(aside, all findings) is at most P(aside, some of them), and the findings
//! taken are as many as fit with nothing more set aside, the first ones that tell of one function before all others. More findings may need more stages of this. (A bound on what
//! conditioning leaves out: Horvitz, Suermondt & Cooper, "Bounded conditioning", UAI 1989.)

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use catalogue::Tells;

use crate::{
    answer::Holder,
    clique::too_large,
    compiled::Compiled,
    error::Error,
    graph::{Arising, Origin, Position, State, StateId},
    groups::Outer,
    lower::{Lowered, Places, Unmodelled, lower},
    situation::Situation,
    tree::Question,
    unroll::{Unrolled, What},
};

/// What is kept may need this part of the entries that are allowed, so that questions have room.
const ROOM: usize = 4;

/// The likeliest modes of a set are left out of it again where it does without them; so many are tried.
const TRIED: usize = 3;

/// What one group sets aside.
#[derive(Debug, Clone, Default)]
pub(crate) struct Aside {
    pub(crate) stages: Vec<Arc<Stage>>,
}

/// Modes set aside at one time, and what bounds them.
#[derive(Debug)]
pub(crate) struct Stage {
    set: BTreeSet<Arising>,
    pub(crate) early: Early,
}

/// The first findings of a group, with nothing set aside but what stages before did.
#[derive(Debug, Clone)]
pub(crate) struct Early {
    pub(crate) unrolled: Unrolled,
    pub(crate) compiled: Compiled,
}

/// A mode that may be set aside.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    arising: Arising,
    chance: f64,
    /// Setting it aside is known to help: it comes and goes, or came with an act.
    helps: bool,
}

/// Sets aside, stage by stage, as little as must be for networks of at most so many entries.
pub(crate) struct Clearing<'a> {
    pub(crate) situation: &'a Situation,
    /// It unrolled.
    pub(crate) whole: &'a Unrolled,
    pub(crate) outer: Option<&'a Outer>,
    pub(crate) most: usize,
}

impl Clearing<'_> {
    /// Sets more aside than before, until all findings fit.
    pub(crate) fn clear(&self, mut aside: Aside) -> Result<(Aside, Unrolled, Compiled), Error> {
        loop {
            let unrolled = self.whole.without(self.situation, &aside.set())?;
            if let Some(compiled) = self.fitting(&unrolled, usize::MAX, self.most)? {
                return Ok((aside, unrolled, compiled));
            }
            match self.stage(&aside, &unrolled)? {
                Some(stage) => aside.stages.push(Arc::new(stage)),
                // nothing is left to set aside
                None => {
                    let compiled = Compiled::of(&unrolled, self.outer)?;
                    return Ok((aside, unrolled, compiled));
                }
            }
        }
    }

    fn stage(&self, aside: &Aside, unrolled: &Unrolled) -> Result<Option<Stage>, Error> {
        let arising = arising(unrolled);
        if arising.is_empty() {
            return Ok(None);
        }
        let all = unrolled.findings.len();
        let fits = |left_out: usize| {
            let early = self.early(unrolled, &arising, all - left_out)?;
            Ok(early.is_some())
        };
        let left_out = least(all, fits)?.ok_or_else(|| too_large(self.most))?;
        let early = self.early(unrolled, &arising, all - left_out)?;
        let early = early.ok_or_else(|| too_large(self.most))?;
        // half of the findings that did not fit have to fit with what is set aside now
        let wanted = all - left_out / 2;
        let candidates = candidates(unrolled, &early, &arising);
        let before = aside.set();
        let fits = |set: &[Candidate]| -> Result<bool, Error> {
            let more = set.iter().map(|one| one.arising);
            let set = before.iter().copied().chain(more).collect();
            let unrolled = self.whole.without(self.situation, &set)?;
            let fitting = self.fitting(&unrolled, wanted, self.most / ROOM)?;
            Ok(fitting.is_some())
        };
        let count = least(candidates.len(), |count| fits(&candidates[..count]))?;
        let set = without_the_likeliest(&candidates[..count.unwrap_or(candidates.len())], fits)?;
        Ok(Some(Stage {
            set: set.iter().map(|one| one.arising).collect(),
            early,
        }))
    }

    /// The network of the first findings, if it is small enough.
    fn fitting(
        &self,
        unrolled: &Unrolled,
        findings: usize,
        most: usize,
    ) -> Result<Option<Compiled>, Error> {
        let unrolled = first_findings(unrolled, findings);
        let lowered = lower(&unrolled, &[], self.outer, Unmodelled::Beside);
        small(Compiled::of_lowered(lowered, most))
    }

    /// The first findings, if they fit; what they do not tell of is left out but for the modes that may be set aside.
    fn early(
        &self,
        unrolled: &Unrolled,
        arising: &BTreeSet<Arising>,
        findings: usize,
    ) -> Result<Option<Early>, Error> {
        let unrolled = first_findings(unrolled, findings);
        let lowered = lower(&unrolled, &[], self.outer, Unmodelled::Beside);
        let compiled = Compiled::of_lowered(pruned(lowered, arising), self.most / 2);
        Ok(small(compiled)?.map(|compiled| Early { unrolled, compiled }))
    }
}

/// The first of the findings; those that tell of several functions, and so tie most together, come after all others.
fn first_findings(unrolled: &Unrolled, count: usize) -> Unrolled {
    let mut unrolled = unrolled.clone();
    let boards = &unrolled.graph.boards;
    let told = |what: &What| match what {
        What::Look(look) => match &boards[look.machine].profile.checks[look.check].tells {
            Tells::Rows(rows) => rows.len(),
            Tells::Target { .. } => 1,
        },
        _ => 1,
    };
    unrolled.findings.sort_by_key(|finding| told(&finding.what));
    unrolled.findings.truncate(count);
    unrolled
}

/// What may be set aside, in the order in which it is.
fn candidates(unrolled: &Unrolled, early: &Early, arising: &BTreeSet<Arising>) -> Vec<Candidate> {
    let mut candidates: Vec<Candidate> = chances(&early.unrolled, &early.compiled, arising)
        .into_iter()
        .map(|(arising, chance)| Candidate {
            arising,
            chance,
            helps: helps(unrolled, arising),
        })
        .collect();
    candidates.sort_by(|a, b| {
        b.helps
            .cmp(&a.helps)
            .then(a.chance.total_cmp(&b.chance))
            .then(a.arising.cmp(&b.arising))
    });
    candidates
}

/// Takes of the likeliest those out again without which the rest fits as well.
fn without_the_likeliest(
    set: &[Candidate],
    fits: impl Fn(&[Candidate]) -> Result<bool, Error>,
) -> Result<Vec<Candidate>, Error> {
    let mut set = set.to_vec();
    set.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    let mut at = 0;
    for _ in 0..TRIED.min(set.len() - 1) {
        let one = set.remove(at);
        if !fits(&set)? {
            set.insert(at, one);
            at += 1;
        }
    }
    Ok(set)
}

/// None if it would be too large.
fn small(compiled: Result<Compiled, Error>) -> Result<Option<Compiled>, Error> {
    match compiled {
        Ok(compiled) => Ok(Some(compiled)),
        Err(error) if error.too_large => Ok(None),
        Err(error) => Err(error),
    }
}

impl Stage {
    /// P(one of the set is there | the early findings and what others say): at most the sum over all of it.
    pub(crate) fn chance(&self, compiled: &Compiled) -> f64 {
        let chances = chances(&self.early.unrolled, compiled, &self.set);
        chances.values().sum()
    }
}

impl Aside {
    pub(crate) fn set(&self) -> BTreeSet<Arising> {
        let stages = self.stages.iter();
        stages.flat_map(|stage| &stage.set).copied().collect()
    }

    /// The modes set aside, each once, with where their chip or place is now.
    pub(crate) fn modes(&self, unrolled: &Unrolled) -> Vec<(Holder, String)> {
        let graph = &unrolled.graph;
        let set = self.set();
        let holder = |(machine, part): Position| Holder::Position {
            machine: graph.boards[machine].tag.clone(),
            part: graph.boards[machine].profile.parts[part].reference.clone(),
        };
        let places = graph
            .boards
            .iter()
            .enumerate()
            .flat_map(|(machine, board)| {
                let positions = board.positions.iter().enumerate();
                positions.filter_map(move |(part, held)| {
                    Some((held.place()?, Some((machine, part)), None))
                })
            });
        let chips = graph.chips.iter().enumerate();
        let chips = chips.map(|(number, chip)| (chip.state(), chip.position(), graph.mark(number)));
        let mut modes = BTreeMap::new();
        for (state, position, mark) in places.chain(chips) {
            let marked = |mark: &str| Holder::Marked(mark.to_owned());
            let at = position.map(holder).or(mark.map(marked));
            for version in lineage(unrolled, state) {
                for &(id, mode) in set.range((version, 0)..(version + 1, 0)) {
                    if let Some(at) = &at {
                        let id = graph.modes(id).get(mode).id.clone();
                        modes.insert((format!("{at:?}"), id.clone()), (at.clone(), id));
                    }
                }
            }
        }
        modes.into_values().collect()
    }
}

/// The least number up to `most` for which something holds, if it holds from there on but not for none; small numbers are tried first.
fn least(
    most: usize,
    holds: impl Fn(usize) -> Result<bool, Error>,
) -> Result<Option<usize>, Error> {
    let (mut no, mut yes) = (0, most.min(1));
    while !holds(yes)? {
        if yes == most {
            return Ok(None);
        }
        no = yes;
        yes = (2 * yes).min(most);
    }
    while yes - no > 1 {
        let middle = usize::midpoint(no, yes);
        if holds(middle)? {
            yes = middle;
        } else {
            no = middle;
        }
    }
    Ok(Some(yes))
}

/// Every mode that may be set aside, where it arises: from the start, or by an act. What harm did stays, and so does what was found out.
fn arising(unrolled: &Unrolled) -> BTreeSet<Arising> {
    let graph = &unrolled.graph;
    let known: BTreeSet<StateId> = unrolled
        .findings
        .iter()
        .filter_map(|finding| match finding.what {
            What::Mode { state, .. } => Some(state),
            _ => None,
        })
        .flat_map(|state| lineage(unrolled, state))
        .collect();
    let states = graph.states.iter().enumerate();
    states
        .filter(|(id, _)| !known.contains(id))
        .flat_map(|(id, state)| {
            let modes = graph.modes(id).len();
            let modes = match state.origin {
                Origin::Prior(_) => 0..modes,
                Origin::Act { .. } => 0..modes.min(1),
                Origin::Harm { .. } => 0..0,
            };
            modes
                .filter(|&mode| state.possible.has(mode))
                .map(move |mode| (id, mode))
        })
        .collect()
}

/// A version and all before it.
fn lineage(unrolled: &Unrolled, state: StateId) -> Vec<StateId> {
    let mut path = vec![state];
    while let Some(from) = before(unrolled, path[path.len() - 1]) {
        path.push(from);
    }
    path
}

fn before(unrolled: &Unrolled, state: StateId) -> Option<StateId> {
    unrolled.graph.states[state].origin.from()
}

/// It comes and goes, or it is of a place that an act touched.
fn helps(unrolled: &Unrolled, (id, mode): Arising) -> bool {
    let states = &unrolled.graph.states;
    let of = unrolled.graph.modes(id).get(mode);
    let touched =
        |state: &State| matches!(state.origin, Origin::Act { from, .. } if from as usize == id);
    of.shows < 1.0
        || of.after_minutes > 0.0
        || matches!(states[id].origin, Origin::Act { .. })
        || states.iter().any(touched)
}

fn pruned(mut lowered: Lowered, arising: &BTreeSet<Arising>) -> Lowered {
    let states = arising
        .iter()
        .filter_map(|(state, _)| lowered.places.states.get(*state));
    let Places {
        events, outside, ..
    } = &lowered.places;
    let shared = events.values().chain(outside.values());
    let kept = states.chain(shared.copied()).collect();
    lowered.model = lowered.model.pruned(&kept);
    lowered
}

/// The chance that each mode arose where it may.
fn chances(
    unrolled: &Unrolled,
    compiled: &Compiled,
    arising: &BTreeSet<Arising>,
) -> BTreeMap<Arising, f64> {
    let Compiled {
        places,
        tree,
        upward,
        ..
    } = compiled;
    let marginals = tree.marginals(&Question::default(), upward);
    let chance = |&(id, mode): &Arising| -> f64 {
        let Some(var) = places.states.get(id) else {
            return 0.0;
        };
        let now = marginals[var][mode + 1];
        let good = before(unrolled, id).and_then(|from| places.states.get(from));
        let Some(from) = good else { return now };
        // it arose here if all was good before
        let mut question = Question::default();
        question.fix(tree, from, 0);
        question.fix(tree, var, mode + 1);
        let log = tree.log_total_with(upward, &Question::default(), &question);
        (log - upward.log_total).exp().min(now)
    };
    arising.iter().map(|one| (*one, chance(one))).collect()
}
