//! The next rounds: which look at which machines next, set-ups paid once for all of them.

use std::{collections::BTreeSet, sync::Arc};

use catalogue::{Check, Profile};
use diagnosis::{Economy, Look, SetUps, Step};
use journal::{Line, Shown, Truth};
use serde::Serialize;

use crate::{
    Workshop,
    card::{at_hand, standing},
    economy::economy,
    lead::{absent_supply, standing_words},
    pile::Machine,
    repeats::again,
    say,
    shelving::Fresh,
    tries::{MULE, Mule, shorts},
    views::Shelve,
    words::{capital, coins, counted, listed, minutes, sentence, small, to_coins},
    workshop::{Inner, Result, State},
};

/// Other groups that are offered instead of the first round.
const MOST_INSTEAD: usize = 3;
/// So many tags are named in a heading.
const MOST_TAGS: usize = 4;
/// So many looks are named in a heading.
const MOST_NAMED: usize = 3;

/// The next rounds.
#[derive(Debug, Clone, Serialize)]
pub struct RoundsView {
    /// The answer in a sentence: `Next round: sound on T-05 and T-06; 5 min, saves 6.90.`
    pub heading: String,
    /// What stands, and how much is to be done.
    pub summary: String,
    /// Looks to take once more with other leads, before anything else.
    pub again: Vec<Again>,
    /// Rounds in the order of working; a machine is in one of them at most.
    pub rounds: Vec<RoundToMake>,
    /// What could be done instead of the first round, as far as it is something else.
    pub instead: Vec<RoundToMake>,
    /// What instruments that are not on the bench would be worth.
    pub lacking: Vec<RoundToMake>,
    /// Machines that are in no round, and why.
    pub aside: Vec<Aside>,
    /// Machines on which work brings less than on a further, fresh one.
    pub shelve: Vec<Shelve>,
    /// How the savings are reckoned.
    pub note: String,
}

/// Looks made together.
#[derive(Debug, Clone, Serialize)]
pub struct RoundToMake {
    /// `Sound on T-05 and T-06`; several looks by what is typed for them.
    pub title: String,
    /// Set-ups made for it, in words: `oscilloscope`.
    pub set_ups: Vec<String>,
    /// Minutes of these.
    pub set_up_minutes: f64,
    /// Minutes of set-ups and looks.
    pub minutes: f64,
    /// What it saves, its minutes taken off.
    pub saves: String,
    /// What it saves by the hour; rounds are ordered by it.
    pub saves_an_hour: String,
    /// The instrument that is missing, if one is.
    pub missing: Option<String>,
    /// Looks, the one that saves most first.
    pub looks: Vec<RoundLook>,
}

/// One check on some machines.
#[derive(Debug, Clone, Serialize)]
pub struct RoundLook {
    /// Check id.
    pub check: String,
    /// The act that comes before the look on each machine, as it is typed: `swap U9 mule`. The look is then at the mule.
    pub act: Option<String>,
    /// `Sync at U14 pin 4`.
    pub title: String,
    /// How to do it.
    pub how: String,
    /// Caution before it.
    pub caution: Option<String>,
    /// Machines in the order of their tags.
    pub tags: Vec<String>,
    /// Its minutes on all of them, set-ups left out.
    pub minutes: f64,
    /// What it saves on all of them, set-ups left out.
    pub saves: String,
}

/// A look that too many machines answered alike.
#[derive(Debug, Clone, Serialize)]
pub struct Again {
    /// Check id.
    pub check: String,
    /// The machine to take it on once more.
    pub tag: String,
    /// Why, in a sentence.
    pub sentence: String,
}

/// Machines that are in no round.
#[derive(Debug, Clone, Serialize)]
pub struct Aside {
    /// Machine tags.
    pub tags: Vec<String>,
    /// Why, in a sentence.
    pub sentence: String,
}

impl Workshop {
    /// The next rounds over the pile.
    ///
    /// # Errors
    /// If a board is not there, the findings contradict each other, or they tie too much together.
    pub fn rounds(&self) -> Result<RoundsView> {
        let mut inner = self.fresh()?;
        let open = Open::of(&mut inner)?;
        Ok(open.view())
    }
}

