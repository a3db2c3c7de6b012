//! What a line changed, in a sentence.

use std::collections::BTreeMap;

use journal::Entry;

use crate::{
    contradiction::{LeftOut, Why, words},
    say,
    views::{Understood, Written},
    words::percent,
    workshop::{Inner, Result},
};

/// A change below this is not worth a sentence.
const NOTICEABLE: f64 = 0.005;

/// Posterior of each mode, by machine, part and mode; nothing where it cannot be reckoned.
pub(crate) type Leads = BTreeMap<(String, String, String), f64>;

/// The posteriors of one machine.
pub(crate) fn leads(inner: &mut Inner, tag: &str) -> Leads {
    let state = inner.state();
    let Some(machine) = state.pile.machine(tag) else {
        return Leads::new();
    };
    let Ok(board) = state.folder.board(&machine.board) else {
        return Leads::new();
    };
    let Ok(reckoned) = inner.reckon(&[&[]]) else {
        return Leads::new();
    };
    let Some(now) = reckoned.first() else {
        return Leads::new();
    };
    now.modes(machine, &board)
        .into_iter()
        .map(|one| ((tag.to_string(), one.part, one.mode), one.chance))
        .collect()
}

pub(crate) fn written(
    inner: &mut Inner,
    entries: &[Entry],
    understood: Vec<Understood>,
    before: &Leads,
) -> Result<Written> {
    let mut tags: Vec<String> = entries
        .iter()
        .filter_map(|entry| entry.machine.clone())
        .collect();
    tags.dedup();
    let lines: Vec<i64> = entries.iter().map(|entry| entry.id).collect();
    let changed = match ruled_out(inner, &lines) {
        Some(sentence) => sentence,
        None => changed(inner, &tags, before),
    };
    Ok(Written {
        lines,
        understood,
        changed,
    })
}

/// A line just written that cannot be true with those before it, or the one before it that no longer counts.
fn ruled_out(inner: &mut Inner, lines: &[i64]) -> Option<String> {
    let state = inner.state();
    let reckoned = inner.reckon(&[&[]]).ok()?;
    let concerned = |out: &&LeftOut| {
        let with = match &out.why {
            Why::Contradicts(with) => &with[..],
            Why::Unusable(_) => &[],
        };
        with.iter()
            .chain([&out.line])
            .any(|line| lines.contains(line))
    };
    let out = reckoned.first()?.left_out.iter().find(concerned)?;
    Some(words(&state, out))
}

/// The largest change of a posterior, in a sentence.
pub(crate) fn changed(inner: &mut Inner, tags: &[String], before: &Leads) -> String {
    let mut best: Option<(f64, String)> = None;
    for tag in tags {
        let after = leads(inner, tag);
        let state = inner.state();
        let board = state
            .pile
            .machine(tag)
            .and_then(|machine| state.folder.board(&machine.board).ok());
        let Some(board) = board else { continue };
        for (key, now) in &after {
            let Some(was) = before.get(key) else { continue };
            // equal changes differ by rounding errors: then the first one counts
            let by = ((now - was).abs() * 1e9).round() / 1e9;
            if by < NOTICEABLE || best.as_ref().is_some_and(|(most, _)| *most >= by) {
                continue;
            }
            let (_, part, mode) = key;
            let name = match board
                .part(part)
                .and_then(|part| Some((part, part.mode(mode)?)))
            {
                Some((part, mode)) => say::mode_sentence(part, mode)
                    .trim_end_matches('.')
                    .to_string(),
                None => say::mode_short(&board, part, mode),
            };
            let place = if tags.len() > 1 {
                format!("{tag}: ")
            } else {
                String::new()
            };
            let (now, was) = (percent(*now), percent(*was));
            let moved = match now == was {
                true => format!("{now}, hardly changed"),
                false => format!("{now}, was {was}"),
            };
            best = Some((by, format!("{place}{name}: {moved}.")));
        }
    }
    match best {
        Some((_, sentence)) => sentence,
        None if before.is_empty() => String::new(),
        None => "It changes no chance by as much as one in two hundred.".to_string(),
    }
}
