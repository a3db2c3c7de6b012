//! The next rounds as text: a block a round, a ledger line a check, and how what is seen is written.

use super::words::minutes;
use crate::sheet::{Phrase, Row, Sheet, Voice, say};
use workshop::views::{Again, RoundLook, RoundToMake, RoundsView};

/// The next rounds.
pub(crate) fn rounds(view: &RoundsView) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    sheet.text(view.summary.as_str());
    for again in &view.again {
        sheet.gap();
        sheet.text(take_again(again));
    }
    for (nth, round) in view.rounds.iter().enumerate() {
        let place = if nth == 0 { "First" } else { "Then" };
        sheet.label(format!("{place}: {}", figures(round)));
        block(&mut sheet, round);
    }
    if !view.instead.is_empty() {
        sheet.label("Instead of the first");
    }
    for round in &view.instead {
        sheet.row(in_one_line(round));
    }
    if !view.lacking.is_empty() {
        sheet.label("With an instrument that is not on the bench");
    }
    for round in &view.lacking {
        let missing = round.missing.as_deref().unwrap_or_default();
        sheet.row(in_one_line(round).under(say(Voice::Doubt, format!("Missing: {missing}."))));
    }
    if !view.aside.is_empty() || !view.shelve.is_empty() {
        sheet.label("The others");
    }
    for aside in &view.aside {
        sheet.text(aside.sentence.as_str());
    }
    for shelve in &view.shelve {
        sheet.text(shelve.sentence.as_str());
    }
    if !view.rounds.is_empty() {
        sheet.gap();
        sheet.text(say(Voice::Soft, view.note.as_str()));
    }
    sheet
}

/// A look that many machines answered alike.
pub(super) fn take_again(again: &Again) -> Phrase {
    say(Voice::Doubt, "◐ Take this again: ").say(Voice::Plain, again.sentence.as_str())
}

/// `9 min, saves 5.20: 34.70 an hour`.
fn figures(round: &RoundToMake) -> String {
    format!(
        "{}, saves {}; {} an hour",
        minutes(round.minutes),
        round.saves,
        round.saves_an_hour
    )
}

fn block(sheet: &mut Sheet, round: &RoundToMake) {
    if !round.set_ups.is_empty() {
        let names = round.set_ups.join(", ");
        sheet.row(Row::new(
            minutes(round.set_up_minutes),
            say(Voice::Soft, format!("Set up, once for all: {names}.")),
        ));
    }
    for look in &round.looks {
        sheet.row(line(look));
    }
}

fn line(look: &RoundLook) -> Row {
    let sentence = say(Voice::Strong, format!("{}.", look.title)).say(
        Voice::Plain,
        format!(
            " {} {}; saves {}.",
            if look.act.is_some() { "From" } else { "On" },
            super::words::list(&look.tags),
            look.saves
        ),
    );
    let mut row = Row::new(minutes(look.minutes), sentence);
    if let Some(caution) = &look.caution {
        row = row.under(say(Voice::Doubt, format!("▲ {caution}")));
    }
    row.under(say(Voice::Soft, look.how.as_str()))
        .under(say(Voice::Soft, "Write: ").say(Voice::Plain, entry(look)))
}

/// The line that writes what is seen, values left open.
fn entry(look: &RoundLook) -> String {
    if let Some(act) = &look.act {
        let swaps = look.tags.iter();
        let typed =
            |tag: &String| format!("boardwright {}", act.replacen(' ', &format!(" {tag} "), 1));
        let swaps: Vec<String> = swaps.map(typed).collect();
        return format!("{}, then what the mule shows", swaps.join("; "));
    }
    let values: Vec<String> = look.tags.iter().map(|tag| format!("{tag}=…")).collect();
    format!("boardwright round {} \"{}\"", look.check, values.join("; "))
}

fn in_one_line(round: &RoundToMake) -> Row {
    let set_ups = match round.set_ups.as_slice() {
        [] => String::new(),
        names => format!(" Set up: {}.", names.join(", ")),
    };
    let text = say(
        Voice::Plain,
        format!("{}. Saves {}.", round.title, round.saves),
    )
    .say(Voice::Soft, set_ups);
    Row::new(say(Voice::Soft, minutes(round.minutes)), text)
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;
    use crate::sheet::Paper;
    use expect_test::expect;

    #[test]
    fn as_text() {
        let text = rounds(&samples::rounds()).render(Paper {
            width: 80,
            colour: false,
        });
        expect![[r#"
            Next round: sound on T-02 and T-05, 4 min, saves 9.30.
            Two rounds with a look at three machines, 11 min in all.

            ◐ Take this again: Four machines showed the same for picture: no sync. Take it
            once more on T-02 with other leads.

            First: 4 min, saves 9.30; 50.70 an hour
              2 min │ Set up, once for all: powered.
              2 min │ Sound. On T-02 and T-05; saves 5.10.
                    │ Probe against ground.
                    │ Write: boardwright round sound "T-02=…; T-05=…"

            Then: 7 min, saves 9.30; 50.70 an hour
              4 min │ Set up, once for all: lid off, oscilloscope.
              3 min │ Reset at U1 pin 26. On T-03; saves 4.20.
                    │ ▲ The tip must not slip to pin 25.
                    │ Probe against ground.
                    │ Write: boardwright round reset "T-03=…"

            Instead of the first
              5 min │ Reset at U1 pin 26 on T-03. Saves 9.30. Set up: lid off.

            With an instrument that is not on the bench
              2 min │ Latch in the tester on T-03. Saves 9.30. Set up: chip tester.
                    │ Missing: chip tester.

            The others
            T-01 looks whole or works.
            T-02 could be shelved for now: work on it brings 3.10 an hour at best, work on a
            fresh machine for 30.00 brings 7.80.

            A set-up is paid once for all machines of a round.
        "#]]
        .assert_eq(&text);
    }
}