/// A look with what is said about it.
struct Named {
    check: Check,
    /// The position whose chip is tried for it, and the mule's tag.
    tried: Option<(String, String)>,
    /// A caution before that.
    shorts: Option<String>,
    tag: String,
    /// The instrument it lacks.
    missing: Option<String>,
}

/// All looks that could be made.
struct Open {
    state: std::sync::Arc<State>,
    /// Names of the set-ups by number, and which of them stand.
    names: Vec<String>,
    standing: Vec<String>,
    set_ups: SetUps,
    looks: Vec<Look>,
    named: Vec<Named>,
    looks_whole: BTreeSet<String>,
    /// Machines that cannot be switched on, and what they lack for it.
    unpowered: Vec<(String, String)>,
    again: Vec<Again>,
    shelve: Vec<Shelve>,
}

impl Open {
    fn of(inner: &mut Inner) -> Result<Open> {
        let state = inner.state();
        let boards = state.boards()?;
        let settings = &state.folder.settings;
        let mut open = Open {
            names: Vec::new(),
            standing: on_the_bench(&state, inner),
            set_ups: SetUps {
                rate_per_minute: settings.rate_per_minute(),
                minutes: Vec::new(),
            },
            looks: Vec::new(),
            named: Vec::new(),
            looks_whole: BTreeSet::new(),
            unpowered: Vec::new(),
            again: again(&state, &boards),
            shelve: Vec::new(),
            state: std::sync::Arc::clone(&state),
        };
        if state.pile.on_bench().next().is_none() {
            return Ok(open);
        }
        let fresh = Fresh::of(&inner.cache().blanks(), &state, &boards)?;
        let each: Vec<Vec<String>> = state
            .pile
            .machines
            .iter()
            .map(|machine| standing(&state, machine, &inner.now()))
            .collect();
        let mules: Vec<Option<Mule>> = state
            .pile
            .machines
            .iter()
            .map(|machine| Mule::of(inner, machine))
            .collect();
        let now = &*inner.reckoned()?;
        let economies: Vec<Option<Economy>> = state
            .pile
            .machines
            .iter()
            .zip(&each)
            .map(|(machine, standing)| {
                let board = boards.get(&machine.board)?;
                let open = machine.on_bench() && machine.settled != Some(Truth::Works);
                open.then(|| economy(&state.folder, board, machine, standing))
            })
            .collect();
        let pairs = state.pile.machines.iter().zip(&economies);
        let asked: Vec<(&str, &Economy)> = pairs
            .filter_map(|(machine, economy)| Some((machine.tag.as_str(), economy.as_ref()?)))
            .collect();
        now.advise_each(&asked)?;
        for (number, (machine, economy)) in state.pile.machines.iter().zip(&economies).enumerate() {
            let Some(board) = boards.get(&machine.board).filter(|_| machine.on_bench()) else {
                continue;
            };
            if standing_words(&state, machine, now.whole(&machine.tag)?) == "working" {
                open.looks_whole.insert(machine.tag.clone());
            }
            let Some(economy) = economy else {
                continue;
            };
            let advice = now.advice(&machine.tag, economy)?;
            let (steps, course) = &*advice;
            let shelve = fresh.shelve(&state, machine, economy, steps, course);
            open.shelve.extend(shelve);
            let supply = absent_supply(machine, board);
            let unpowered = supply.map(|part| (machine.tag.clone(), part));
            open.unpowered.extend(unpowered);
            let fits = |check: &&Check| {
                at_hand(machine, board, &check.id) && !is_left_out(&state, machine, &check.id)
            };
            let tries = match &mules[number] {
                Some(mule) => mule.steps(now, &state.folder, machine, board, economy)?,
                None => Arc::default(),
            };
            for step in steps.iter().chain(&*tries) {
                let fits = |check: &&Check| step.tried.is_some() || fits(check);
                if let Some(check) = board.check(&step.check).filter(fits) {
                    open.add(number, board, mules[number].as_ref(), check, step, economy);
                }
            }
        }
        Ok(open)
    }

