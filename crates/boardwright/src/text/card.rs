//! The job card as text: the answer, the doubt, the next three steps, the suspects, what fits it all, the course.

use super::words::{chance, minutes};
use crate::sheet::{Phrase, Row, Sheet, Voice, say};
use workshop::views::{Doubt, JobCard, JournalRow, NextStep, Suspect};

/// Suspects below this are told as a number only.
const WORTH_NAMING: f64 = 0.01;
/// At most this many suspects.
const MOST_SUSPECTS: usize = 7;

/// How much of a card is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Depth {
    /// The front.
    Front,
    /// The front, and the journal behind it.
    Journal,
}

/// The job card of one machine.
pub(crate) fn card(view: &JobCard, depth: Depth) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.text(head(view));
    sheet.heading(&view.heading);
    if !view.exchanged.is_empty() {
        sheet.text(view.exchanged.join(" "));
    }
    let aside = view.aside.iter().map(|aside| &aside.sentence);
    let aside = aside.filter(|sentence| !sentence.is_empty());
    for sentence in view.left_out.iter().chain(aside) {
        sheet.gap();
        sheet.text(say(Voice::Doubt, "◐ ").say(Voice::Plain, sentence.as_str()));
    }
    if let Some(doubt) = &view.doubt {
        sheet.gap();
        sheet.text(say(Voice::Doubt, "◐ ").and(doubtful(doubt)));
    }
    next(&mut sheet, view);
    suspects(&mut sheet, view);
    unseen(&mut sheet, view);
    explanations(&mut sheet, view);
    if !view.course.is_empty() {
        sheet.label("Without more checks");
        sheet.text(view.course.as_str());
    }
    if let Some(shelve) = &view.shelve {
        sheet.text(shelve.sentence.as_str());
    }
    if depth == Depth::Journal {
        sheet.label("Journal");
        lines(&mut sheet, &view.journal);
    }
    sheet
}

fn head(view: &JobCard) -> Phrase {
    let paid = match view.paid.as_str() {
        "" => String::new(),
        paid => format!(", {paid} of the lot"),
    };
    let rest = format!(
        ", {}: {}{paid}, {} spent",
        view.board,
        view.state,
        minutes(view.minutes_spent)
    );
    say(Voice::Strong, view.tag.as_str()).say(Voice::Soft, rest)
}

/// A finding that does not fit the rest.
pub(super) fn doubtful(doubt: &Doubt) -> Phrase {
    let reading = doubt
        .band
        .as_ref()
        .map_or(doubt.text.as_str(), |band| band.value_text.as_str());
    let before = if doubt.before.is_empty() {
        String::new()
    } else {
        format!("{} ", doubt.before)
    };
    say(Voice::Doubt, "Take this again: ")
        .say(Voice::Plain, before)
        .say(Voice::Hand, reading)
        .say(Voice::Plain, spaced(&doubt.after))
}

/// A space before text that begins with a word, none before a stop.
fn spaced(text: &str) -> String {
    match text.chars().next() {
        Some(first) if first.is_alphanumeric() => format!(" {text}"),
        _ => text.to_owned(),
    }
}

fn next(sheet: &mut Sheet, view: &JobCard) {
    if view.next.is_empty() {
        if !view.next_note.is_empty() {
            sheet.label("Next");
            sheet.text(view.next_note.as_str());
        }
        return;
    }
    sheet.label("Next");
    for step in &view.next {
        sheet.row(step_row(&view.tag, step));
    }
    if !view.next_note.is_empty() {
        sheet.text(say(Voice::Soft, view.next_note.as_str()));
    }
}

