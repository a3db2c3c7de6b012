//! The parcel ledger: a block a parcel, in sentences.

use maud::{Markup, html};
use workshop::views::{Ledger, ParcelLine, ParcelView};

use super::frame::{Setting, Sheet, page, said};
use super::offers::beside;
use crate::{
    parts::{self, count, prose, segment},
    svg,
};

/// The ledger.
#[must_use]
pub fn parcels(setting: &Setting<'_>, view: &Ledger) -> Markup {
    page(
        setting,
        Sheet::Parcels,
        "Parcel ledger",
        html! {
            div.headline {
                h1 { (prose(&view.heading)) }
                p { (prose(&view.proof)) }
                (beside("/parcels"))
            }
            (said(setting))
            div.columns {
                div {
                    @for one in &view.parcels { (parcel(one)) }
                    @if view.parcels.is_empty() { p { "Nothing has to be ordered. " a href="/plan" { "The plan" } " says why." } }
                    (unmet(&view.unmet))
                }
                div { (why(view)) (ask_again(&view.ask_again)) }
            }
            (foot(view))
        },
    )
}

fn parcel(view: &ParcelView) -> Markup {
    html! {
        section.parcel id={ "parcel-" (view.letter) } {
            h2 { "Parcel " (view.letter) ", " (view.vendor) }
            p { "Landed " strong { (view.landed) } ", on the bench " strong { (prose(&view.arrives)) } "." (waiting(&view.waiting)) }
            @if let Some(when) = &view.ordered { p { span.state { (svg::mark(svg::Mark::Dot)) "Ordered" } " " span.hand { (when) } } }
            ol.ledger.close {
                @for line in &view.lines { (parcel_line(line)) }
                (parts::sum_line(&view.landed, "landed", true))
            }
            div.buttons { @if view.ordered.is_none() { (order_button(view)) } @else { (came_in(view)) } (copy_link(view)) }
        }
    }
}

/// Who waits for it: a parcel that nobody waits for says nothing.
fn waiting(tags: &[String]) -> Markup {
    html! {
        @for (n, tag) in tags.iter().enumerate() {
            @if n == 0 { " " } @else if n + 1 == tags.len() { " and " } @else { ", " }
            (prose(tag))
        }
        @match tags.len() { 0 => {}, 1 => " waits for it.", _ => " wait for it.", }
    }
}

fn parcel_line(line: &ParcelLine) -> Markup {
    parts::sum_line(
        &line.amount,
        html! {
            (prose(&line.text)) @if !line.note.is_empty() { " " span.soft { (prose(&line.note)) } }
        },
        false,
    )
}

fn order_button(view: &ParcelView) -> Markup {
    html! {
        form method="post" action={ "/parcels/" (segment(&view.letter)) "/ordered" } {
            button.button.main { "Ordered" span.unseen { ": parcel " (view.letter) } }
        }
    }
}

fn came_in(view: &ParcelView) -> Markup {
    html! {
        a.button.main href={ "/parcels/" (segment(&view.letter)) "/received" } { "Came in…" span.unseen { " parcel " (view.letter) } }
    }
}

/// Without a script the link opens the list as plain text; with one it copies it.
fn copy_link(view: &ParcelView) -> Markup {
    html! {
        a.button href={ "/parcels/" (segment(&view.letter)) ".txt" } data-copy="The list is copied." {
            "Copy the list" span.unseen { " of parcel " (view.letter) }
        }
        span.copied role="status" {}
    }
}

/// The list of a parcel as text, a line each, for a mail or a vendor's search box.
#[must_use]
pub fn list(view: &ParcelView) -> String {
    let mut text = format!("Parcel {}, {}\n", view.letter, view.vendor);
    for line in &view.lines {
        text.push_str(&format!("{:>9}  {}\n", line.amount, line.text));
    }
    text.push_str(&format!("{:>9}  landed\n", view.landed));
    text
}

fn unmet(lines: &[String]) -> Markup {
    html! {
        @if !lines.is_empty() {
            section {
                h2 { "Nobody asked so far sells these" }
                ul.notes { @for line in lines { li { span.state.doubt { (svg::mark(svg::Mark::HalfDiamond)) } (prose(line)) } } }
            }
        }
    }
}

fn why(view: &Ledger) -> Markup {
    html! {
        @if !view.why.is_empty() {
            section {
                h2 { "Why " @if view.parcels.len() == 1 { "this one" } @else { "these " (count(view.parcels.len())) } }
                ul.ledger.close { @for row in &view.why { (parts::sum_line(&row.amount, prose(&row.text), false)) } }
                @if !view.bother.is_empty() { p.small.soft { (prose(&view.bother)) } }
            }
        }
    }
}

fn ask_again(rows: &[(i64, String)]) -> Markup {
    html! {
        @if !rows.is_empty() {
            section {
                h2 { "Ask again" }
                @for (days, text) in rows {
                    p.small { span.state.doubt { (svg::mark(svg::Mark::HalfDiamond)) (days) " days old" } " " (prose(text)) }
                }
            }
        }
    }
}

fn foot(view: &Ledger) -> Markup {
    html! {
        div.purse {
            p {
                @for (n, parcel) in view.parcels.iter().enumerate() {
                    @if n > 0 && n + 1 == view.parcels.len() { " and " } @else if n > 0 { ", " }
                    strong { (parcel.landed) }
                }
                @if view.parcels.len() > 1 { " make " strong { (view.landed) } } @else { " landed" }
                @if let Some((limit, remains)) = view.money_limit.as_ref().zip(view.remains.as_ref()) {
                    "; of your " (limit) " there remain " strong { (remains) }
                }
                "."
            }
            a.button href="/plan" { "Back to the plan" }
        }
    }
}