    /// A look: what it saves without its set-ups, and those that do not stand.
    fn add(
        &mut self,
        machine: usize,
        board: &Profile,
        mule: Option<&Mule>,
        check: &Check,
        step: &Step,
        economy: &Economy,
    ) {
        let took = |name: &String| economy.set_up_minutes.get(name).copied().unwrap_or(0.0);
        let setting_up: f64 = step.new_set_ups.iter().map(took).sum();
        let mut set_ups = BTreeSet::new();
        let tried = step.tried.is_some().then(|| MULE.to_string());
        for name in tried.iter().chain(&check.set_up) {
            if self.standing.contains(name) {
                continue;
            }
            let known = self.names.iter().position(|other| other == name);
            set_ups.insert(known.unwrap_or_else(|| {
                self.names.push(name.clone());
                self.set_ups.minutes.push(took(name));
                self.names.len() - 1
            }));
        }
        self.looks.push(Look {
            machine,
            saving: step.saving + setting_up * self.set_ups.rate_per_minute,
            minutes: step.minutes - setting_up,
            set_ups,
        });
        self.named.push(Named {
            check: check.clone(),
            shorts: step.tried.as_ref().and_then(|part| shorts(board, part)),
            tried: step.tried.clone().zip(mule.map(|mule| mule.tag.clone())),
            tag: self.state.pile.machines[machine].tag.clone(),
            missing: check
                .set_up
                .iter()
                .find(|name| economy.missing.contains(name))
                .cloned(),
        });
    }

    /// The looks of which this is true, with their numbers among all.
    fn only(&self, wanted: impl Fn(&Named) -> bool) -> (Vec<usize>, Vec<Look>) {
        let fitting = (0..self.looks.len()).filter(|&look| wanted(&self.named[look]));
        fitting.map(|look| (look, self.looks[look].clone())).unzip()
    }

    fn view(&self) -> RoundsView {
        let (numbers, looks) = self.only(|named| named.missing.is_none());
        let found = diagnosis::rounds(&looks, &self.set_ups);
        let rounds: Vec<RoundToMake> = found
            .rounds
            .iter()
            .map(|round| self.round(round, &numbers))
            .collect();
        let instead = self.instead(&looks, &numbers, &found.rounds);
        let mut note = format!(
            "Saved against fitting suspects one at a time, at {} an hour; a set-up is paid once for all machines of a round \
             and stands in those after it. Each machine has its best look in one round; after that everything is reckoned anew.",
            self.money_minor(self.state.folder.settings.rate_per_hour),
        );
        if !found.complete {
            note.push_str(
                " There are too many kinds of set-ups to weigh all of them together, so a better choice may exist.",
            );
        }
        RoundsView {
            heading: self.heading(&rounds),
            summary: self.summary(&rounds),
            again: self.again.clone(),
            instead,
            lacking: self.lacking(),
            aside: self.aside(&rounds),
            shelve: self
                .shelve
                .iter()
                .filter(|one| one.waiting.is_none())
                .cloned()
                .collect(),
            rounds,
            note,
        }
    }

    /// The best groups for other set-ups than those of the first round.
    fn instead(
        &self,
        looks: &[Look],
        numbers: &[usize],
        rounds: &[diagnosis::Round],
    ) -> Vec<RoundToMake> {
        let others = diagnosis::groups(looks, &self.set_ups);
        let planned = |group: &diagnosis::Round| {
            let same = |round: &diagnosis::Round| {
                group.looks.iter().all(|look| round.looks.contains(look))
            };
            let first = rounds.first().map(|round| &round.set_ups);
            first == Some(&group.set_ups) || rounds.iter().any(same)
        };
        let others = others.iter().filter(|group| !planned(group));
        others
            .take(MOST_INSTEAD)
            .map(|group| self.round(group, numbers))
            .collect()
    }

    /// What each missing instrument would be worth, whatever else is set up for it.
    fn lacking(&self) -> Vec<RoundToMake> {
        let missing: BTreeSet<&String> = self
            .named
            .iter()
            .filter_map(|named| named.missing.as_ref())
            .collect();
        let best = |name: &String| {
            let (numbers, looks) = self.only(|named| named.missing.as_ref() == Some(name));
            let groups = diagnosis::groups(&looks, &self.set_ups);
            let most = diagnosis::first_of_most(groups.iter(), |group| group.saving)?;
            Some(RoundToMake {
                missing: Some(in_words(name)),
                ..self.round(most, &numbers)
            })
        };
        missing.into_iter().filter_map(best).collect()
    }

