//! What speaks for and against a suspect, and what nobody has looked at yet.

use std::collections::BTreeMap;

use catalogue::Profile;
use diagnosis::{Holder, Speaks};
use journal::{Entry, Line, Shown};

use crate::{
    lead::finding_words,
    pile::Machine,
    reach::Reach,
    reckon::{Reckoned, Suspicion},
    rows::{self, owner},
    say,
    views::{Evidence, Unseen},
    words::{counted, listed, sentence, small},
    workshop::{Result, State},
};

/// Below this many decibans a finding says next to nothing: the odds change by less than a quarter.
const LEAST: f64 = 1.0;
/// Findings named in a sentence, for and against.
const MOST: usize = 3;
/// Functions named in a sentence.
const MOST_NAMED: usize = 6;

/// What was seen, in words, and what it says about every suspect.
pub(crate) struct Testimony {
    said: Vec<(Said, Speaks)>,
}

/// Findings of one check on one machine.
struct Said {
    lines: Vec<i64>,
    /// Seen on another machine.
    elsewhere: bool,
    words: String,
}

impl Testimony {
    /// All that was seen of a machine and of chips it has or had.
    pub(crate) fn of(state: &State, machine: &Machine, now: &Reckoned) -> Result<Testimony> {
        let speaks = now.speaks(&machine.tag)?;
        let said = speaks.iter().map(|speaks| {
            let lines = speaks
                .steps
                .iter()
                .filter_map(|step| now.setting.lines.get(*step).copied());
            let lines: Vec<i64> = lines.collect();
            let words = words(state, machine, &lines);
            let last = lines.last().and_then(|line| state.pile.entry(*line));
            let elsewhere =
                last.is_some_and(|entry| entry.machine.as_deref() != Some(&machine.tag));
            let said = Said {
                lines,
                elsewhere,
                words,
            };
            (said, speaks.clone())
        });
        Ok(Testimony {
            said: said.collect(),
        })
    }

    /// What speaks for and against a suspect, the strongest first.
    pub(crate) fn about(&self, machine: &Machine, suspect: &Suspicion) -> Vec<Evidence> {
        let holder = match suspect.outside {
            true => Holder::Outside(suspect.part.clone()),
            false => Holder::Position {
                machine: machine.tag.clone(),
                part: suspect.part.clone(),
            },
        };
        let mut about: Vec<Evidence> = Vec::new();
        for (said, speaks) in &self.said {
            let found = speaks
                .decibans
                .iter()
                .find(|(of, mode, _)| *of == holder && *mode == suspect.mode);
            if let Some((_, _, decibans)) = found.filter(|(_, _, decibans)| decibans.abs() >= LEAST)
            {
                about.push(Evidence {
                    lines: said.lines.clone(),
                    finding: said.words.clone(),
                    odds: odds(*decibans),
                    decibans: (decibans * 10.0).round() / 10.0,
                });
            }
        }
        about.sort_by(|a, b| b.decibans.abs().total_cmp(&a.decibans.abs()));
        about
    }
}

impl Testimony {
    /// What speaks most clearly for a suspect: what was seen on another machine, else the strongest.
    pub(crate) fn clearest(&self, machine: &Machine, suspect: &Suspicion) -> Option<String> {
        let about = self.about(machine, suspect);
        let mut speaks_for = about.iter().filter(|one| one.decibans > 0.0);
        let elsewhere = |one: &&Evidence| {
            let said = self.said.iter().find(|(said, _)| said.lines == one.lines);
            said.is_some_and(|(said, _)| said.elsewhere)
        };
        let first = speaks_for.clone().next();
        speaks_for
            .find(elsewhere)
            .or(first)
            .map(|one| one.finding.clone())
    }
}

