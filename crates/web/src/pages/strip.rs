//! A donor: which chips come out of it, each with its chance and the mark it gets.

use maud::{Markup, html};
use workshop::{
    Error,
    views::{StripRow, StripView},
};

use super::frame::{Setting, Sheet, page, said, wrong};
use crate::parts::{self, card_address, duration, percent, prose, segment};

/// The page.
#[must_use]
pub fn strip(setting: &Setting<'_>, view: &StripView, error: Option<&Error>) -> Markup {
    page(
        setting,
        Sheet::Bench,
        "Donor",
        html! {
            div.headline {
                h1 { (prose(&view.heading)) }
                p { (prose(&view.plan)) " Its findings stay; a chip keeps its chance with its mark." }
                p { a href=(card_address(&view.tag)) { "Back to the card of " (prose(&view.tag)) } }
            }
            (said(setting))
            form.strip method="post" action={ "/machine/" (segment(&view.tag)) "/strip" } {
                @if let Some(error) = error { (wrong(error)) }
                div.columns {
                    section {
                        h2 { "Come out" }
                        ol.ledger.close { @for row in &view.chips { (line(row, true)) } }
                    }
                    @if !view.left.is_empty() {
                        section {
                            h2 { "Stay in" }
                            details { summary { (view.left.len()) " parts, with the reason" }
                                ol.ledger.close { @for row in &view.left { (line(row, false)) } }
                            }
                        }
                    }
                }
                div.purse {
                    p { "About " strong { (duration(view.minutes)) } " of work for what is ticked now." }
                    button.button.main { "They are out" }
                }
            }
        },
    )
}

fn line(row: &StripRow, out: bool) -> Markup {
    let name = format!("part-{}", row.part);
    parts::sum_line(
        &percent(row.good),
        html! {
            div.tick {
                input id=(name) type="checkbox" name=(name) value="1" checked[out];
                label for=(name) {
                    (row.part) ", " (prose(&row.device))
                    @if out { ", mark " span.hand { (row.mark) } }
                    @if !row.note.is_empty() { " " span.soft { (prose(&row.note)) } }
                }
            }
        },
        false,
    )
}
