//! The parcel ledger: a block a parcel, in sentences.

use maud::{Markup, html};
use workshop::views::{Ledger, ParcelLine, ParcelView, SumRow};

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
                    @for one in to_order(view) { (parcel(one)) }
                    @if to_order(view).next().is_none() { p { "Nothing has to be ordered. " a href="/plan" { "The plan" } " says why." } }
                    @for one in on_the_way(view) { (parcel(one)) }
                    (unmet(&view.unmet))
                    (rows("At these prices the order turns", &view.turns))
                    (rows("What waits for a parcel", &view.late))
                }
                div {
                    (why(view))
                    (ask_again(&view.ask_again))
                    (came_in_before(view))
                    (left_out(&view.left_out))
                }
            }
            (foot(view))
        },
    )
}

fn to_order(view: &Ledger) -> impl Iterator<Item = &ParcelView> {
    view.parcels
        .iter()
        .filter(|parcel| parcel.ordered.is_none())
}

fn on_the_way(view: &Ledger) -> impl Iterator<Item = &ParcelView> {
    view.parcels
        .iter()
        .filter(|parcel| parcel.ordered.is_some() && !is_done(parcel))
}

/// Nothing more is to come.
fn is_done(parcel: &ParcelView) -> bool {
    parcel.received.is_some() && parcel.to_come.is_empty()
}

fn parcel(view: &ParcelView) -> Markup {
    html! {
        section.parcel id={ "parcel-" (view.letter) } {
            h2 { "Parcel " (view.letter) ", " (view.vendor) }
            p { "Landed " strong { (view.landed) } ", on the bench " strong { (prose(&view.arrives)) } "." (waiting(&view.waiting)) }
            @if let Some(when) = &view.ordered { p { span.state { (svg::mark(svg::Mark::Dot)) "Ordered" } " " span.hand { (when) } } }
            @if let Some(when) = &view.received {
                p { span.state.doubt { (svg::mark(svg::Mark::HalfDiamond)) "Came in" } " " span.hand { (when) } ". Still to come: " (prose(&view.to_come.join(", "))) "." }
            }
            ol.ledger.close {
                @for line in &view.lines { (parcel_line(line)) }
                (parts::sum_line(&view.landed, "landed", true))
            }
            div.buttons { @if view.ordered.is_none() { (order_button(view)) (without_button(view)) } @else { (came_in(view)) } (copy_link(view)) }
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

fn without_button(view: &ParcelView) -> Markup {
    html! {
        form method="post" action="/parcels/without" {
            input type="hidden" name="vendor" value=(view.vendor_id);
            button.button name="out" value="1" { "Without " (view.vendor) }
        }
    }
}

/// Parcels that are wholly in, the last of them stamped.
fn came_in_before(view: &Ledger) -> Markup {
    let done: Vec<&ParcelView> = view
        .parcels
        .iter()
        .filter(|parcel| is_done(parcel))
        .collect();
    html! {
        @if let Some(last) = done.last() {
            section {
                h2 { "Came in" }
                @for one in &done {
                    p.small { "Parcel " (one.letter) ", " (prose(&one.vendor)) ", came in " (prose(one.received.as_deref().unwrap_or_default())) "." }
                }
                p.stamped { span.stamp { "received" small { "parcel " (last.letter) } } }
            }
        }
    }
}

fn rows(heading: &str, rows: &[SumRow]) -> Markup {
    html! {
        @if !rows.is_empty() {
            section {
                h2 { (heading) }
                ul.ledger.close { @for row in rows { (parts::sum_line(&row.amount, prose(&row.text), false)) } }
            }
        }
    }
}

/// Vendors that are not asked, each with the way back.
fn left_out(vendors: &[(String, String)]) -> Markup {
    html! {
        @if !vendors.is_empty() {
            section {
                h2 { "Left out" }
                @for (id, title) in vendors {
                    form.switch method="post" action="/parcels/without" {
                        input type="hidden" name="vendor" value=(id);
                        button.button name="out" value="0" { "Ask " (title) " again" }
                    }
                }
            }
        }
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
                h2 { "Why " @if to_order(view).count() == 1 { "this one" } @else { "these " (count(to_order(view).count())) } }
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
    let own: Vec<&ParcelView> = to_order(view).collect();
    html! {
        div.purse {
            p {
                @for (n, parcel) in own.iter().enumerate() {
                    @if n > 0 && n + 1 == own.len() { " and " } @else if n > 0 { ", " }
                    strong { (parcel.landed) }
                }
                @if own.is_empty() { "Nothing" }
                @if own.len() > 1 { " make " strong { (view.landed) } } @else { " landed" }
                @if let Some((limit, remains)) = view.money_limit.as_ref().zip(view.remains.as_ref()) {
                    "; of your " (limit) " there remain " strong { (remains) }
                }
                "."
            }
            a.button href="/plan" { "Back to the plan" }
        }
    }
}
