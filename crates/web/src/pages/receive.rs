//! A parcel that came in: what was in it, a line each.

use maud::{Markup, html};
use workshop::{
    Error,
    views::{CameIn, ParcelView},
};

use super::frame::{Setting, Sheet, page, said, wrong};
use super::offers::beside;
use crate::parts::{prose, segment};

/// The fields of the form, as typed, and what is wrong with them.
#[derive(Debug, Clone, Copy, Default)]
pub struct Entry<'a> {
    /// What was in it, a line each.
    pub what: &'a str,
    /// What booking it in would say.
    pub would: Option<&'a CameIn>,
    /// What is wrong.
    pub error: Option<&'a Error>,
}

/// The page.
#[must_use]
pub fn receive(setting: &Setting<'_>, parcel: &ParcelView, entry: Entry<'_>) -> Markup {
    let invalid = entry.error.map(|_| "true");
    page(
        setting,
        Sheet::Parcels,
        "A parcel came in",
        html! {
            div.headline {
                h1 { "Parcel " (parcel.letter) ", " (prose(&parcel.vendor)) ", came in." }
                p { "Strike out what is missing, add what was not ordered. It can be taken back." }
                (beside(""))
            }
            (said(setting))
            section {
                form.take-in method="post" action={ "/parcels/" (segment(&parcel.letter)) "/received" } {
                    label for="what" { "What was in it, a line each" }
                    textarea #what name="what" rows="6" spellcheck="false" aria-invalid=[invalid]
                        aria-describedby=[entry.error.map(|_| "wrong")] autofocus[entry.error.is_some()] { (entry.what) }
                    @if let Some(error) = entry.error { (wrong(error)) }
                    @if let Some(would) = entry.would { (would_be(would)) }
                    div.buttons {
                        button.button.main name="way" value="open" { "Came in" }
                        button.button name="way" value="closed" { "Came in, nothing more will come" }
                        button.button name="way" value="look" { "Look at it first" }
                    }
                }
            }
        },
    )
}

fn would_be(came: &CameIn) -> Markup {
    let lists = [
        ("Not ordered, kept all the same: ", &came.wrong),
        ("Not there: ", &came.missing),
    ];
    html! {
        div.read role="status" {
            p { strong { (prose(&came.heading)) } }
            @for (word, list) in lists {
                @if !list.is_empty() { p { span.soft { (word) } (prose(&list.join(", "))) "." } }
            }
        }
    }
}
