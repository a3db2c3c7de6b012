//! Lines that cannot be reckoned with: findings that rule each other out, and lines the board's file no longer understands.
//!
//! What is left out is said, and the rest keeps working: one wrong line must not silence the pile.

use std::sync::Arc;

use diagnosis::Diagnosis;
use journal::Line;

use crate::{
    Error, ErrorKind,
    pile::Pile,
    reckon::Boards,
    rows::row,
    situation::Setting,
    words::{listed, small},
    workshop::State,
};

/// Lines left out at most before the program gives up.
const MOST: usize = 20;

/// A line that does not count, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct LeftOut {
    pub(crate) line: i64,
    pub(crate) why: Why,
}

/// Why a line does not count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Why {
    /// It cannot be true together with these lines; none: not by itself either.
    Contradicts(Vec<i64>),
    /// What it names is not there.
    Unusable(String),
}

/// The situation without the lines that cannot be reckoned with.
pub(crate) struct Sound {
    pub(crate) setting: Setting,
    pub(crate) diagnosis: Diagnosis,
    pub(crate) left_out: Vec<LeftOut>,
}

/// Diagnoses the pile, leaving out line by line what makes that impossible.
pub(crate) fn sound(
    pile: &Pile,
    boards: &Boards,
    without: &[i64],
    before: Option<&Diagnosis>,
) -> Result<Sound, Error> {
    let mut without = without.to_vec();
    let mut left_out: Vec<LeftOut> = Vec::new();
    loop {
        let setting = Setting::of(pile, boards, &without);
        let problem = match diagnose(&setting, before) {
            Ok(diagnosis) if diagnosis.log_p_findings().is_finite() => {
                return Ok(Sound {
                    setting,
                    diagnosis,
                    left_out,
                });
            }
            Ok(diagnosis) => contradiction(pile, boards, &without, &setting, &diagnosis)?,
            Err(error) => {
                let line = error.step.and_then(|step| setting.lines.get(step));
                let Some(line) = line else {
                    return Err(Error::new(ErrorKind::Refused, error.message));
                };
                LeftOut {
                    line: *line,
                    why: Why::Unusable(error.message),
                }
            }
        };
        if left_out.len() >= MOST {
            return Err(Error::new(
                ErrorKind::Refused,
                format!(
                    "more than {MOST} lines cannot be reckoned with; line {} is one",
                    problem.line
                ),
            )
            .hint("see `journal`, and take back the lines that are wrong"));
        }
        without.push(problem.line);
        left_out.push(problem);
    }
}

fn diagnose(setting: &Setting, before: Option<&Diagnosis>) -> Result<Diagnosis, diagnosis::Error> {
    match before {
        Some(before) => before.again(Arc::clone(&setting.situation)),
        None => Diagnosis::of(Arc::clone(&setting.situation)),
    }
}

/// The first line that rules out those before it, and which of these it contradicts.
fn contradiction(
    pile: &Pile,
    boards: &Boards,
    without: &[i64],
    setting: &Setting,
    whole: &Diagnosis,
) -> Result<LeftOut, Error> {
    let seen: Vec<i64> = setting
        .lines
        .iter()
        .copied()
        .filter(|line| {
            let entry = pile.entry(*line);
            entry.is_some_and(|entry| {
                matches!(entry.line, Line::Finding { .. } | Line::Settled { .. })
            })
        })
        .collect();
    let possible = |kept: &[i64]| -> Result<bool, Error> {
        let dropped = seen.iter().filter(|line| !kept.contains(line));
        let without: Vec<i64> = without.iter().chain(dropped).copied().collect();
        let diagnosis = diagnose(&Setting::of(pile, boards, &without), Some(whole))
            .map_err(|error| Error::new(ErrorKind::Refused, error.message))?;
        Ok(diagnosis.log_p_findings().is_finite())
    };
    // the first `good` lines are possible together, the first `bad` are not
    let (mut good, mut bad) = (0, seen.len());
    while bad - good > 1 {
        let middle = good.midpoint(bad);
        if possible(&seen[..middle])? {
            good = middle;
        } else {
            bad = middle;
        }
    }
    let Some((&line, earlier)) = seen[..bad].split_last() else {
        return Err(Error::new(
            ErrorKind::Refused,
            "what is known of the pile from its take-in contradicts itself",
        )
        .hint("see `journal`, and take the lot back"));
    };
    // of the earlier ones keep only those without which it would be possible
    let mut with = earlier.to_vec();
    for other in earlier {
        let fewer: Vec<i64> = with.iter().copied().filter(|one| one != other).collect();
        let kept: Vec<i64> = fewer.iter().copied().chain([line]).collect();
        if !possible(&kept)? {
            with = fewer;
        }
    }
    Ok(LeftOut {
        line,
        why: Why::Contradicts(with),
    })
}

/// `Line 41, T-03, picture start, cannot be true together with line 37, …`
pub(crate) fn words(state: &State, left_out: &LeftOut) -> String {
    let named = |line: &i64| {
        let entry = state.pile.entry(*line);
        let said = entry.map(|entry| {
            let row = row(state, entry);
            let text = format!("{} {}", small(&row.text), row.entered);
            text.trim().trim_end_matches('.').to_string()
        });
        let tag = entry.and_then(|entry| entry.machine.clone());
        let about: Vec<String> = tag.into_iter().chain(said).collect();
        format!("line {line} ({})", about.join(", "))
    };
    let this = crate::words::capital(&named(&left_out.line));
    match &left_out.why {
        Why::Unusable(why) => format!(
            "{this} cannot be used: {why}. It does not count; mend the board's file or take the line back."
        ),
        Why::Contradicts(with) if with.is_empty() => format!(
            "{this} cannot be true with any fault the board's file knows. It does not count until it is taken back."
        ),
        Why::Contradicts(with) => {
            let with: Vec<String> = with.iter().map(named).collect();
            format!(
                "{this} cannot be true together with {}. It does not count until one of them is taken back.",
                listed(&with, "and")
            )
        }
    }
}
