//! Whether the mule itself is good: asked apart, it enters no other chance.

use journal::{Line, Shown};

use crate::{
    pile::Machine,
    words::percent,
    workshop::{Inner, Result, State},
};

/// Chance that a mule is not good before anything is seen of it.
const PRIOR: f64 = 0.005;
/// It is said from this chance on.
const DOUBTFUL: f64 = 0.5;

/// Said where what the mule showed is better explained by a mule that is not good: of such a one each outcome of a check is
/// equally likely, whatever chips it holds.
pub(super) fn doubt(state: &State, machine: &Machine, inner: &mut Inner) -> Result<Option<String>> {
    if !machine.mule {
        return Ok(None);
    }
    let board = state.folder.board(&machine.board)?;
    let mut lines = Vec::new();
    let mut log_bad = 0.0;
    for entry in state.pile.lines(machine) {
        let Line::Finding { check, shown, .. } = &entry.line else {
            continue;
        };
        // what could not be done, or was not, is no answer
        if let Some(check) = board.check(check)
            && !matches!(shown, Shown::Skipped | Shown::Cannot)
        {
            lines.push(entry.id);
            log_bad -= f64::from(u32::try_from(check.outcomes.len().max(1)).unwrap_or(1)).ln();
        }
    }
    if lines.is_empty() {
        return Ok(None);
    }
    let reckoned = inner.reckon(&[&[], &lines])?;
    let [all, without] = reckoned.as_slice() else {
        return Ok(None);
    };
    let log_good = all.diagnosis.log_p_findings() - without.diagnosis.log_p_findings();
    let odds = PRIOR / (1.0 - PRIOR) * (log_bad - log_good).exp();
    let chance = odds / (1.0 + odds);
    Ok((chance >= DOUBTFUL).then(|| {
        format!(
            "The mule itself is in doubt: that it is not good would explain what it showed, {}. Try it with its own chips.",
            percent(chance)
        )
    }))
}
