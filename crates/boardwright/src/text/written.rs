//! Answers to what was written: how it was understood and what it changed.

use super::words::mark;
use crate::sheet::{Row, Sheet, Voice, say};
use workshop::views::{TakenIn, Understood, Undone, Written};

/// A line that was written.
pub(crate) fn written(view: &Written) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.changed);
    for understood in &view.understood {
        sheet.row(understood_row(understood));
    }
    sheet
}

fn understood_row(understood: &Understood) -> Row {
    let (voice, sign) = mark(understood.cell.state);
    Row::new(say(voice, sign), understood.sentence.as_str())
}

/// A lot that was taken in, or would be.
pub(crate) fn taken_in(view: &TakenIn, dry_run: bool) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    if !view.lot.is_empty() {
        sheet.text(format!(
            "Lot {} from {}; board: {}.",
            view.lot, view.from, view.board_title
        ));
    }
    for exception in &view.exceptions {
        sheet.text(exception.as_str());
    }
    if view.starter {
        sheet.text(say(Voice::Soft, "A starter profile of blocks; it can be split into parts later without losing a finding."));
    }
    if dry_run {
        sheet.text(say(Voice::Doubt, "Nothing was written."));
    }
    sheet
}

/// A line that was taken back.
pub(crate) fn undone(view: &Undone) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.text);
    sheet.text(view.changed.as_str());
    sheet
}
