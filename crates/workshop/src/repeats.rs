//! Looks that many machines answered alike: a bad lead or a wrong range would speak on all of them.
//!
//! Blunders are reckoned for each machine by itself, so what one lead does to a whole round is not in the chances. Where four or
//! more machines of one round show the same, and not what they should, one of them is to be looked at again with other leads.
//! What is as it should be is not asked for again: a bad lead does not make a machine look right.

use catalogue::Check;
use journal::{Entry, Line, Shown};

use crate::{
    reckon::Boards,
    say,
    situation::check_of,
    views::{Again, CellState},
    words::{capital, counted, listed, small},
    workshop::State,
};

/// Looks of one check with a longer gap between them are not one round.
const GAP_MINUTES: f64 = 30.0;
/// So many tags are named.
const MOST_TAGS: usize = 5;

/// What to take again.
pub(crate) fn again(state: &State, boards: &Boards) -> Vec<Again> {
    let mut checks: Vec<&str> = Vec::new();
    let mut found: Vec<(&Check, &Entry)> = Vec::new();
    for entry in state.pile.holding() {
        let Some(check) = check_of(&state.pile, boards, entry) else {
            continue;
        };
        if !checks.contains(&check.id.as_str()) {
            checks.push(&check.id);
        }
        found.push((check, entry));
    }
    let of = |id: &str| -> Vec<(&Check, &Entry)> {
        found
            .iter()
            .copied()
            .filter(|(check, _)| check.id == id)
            .collect()
    };
    checks
        .into_iter()
        .filter_map(|id| in_last_round(&of(id)))
        .collect()
}

/// One that the last round of a check asks for; a machine looked at twice in it is the repeat.
fn in_last_round(looks: &[(&Check, &Entry)]) -> Option<Again> {
    let mut start = looks.len().checked_sub(1)?;
    while start > 0 && gap(looks[start - 1].1, looks[start].1) <= GAP_MINUTES {
        start -= 1;
    }
    let round = &looks[start..];
    let bad: Vec<(String, &Check, &Entry)> = round
        .iter()
        .filter_map(|(check, entry)| Some((not_right(check, entry)?, *check, *entry)))
        .collect();
    let (shown, count) = diagnosis::equal_outcomes(bad.iter().map(|(shown, _, _)| shown.as_str()))?;
    let alike: Vec<&(String, &Check, &Entry)> =
        bad.iter().filter(|(other, _, _)| other == shown).collect();
    let tags: Vec<String> = alike
        .iter()
        .filter_map(|(_, _, entry)| entry.machine.clone())
        .collect();
    let twice = |tag: &String| {
        let same = |(_, entry): &&(&Check, &Entry)| entry.machine.as_ref() == Some(tag);
        round.iter().filter(same).count() > 1
    };
    if tags.iter().any(twice) {
        return None;
    }
    let (_, check, _) = alike.first()?;
    let tag = tags.first()?.clone();
    let machines = counted(count, "machine", "machines");
    let which = if tags.len() <= MOST_TAGS {
        format!(" ({})", listed(&tags, "and"))
    } else {
        String::new()
    };
    let title = small(&say::check_title(check));
    Some(Again {
        sentence: format!(
            "{}{which} showed the same for {title}: {shown}. A bad lead or a wrong range would speak on all of them: take \
             it once more on {tag} with other leads.",
            capital(&machines)
        ),
        check: check.id.clone(),
        tag,
    })
}

fn gap(before: &Entry, after: &Entry) -> f64 {
    let between = after
        .time
        .timestamp()
        .duration_since(before.time.timestamp());
    between.as_secs_f64().abs() / 60.0
}

/// What was shown, where it is not as it should be; readings by the side on which they lie.
fn not_right(check: &Check, entry: &Entry) -> Option<String> {
    let Line::Finding { shown, .. } = &entry.line else {
        return None;
    };
    if say::cell(check, shown).state != CellState::Bad && *shown != Shown::Cannot {
        return None;
    }
    Some(match say::band(check, shown) {
        Some(band) if band.low.is_some_and(|low| band.value < low) => {
            "below its limits".to_string()
        }
        Some(_) => "above its limits".to_string(),
        None => say::shown_text(Some(check), shown),
    })
}
