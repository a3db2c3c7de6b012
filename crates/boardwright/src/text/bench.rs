//! The bench plan as text: a ledger line a machine, its findings first, then what they say.

use super::rounds::take_again;
use super::words::{NBSP, capital, count, mark, minutes};
use crate::sheet::{Phrase, Row, Sheet, Voice, say};
use workshop::views::{Bench, BenchRow, CellState, CheckHead, MoneyLine};

/// The bench plan.
pub(crate) fn bench(view: &Bench) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    sheet.text(view.summary.as_str());
    if let Some(check) = view.now.and_then(|now| view.checks.get(now)) {
        sheet.text(how(check));
    }
    for again in &view.again {
        sheet.text(take_again(again));
    }
    sheet.gap();
    for row in &view.rows {
        sheet.row(machine(row, &view.checks));
    }
    sheet.gap();
    if !view.shelved.is_empty() {
        sheet.text(say(
            Voice::Soft,
            format!("On the shelf: {}.", view.shelved.join(", ")),
        ));
    }
    sheet.text(progress(view));
    sheet.text(money(&view.money));
    sheet
}

/// How the open check is done; the summary has named it.
fn how(check: &CheckHead) -> Phrase {
    let caution = check
        .caution
        .as_ref()
        .map(|caution| format!("▲ {caution} "));
    say(Voice::Doubt, caution.unwrap_or_default()).say(Voice::Plain, check.how.as_str())
}

fn machine(row: &BenchRow, checks: &[CheckHead]) -> Row {
    let says = match row.state.as_str() {
        "waiting" | "on the bench" | "" => say(Voice::Plain, row.says.as_str()),
        state => {
            say(Voice::Soft, format!("{}. ", capital(state))).say(Voice::Plain, row.says.as_str())
        }
    };
    let line = Row::new(say(Voice::Strong, row.tag.as_str()), says);
    let shelve = row.shelve.as_ref().map(|shelve| shelve.brief.as_str());
    line.under(findings(row, checks))
        .under(left(row, checks))
        .under(shelve.unwrap_or_default())
}

/// Findings taken, each with its mark.
fn findings(row: &BenchRow, checks: &[CheckHead]) -> Phrase {
    let mut phrase = Phrase::default();
    let mut between = "";
    for (cell, check) in row.cells.iter().zip(checks) {
        if !matches!(
            cell.state,
            CellState::Good | CellState::Bad | CellState::Doubt
        ) {
            continue;
        }
        let (voice, sign) = mark(cell.state);
        let title = format!("{NBSP}{}:{NBSP}", check.title.replace(' ', "\u{a0}"));
        phrase = phrase
            .say(Voice::Soft, between)
            .say(voice, sign)
            .say(Voice::Soft, title);
        phrase = phrase.say(Voice::Hand, cell.text.replace(' ', "\u{a0}"));
        between = "; ";
    }
    phrase
}

/// Checks to take and checks skipped, by title only.
fn left(row: &BenchRow, checks: &[CheckHead]) -> Phrase {
    let named = |state: CellState| {
        let cells = row
            .cells
            .iter()
            .zip(checks)
            .filter(move |(cell, _)| cell.state == state);
        cells
            .map(|(_, check)| check.title.clone())
            .collect::<Vec<_>>()
    };
    let mut parts = Vec::new();
    for (state, word) in [
        (CellState::ToTake, "to take"),
        (CellState::Skipped, "skipped"),
    ] {
        let (_, sign) = mark(state);
        match named(state).as_slice() {
            [] => {}
            names if names.len() == row.cells.len() => {
                parts.push(format!("{sign}{NBSP}all {word}"))
            }
            names => parts.push(format!("{sign}{NBSP}{word}: {}", names.join(", "))),
        }
    }
    say(Voice::Soft, parts.join("; "))
}

fn progress(view: &Bench) -> String {
    let p = view.progress;
    let all = p.taken + p.skipped + p.to_take;
    format!(
        "{} of {all} findings taken, {} skipped, {} to take: about {}.",
        p.taken,
        p.skipped,
        p.to_take,
        minutes(p.minutes)
    )
}

/// The money line at the foot.
pub(super) fn money(view: &MoneyLine) -> Phrase {
    let paid = format!("{} paid for the lot.", view.paid);
    let parcels = match view.parcels {
        0 => "without a parcel".to_owned(),
        number => format!("in {}", count(number, "parcel", "parcels")),
    };
    let plan = format!(
        " The plan spends {} more {parcels} and {}; then {:.2} of {} are expected to work, worth {}.",
        view.spends,
        minutes(view.minutes),
        view.working,
        view.machines,
        view.worth
    );
    say(Voice::Strong, paid).say(Voice::Plain, plan)
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;
    use crate::sheet::Paper;
    use expect_test::expect;

    #[test]
    fn as_text() {
        let text = bench(&samples::bench()).render(Paper {
            width: 80,
            colour: false,
        });
        expect![[r#"
            Bench plan, round 2
            Four machines. Now: reset at U1 pin 26, 80 to 300 ms.
            ▲ The tip must not slip to pin 25. Probe against ground.
            ◐ Take this again: Four machines showed the same for picture: no sync. Take it
            once more on T-02 with other leads.

               T-01 │ Working. Works since U12 was reseated.
                    │ ● Picture on the set: start; ● +5 V: 5.02 V; ● Reset: 142 ms
               T-02 │ Supply: U30 or the brick, 84 %.
                    │ ✕ Picture on the set: no sync; ✕ +5 V: 4.61 V
                    │ ○ to take: Reset
                    │ Could be shelved: 3.10 an hour at best, a fresh machine 7.80.
               T-03 │ Program runs, picture does not: U9, 41 %.
                    │ ◐ Picture on the set: cannot tell; ● +5 V: 4.98 V
                    │ – skipped: Reset
               T-06 │ Donor. Battery leaked. Not powered.
                    │ – all skipped

            7 of 12 findings taken, 4 skipped, 1 to take: about 8 min.
            270.00 paid for the lot. The plan spends 73.67 more in two parcels and
            3 h 55 min; then 3.28 of 4 are expected to work, worth 829.30.
        "#]]
        .assert_eq(&text);
    }
}
