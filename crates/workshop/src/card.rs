//! The job card: one machine on one page.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::{Check, Profile, Site};
use diagnosis::{Course, Economy, Explanation, Step};
use jiff::ZonedDateTime;
use journal::{Act, Entry, Line, Places, Shown, Truth};

use crate::{
    Error, Workshop,
    contradiction::{self, LeftOut, Why},
    doubt::{Doubted, doubted},
    economy::economy,
    evidence::{Testimony, unseen, why},
    lead::{WHOLE, absent_words, finding_words, known_words, lead, standing_words},
    pile::Machine,
    reach::Reach,
    reckon::{Reckoned, Suspicion, too_much},
    rows::{self, owner},
    say,
    views::{
        CellState, Doubt, Drawing, DrawnPart, ExplanationView, ExportedNetwork, FunctionView,
        JobCard, ModeView, NextStep, Suspect,
    },
    words::{coins, listed, minutes, one_in, percent, sentence, small, to_coins},
    workshop::{Inner, Result, State, time},
};

/// Suspects below this are not listed.
const LEAST_SUSPECT: f64 = 0.01;
/// A suspect is explained in words if it has at least this share of the first one's chance.
const LEAST_EXPLAINED: f64 = 0.1;
/// At most this many suspects.
const MOST_SUSPECTS: usize = 8;
/// Waiting until the machine is seen not to work must save so much more to be worth a word, in money.
const WORTH_WAITING: f64 = 0.5;
/// Steps of a course that are named.
const MOST_STEPS: usize = 4;
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
        card(&mut inner, &tag)
    }

    /// A machine's fault network in the open UAI format, with the evidence and the names of its variables.
    ///
    /// # Errors
    /// As [`Workshop::card`].
    pub fn export_network(&self, tag: &str) -> Result<ExportedNetwork> {
        let mut inner = self.fresh()?;
        let tag = inner.state().machine(tag)?.tag.clone();
        let reckoned = inner.reckon(&[&[]])?;
        let now = reckoned.first().ok_or_else(nothing_reckoned)?;
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

fn nothing_reckoned() -> Error {
    Error::new(crate::ErrorKind::Internal, "nothing was reckoned")
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
    explanations: Vec<Explanation>,
    /// The line of the finding in doubt.
    doubted: Option<i64>,
}

fn card(inner: &mut Inner, tag: &str) -> Result<JobCard> {
    let state = inner.state();
    let machine = state.machine(tag)?;
    let without: Vec<i64> = last_finding(&state, machine).into_iter().collect();
    let standing = standing(&state, machine, &inner.now());
    if let Some(card) = inner.cache().card(tag, &standing) {
        return Ok(card);
    }
    let reckoned = inner.reckon(&[&[], &without])?;
    let [now, before] = reckoned.as_slice() else {
        return Err(nothing_reckoned());
    };
    let card = card_of(
        &state,
        tag,
        now,
        Some(*before).filter(|_| !without.is_empty()),
        &standing,
    )?;
    inner.cache().keep_card(standing, card.clone());
    Ok(card)
}

/// The card of a machine as things stand in a state, with what was reckoned before its last finding.
pub(crate) fn card_of(
    state: &State,
    tag: &str,
    now: &Reckoned,
    before: Option<&Reckoned>,
    standing: &[String],
) -> Result<JobCard> {
    let machine = state.machine(tag)?;
    let board = state.folder.board(&machine.board)?;
    let economy = economy(&state.folder, &board, machine, standing);
    let was = before.map(|before| by_name(before.modes(machine, &board)));
    let explanations = now.explanations(tag, 5)?;
    let functions = now
        .diagnosis
        .functions(tag)
        .map_err(|error| too_much(&error))?;
    let doubted = doubted(state, machine, &board, now, &functions);
    let case = Case {
        state,
        machine,
        board: &board,
        modes: now.modes(machine, &board),
        was: was.unwrap_or_default(),
        testimony: Testimony::of(state, machine, now)?,
        explanations,
        doubted: doubted.as_ref().map(|doubted| doubted.line),
    };
    let (steps, course) = now
        .diagnosis
        .next(tag, &economy)
        .map_err(|error| too_much(&error))?;
    let suspects = case.suspects();
    let next = case.next(&steps, &economy);
    Ok(JobCard {
        tag: tag.to_string(),
        board: board.title.clone(),
        paid: machine.paid.clone(),
        minutes_spent: minutes_spent(state, machine),
        heading: case.heading(next.first()),
        state: case.standing(),
        exchanged: case.exchanged(),
        p_findings: now.diagnosis.p_findings(),
        left_out: case.left_out(now),
        doubt: doubted.and_then(|doubted| case.doubt(&doubted)),
        next_note: case.next_note(&next, &steps),
        next,
        course: case.course(&course, &economy),
        drawing: case.drawing(&suspects),
        suspects,
        unmodelled: now.diagnosis.unmodelled(tag),
        unseen: unseen(state, machine, &board),
        others: (1.0 - case.explanations.iter().map(|one| one.share).sum::<f64>()).max(0.0),
        explanations: case
            .explanations
            .iter()
            .map(|one| case.explanation(one))
            .collect(),
        modes: case.mode_views(),
        functions: functions
            .into_iter()
            .map(|one| FunctionView {
                function: catalogue::target_name(&one.target),
                chance: one.chance,
            })
            .collect(),
        checks: board.checks.iter().map(say::head).collect(),
        journal: case.journal(),
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
    let can = |step: &&NextStep| step.missing.is_none();
    card.next.iter().find(can).map(|step| step.check.clone())
}

/// The check looks at something that is there.
fn at_hand(machine: &Machine, board: &Profile, check: &str) -> bool {
    let Some(check) = board.check(check) else {
        return false;
    };
    let gone = |at: &String| {
        machine
            .empty
            .contains(at.rsplit_once('.').map_or(at.as_str(), |(part, _)| part))
    };
    check.at.is_empty() || !check.at.iter().all(gone)
}

/// The last finding that says something.
fn last_finding(state: &State, machine: &Machine) -> Option<i64> {
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
fn minutes_spent(state: &State, machine: &Machine) -> f64 {
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

    /// The same without the finding in doubt.
    fn trusted_bad_findings(&self) -> Vec<(&Check, &Shown, &Entry)> {
        let mut bad = self.bad_findings();
        bad.retain(|(_, _, entry)| Some(entry.id) != self.doubted);
        bad
    }

    /// The latest finding of each check, where it is not as it should be; or one of this epoch that came and went.
    fn bad_findings(&self) -> Vec<(&Check, &Shown, &Entry)> {
        let is_bad = |(check, shown, _): &(&Check, &Shown, &Entry)| {
            say::cell(check, shown).state == CellState::Bad
        };
        let mut bad: Vec<(&Check, &Shown, &Entry)> = Vec::new();
        for latest in self.latest() {
            if is_bad(&latest) {
                bad.push(latest);
                continue;
            }
            let before = self.findings().rev().find(|(check, _, entry)| {
                check.id == latest.0.id
                    && entry.id > self.machine.opened
                    && minutes_on(entry) != minutes_on(latest.2)
            });
            bad.extend(before.filter(is_bad));
        }
        bad
    }

    /// All findings that say something, oldest first.
    fn findings(&self) -> impl DoubleEndedIterator<Item = (&Check, &Shown, &Entry)> {
        let lines = self.state.pile.lines(self.machine);
        lines.filter_map(|entry| match &entry.line {
            Line::Finding { check, shown, .. } if *shown != Shown::Skipped => {
                Some((self.board.check(check)?, shown, entry))
            }
            _ => None,
        })
    }

    /// The latest finding of each check, in the order they were made.
    fn latest(&self) -> Vec<(&Check, &Shown, &Entry)> {
        let mut seen = BTreeSet::new();
        let mut latest: Vec<_> = self
            .findings()
            .rev()
            .filter(|(check, _, _)| seen.insert(check.id.as_str()))
            .collect();
        latest.reverse();
        latest
    }

    fn whole(&self) -> f64 {
        let empty = self
            .explanations
            .iter()
            .find(|one| one.modes.is_empty() && !one.unmodelled);
        empty.map_or(0.0, |one| one.share)
    }

    fn heading(&self, next: Option<&NextStep>) -> String {
        if self.machine.mule {
            return self.mule_heading();
        }
        match &self.machine.settled {
            Some(Truth::Works) => return "It works; that is settled.".to_string(),
            Some(Truth::Mode { part, mode }) => {
                return format!(
                    "{}; that is settled.",
                    self.mode_sentence(part, mode).trim_end_matches('.')
                );
            }
            Some(Truth::Joint(what)) => return sentence(&format!("{what}; that is settled")),
            None => {}
        }
        let looked = !self.latest().is_empty();
        let absent = if looked {
            absent_words(self.machine, self.board)
        } else {
            known_words(self.machine, self.board)
        };
        let bad: Vec<String> = self
            .telling(&self.trusted_bad_findings())
            .iter()
            .map(|(check, shown, entry)| {
                let after = minutes_on(entry).filter(|on| *on > 0.0);
                let after = after.map(|on| format!(" after {}", minutes(on)));
                format!(
                    "{}{}",
                    finding_words(check, shown),
                    after.unwrap_or_default()
                )
            })
            .collect();
        let lead = lead(self.board, &self.modes);
        let text = match (absent, bad.as_slice()) {
            (Some(known), _) if !looked => format!("{known}; nothing is seen yet"),
            (Some(absent), _) if lead.chance() < 0.3 => {
                format!("{absent}; nothing else speaks against it")
            }
            (Some(absent), _) => format!("{absent}; besides that {}", lead.words()),
            (None, []) if self.whole() >= WHOLE => {
                format!(
                    "Looks whole: {} that nothing is wrong",
                    percent(self.whole())
                )
            }
            (None, []) if !looked => match next {
                Some(step) => format!(
                    "Nothing is seen yet; begin with {}",
                    small(step.title.trim_end_matches('.'))
                ),
                None => "Nothing is seen yet".to_string(),
            },
            (None, []) => {
                let clearest = self.modes.first().filter(|_| lead.chance() >= 0.3);
                let clearest =
                    clearest.and_then(|mode| self.testimony.clearest(self.machine, mode));
                let seen = clearest.unwrap_or_else(|| "Nothing bad is seen so far".to_string());
                format!("{seen}: {}", lead.words())
            }
            (None, bad) => format!("{}: {}", listed(bad, "and"), lead.words()),
        };
        sentence(&text)
    }

    /// The mule is asked about the chips of others that it holds.
    fn mule_heading(&self) -> String {
        let bad = |part: &str| -> f64 {
            let modes = self
                .modes
                .iter()
                .filter(|mode| mode.part == part && !mode.outside);
            modes.map(|mode| mode.chance).fold(0.0, f64::max)
        };
        let held: Vec<String> = self
            .machine
            .guests
            .iter()
            .map(|(part, (tag, own))| {
                format!("{own} of {}, bad with {}", owner(tag), percent(bad(part)))
            })
            .collect();
        match held.as_slice() {
            [] => format!(
                "{} holds its own chips.",
                crate::words::capital(&owner(&self.machine.tag))
            ),
            held => sentence(&format!(
                "{} holds {}",
                owner(&self.machine.tag),
                listed(held, "and")
            )),
        }
    }

    /// The two bad findings that say most about the leading suspect.
    fn telling<'b>(
        &self,
        bad: &[(&'b Check, &'b Shown, &'b Entry)],
    ) -> Vec<(&'b Check, &'b Shown, &'b Entry)> {
        let Some(first) = self.modes.first() else {
            return bad.iter().take(2).copied().collect();
        };
        let (mut telling, mut rest): (Vec<_>, Vec<_>) = bad
            .iter()
            .copied()
            .partition(|(check, shown, _)| self.reaches(check, shown, first));
        telling.append(&mut rest);
        telling.truncate(2);
        telling
    }

    /// Chips of this machine that are elsewhere, and chips of others that are here.
    fn exchanged(&self) -> Vec<String> {
        let home = |part: &str, home: &(String, String)| match part == home.1 {
            true => format!("{} of {}", part, owner(&home.0)),
            false => format!("{} of {}", home.1, owner(&home.0)),
        };
        let here = self
            .machine
            .guests
            .iter()
            .map(|(part, from)| format!("{part} holds {}.", home(part, from)));
        let away = self.board.parts.iter().filter_map(|part| {
            let (tag, there) = self
                .state
                .pile
                .guest_at(&self.machine.tag, &part.reference)?;
            let own = &part.reference;
            Some(match own == there {
                true => format!("Its own {own} is in {}.", owner(tag)),
                false => format!("Its own {own} is in {there} of {}.", owner(tag)),
            })
        });
        here.chain(away).collect()
    }

    fn standing(&self) -> String {
        standing_words(self.state, self.machine, self.whole())
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

    /// Lines of this machine that do not count, and lines of others that this one's rule out.
    fn left_out(&self, now: &Reckoned) -> Vec<String> {
        let own = |line: &i64| {
            let entry = self.state.pile.entry(*line);
            entry.and_then(|entry| entry.machine.as_deref()) == Some(&self.machine.tag)
        };
        let concerns = |out: &&LeftOut| {
            let others = match &out.why {
                Why::Contradicts(with) => with.as_slice(),
                Why::Unusable(_) => &[],
            };
            own(&out.line) || others.iter().any(own)
        };
        let out = now.left_out.iter().filter(concerns);
        out.map(|out| contradiction::words(self.state, out))
            .collect()
    }

    /// What the savings are measured against; where none pays now, which would if the machine turned out not to work.
    fn next_note(&self, next: &[NextStep], steps: &[Step]) -> String {
        let currency = self.state.folder.settings.currency;
        let rate = coins(self.state.folder.settings.rate_per_hour, currency);
        if !next.is_empty() {
            return format!("Saved against fitting suspects one at a time, at {rate} an hour.");
        }
        let fits = |step: &&Step| at_hand(self.machine, self.board, &step.check);
        let later = steps
            .iter()
            .filter(fits)
            .max_by(|a, b| a.saving_later.total_cmp(&b.saving_later))
            .filter(|step| step.saving_later >= WORTH_WAITING)
            .and_then(|step| Some((self.board.check(&step.check)?, step.saving_later)));
        let later = later.map(|(check, saving)| {
            format!(
                " See whether it works; if it does not, {} saves {}.",
                say::check_at(check),
                coins(to_coins(saving, currency), currency)
            )
        });
        format!(
            "No further look pays for itself now.{}",
            later.unwrap_or_default()
        )
    }

    fn next(&self, steps: &[Step], economy: &Economy) -> Vec<NextStep> {
        let fits = |step: &&Step| at_hand(self.machine, self.board, &step.check);
        let pays = |step: &&Step| step.saving > 0.0;
        let mut chosen: Vec<&Step> = steps.iter().filter(fits).filter(pays).take(3).collect();
        if chosen.is_empty() && self.latest().is_empty() {
            chosen = steps.iter().filter(fits).take(3).collect();
        }
        chosen
            .into_iter()
            .filter_map(|step| self.next_step(step, economy))
            .collect()
    }

    fn next_step(&self, step: &Step, economy: &Economy) -> Option<NextStep> {
        let check = self.board.check(&step.check)?;
        let missing = step
            .new_set_ups
            .iter()
            .find(|set_up| economy.missing.contains(set_up));
        let mut how = sentence(&check.how);
        let needs: Vec<String> = step
            .new_set_ups
            .iter()
            .map(|set_up| set_up.replace('-', " "))
            .collect();
        if !needs.is_empty() {
            how = format!("{how} Needs: {}.", needs.join(", "));
        }
        let currency = self.state.folder.settings.currency;
        Some(NextStep {
            check: check.id.clone(),
            title: sentence(&crate::words::capital(&say::check_at(check))),
            how: how.trim().to_string(),
            caution: check.caution.clone(),
            minutes: step.minutes,
            saves: coins(to_coins(step.saving, currency), currency),
            saves_later: Some(step.saving_later)
                .filter(|later| *later >= WORTH_WAITING + step.saving.max(0.0) * 1.2)
                .map(|later| coins(to_coins(later, currency), currency)),
            missing: missing.map(|set_up| set_up.replace('-', " ")),
            outcomes: self.outcomes(check, step),
        })
    }

    /// `black (62 %): then U9 dead, 91 %`.
    fn outcomes(&self, check: &Check, step: &Step) -> Vec<String> {
        let then: BTreeMap<&str, &Option<diagnosis::ModeChance>> = step
            .then
            .iter()
            .map(|(outcome, mode)| (outcome.as_str(), mode))
            .collect();
        let one = |(outcome, chance): &(String, f64)| {
            let word = say::outcome_word(check, outcome);
            let lead = then.get(outcome.as_str()).and_then(|mode| mode.as_ref());
            let lead = lead.map(|lead| {
                let part = match &lead.holder {
                    diagnosis::Holder::Position { part, .. } => part,
                    diagnosis::Holder::Outside(id) | diagnosis::Holder::Marked(id) => id,
                };
                format!(
                    ": then {}, {}",
                    say::mode_short(self.board, part, &lead.mode),
                    percent(lead.chance)
                )
            });
            format!("{word} ({}){}", percent(*chance), lead.unwrap_or_default())
        };
        step.outcomes
            .iter()
            .filter(|(_, chance)| *chance >= 0.005)
            .map(one)
            .collect()
    }

    fn course(&self, course: &Course, economy: &Economy) -> String {
        if matches!(self.machine.settled, Some(Truth::Works)) {
            return String::new();
        }
        let currency = self.state.folder.settings.currency;
        let value = coins(to_coins(course.value, currency), currency);
        if course.remedies.is_empty() {
            let hold = coins(
                self.state.folder.settings.worth(&self.machine.board).hold,
                currency,
            );
            return format!("Best left as it is, worth {hold}.");
        }
        let remedies = course
            .remedies
            .iter()
            .filter_map(|index| economy.remedies.get(*index));
        let mut steps: Vec<String> = remedies
            .map(|remedy| format!("{} {}", say::short(&remedy.part), remedy.title))
            .collect();
        let more = steps.len().saturating_sub(MOST_STEPS);
        steps.truncate(MOST_STEPS);
        let then = if more > 0 {
            format!(", then {} more", crate::words::number(more))
        } else {
            String::new()
        };
        let first = if course.look_first {
            "See whether it works; if not, "
        } else {
            ""
        };
        format!(
            "{first}{}{then}, each with a retest until it works. That takes {} on average, it works with {}, and {value} is left after \
             cost.",
            steps.join(", then "),
            minutes(course.minutes),
            percent(course.works),
        )
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
        modes.sort_by_key(|mode| {
            (
                order.get(mode.part.as_str()).copied().unwrap_or(usize::MAX),
                mode.mode.clone(),
            )
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