pub(super) fn step_row(tag: &str, step: &NextStep) -> Row {
    let later = step.saves_later.as_ref();
    let later = later.map(|later| {
        format!(" Saves {later} if it is only made once the machine is seen not to work.")
    });
    let saves = format!(" Saves {}.{}", step.saves, later.unwrap_or_default());
    let sentence = say(Voice::Strong, step.title.as_str()).say(Voice::Plain, saves);
    let mut row = Row::new(minutes(step.minutes), sentence);
    if let Some(caution) = &step.caution {
        row = row.under(say(Voice::Doubt, format!("▲ {caution}")));
    }
    row = row.under(say(Voice::Soft, step.how.as_str()));
    if let Some(act) = &step.act {
        let typed = act.replacen(' ', &format!(" {tag} "), 1);
        row = row
            .under(say(Voice::Soft, "Write: ").say(Voice::Plain, format!("boardwright {typed}")));
    }
    if let Some(missing) = &step.missing {
        row = row.under(say(Voice::Doubt, format!("Missing: {missing}.")));
    }
    for outcome in &step.outcomes {
        row = row.under(outcome.as_str());
    }
    row
}

fn suspects(sheet: &mut Sheet, view: &JobCard) {
    let (named, small): (Vec<_>, Vec<_>) = view
        .suspects
        .iter()
        .enumerate()
        .partition(|(nth, suspect)| *nth < MOST_SUSPECTS && suspect.chance >= WORTH_NAMING);
    let small: Vec<_> = small
        .into_iter()
        .filter(|(_, suspect)| suspect.chance > 0.0)
        .collect();
    if named.is_empty() && small.is_empty() {
        return;
    }
    sheet.label("Suspects");
    for (_, suspect) in named {
        sheet.row(suspect_row(suspect));
    }
    sheet.row(Row::new(
        chance(view.unmodelled),
        "Something this profile does not know: a track, a via or a cable.",
    ));
    if let Some((_, largest)) = small.first() {
        let most = chance(largest.chance);
        let each = if small.len() == 1 { "" } else { " each" };
        sheet.text(say(
            Voice::Soft,
            format!(
                "{} more at {most} or less{each}. Two can be true at once.",
                small.len()
            ),
        ));
    }
}

/// What no finding has spoken of yet.
fn unseen(sheet: &mut Sheet, view: &JobCard) {
    if !view.unseen.sentence.is_empty() {
        sheet.gap();
        sheet.text(say(Voice::Soft, view.unseen.sentence.as_str()));
    }
}

fn suspect_row(suspect: &Suspect) -> Row {
    let was = suspect
        .was
        .map(|was| format!(" (was {})", chance(was)))
        .unwrap_or_default();
    let title = suspect.title.trim_end_matches('.');
    let sentence = say(Voice::Strong, title)
        .say(Voice::Soft, was)
        .say(Voice::Plain, ".");
    Row::new(chance(suspect.chance), sentence).under(say(Voice::Soft, suspect.why.as_str()))
}

fn explanations(sheet: &mut Sheet, view: &JobCard) {
    if view.explanations.is_empty() {
        return;
    }
    sheet.label("What fits it all");
    for explanation in &view.explanations {
        sheet.row(Row::new(
            chance(explanation.share),
            explanation.title.as_str(),
        ));
    }
    sheet.row(Row::new(
        chance(view.others),
        say(Voice::Soft, "all others together"),
    ));
}

/// The journal by itself.
pub(crate) fn journal(rows: &[JournalRow]) -> Sheet {
    let mut sheet = Sheet::default();
    if rows.is_empty() {
        sheet.text("Nothing is written yet.");
    }
    lines(&mut sheet, rows);
    sheet
}

fn lines(sheet: &mut Sheet, rows: &[JournalRow]) {
    let mut date = "";
    for row in rows {
        if row.date != date {
            date = &row.date;
            sheet.text(say(Voice::Soft, date));
        }
        sheet.row(journal_row(row));
    }
}

fn journal_row(row: &JournalRow) -> Row {
    let lead = format!("{} {}  ", row.time, row.who);
    let mut sentence = say(Voice::Soft, lead);
    sentence = if row.act {
        sentence.say(Voice::Strong, row.text.as_str())
    } else {
        sentence.say(Voice::Plain, row.text.as_str())
    };
    for (voice, text) in [(Voice::Hand, &row.entered), (Voice::Plain, &row.after)] {
        if !text.is_empty() {
            sentence = sentence
                .say(Voice::Plain, if starts_with_stop(text) { "" } else { " " })
                .say(voice, text.as_str());
        }
    }
    if let Some(taken_back) = &row.taken_back {
        sentence = sentence.say(Voice::Doubt, format!(" [{taken_back}]"));
    }
    Row::new(row.line.to_string(), sentence)
}