/// `Speaks for it: picture black, 12 times likelier. Against it: sound three voices, 4 times less likely.`
pub(crate) fn why(evidence: &[Evidence]) -> String {
    let side = |wanted: bool, lead: &str| {
        let named: Vec<String> = evidence
            .iter()
            .filter(|one| (one.decibans > 0.0) == wanted)
            .take(MOST)
            .map(|one| format!("{}, {}", one.finding, one.odds))
            .collect();
        (!named.is_empty()).then(|| sentence(&format!("{lead}: {}", named.join("; "))))
    };
    let sides = [side(true, "speaks for it"), side(false, "against it")];
    sides.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// `12 times likelier`, `1.6 times less likely`: by how much a finding changes the odds.
fn odds(decibans: f64) -> String {
    let times = 10f64.powf(decibans.abs() / 10.0);
    let figure = match times {
        few if few < 9.5 => crate::words::trimmed(few, 1),
        some if some < 99.5 => format!("{some:.0}"),
        many if many < 9950.0 => {
            let power = 10f64.powf(many.log10().floor() - 1.0);
            format!("{:.0}", (many / power).round() * power)
        }
        _ => "over 9999".to_string(),
    };
    let way = if decibans > 0.0 {
        "likelier"
    } else {
        "less likely"
    };
    format!("{figure} times {way}")
}

/// `picture black`, `sound two voices in the mule`, `picture start-up screen, then garbage`.
fn words(state: &State, machine: &Machine, lines: &[i64]) -> String {
    let entries: Vec<&Entry> = lines
        .iter()
        .filter_map(|line| state.pile.entry(*line))
        .collect();
    let Some(last) = entries.last() else {
        return "something seen".to_string();
    };
    let tag = last.machine.as_deref().unwrap_or_default();
    let place = match tag == machine.tag {
        true => String::new(),
        false => format!(" in {}", owner(tag)),
    };
    let board = state
        .pile
        .machine(tag)
        .and_then(|of| state.folder.board(&of.board).ok());
    let Line::Finding { check, shown, .. } = &last.line else {
        let row = rows::row(state, last);
        return small(
            format!("{} {}", row.text, row.entered)
                .trim()
                .trim_end_matches('.'),
        );
    };
    let Some(check) = board.as_ref().and_then(|board| board.check(check)) else {
        return check.clone();
    };
    let shown_by = |entry: &&Entry| match &entry.line {
        Line::Finding { shown, .. } => say::shown_text(Some(check), shown),
        _ => String::new(),
    };
    let mut texts: Vec<String> = entries.iter().map(shown_by).collect();
    texts.dedup();
    if texts.len() < 2 {
        return finding_words(check, shown) + &place;
    }
    // the last three say how it came and went
    let late = texts.split_off(texts.len().saturating_sub(3));
    format!(
        "{} {}{place}",
        small(&say::check_title(check)),
        late.join(", then ")
    )
}

/// Functions and parts that no finding has spoken about.
pub(crate) fn unseen(state: &State, machine: &Machine, board: &Profile) -> Unseen {
    let mut seen: BTreeMap<&str, Reach> = BTreeMap::new();
    for entry in state.pile.lines(machine) {
        if let Line::Finding { check, shown, .. } = &entry.line
            && entry.machine.as_deref() == Some(&machine.tag)
            && !matches!(shown, Shown::Skipped | Shown::Cannot)
            && let Some(check) = board.check(check)
        {
            seen.entry(&check.id)
                .or_insert_with(|| Reach::of(board, check, None));
        }
    }
    let functions: Vec<String> = board
        .functions
        .iter()
        .filter(|function| !seen.values().any(|reach| reach.tells_of(&function.id)))
        .map(|function| function.id.clone())
        .collect();
    let parts: Vec<String> = board
        .parts
        .iter()
        .filter(|part| {
            let told = |mode| seen.values().any(|reach| reach.holds(board, part, mode));
            !part.modes.is_empty() && !part.modes.iter().any(told)
        })
        .map(|part| part.reference.clone())
        .collect();
    let sentence = match (functions.len(), seen.is_empty()) {
        (0, _) => String::new(),
        (_, true) => "No finding has spoken of it yet.".to_string(),
        (count, false) => {
            let mut named: Vec<String> = functions
                .iter()
                .take(MOST_NAMED)
                .map(|id| id.replace('-', " "))
                .collect();
            if count > MOST_NAMED {
                named.push(format!("{} more", crate::words::number(count - MOST_NAMED)));
            }
            let parts = match parts.len() {
                0 => String::new(),
                count => format!(
                    ", with {} of {}",
                    counted(count, "part", "parts"),
                    board.parts.len()
                ),
            };
            format!(
                "No finding has spoken yet of {}: {} of {} functions{parts}.",
                listed(&named, "and"),
                crate::words::number(count),
                board.functions.len()
            )
        }
    };
    Unseen {
        functions,
        parts,
        sentence,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn odds_in_words() {
        let check = |decibans: f64, says: &str| assert_eq!(odds(decibans), says);
        check(2.0, "1.6 times likelier");
        check(-4.771, "3 times less likely");
        check(10.8, "12 times likelier");
        check(23.85, "240 times likelier");
        check(39.97, "9900 times likelier");
        check(-150.0, "over 9999 times less likely");
    }

    #[test]
    fn both_sides_are_named() {
        let one = |finding: &str, decibans: f64| Evidence {
            lines: Vec::new(),
            finding: finding.to_string(),
            odds: odds(decibans),
            decibans,
        };
        let check = |evidence: &[Evidence], says: &str| assert_eq!(why(evidence), says);
        check(&[], "");
        check(
            &[one("picture black", 10.8)],
            "Speaks for it: picture black, 12 times likelier.",
        );
        check(
            &[
                one("picture black", 10.8),
                one("sound none", -6.0),
                one("current 0.52 A", 3.0),
            ],
            "Speaks for it: picture black, 12 times likelier; current 0.52 A, 2 times likelier. Against it: sound none, 4 times less likely.",
        );
    }
}
