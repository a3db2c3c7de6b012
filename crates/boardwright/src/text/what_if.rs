//! Something supposed, as text: what would be beside what is, and that nothing of it is written.

use super::card;
use super::words::chance;
use crate::sheet::{Row, Sheet, Voice, say};
use workshop::views::{Answer, WhatIf, WouldBe};

/// What would follow.
pub(crate) fn what_if(view: &WhatIf) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.text(
        say(Voice::Strong, view.tag.as_str())
            .say(Voice::Doubt, ", only supposed: nothing is written."),
    );
    sheet.heading(view.title());
    match view.works {
        Some(works) => sheet.text(format!(
            "It would work with {}; now it does with {}.",
            chance(works),
            chance(view.works_now)
        )),
        None => sheet.text(format!("Now it works with {}.", chance(view.works_now))),
    }
    if !view.suspects.is_empty() {
        sheet.label("Suspects then");
        for suspect in &view.suspects {
            sheet.row(suspect_row(suspect));
        }
        if let Some(unmodelled) = view.unmodelled {
            sheet.row(Row::new(
                chance(unmodelled),
                "Something this profile does not know: a track, a via or a cable.",
            ));
        }
    }
    if !view.answers.is_empty() {
        sheet.label("What each answer would change");
        for answer in &view.answers {
            sheet.row(answer_row(answer));
        }
    }
    if !view.next.is_empty() {
        sheet.label("Next then");
        for step in &view.next {
            sheet.row(card::step_row(&view.tag, step));
        }
    }
    if !view.course.is_empty() {
        sheet.label("Without more checks then");
        sheet.text(view.course.as_str());
    }
    sheet.gap();
    match (&view.record, view.answers.first()) {
        (Some(record), _) => sheet.text(format!("To write it: boardwright {}", record.command)),
        (None, Some(answer)) => sheet.text(format!(
            "To write what it showed: boardwright {}, or another of these words.",
            answer.record.command
        )),
        (None, None) => {}
    }
    sheet
}

fn suspect_row(suspect: &WouldBe) -> Row {
    let now = format!(" (now {}).", chance(suspect.now));
    let title = say(Voice::Strong, suspect.title.trim_end_matches('.')).say(Voice::Soft, now);
    match suspect.then {
        Some(then) => Row::new(chance(then), title),
        None => Row::new("–", title).under(say(Voice::Soft, "It is no longer in this machine.")),
    }
}

fn answer_row(answer: &Answer) -> Row {
    let head = say(Voice::Strong, answer.word.as_str());
    let title = match answer.title == answer.word {
        true => String::new(),
        false => format!(" ({})", answer.title),
    };
    let mut row = Row::new(
        chance(answer.chance),
        head.say(Voice::Plain, format!("{title}: then")),
    );
    for suspect in &answer.suspects {
        let then = suspect.then.map_or_else(|| "gone".to_owned(), chance);
        row = row.under(format!(
            "{then} {} (now {})",
            suspect.title.trim_end_matches('.'),
            chance(suspect.now)
        ));
    }
    row
}
