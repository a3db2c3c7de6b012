//! The decision over the pile as text.

use crate::sheet::{Row, Sheet, Voice, say};
use workshop::views::{DecisionView, PlanView, RuleView, SumRow};

/// The plan.
pub(crate) fn plan(view: &PlanView) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    sheet.text(if view.proven {
        say(Voice::Plain, view.proof.as_str())
    } else {
        say(Voice::Doubt, view.proof.as_str())
    });
    for settled in &view.settled {
        sheet.row(Row::new(
            say(Voice::Plain, settled.cost.as_str()),
            say(Voice::Strong, format!("Settled: {}.", settled.typed))
                .say(Voice::Plain, format!(" {}", settled.text)),
        ));
    }
    sheet.label("What to do with each");
    for decision in &view.decisions {
        sheet.row(decision_row(decision));
    }
    sums(&mut sheet, "To build", &view.to_build, false);
    sums(&mut sheet, "Beside these", &view.other_costs, false);
    sums(&mut sheet, "How it adds up", &view.sum, true);
    sums(&mut sheet, "Spares", &view.spares, false);
    curve(&mut sheet, view);
    rules(&mut sheet, &view.rules);
    sums(&mut sheet, "What would change it", &view.changes, false);
    sums(
        &mut sheet,
        "What another decision costs",
        &view.others,
        false,
    );
    if !view.notes.is_empty() {
        sheet.label("To know");
        for note in &view.notes {
            sheet.text(note.as_str());
        }
    }
    sheet
}

fn decision_row(decision: &DecisionView) -> Row {
    let title = say(
        Voice::Strong,
        format!("{} {}", decision.tag, decision.title),
    );
    let sentence = if decision.text.is_empty() {
        title
    } else {
        title.say(Voice::Plain, format!(" {}", decision.text))
    };
    Row::new(decision.money.as_str(), sentence)
}

/// Amounts and what they are for; the last may be the sum of the others.
pub(super) fn sums(sheet: &mut Sheet, label: &str, rows: &[SumRow], total: bool) {
    if rows.is_empty() {
        return;
    }
    sheet.label(label);
    for (nth, row) in rows.iter().enumerate() {
        let last = total && nth + 1 == rows.len() && nth > 0;
        if last {
            sheet.rule();
        }
        let voice = if last { Voice::Strong } else { Voice::Plain };
        sheet.row(Row::new(
            say(voice, row.amount.as_str()),
            say(voice, row.text.as_str()),
        ));
    }
}

fn curve(sheet: &mut Sheet, view: &PlanView) {
    if view.curve.len() < 2 {
        return;
    }
    sheet.label("The money curve");
    for point in &view.curve {
        let voice = if point.chosen {
            Voice::Strong
        } else {
            Voice::Plain
        };
        let chosen = if point.chosen { "; this plan" } else { "" };
        let proven = if point.proven { "" } else { "; not proven" };
        let text = format!(
            "leaves {:.2}, {:.2} expected to work{chosen}{proven}",
            point.left_over, point.working
        );
        sheet.row(Row::new(
            say(voice, format!("{:.2}", point.money)),
            say(voice, text),
        ));
    }
    let proven = view.curve.iter().all(|point| point.proven);
    sheet.text(match (view.curve_complete, proven) {
        (true, true) => "Proven: between two of these, more money buys nothing.",
        (true, false) => "Where a plan is not proven, a better one may exist.",
        (false, _) => "There may be more steps between these.",
    });
}

fn rules(sheet: &mut Sheet, rules: &[RuleView]) {
    if rules.is_empty() {
        return;
    }
    sheet.label("Simple rules on the same pile");
    for rule in rules {
        let text = format!(
            "{}: spends {:.2}, {:.2} expected to work",
            rule.title, rule.money, rule.working
        );
        sheet.row(Row::new(rule.loses.as_str(), text));
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;
    use crate::sheet::Paper;
    use expect_test::expect;

    #[test]
    fn as_text() {
        let text = plan(&samples::plan()).render(Paper {
            width: 80,
            colour: false,
        });
        expect![[r#"
            Spend 73.67 and two evenings; seven of nine should work.
            Proven: nothing better exists within 120.00 and three evenings.
                0.00 │ Settled: T-06 donor. T-06 is given up; that costs nothing.

            What to do with each
                0.00 │ T-01 Works.
               14.50 │ T-02 Repair now. A new certified 9 V supply, then regulator U30 only
                     │ if 5 V is still low.

            Beside these
               17.47 │ Postage 11.40 and import tax 6.07, in two parcels.

            How it adds up
              829.30 │ worth when done, nine machines
             −349.27 │ money and minutes
             ─────── ┼─────
              480.03 │ left over

            Spares
                1.20 │ One more 4164 for 3.90.

            The money curve
                0.00 │ leaves 300.00, 2.00 expected to work
               73.67 │ leaves 480.03, 7.28 expected to work; this plan
               90.00 │ leaves 470.00, 7.30 expected to work; not proven
            Where a plan is not proven, a better one may exist.

            Simple rules on the same pile
              −48.93 │ cheapest first: spends 96.20, 6.90 expected to work

            What would change it
               27.39 │ A used U9 dearer than this: buy new old stock.

            What another decision costs
              −82.80 │ T-02 left as it is.

            To know
            Nobody sells U14.
        "#]]
        .assert_eq(&text);
    }
}
