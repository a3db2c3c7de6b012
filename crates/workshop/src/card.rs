//! The job card: one machine on one page.

mod heading;
mod mule;
mod steps;

use std::{collections::BTreeMap, sync::Arc};

use catalogue::{Check, Profile, Site};
use diagnosis::{Economy, Explanation, FunctionChance, Step};
use jiff::ZonedDateTime;
use journal::{Act, Entry, Line, Places, Shown};

use crate::{
    Workshop,
    doubt::{Doubted, doubted},
    economy::economy,
    evidence::{Testimony, unseen, why},
    lead::cannot_be_on,
    pile::Machine,
    reach::Reach,
    reckon::{Boards, Reckoned, Suspicion, among_workers, both, others_first, too_much},
    rows, say,
    shelving::{Fresh, can_be_shelved},
    tries::Mule,
    views::{
        Doubt, Drawing, DrawnPart, ExplanationView, ExportedNetwork, FunctionView, JobCard,
        ModeView, NextStep, Suspect,
    },
    words::{listed, one_in, sentence, small},
    workshop::{Inner, Result, State, time},
};

/// Suspects below this are not listed.
const LEAST_SUSPECT: f64 = 0.01;
/// A suspect is explained in words if it has at least this share of the first one's chance.
const LEAST_EXPLAINED: f64 = 0.1;
/// At most this many suspects.
const MOST_SUSPECTS: usize = 8;
/// Set-ups stand for so many minutes.
const STANDING_MINUTES: f64 = 30.0;

impl Workshop {
    /// The job card of a machine.
    ///
    /// # Errors
    /// If there is no such machine, its board is not there, or its findings contradict each other.
    pub fn card(&self, tag: &str) -> Result<JobCard> {
        let mut inner = self.fresh()?;
        let tag = inner.state().machine(tag)?.tag.clone();
        let inner = &mut *inner;
        among_workers(|| card(inner, &tag))
    }

    /// A machine's fault network in the open UAI format, with the evidence and the names of its variables.
    ///
    /// # Errors
    /// As [`Workshop::card`].
    pub fn export_network(&self, tag: &str) -> Result<ExportedNetwork> {
        let mut inner = self.fresh()?;
        let tag = inner.state().machine(tag)?.tag.clone();
        let now = inner.reckoned()?;
        let network = now
            .diagnosis
            .export_network(&tag)
            .map_err(|error| too_much(&error))?;
        Ok(ExportedNetwork {
            uai: network.uai,
            evidence: network.evidence,
            names: network.names,
        })
    }
}

/// A machine with what was reckoned about it.
struct Case<'a> {
    state: &'a State,
    machine: &'a Machine,
    board: &'a Profile,
    modes: Vec<Suspicion>,
    /// Suspects before the last finding.
    was: BTreeMap<(String, String), f64>,
    testimony: Testimony,
    explanations: Arc<[Explanation]>,
    /// The line of the finding in doubt.
    doubted: Option<i64>,
}

fn card(inner: &mut Inner, tag: &str) -> Result<JobCard> {
    let state = inner.state();
    let machine = state.machine(tag)?;
    let standing = standing(&state, machine, &inner.now());
    if let Some(card) = inner.cache().card(tag, &standing) {
        return Ok(card);
    }
    let (boards, blanks) = (state.boards()?, inner.cache().blanks());
    let mule = Mule::of(inner, machine);
    let board = state.folder.board(&machine.board)?;
    let now = &*inner.reckoned()?;
    let economy = economy(&state.folder, &board, machine, &standing);
    // both are reckoned beside the advice
    let mut fresh = None;
    let was = || {
        if can_be_shelved(&state, machine) {
            fresh = Some(Fresh::of(&blanks, &state, &boards)?);
        }
        before(now, &state, machine, &board, &boards)
    };
    let mut card = card_of(&state, tag, now, was, &economy, mule.as_ref())?;
    let advice = now.advice(tag, &economy)?;
    card.shelve =
        fresh.and_then(|fresh| fresh.shelve(&state, machine, &economy, &advice.0, &advice.1));
    card.exchanged.extend(mule::doubt(&state, machine, inner)?);
    inner.cache().keep_card(standing, card.clone());
    Ok(card)
}

