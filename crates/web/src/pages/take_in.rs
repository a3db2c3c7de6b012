//! The first page: say what came in, the way one would write it on the box.

use maud::{Markup, html};
use workshop::{
    Error,
    views::{Band, BoardChoice, TakenIn},
};

use super::frame::{Setting, Sheet, page, said, wrong};
use crate::{
    parts::{self, ledger_line, prose},
    svg,
};

/// The fields of the form, as typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Fields {
    /// `9 from Harbour Street, 270.00`.
    pub line: String,
    /// Exceptions, one a line.
    pub exceptions: String,
    /// Board id; empty for the default.
    pub board: String,
    /// First tag; empty for the next free one.
    pub tags: String,
}

/// What is known about the form besides its fields.
#[derive(Debug, Clone, Copy, Default)]
pub struct Look<'a> {
    /// Nothing is taken in yet.
    pub first: bool,
    /// What would be written.
    pub dry_run: Option<&'a TakenIn>,
    /// What is wrong with it.
    pub error: Option<&'a Error>,
}

/// The page.
#[must_use]
pub fn take_in(
    setting: &Setting<'_>,
    boards: &[BoardChoice],
    fields: &Fields,
    look: Look<'_>,
) -> Markup {
    let (sheet, heading) = if look.first {
        (Sheet::Bench, "Nothing is taken in yet.")
    } else {
        (Sheet::TakeIn, "Take in what came.")
    };
    page(
        setting,
        sheet,
        "Take in",
        html! {
            div.headline {
                h1 { (heading) }
                p { "Write it the way you would on the box. Nine machines are two lines; a line can be taken back later." }
            }
            (said(setting))
            div.columns {
                div { (form(boards, fields, look)) (then()) }
                div { (example()) (looking()) }
            }
            (parts::caution(svg::Mark::Triangle, "Before the first power-on", html! {
                p { "A supply of unknown age is tried on a dummy load, not on the board. No step here opens a supply." }
            }))
        },
    )
}

fn form(boards: &[BoardChoice], fields: &Fields, look: Look<'_>) -> Markup {
    let invalid = look.error.map(|_| "true");
    html! {
        section {
            h2 { "Take in" }
            form.take-in method="post" action="/take-in" {
                label for="came" { "How many, from where, for how much" }
                input #came name="line" value=(fields.line) placeholder="9 from Harbour Street, 270.00" autocomplete="off" spellcheck="false"
                    aria-invalid=[invalid] aria-describedby=[look.error.map(|_| "wrong")] autofocus[look.error.is_some()] required;
                label for="exceptions" { "What differs, a line each" }
                textarea #exceptions name="exceptions" rows="3" placeholder="T-06 battery leaked\nT-09 U9 absent" spellcheck="false" { (fields.exceptions) }
                div.pair {
                    @if !boards.is_empty() { (board_choice(boards, &fields.board)) }
                    div {
                        label for="tags" { "First tag, if not the next free one" }
                        input #tags name="tags" value=(fields.tags) placeholder="T-01" autocomplete="off" spellcheck="false";
                    }
                }
                @if let Some(error) = look.error { (wrong(error)) }
                @if let Some(would) = look.dry_run { (would_be(would)) }
                div.buttons {
                    button.button.main { "Take in" }
                    button.button name="look" value="1" { "Look at it first" }
                }
            }
        }
    }
}

fn board_choice(boards: &[BoardChoice], chosen: &str) -> Markup {
    html! {
        div {
            label for="board" { "Board" }
            select #board name="board" {
                @for board in boards {
                    option value=(board.id) selected[board.id == chosen] { (board.title) @if board.starter && !board.title.to_lowercase().contains("starter") { ", a starter" } }
                }
            }
        }
    }
}

/// What would be written, before it is.
fn would_be(would: &TakenIn) -> Markup {
    html! {
        div.said role="status" {
            div {
                p { span.soft { "Read as " } (prose(&would.heading)) }
                p.tags { @for tag in &would.tags { span.tag { (tag) } " " } }
                p { "Board: " (prose(&would.board_title)) "." }
                @for exception in &would.exceptions { p { (prose(exception)) } }
                p.soft { "Nothing is written yet." }
            }
        }
    }
}

fn then() -> Markup {
    let steps = [
        (
            "Do one round.",
            "Lids off, supplies on, the same look on all of them. A finding is one short line or three taps at most.",
        ),
        (
            "Read the job cards.",
            "Each says what is probably wrong and what to look at next, in minutes and money.",
        ),
        (
            "Order once.",
            "The plan weighs the whole pile against your money and your evenings; the ledger says which vendor gets which line.",
        ),
    ];
    html! {
        section {
            h2 { "Then" }
            ol.ledger {
                @for (n, (what, how)) in steps.into_iter().enumerate() {
                    (ledger_line(n + 1, None, html! { p { strong { (what) } " " (how) } }))
                }
            }
        }
    }
}

fn example() -> Markup {
    let band = Band {
        low: Some(4.75),
        high: Some(5.25),
        value: 4.98,
        half_width: 0.03,
        outside: 0.0,
        low_text: Some("4.75".to_owned()),
        high_text: Some("5.25".to_owned()),
        value_text: "4.98 V".to_owned(),
        sentence: "4.98 V, within 4.75 to 5.25 V".to_owned(),
    };
    html! {
        section {
            h2 { "How a page speaks" }
            p.small { "A job card has its answer as its heading. Under it stand the suspects:" }
            ol.ledger.close.narrow-figures {
                (ledger_line(parts::percent(0.63), None, "U9 is dead."))
                (ledger_line(parts::percent(0.15), None, "Its socket makes no contact."))
            }
            p.example { span.hand { (prose("4.98 V")) } (svg::band_large(&band)) }
            p.small.soft { "What a hand entered stands on a dotted line; brackets are limits, the thick bar is the uncertainty." }
        }
    }
}

fn looking() -> Markup {
    html! {
        section.paperless {
            h2 { "Only looking?" }
            p.small { "The demo has a pile of nine, their findings and five vendors, in a folder of its own. It starts with " kbd.hand { "boardwright demo" } "." }
        }
    }
}
