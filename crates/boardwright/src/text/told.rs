//! An answer told in sections.

use crate::sheet::{Row, Sheet, Voice, say};
use workshop::views::Told;

/// A longer figure goes into the sentence, or the sentences would have no room.
const LONGEST_FIGURE: usize = 14;

/// The sheet: heading, sentences, sections of ledger lines.
pub(crate) fn told(view: &Told) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(view.heading.as_str());
    for sentence in &view.summary {
        sheet.text(sentence.as_str());
    }
    for section in &view.sections {
        sheet.label(section.title.as_str());
        for line in &section.lines {
            let figure = line.figure.as_str();
            let row = if figure.chars().count() > LONGEST_FIGURE {
                let lead = say(Voice::Strong, format!("{figure}: "));
                Row::new("", lead.say(Voice::Plain, line.sentence.as_str()))
            } else {
                Row::new(say(Voice::Strong, figure), line.sentence.as_str())
            };
            sheet.row(row.under(say(Voice::Soft, line.under.as_deref().unwrap_or_default())));
        }
    }
    sheet
}