fn starts_with_stop(text: &str) -> bool {
    text.starts_with(['.', ',', ';', ':'])
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;
    use crate::sheet::Paper;
    use expect_test::expect;

    #[test]
    fn front() {
        let text = card(&samples::card(), Depth::Front).render(Paper {
            width: 80,
            colour: false,
        });
        expect![[r#"
            T-03, Ostrel 8, revision 2: on the bench, 30.00 of the lot, 41 min spent
            The program runs, the picture stays black: most likely U9.

            ◐ Take this again: The dot clock of 8.31 MHz does not fit the rest: with all
            other findings it had a chance of 1 in 240.

            Next
               2 min │ Take the dot clock again at U9 pin 22. Saves 7.90.
                     │ ▲ Clip the ground first.
                     │ Probe at ×10, ground clip at C31.
                     │ within (62 %): then U9 is dead, 91 %
             4.5 min │ Look at sync on U14 pin 4. Saves 3.10.
                     │ Missing: oscilloscope.
            Saved against fitting suspects one at a time, at 12.00 an hour.

            Suspects
                63 % │ U9, the video controller, is dead (was 41 %).
                     │ Black with three voices asks for it; the reseat at 20:05 did not
                     │ help.
                15 % │ The socket of U9 makes no contact.
                 3 % │ Something this profile does not know: a track, a via or a cable.
            2 more at 0.4 % or less each. Two can be true at once.

            No finding has spoken yet of tape: one of 30 functions.

            What fits it all
                58 % │ U9 dead, all else good.
                 4 % │ U9 and U14 both dead.
                38 % │ all others together

            Without more checks
            Fit U9, then U14: 31 min and 24.80 on average.
            T-03 could be shelved for now: work on it brings 3.10 an hour at best, work on a
            fresh machine for 30.00 brings 7.80.
        "#]]
        .assert_eq(&text);
    }

    #[test]
    fn with_its_journal() {
        let text = card(&samples::card(), Depth::Journal).render(Paper {
            width: 80,
            colour: false,
        });
        expect![[r#"
            T-03, Ostrel 8, revision 2: on the bench, 30.00 of the lot, 41 min spent
            The program runs, the picture stays black: most likely U9.

            ◐ Take this again: The dot clock of 8.31 MHz does not fit the rest: with all
            other findings it had a chance of 1 in 240.

            Next
               2 min │ Take the dot clock again at U9 pin 22. Saves 7.90.
                     │ ▲ Clip the ground first.
                     │ Probe at ×10, ground clip at C31.
                     │ within (62 %): then U9 is dead, 91 %
             4.5 min │ Look at sync on U14 pin 4. Saves 3.10.
                     │ Missing: oscilloscope.
            Saved against fitting suspects one at a time, at 12.00 an hour.

            Suspects
                63 % │ U9, the video controller, is dead (was 41 %).
                     │ Black with three voices asks for it; the reseat at 20:05 did not
                     │ help.
                15 % │ The socket of U9 makes no contact.
                 3 % │ Something this profile does not know: a track, a via or a cable.
            2 more at 0.4 % or less each. Two can be true at once.

            No finding has spoken yet of tape: one of 30 functions.

            What fits it all
                58 % │ U9 dead, all else good.
                 4 % │ U9 and U14 both dead.
                38 % │ all others together

            Without more checks
            Fit U9, then U14: 31 min and 24.80 on average.
            T-03 could be shelved for now: work on it brings 3.10 an hour at best, work on a
            fresh machine for 30.00 brings 7.80.

            Journal
            Thu 12 Nov 2026
                  11 │ 19:13 Ines Picture black
                  12 │ 19:13 Ines +5 V at C12 4.98 V ± 0.03
                  13 │ 19:13 Ines Reseated U12. [taken back at 20:04 by Ines]
        "#]]
        .assert_eq(&text);
    }
}
