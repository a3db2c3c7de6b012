//! The heading of a job card, and what stands beside it: the answer in one sentence.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::Check;
use diagnosis::{Holder, SetAside};
use journal::{Act, Entry, Line, Shown, Truth};

use super::{Case, minutes_on};
use crate::{
    contradiction::{self, LeftOut, Why},
    lead::{WHOLE, absent_words, finding_words, known_words, lead, standing_words},
    reach::Reach,
    reckon::Reckoned,
    rows::owner,
    say,
    views::{CellState, NextStep, TakenAsAbsent},
    words::{listed, minutes, percent, percent_at_most, sentence, small},
};

/// A suspect with this chance leads by far.
const LEADS: f64 = 0.5;
/// Modes set aside that are named.
const NAMED_ASIDE: usize = 4;
/// What is set aside is told from this bound on: below, no figure on the card would be another.
const SHOWN: f64 = 1e-6;

impl Case<'_> {
    /// The same without the finding in doubt, and without what another chip showed that sat there then; nor what has nothing to do
    /// with the suspect that leads by far.
    pub(super) fn trusted_bad_findings(&self) -> Vec<(&Check, &Shown, &Entry)> {
        let lead = self.modes.first().filter(|mode| mode.chance >= LEADS);
        let mut bad = self.bad_findings();
        bad.retain(|(check, shown, entry)| {
            let speaks = lead.is_none_or(|lead| self.reaches(check, shown, lead));
            speaks && Some(entry.id) != self.doubted && !self.is_of_another_chip(check, entry)
        });
        bad
    }

    /// Another chip than now sat where the check can speak of it.
    fn is_of_another_chip(&self, check: &Check, entry: &Entry) -> bool {
        let later = self.state.pile.lines(self.machine);
        let later = later.filter(|later| later.id > entry.id);
        let mut exchanged: BTreeMap<&String, u32> = BTreeMap::new();
        let mut fitted: BTreeSet<&String> = BTreeSet::new();
        for act in later {
            match &act.line {
                Line::Act {
                    done: Act::Fit { part, .. },
                } => _ = fitted.insert(part),
                Line::Act {
                    done: Act::Swap { part, there, .. },
                } => {
                    let here = act.machine.as_ref() == Some(&self.machine.tag);
                    *exchanged
                        .entry(if here { part } else { there })
                        .or_default() += 1;
                }
                _ => {}
            }
        }
        // what was swapped away and back is the same chip again
        let back = |part: &String, times: u32| {
            times.is_multiple_of(2) && !self.machine.guests.contains_key(part)
        };
        let others = exchanged
            .into_iter()
            .filter(|(part, times)| !back(part, *times));
        let reach = Reach::of(self.board, check, None);
        let parts = others.map(|(part, _)| part).chain(fitted);
        parts.filter_map(|part| self.board.part(part)).any(|part| {
            let mut modes = part.modes.iter();
            modes.any(|mode| reach.holds(self.board, part, mode))
        })
    }

    /// The latest finding of each check, where it is not as it should be; or one of this epoch that came and went.
    pub(super) fn bad_findings(&self) -> Vec<(&Check, &Shown, &Entry)> {
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
    pub(super) fn findings(&self) -> impl DoubleEndedIterator<Item = (&Check, &Shown, &Entry)> {
        let lines = self.state.pile.lines(self.machine);
        lines.filter_map(|entry| match &entry.line {
            Line::Finding { check, shown, .. } if *shown != Shown::Skipped => {
                Some((self.board.check(check)?, shown, entry))
            }
            _ => None,
        })
    }

    /// The latest finding of each check, in the order they were made.
    pub(super) fn latest(&self) -> Vec<(&Check, &Shown, &Entry)> {
        let mut seen = BTreeSet::new();
        let mut latest: Vec<_> = self
            .findings()
            .rev()
            .filter(|(check, _, _)| seen.insert(check.id.as_str()))
            .collect();
        latest.reverse();
        latest
    }

    pub(super) fn whole(&self) -> f64 {
        let empty = self
            .explanations
            .iter()
            .find(|one| one.modes.is_empty() && !one.unmodelled);
        empty.map_or(0.0, |one| one.share)
    }

    pub(super) fn heading(&self, next: Option<&NextStep>) -> String {
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
    pub(super) fn mule_heading(&self) -> String {
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
    pub(super) fn telling<'b>(
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
    pub(super) fn exchanged(&self) -> Vec<String> {
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

    pub(super) fn standing(&self) -> String {
        standing_words(self.state, self.machine, self.whole())
    }

    /// Lines of this machine that do not count, and lines of others that this one's rule out.
    pub(super) fn left_out(&self, now: &Reckoned) -> Vec<String> {
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

    /// `Too much hangs together here for an exact answer: U9 warm and 2 more are taken as not there.`
    pub(super) fn aside(&self, aside: SetAside) -> TakenAsAbsent {
        let named = |(holder, mode): &(Holder, String)| match holder {
            Holder::Position { machine, part } if *machine == self.machine.tag => (
                format!("{part}.{mode}"),
                say::mode_short(self.board, part, mode),
            ),
            Holder::Position { machine, part } => (
                format!("{machine} {part}.{mode}"),
                format!("{part} {} on {machine}", mode.replace('-', " ")),
            ),
            Holder::Marked(id) | Holder::Outside(id) => (
                format!("{id}.{mode}"),
                format!("{id} {}", mode.replace('-', " ")),
            ),
        };
        let (modes, names): (Vec<String>, Vec<String>) = aside.modes.iter().map(named).unzip();
        let mut listed_names: Vec<String> = names.iter().take(NAMED_ASIDE).cloned().collect();
        if names.len() > NAMED_ASIDE {
            listed_names.push(format!("{} more", names.len() - NAMED_ASIDE));
        }
        if aside.at_most < SHOWN {
            return TakenAsAbsent {
                modes,
                at_most: aside.at_most,
                sentence: String::new(),
            };
        }
        let verb = if names.len() == 1 { "is" } else { "are" };
        let sentence = format!(
            "Too much hangs together for an exact answer. {} {verb} taken as not there; proven: that changes no chance by more than {}. Settle one of them, or a part that was touched often, to have it exact again.",
            sentence(&listed(&listed_names, "and")).trim_end_matches('.'),
            percent_at_most(aside.at_most)
        );
        TakenAsAbsent {
            modes,
            at_most: aside.at_most,
            sentence,
        }
    }
}
