//! A rehearsal as text: a block for each way of working, and what ours has more.

use crate::sheet::{Phrase, Row, Sheet, Voice, say};
use workshop::views::{Figure, Lead, RehearsalView, RehearsedPolicy, Sum};

/// The rehearsal.
pub(crate) fn rehearsal(view: &RehearsalView) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    sheet.text(say(Voice::Soft, view.summary.as_str()));
    sheet.label("Worth at the end less money, minutes and harm, by pile");
    for policy in &view.policies {
        sheet.row(row(policy));
    }
    sheet.label("Where the minutes of a pile go");
    for policy in &view.policies {
        sheet.row(minutes(policy));
    }
    sheet
}

fn row(policy: &RehearsedPolicy) -> Row {
    let row = Row::new(
        sum(&policy.value),
        say(Voice::Strong, policy.policy.as_str()).say(Voice::Plain, format!(": {}", policy.title)),
    );
    let row = row
        .under(format!(
            "{} work, {} min for each; {} in parts, {} of {} needless; {} harmed, {} damaged, {} wrongly said to work",
            figure(&policy.working, 1),
            figure(&policy.minutes_each_working, 0),
            sum(&policy.money),
            figure(&policy.wrong_parts, 1),
            figure(&policy.parts, 1),
            figure(&policy.harmed, 2),
            figure(&policy.collateral, 2),
            figure(&policy.wrongly_said, 2),
        ));
    let left = policy.unreckoned.mean.unwrap_or(0.0);
    let row = if left > 0.0 {
        let text = format!("{left:.1} left where they were: what to do next could not be reckoned");
        row.under(say(Voice::Doubt, text))
    } else {
        row
    };
    match &policy.ours_less_this {
        Some(lead) => row.under(less(lead)),
        None => row,
    }
}

/// What ours has more than this one.
fn less(lead: &Lead) -> Phrase {
    let voice = if lead.beyond_chance {
        Voice::Plain
    } else {
        Voice::Doubt
    };
    let doubt = if lead.beyond_chance {
        ""
    } else {
        "; chance alone may explain it"
    };
    say(
        voice,
        format!(
            "ours less this: {}, {} working, {} min for each{doubt}",
            sum(&lead.value),
            figure(&lead.working, 2),
            figure(&lead.minutes_each_working, 1),
        ),
    )
}

fn minutes(policy: &RehearsedPolicy) -> Row {
    let went = &policy.where_minutes_go;
    Row::new(
        figure(&policy.minutes, 0),
        format!(
            "{}: checks {:.0}, set-ups {:.0}, remedies {:.0}, retests {:.0}",
            policy.policy, went.checks, went.set_ups, went.remedies, went.retests
        ),
    )
}

/// `6.1 ± 0.3`.
fn figure(figure: &Figure, digits: usize) -> String {
    match (figure.mean, figure.within) {
        (None, _) => "no".to_owned(),
        (Some(mean), None) => format!("{mean:.digits$}"),
        (Some(mean), Some(within)) => format!("{mean:.digits$} ± {within:.digits$}"),
    }
    .replace('-', "\u{2212}")
}

fn sum(sum: &Sum) -> String {
    match &sum.within {
        None => sum.mean.clone(),
        Some(within) => format!("{} ± {within}", sum.mean),
    }
}