    fn round(&self, round: &diagnosis::Round, numbers: &[usize]) -> RoundToMake {
        // looks of one kind together
        let mut by_check: Vec<Vec<usize>> = Vec::new();
        let kind = |number: usize| (&self.named[number].check.id, &self.named[number].tried);
        for &look in &round.looks {
            let number = numbers[look];
            let known = by_check
                .iter_mut()
                .find(|looks| kind(looks[0]) == kind(number));
            match known {
                Some(looks) => looks.push(number),
                None => by_check.push(vec![number]),
            }
        }
        let saving =
            |looks: &[usize]| -> f64 { looks.iter().map(|&look| self.looks[look].saving).sum() };
        let size = |looks: &[usize]| diagnosis::nine_digits(saving(looks));
        by_check.sort_by(|a, b| size(b).total_cmp(&size(a)));
        let looks: Vec<RoundLook> = by_check
            .iter()
            .map(|looks| self.look(looks, saving(looks)))
            .collect();
        let set_up_minutes = round
            .set_ups
            .iter()
            .map(|&set_up| self.set_ups.minutes[set_up])
            .sum();
        RoundToMake {
            title: title(&looks),
            set_ups: round
                .set_ups
                .iter()
                .map(|&set_up| in_words(&self.names[set_up]))
                .collect(),
            set_up_minutes,
            minutes: round.minutes,
            saves: self.money(round.saving),
            saves_an_hour: self.money(60.0 * round.per_minute()),
            missing: None,
            looks,
        }
    }

    /// One check on these machines.
    fn look(&self, looks: &[usize], saving: f64) -> RoundLook {
        let Named {
            check,
            tried,
            shorts,
            ..
        } = &self.named[looks[0]];
        let title = match tried {
            Some((part, _)) => format!(
                "{} in the mule: {}",
                say::short(part),
                small(&say::check_at(check))
            ),
            None => capital(&say::check_at(check)),
        };
        RoundLook {
            check: check.id.clone(),
            act: tried
                .as_ref()
                .map(|(part, mule)| format!("swap {part} {mule}")),
            title,
            how: sentence(&check.how),
            caution: shorts.clone().or_else(|| check.caution.clone()),
            tags: looks
                .iter()
                .map(|&look| self.named[look].tag.clone())
                .collect(),
            minutes: looks.iter().map(|&look| self.looks[look].minutes).sum(),
            saves: self.money(saving),
        }
    }

    fn heading(&self, rounds: &[RoundToMake]) -> String {
        let Some(first) = rounds.first() else {
            return match self.state.pile.on_bench().count() {
                0 => "Nothing is taken in yet.".to_string(),
                _ => "No further look pays for itself now.".to_string(),
            };
        };
        let text = small(&first.title);
        format!(
            "Next round: {text}; {}, saves {}.",
            minutes(first.minutes),
            first.saves
        )
    }

    fn summary(&self, rounds: &[RoundToMake]) -> String {
        if self.state.pile.on_bench().next().is_none() {
            return "Take a lot in first.".to_string();
        }
        let standing: Vec<String> = self.standing.iter().map(|name| in_words(name)).collect();
        let stands = match standing.len() {
            0 => String::new(),
            1 => format!(" Stands already: {}.", standing[0]),
            _ => format!(" Stand already: {}.", listed(&standing, "and")),
        };
        let all: f64 = rounds.iter().map(|round| round.minutes).sum();
        let machines: usize = rounds
            .iter()
            .flat_map(|round| &round.looks)
            .map(|look| look.tags.len())
            .sum();
        let text = match rounds.len() {
            0 => "Go on by the job cards.".to_string(),
            _ => format!(
                "{} with a look at {}, {} in all.",
                capital(&counted(rounds.len(), "round", "rounds")),
                counted(machines, "machine", "machines"),
                minutes(all)
            ),
        };
        format!("{text}{stands}")
    }