/// The modes of a machine before its last finding; none if nothing was found.
fn before(
    now: &Reckoned,
    state: &State,
    machine: &Machine,
    board: &Profile,
    boards: &Boards,
) -> Result<Vec<Suspicion>> {
    let Some(last) = last_finding(state, machine) else {
        return Ok(Vec::new());
    };
    if let Some(known) = now.modes_before(last, machine, board) {
        return Ok(known);
    }
    let before = Reckoned::of(&state.pile, boards, &[last], Some(now))?;
    Ok(before.modes(machine, board))
}

/// What the findings say of a machine, but for what to do next.
struct Found {
    testimony: Testimony,
    explanations: Arc<[Explanation]>,
    tries: Arc<[Step]>,
    functions: Arc<[FunctionChance]>,
    doubted: Option<Doubted>,
}

impl Found {
    fn of(
        state: &State,
        machine: &Machine,
        board: &Arc<Profile>,
        now: &Reckoned,
        economy: &Economy,
        mule: Option<&Mule>,
    ) -> Result<Found> {
        let testimony = Testimony::of(state, machine, now)?;
        let explanations = now.explanations(&machine.tag, 5)?;
        others_first();
        let tries = match mule {
            Some(mule) => mule.steps(now, &state.folder, machine, board, economy)?,
            None => Arc::default(),
        };
        let functions = now.functions(&machine.tag)?;
        let doubted = doubted(state, machine, board, now, &functions);
        Ok(Found {
            testimony,
            explanations,
            tries,
            functions,
            doubted,
        })
    }
}

/// The card of a machine as things stand in a state; `was` tells its modes as they were before its last finding.
pub(crate) fn card_of(
    state: &State,
    tag: &str,
    now: &Reckoned,
    was: impl FnOnce() -> Result<Vec<Suspicion>>,
    economy: &Economy,
    mule: Option<&Mule>,
) -> Result<JobCard> {
    let machine = state.machine(tag)?;
    let board = state.folder.board(&machine.board)?;
    let (advice, looked) = both(
        || now.advice(tag, economy),
        || {
            let found = Found::of(state, machine, &board, now, economy, mule);
            let was = was();
            let (found, was) = (found?, by_name(was?));
            let tries = Arc::clone(&found.tries);
            let case = Case {
                state,
                machine,
                board: &board,
                modes: now.modes(machine, &board),
                was,
                testimony: found.testimony,
                explanations: found.explanations,
                doubted: found.doubted.as_ref().map(|doubted| doubted.line),
            };
            let card = case.card(now, &found.functions, found.doubted.as_ref());
            Ok((case, tries, card))
        },
    );
    let advice = advice?;
    let (steps, course) = &*advice;
    let (case, tries, card) = looked?;
    let mut next = case.next(steps, &tries, mule, economy);
    let in_order = next.is_empty() && case.is_given_up(course);
    if in_order {
        next = case.in_order(now, steps, economy)?;
    }
    Ok(JobCard {
        heading: case.heading(next.first()),
        next_note: case.next_note(&next, steps, in_order),
        next,
        course: case.course(course, economy),
        ..card
    })
}

fn by_name(modes: Vec<Suspicion>) -> BTreeMap<(String, String), f64> {
    modes
        .into_iter()
        .map(|one| ((one.part, one.mode), one.chance))
        .collect()
}

/// The check that a bare value on a machine's card belongs to: the first of the next steps.
pub(crate) fn open_check(inner: &mut Inner, tag: &str) -> Option<String> {
    let card = card(inner, tag).ok()?;
    let can = |step: &&NextStep| step.missing.is_none() && step.act.is_none();
    card.next.iter().find(can).map(|step| step.check.clone())
}

