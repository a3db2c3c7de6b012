//! Offers, the drawer, a parcel that came in, a donor: as text.

use super::words::list;
use crate::sheet::{Row, Sheet, Voice, say};
use workshop::views::{
    CameIn, History, OfferRow, OffersRead, OffersView, ReadRow, StockRow, StockView, StripRow,
    StripView,
};

/// What vendors ask.
pub(crate) fn offers(view: &OffersView) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    sheet.text(say(
        Voice::Soft,
        format!(
            "A price seen more than {} days ago is to be asked again.",
            view.ask_again_days
        ),
    ));
    for vendor in &view.vendors {
        sheet.gap();
        sheet.heading(&vendor.title);
        sheet.text(say(Voice::Soft, vendor.terms.as_str()));
        for offer in &vendor.offers {
            sheet.row(offer_row(offer));
        }
    }
    sheet
}

fn offer_row(offer: &OfferRow) -> Row {
    let more = if offer.more.is_empty() {
        String::new()
    } else {
        format!("; {}", offer.more)
    };
    let row = Row::new(
        offer.price.as_str(),
        say(Voice::Plain, offer.title.as_str()).say(Voice::Soft, more),
    );
    let when = match (offer.days, offer.seen.as_str()) {
        (_, "") => "ask again: no day is known".to_owned(),
        (Some(days), seen) => format!("ask again: seen on {seen}, {days} days ago"),
        (None, seen) => format!("ask again: seen on {seen}"),
    };
    if offer.old {
        row.under(say(Voice::Doubt, when))
    } else {
        row
    }
}

/// How offers were understood.
pub(crate) fn offers_read(view: &OffersRead) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    if !view.columns.is_empty() {
        let columns: Vec<String> = view
            .columns
            .iter()
            .map(|(heading, role)| format!("{heading}: {role}"))
            .collect();
        sheet.text(say(
            Voice::Soft,
            format!("Columns, {}.", columns.join("; ")),
        ));
    }
    for note in &view.notes {
        sheet.text(say(Voice::Soft, note.as_str()));
    }
    for row in &view.rows {
        sheet.row(read_row(row));
    }
    for refused in &view.refused {
        sheet.text(say(Voice::Bad, refused.as_str()));
    }
    if view.lines.is_empty() {
        sheet.text(say(Voice::Doubt, "Nothing was written."));
    }
    sheet
}

fn read_row(row: &ReadRow) -> Row {
    let said = [row.more.as_str(), row.before.as_str()];
    let said: Vec<&str> = said.into_iter().filter(|one| !one.is_empty()).collect();
    let more = if said.is_empty() {
        String::new()
    } else {
        format!("; {}", said.join("; "))
    };
    let line = Row::new(
        row.price.as_str(),
        say(Voice::Plain, row.item.as_str()).say(Voice::Soft, more),
    );
    let line = if row.title == row.item {
        line
    } else {
        line.under(say(
            Voice::Soft,
            format!("line {}: {}", row.line, row.title),
        ))
    };
    let line = if row.wanted {
        line
    } else {
        line.under(say(
            Voice::Soft,
            "no remedy for a machine of the pile asks for it",
        ))
    };
    line.under(say(Voice::Doubt, row.doubt.as_str()))
}

/// What an item cost over time.
pub(crate) fn history(view: &History) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(format!("{}: {}", view.title, view.heading));
    for one in &view.prices {
        let at = if one.at.is_empty() {
            String::new()
        } else {
            format!(", {}", one.at)
        };
        sheet.row(Row::new(
            one.price.as_str(),
            format!("{} at {}{at}", one.day, one.vendor),
        ));
    }
    sheet
}

/// A parcel that came in.
pub(crate) fn came_in(view: &CameIn) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    if !view.came.is_empty() {
        sheet.text(format!("Into the drawer: {}.", list(&view.came)));
    }
    if !view.wrong.is_empty() {
        sheet.text(say(
            Voice::Doubt,
            format!("Not ordered, kept all the same: {}.", list(&view.wrong)),
        ));
    }
    if !view.missing.is_empty() {
        sheet.text(format!("Not there: {}.", list(&view.missing)));
    }
    for line in &view.waits {
        sheet.text(line.as_str());
    }
    if view.lines.is_empty() {
        sheet.text(say(Voice::Doubt, "Nothing was written."));
    }
    sheet
}

/// The drawer.
pub(crate) fn stock(view: &StockView) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    for line in &view.waits {
        sheet.text(line.as_str());
    }
    for (label, rows) in [
        ("Without a mark", &view.things),
        ("Chips out of machines, each with its chance", &view.chips),
        ("On the way", &view.coming),
        ("Wanted for the drawer", &view.wishes),
        ("Used up later, by what is fitted now", &view.used_later),
    ] {
        if rows.is_empty() {
            continue;
        }
        sheet.label(label);
        for row in rows {
            sheet.row(stock_row(row));
        }
    }
    sheet
}

fn stock_row(row: &StockRow) -> Row {
    let mark = row
        .mark
        .as_ref()
        .map(|mark| format!(", marked {mark}"))
        .unwrap_or_default();
    let from = if row.from.is_empty() {
        String::new()
    } else {
        format!("; {}", row.from)
    };
    Row::new(
        row.amount.as_str(),
        say(Voice::Plain, row.what.as_str())
            .say(Voice::Hand, mark)
            .say(Voice::Soft, from),
    )
}

/// A donor.
pub(crate) fn strip(view: &StripView) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    sheet.text(view.plan.as_str());
    for row in &view.chips {
        sheet.row(strip_row(row).under(say(Voice::Hand, format!("mark {}", row.mark))));
    }
    let mut reasons: Vec<(&str, Vec<String>)> = Vec::new();
    for row in &view.left {
        match reasons.iter_mut().find(|(reason, _)| *reason == row.note) {
            Some((_, parts)) => parts.push(row.part.clone()),
            None => reasons.push((&row.note, vec![row.part.clone()])),
        }
    }
    for (reason, parts) in reasons {
        sheet.text(say(
            Voice::Soft,
            format!("Left in, {reason}: {}.", list(&parts)),
        ));
    }
    if view.lines.is_empty() {
        sheet.text(say(
            Voice::Doubt,
            "Nothing was written; `--take` writes it.",
        ));
    }
    sheet
}

fn strip_row(row: &StripRow) -> Row {
    let note = if row.note.is_empty() {
        String::new()
    } else {
        format!(", {}", row.note)
    };
    Row::new(
        super::words::chance(row.good),
        say(Voice::Plain, format!("{}, {}", row.part, row.device)).say(Voice::Soft, note),
    )
}
