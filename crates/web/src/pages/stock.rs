//! The drawer: what is there, what is on its way, whose work waits for it; what is put in or taken out by hand.

use maud::{Markup, html};
use workshop::{
    Error,
    views::{StockRow, StockView},
};

use super::frame::{Setting, Sheet, page, said, wrong};
use super::offers::beside;
use crate::parts::{self, prose};

/// The fields of the form, as typed, and what is wrong with them.
#[derive(Debug, Clone, Copy, Default)]
pub struct Entry<'a> {
    /// `3 4164-150ns`.
    pub what: &'a str,
    /// `0.8`.
    pub works: &'a str,
    /// Where it came from.
    pub note: &'a str,
    /// What is wrong.
    pub error: Option<&'a Error>,
}

/// The page.
#[must_use]
pub fn stock(setting: &Setting<'_>, view: &StockView, entry: Entry<'_>) -> Markup {
    page(
        setting,
        Sheet::Parcels,
        "Drawer",
        html! {
            div.headline {
                h1 { (prose(&view.heading)) }
                p { "The plan uses what is there before it buys." }
                (beside("/stock"))
            }
            (said(setting))
            div.columns {
                div {
                    (waits(&view.waits))
                    (block("Without a mark", &view.things))
                    (block("Chips out of machines, each with the chance that it is good", &view.chips))
                    (block("On the way", &view.coming))
                    (wishes(&view.wishes))
                    (block("Used up later, by what is fitted now", &view.used_later))
                }
                div { (form(entry)) }
            }
        },
    )
}

/// Whose work waits for what.
pub(crate) fn waits(lines: &[String]) -> Markup {
    html! {
        @if !lines.is_empty() {
            section {
                h2 { "Who waits for what" }
                ul.notes { @for line in lines { li { (prose(line)) } } }
            }
        }
    }
}

fn block(heading: &str, rows: &[StockRow]) -> Markup {
    html! {
        @if !rows.is_empty() {
            section {
                h2 { (heading) }
                ol.ledger.close { @for row in rows { (line(row)) } }
            }
        }
    }
}

/// What is wanted for the drawer, each with its button to want it no more.
fn wishes(rows: &[StockRow]) -> Markup {
    html! {
        @if !rows.is_empty() {
            section {
                h2 { "Wanted for the drawer" }
                ol.ledger.close.settled {
                    @for row in rows {
                        li {
                            span { (row.amount) }
                            div {
                                (prose(&row.what)) " " span.soft { (prose(&row.from)) }
                                form.paperless method="post" action="/stock" {
                                    input type="hidden" name="what" value=(row.what);
                                    button.plain name="way" value="no-wish" aria-label={ "Want " (row.what) " no more" } { "let it go" }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn line(row: &StockRow) -> Markup {
    parts::sum_line(
        &row.amount,
        html! {
            (prose(&row.what))
            @if let Some(mark) = &row.mark { ", marked " span.hand { (mark) } }
            @if !row.from.is_empty() { " " span.soft { (prose(&row.from)) } }
        },
        false,
    )
}

fn form(entry: Entry<'_>) -> Markup {
    let invalid = entry.error.map(|_| "true");
    html! {
        section {
            h2 { "Put in or take out" }
            form.take-in method="post" action="/stock" {
                label for="what" { "How many of what" }
                input #what name="what" value=(entry.what) placeholder="3 4164-150ns" autocomplete="off" spellcheck="false" required
                    aria-invalid=[invalid] aria-describedby=[entry.error.map(|_| "wrong")] autofocus[entry.error.is_some()];
                div.pair {
                    div {
                        label for="works" { "Chance that one is good, if in doubt" }
                        input #works name="works" value=(entry.works) placeholder="0.8" autocomplete="off" spellcheck="false";
                    }
                    div {
                        label for="note" { "Where from, or where to" }
                        input #note name="note" value=(entry.note) placeholder="from the attic" autocomplete="off";
                    }
                }
                p.small.soft { "Boards that were built go in, and what is there of their parts goes out. A wish is ordered along where that makes the order no dearer." }
                @if let Some(error) = entry.error { (wrong(error)) }
                div.buttons {
                    button.button.main name="way" value="in" { "Put in" }
                    button.button name="way" value="out" { "Take out" }
                    button.button name="way" value="built" { "Built" }
                    button.button name="way" value="wish" { "Wish for it" }
                }
            }
        }
    }
}