/// The check looks at something that is there.
pub(crate) fn at_hand(machine: &Machine, board: &Profile, check: &str) -> bool {
    let Some(check) = board.check(check) else {
        return false;
    };
    let gone = |at: &String| {
        machine
            .empty
            .contains(at.rsplit_once('.').map_or(at.as_str(), |(part, _)| part))
    };
    let there = check.at.is_empty() || !check.at.iter().all(gone);
    there && !cannot_be_on(machine, board, check)
}

/// The last finding that says something.
pub(crate) fn last_finding(state: &State, machine: &Machine) -> Option<i64> {
    let said = |entry: &&Entry| matches!(&entry.line, Line::Finding { shown, .. } if *shown != Shown::Skipped);
    state.pile.lines(machine).rfind(said).map(|entry| entry.id)
}

/// Set-ups of the last finding, if that was just now.
pub(crate) fn standing(state: &State, machine: &Machine, now: &ZonedDateTime) -> Vec<String> {
    let Some(entry) = last_finding(state, machine).and_then(|id| state.pile.entry(id)) else {
        return Vec::new();
    };
    let since = now
        .timestamp()
        .duration_since(entry.time.timestamp())
        .as_secs_f64()
        / 60.0;
    let board = state.folder.board(&machine.board).ok();
    let Line::Finding { check, .. } = &entry.line else {
        return Vec::new();
    };
    let check = board.as_ref().and_then(|board| board.check(check));
    check
        .filter(|_| (0.0..=STANDING_MINUTES).contains(&since))
        .map(|check| check.set_up.clone())
        .unwrap_or_default()
}

/// Minutes since power-on, if they were said.
fn minutes_on(entry: &Entry) -> Option<f64> {
    match &entry.line {
        Line::Finding { minutes_on, .. } => *minutes_on,
        _ => None,
    }
}

/// Minutes spent on a machine: those of its checks and acts.
pub(crate) fn minutes_spent(state: &State, machine: &Machine) -> f64 {
    let board = state.folder.board(&machine.board).ok();
    let spent = |entry: &Entry| match &entry.line {
        Line::Finding {
            shown: Shown::Skipped,
            ..
        } => 0.0,
        Line::Finding { check, .. } => board
            .as_ref()
            .and_then(|board| board.check(check))
            .map_or(1.0, |check| check.minutes),
        // Common practice, no source.
        Line::Act { done } => match done {
            Act::Reseat(_) => 2.0,
            Act::Pull { .. } | Act::Fit { .. } | Act::Clean(_) => 5.0,
            Act::Resolder(_) | Act::Swap { .. } => 8.0,
            Act::Mend { .. } => 15.0,
            // what a donor gives is no work on that machine
            Act::Strip { .. } => 0.0,
        },
        _ => 0.0,
    };
    state.pile.lines(machine).map(spent).sum()
}

/// `U9, the video controller, is dead.`
pub(crate) fn mode_words(board: &Profile, part: &str, mode: &str) -> String {
    let known = board
        .part(part)
        .and_then(|part| Some((part, part.mode(mode)?)));
    match known {
        Some((part, mode)) => say::mode_sentence(part, mode),
        None => match board.outside.iter().find(|outside| outside.id == part) {
            Some(outside) => sentence(&format!("{} is bad", outside.title)),
            None => sentence(&format!("{} has a bad contact or joint", say::short(part))),
        },
    }
}

