//! Offers: what vendors ask, what is worth asking again, and prices coming in.

use maud::{Markup, html};
use workshop::{
    Error,
    views::{History, OfferRow, OffersRead, OffersView, ReadRow, VendorOffers},
};

use super::frame::{Setting, Sheet, page, said, wrong};
use crate::{
    parts::{self, prose, segment},
    price_plot, svg,
};

/// The fields of the form, as typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Fields {
    /// Vendor id.
    pub vendor: String,
    /// What was pasted or typed.
    pub text: String,
    /// What the columns are, if the guess is wrong.
    pub columns: String,
}

/// What is known about the form besides its fields.
#[derive(Debug, Clone, Copy, Default)]
pub struct Look<'a> {
    /// How the text is understood.
    pub read: Option<&'a OffersRead>,
    /// What is wrong with it.
    pub error: Option<&'a Error>,
}

/// The page.
#[must_use]
pub fn offers(setting: &Setting<'_>, view: &OffersView, fields: &Fields, look: Look<'_>) -> Markup {
    page(
        setting,
        Sheet::Parcels,
        "Offers",
        html! {
            div.headline {
                h1 { (prose(&view.heading)) }
                p { "A price seen more than " (view.ask_again_days) " days ago is to be asked again." }
                (beside("/offers"))
            }
            (said(setting))
            (form(view, fields, look))
            @for vendor in &view.vendors { (block(vendor)) }
        },
    )
}

/// The sheets that belong to the ledger.
pub(crate) fn beside(here: &str) -> Markup {
    let links = [
        ("/parcels", "Parcels"),
        ("/offers", "Offers"),
        ("/stock", "Drawer"),
    ];
    html! {
        nav.beside aria-label="Parcels, offers, drawer" {
            @for (address, word) in links {
                a href=(address) aria-current=[(address == here).then_some("page")] { (word) }
            }
        }
    }
}

fn block(vendor: &VendorOffers) -> Markup {
    html! {
        section {
            h2 { (vendor.title) }
            p.small.soft { (prose(&vendor.terms)) }
            @if vendor.offers.is_empty() { p { "No price of his is known." } }
            ol.ledger.close { @for offer in &vendor.offers { (offer_line(offer)) } }
        }
    }
}

fn offer_line(offer: &OfferRow) -> Markup {
    parts::sum_line(
        &offer.price,
        html! {
            a href={ "/offers/" (segment(&offer.item)) } { (prose(&offer.title)) }
            @if !offer.more.is_empty() { " " span.soft { (prose(&offer.more)) } }
            @if offer.old {
                " " span.state.doubt {
                    (svg::mark(svg::Mark::HalfDiamond))
                    @match offer.days { Some(days) => { "ask again, " (days) " days old" }, None => "ask again, no day is known" }
                }
            }
        },
        false,
    )
}

fn form(view: &OffersView, fields: &Fields, look: Look<'_>) -> Markup {
    let invalid = look.error.map(|_| "true");
    html! {
        section #prices-in {
            h2 { "Prices came in" }
            form.take-in method="post" action="/offers" {
                label for="vendor" { "From whom" }
                select #vendor name="vendor" {
                    @for vendor in &view.vendors { option value=(vendor.id) selected[vendor.id == fields.vendor] { (vendor.title) } }
                }
                label for="text" { "A cart, a table, or a line such as 4164-150ns 8 at 3.40" }
                textarea #text name="text" rows="6" spellcheck="false" required aria-invalid=[invalid]
                    aria-describedby=[look.error.map(|_| "wrong")] autofocus[look.error.is_some()] { (fields.text) }
                @if look.read.is_some() || !fields.columns.is_empty() {
                    label for="columns" { "The columns, if they were taken wrongly" }
                    input #columns name="columns" value=(fields.columns) placeholder="code, name, quantity, each, -" autocomplete="off" spellcheck="false";
                }
                @if let Some(error) = look.error { (wrong(error)) }
                @if let Some(read) = look.read { (understood(read)) }
                div.buttons {
                    @if look.read.is_some() { button.button.main name="take" value="1" { "Take these prices" } }
                    button.button.main[look.read.is_none()] { "Look at it first" }
                }
            }
            p.small.soft { "Nothing is taken before it was shown. What is not understood is named with its line and left out." }
        }
    }
}

/// How it was read, before it is taken.
fn understood(read: &OffersRead) -> Markup {
    html! {
        div.read role="status" {
            p { strong { (prose(&read.heading)) } }
            @if !read.columns.is_empty() {
                p.small { span.soft { "Columns: " }
                    @for (n, (heading, role)) in read.columns.iter().enumerate() {
                        @if n > 0 { ", " } span.hand { (heading) } " " @if role == "-" { "is not used" } @else { "as " (role) }
                    } "."
                }
            }
            @for note in &read.notes { p.small.soft { (prose(note)) } }
            ol.ledger.close { @for row in &read.rows { (read_line(row)) } }
            @for refused in &read.refused { p.small { span.state.bad { (svg::mark(svg::Mark::Cross)) } (prose(refused)) } }
        }
    }
}

fn read_line(row: &ReadRow) -> Markup {
    let id = format!("item-{}", row.line);
    parts::sum_line(
        &row.price,
        html! {
            span.hand { (row.title) }
            @if !row.more.is_empty() { " " span.soft { (prose(&row.more)) } }
            @if !row.before.is_empty() { " " span.soft { (prose(&row.before)) } }
            span.named {
                label for=(id) { "taken for" }
                input id=(id) name=(id) value=(row.item) autocomplete="off" spellcheck="false";
            }
            @if !row.wanted { p.small.soft { "No remedy for a machine of the pile asks for it." } }
            @if !row.doubt.is_empty() { p.small { span.state.doubt { (svg::mark(svg::Mark::HalfDiamond)) } (prose(&row.doubt)) } }
        },
        false,
    )
}

/// What an item cost over time.
#[must_use]
pub fn history(setting: &Setting<'_>, view: &History) -> Markup {
    page(
        setting,
        Sheet::Parcels,
        "Price history",
        html! {
            div.headline {
                h1 { (prose(&view.title)) ": " (prose(&view.heading)) }
                p { "What was asked for " span.hand { (view.item) } ", in " (view.currency) "." }
                (beside("/offers/"))
            }
            (said(setting))
            figure { (price_plot::prices(view)) }
            section {
                h2 { "Prices seen" }
                ol.ledger.close {
                    @for one in view.prices.iter().rev() {
                        (parts::sum_line(&one.price, html! { (one.day) ", " (prose(&one.vendor)) @if !one.at.is_empty() { " " span.soft { (prose(&one.at)) } } }, false))
                    }
                }
            }
        },
    )
}