    fn aside(&self, rounds: &[RoundToMake]) -> Vec<Aside> {
        let looks = rounds.iter().flat_map(|round| &round.looks);
        let in_a_round: BTreeSet<&String> = looks.flat_map(|look| &look.tags).collect();
        let tags = self.state.pile.on_bench().map(|machine| &machine.tag);
        let off = |tag: &String| self.unpowered.iter().any(|(other, _)| other == tag);
        let (whole, rest): (Vec<String>, Vec<String>) = tags
            .filter(|tag| !in_a_round.contains(tag) && !off(tag))
            .cloned()
            .partition(|tag| self.looks_whole.contains(tag));
        let mut aside = Vec::new();
        let mut say = |tags: Vec<String>, one: &str, many: &str| {
            if tags.is_empty() {
                return;
            }
            let verb = if tags.len() == 1 { one } else { many };
            aside.push(Aside {
                sentence: format!("{} {verb}", listed(&tags, "and")),
                tags,
            });
        };
        say(
            rest,
            "goes on by its job card: no further look pays for itself there.",
            "go on by their job cards: no further look pays for itself there.",
        );
        say(whole, "looks whole or works.", "look whole or work.");
        aside.extend(self.unpowered.iter().map(|(tag, part)| Aside {
            tags: vec![tag.clone()],
            sentence: format!("{tag} cannot be switched on: {part} is absent."),
        }));
        aside.extend(self.behind_the_fresh());
        aside
    }

    /// Machines that can wait because one of the pile at which nobody has looked brings more.
    fn behind_the_fresh(&self) -> Option<Aside> {
        let first = self.shelve.iter().find_map(|one| one.waiting.as_ref())?;
        let tags: Vec<String> = self.shelve.iter().map(|one| one.tag.clone()).collect();
        let brings = &self.shelve.first()?.fresh;
        Some(Aside {
            sentence: format!(
                "{} can wait: work on {first}, which nobody has looked at yet, brings {brings} an hour at best, more than theirs.",
                listed(&tags, "and")
            ),
            tags,
        })
    }

    fn money(&self, amount: f64) -> String {
        let currency = self.state.folder.settings.currency;
        coins(to_coins(amount, currency), currency)
    }

    fn money_minor(&self, minor: i64) -> String {
        coins(minor, self.state.folder.settings.currency)
    }
}

/// The last thing said of this check on this machine is that it was left out.
fn is_left_out(state: &State, machine: &Machine, id: &str) -> bool {
    let said = state
        .pile
        .lines(machine)
        .rev()
        .find_map(|entry| match &entry.line {
            Line::Finding { check, shown, .. } if check == id => Some(shown),
            _ => None,
        });
    said == Some(&Shown::Skipped)
}

/// Set-ups of the last look at any machine, if that was just now.
fn on_the_bench(state: &State, inner: &Inner) -> Vec<String> {
    let last = state
        .pile
        .machines
        .iter()
        .filter_map(|machine| Some((crate::card::last_finding(state, machine)?, machine)))
        .max_by_key(|(line, _)| *line);
    last.map(|(_, machine)| standing(state, machine, &inner.now()))
        .unwrap_or_default()
}

fn in_words(set_up: &str) -> String {
    set_up.replace('-', " ")
}

/// `Sound on T-05 and T-06`, `Sync on T-03, voices on T-06 and two more looks`.
fn title(looks: &[RoundLook]) -> String {
    let on = |look: &RoundLook| {
        let on = if look.tags.len() <= MOST_TAGS {
            listed(&look.tags, "and")
        } else {
            counted(look.tags.len(), "machine", "machines")
        };
        match look.act {
            Some(_) => format!("{}, from {on}", look.title),
            None => format!("{} on {on}", in_words(&look.check)),
        }
    };
    let mut parts: Vec<String> = looks.iter().map(on).collect();
    if parts.len() > MOST_NAMED {
        let more = parts.len() - (MOST_NAMED - 1);
        parts.truncate(MOST_NAMED - 1);
        parts.push(counted(more, "more look", "more looks"));
    }
    capital(&listed(&parts, "and"))
}