impl Case<'_> {
    /// The card but for what to do next: `heading`, `next`, `next_note`, `course` and `shelve` are blank.
    fn card(
        &self,
        now: &Reckoned,
        functions: &[FunctionChance],
        doubted: Option<&Doubted>,
    ) -> JobCard {
        let (machine, board) = (self.machine, self.board);
        let suspects = self.suspects();
        let told = self.explanations.iter().map(|one| one.share).sum::<f64>();
        let explanations = self.explanations.iter();
        JobCard {
            tag: machine.tag.clone(),
            board: board.title.clone(),
            paid: machine.paid.clone(),
            minutes_spent: minutes_spent(self.state, machine),
            heading: String::new(),
            state: self.standing(),
            exchanged: self.exchanged(),
            p_findings: now.diagnosis.p_findings(),
            left_out: self.left_out(now),
            aside: now.diagnosis.aside().map(|aside| self.aside(aside)),
            doubt: doubted.and_then(|doubted| self.doubt(doubted)),
            next_note: String::new(),
            next: Vec::new(),
            course: String::new(),
            shelve: None,
            drawing: self.drawing(&suspects),
            suspects,
            unmodelled: now.diagnosis.unmodelled(&machine.tag),
            unseen: unseen(self.state, machine, board),
            others: (1.0 - told).max(0.0),
            explanations: explanations.map(|one| self.explanation(one)).collect(),
            modes: self.mode_views(),
            functions: functions
                .iter()
                .map(|one| FunctionView {
                    function: catalogue::target_name(&one.target),
                    chance: one.chance,
                })
                .collect(),
            checks: board.checks.iter().map(say::head).collect(),
            journal: self.journal(),
        }
    }

    fn suspects(&self) -> Vec<Suspect> {
        let listed = self
            .modes
            .iter()
            .filter(|mode| mode.chance >= LEAST_SUSPECT)
            .take(MOST_SUSPECTS);
        let suspect = |mode: &Suspicion| self.suspect(mode);
        listed.map(suspect).collect()
    }

    fn suspect(&self, mode: &Suspicion) -> Suspect {
        let evidence = self.testimony.about(self.machine, mode);
        let most = self.modes.first().map_or(0.0, |first| first.chance);
        let named = mode.chance >= LEAST_EXPLAINED * most;
        let mut why: Vec<String> = named.then(|| why(&evidence)).into_iter().collect();
        why.extend(self.treated_in_vain(mode));
        why.retain(|sentence| !sentence.is_empty());
        Suspect {
            part: mode.part.clone(),
            mode: mode.mode.clone(),
            title: self.mode_sentence(&mode.part, &mode.mode),
            why: why.join(" "),
            evidence,
            chance: mode.chance,
            was: self
                .was
                .get(&(mode.part.clone(), mode.mode.clone()))
                .copied(),
        }
    }

    fn mode_sentence(&self, part: &str, mode: &str) -> String {
        mode_words(self.board, part, mode)
    }

    fn reaches(&self, check: &Check, shown: &Shown, suspect: &Suspicion) -> bool {
        let outcome = match shown {
            Shown::Outcome(id) => check.outcomes.iter().position(|outcome| outcome.id == *id),
            _ => None,
        };
        let reach = Reach::of(self.board, check, outcome);
        match self.board.part(&suspect.part) {
            Some(part) => part
                .mode(&suspect.mode)
                .is_some_and(|mode| reach.holds(self.board, part, mode)),
            None => reach.holds_outside(self.board, &suspect.part),
        }
    }

    /// `The reseat at 20:05 did not help.`
    fn treated_in_vain(&self, suspect: &Suspicion) -> Option<String> {
        if suspect.site != Site::Place {
            return None;
        }
        let block = self
            .board
            .part(&suspect.part)
            .map(|part| part.block.as_str());
        let touches = |places: &Places| match places {
            Places::Parts(parts) => parts.contains(&suspect.part),
            Places::Block(id) => block == Some(id.as_str()),
        };
        let treated = self
            .state
            .pile
            .lines(self.machine)
            .rfind(|entry| match &entry.line {
                Line::Act {
                    done: Act::Reseat(places) | Act::Resolder(places) | Act::Clean(places),
                } => touches(places),
                _ => false,
            })?;
        let still_bad = self
            .bad_findings()
            .into_iter()
            .any(|(check, shown, entry)| {
                entry.id > treated.id && self.reaches(check, shown, suspect)
            });
        let Line::Act { done } = &treated.line else {
            return None;
        };
        let word = match done {
            Act::Reseat(_) => "reseat",
            Act::Resolder(_) => "resoldering",
            _ => "cleaning",
        };
        still_bad.then(|| format!("The {word} at {} did not help.", time(&treated.time)))
    }

    fn doubt(&self, doubted: &Doubted) -> Option<Doubt> {
        let entry = self.state.pile.entry(doubted.line)?;
        let Line::Finding { check, shown, .. } = &entry.line else {
            return None;
        };
        let check = self.board.check(check)?;
        let text = say::shown_text(Some(check), shown);
        Some(Doubt {
            check: check.id.clone(),
            before: format!("The {} of", small(&say::check_title(check)))
                .replace("The +", "The reading of +"),
            text,
            after: format!(
                "does not fit the rest: with all other findings it had a chance of {}.{}",
                one_in(doubted.chance),
                check
                    .caution
                    .as_ref()
                    .map(|caution| format!(" {}", sentence(caution)))
                    .unwrap_or_default()
            ),
            chance: doubted.chance,
            band: say::band(check, shown),
        })
    }

    fn explanation(&self, one: &Explanation) -> ExplanationView {
        let mut names: Vec<String> = one
            .modes
            .iter()
            .map(|(part, mode)| say::mode_short(self.board, part, mode))
            .collect();
        if one.unmodelled {
            names.push("something this profile does not know".to_string());
        }
        let title = match names.as_slice() {
            [] => "Nothing is wrong with it.".to_string(),
            names => sentence(&format!("{}, all else good", listed(names, "and"))),
        };
        ExplanationView {
            title,
            modes: one
                .modes
                .iter()
                .map(|(part, mode)| format!("{part}.{mode}"))
                .collect(),
            unmodelled: one.unmodelled,
            share: one.share,
        }
    }

    fn mode_views(&self) -> Vec<ModeView> {
        let order: BTreeMap<&str, usize> = self
            .board
            .parts
            .iter()
            .enumerate()
            .map(|(index, part)| (part.reference.as_str(), index))
            .collect();
        let mut modes: Vec<&Suspicion> = self.modes.iter().collect();
        modes.sort_by_cached_key(|mode| {
            let place = order.get(mode.part.as_str()).copied();
            (place.unwrap_or(usize::MAX), mode.mode.clone())
        });
        let site = |mode: &Suspicion| match (mode.outside, mode.site) {
            (true, _) => "outside",
            (false, Site::Chip) => "chip",
            (false, Site::Place) => "place",
        };
        let view = |mode: &&Suspicion| ModeView {
            mode: format!("{}.{}", mode.part, mode.mode),
            site: site(mode).to_string(),
            chance: mode.chance,
        };
        modes.iter().map(view).collect()
    }

    fn drawing(&self, suspects: &[Suspect]) -> Option<Drawing> {
        let ranks = |part: &str| -> Vec<usize> {
            suspects
                .iter()
                .enumerate()
                .filter(|(_, suspect)| suspect.part == part)
                .map(|(index, _)| index + 1)
                .collect()
        };
        let parts: Vec<DrawnPart> = self
            .board
            .parts
            .iter()
            .filter_map(|part| {
                Some(DrawnPart {
                    part: part.reference.clone(),
                    area: part.area?,
                    ranks: ranks(&part.reference),
                })
            })
            .collect();
        let edge = |axis: usize| {
            parts
                .iter()
                .map(|part| part.area[axis] + part.area[axis + 2])
                .fold(0.0, f64::max)
        };
        if parts.is_empty() {
            return None;
        }
        const MARGIN: f64 = 4.0;
        let placed: Vec<String> = parts
            .iter()
            .filter(|part| !part.ranks.is_empty())
            .map(|part| {
                let ranks: Vec<String> = part.ranks.iter().map(ToString::to_string).collect();
                let word = if ranks.len() == 1 {
                    "suspect"
                } else {
                    "suspects"
                };
                format!("{} holds {word} {}", part.part, listed(&ranks, "and"))
            })
            .collect();
        let sentence = match placed.as_slice() {
            [] => "Board outline; no suspect has its place on it.".to_string(),
            placed => format!("Board outline: {}.", listed(placed, "and")),
        };
        Some(Drawing {
            width: edge(0) + MARGIN,
            height: edge(1) + MARGIN,
            parts,
            sentence,
        })
    }

    fn journal(&self) -> Vec<crate::views::JournalRow> {
        rows::rows(self.state, Some(&self.machine.tag))
    }
}
