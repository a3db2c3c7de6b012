//! A page that does not exist, and a fault of the program.

use maud::{Markup, html};
use workshop::Error;

use super::frame::{Setting, Sheet, page, sentence};
use crate::parts::tag;

/// Says what is missing and which machines there are.
#[must_use]
pub fn missing(setting: &Setting<'_>, error: &Error, tags: &[String]) -> Markup {
    page(
        setting,
        Sheet::Missing,
        "Not here",
        html! {
            div.headline { h1 { (sentence(&error.message)) } }
            @if let Some(hint) = &error.hint { p { (sentence(hint)) } }
            @if tags.is_empty() {
                p { "Nothing is taken in yet. " a href="/take-in" { "Take in" } " what came in." }
            } @else {
                section {
                    h2 { "Machines here" }
                    p.tags { @for name in tags { (tag(name)) " " } }
                }
            }
            div.buttons { a.button href="/" { "To the bench" } }
        },
    )
}

/// Says that the program failed, and how.
#[must_use]
pub fn failed(setting: &Setting<'_>, sheet: Sheet, error: &Error) -> Markup {
    page(
        setting,
        sheet,
        "It did not work",
        html! {
            div.headline { h1 { "It did not work." } }
            @for line in error.message.lines() { p { (sentence(line)) } }
            @if let Some(hint) = &error.hint { p { (sentence(hint)) } }
            p.soft { "Nothing was written by this page. What was written before is safe in the journal." }
            div.buttons { a.button href="/" { "To the bench" } }
        },
    )
}
