//! The part of a job card where something is supposed: what would be beside what is, and nothing written.

use maud::{Markup, html};
use workshop::views::{Answer, JobCard, Record, WhatIf, WouldBe};

use super::{
    Supposed,
    card::{ACTS, next_step, parts_of},
    frame::{sentence, wrong},
};
use crate::{
    parts::{self, card_address, ledger_line, percent, prose, segment},
    svg,
};

/// Address of a card with this supposed.
pub(super) fn address(tag: &str, line: &str) -> String {
    format!("{}?if={}#what-if", card_address(tag), segment(line))
}

/// The form, and what would follow if something was asked.
pub(super) fn section(view: &JobCard, supposed: Option<Supposed<'_>>) -> Markup {
    let asked = supposed.map_or("", |supposed| supposed.asked);
    html! {
        section #what-if {
            h2 { "What if" }
            (form(view, asked))
            @match supposed.map(|supposed| supposed.found) {
                Some(Ok(found)) => (answer(found)),
                Some(Err(error)) => (wrong(error)),
                None => p.small.soft { "Suppose an act or an answer and see what would follow. Nothing is written." },
            }
        }
    }
}

fn form(view: &JobCard, asked: &str) -> Markup {
    let (verb, rest) = asked.split_once(' ').unwrap_or((asked, ""));
    let act = ACTS.iter().find(|(id, _)| *id == verb);
    let of = if act.is_some() { rest } else { asked };
    html! {
        datalist #supposable {
            @for check in &view.checks { option value=(check.id) {} }
            @for part in parts_of(view) { option value=(part) {} }
        }
        form.suppose method="get" action={ (card_address(&view.tag)) "#what-if" } {
            div {
                label for="if-act" { "If this were" }
                select #if-act name="if-act" {
                    option value="" { "looked at, or showed" }
                    @for (id, word) in ACTS {
                        option value=(id) selected[act.is_some_and(|(own, _)| *own == id)] { (word.to_lowercase()) }
                    }
                }
            }
            div {
                label for="if-of" { "Check and answer, or part" }
                input #if-of name="if-of" value=(of) list="supposable" placeholder="sound none, or U9" autocomplete="off" autocapitalize="off" spellcheck="false";
            }
            button.button { "Suppose it" }
        }
    }
}

fn answer(found: &WhatIf) -> Markup {
    html! {
        div.supposed role="status" {
            p.mark-of { (svg::mark(svg::Mark::HalfDiamond)) "Only supposed, not recorded" }
            h3 { (parts::with_chances(&found.title())) }
            p {
                @match found.works {
                    Some(works) => { "It would work with " strong { (percent(works)) } "; now it does with " (percent(found.works_now)) "." }
                    None => { "Now it works with " (percent(found.works_now)) "." }
                }
            }
            @if !found.suspects.is_empty() {
                ol.ledger.close { @for suspect in &found.suspects { (would_be(suspect)) } }
            }
            @if !found.answers.is_empty() {
                ol.ledger { @for one in &found.answers { (one_answer(&found.tag, one)) } }
            }
            @if !found.next.is_empty() {
                details.small {
                    summary { "What to look at then" }
                    ol.ledger { @for step in &found.next { (next_step(&found.tag, step)) } }
                }
            }
            @if !found.course.is_empty() { p.small { "Without more checks then: " (parts::with_chances(&found.course)) } }
            @if let Some(record) = &found.record { div.buttons { (write_it(&found.tag, record, "Write it for real")) } }
        }
    }
}

fn would_be(suspect: &WouldBe) -> Markup {
    let now = format!("now {}", percent(suspect.now));
    let figure = suspect.then.map_or_else(|| "–".to_owned(), percent);
    ledger_line(
        figure,
        Some(&now),
        html! {
            div.split {
                p { strong { (prose(&suspect.title)) } @if suspect.then.is_none() { " It is no longer in this machine." } }
                @if let Some(then) = suspect.then { (svg::ruler_then(then, suspect.now)) }
            }
        },
    )
}

fn one_answer(tag: &str, answer: &Answer) -> Markup {
    ledger_line(
        percent(answer.chance),
        None,
        html! {
            div.split {
                div {
                    p { strong { (prose(&answer.title)) } ": then" }
                    ul.small {
                        @for suspect in &answer.suspects {
                            li {
                                @if let Some(then) = suspect.then { strong { (percent(then)) } } @else { "gone" }
                                " " (sentence(suspect.title.trim_end_matches('.'))) span.soft { " Now " (percent(suspect.now)) "." }
                            }
                        }
                    }
                }
                (write_it(tag, &answer.record, "It showed this"))
            }
        },
    )
}

/// The form that writes it: the same that the card has.
fn write_it(tag: &str, record: &Record, word: &str) -> Markup {
    let address = card_address(tag);
    html! {
        @match record.act.as_str() {
            "measure" => form method="post" action=(address) {
                input type="hidden" name="line" value=(record.part);
                button.button { (word) span.unseen { ": " (record.part) } }
            },
            "settle" => form method="post" action={ (address) "/settle" } {
                input type="hidden" name="truth" value=(record.part);
                button.button { (word) span.unseen { ": " (record.part) } }
            },
            act => form method="post" action={ (address) "/act" } {
                input type="hidden" name="act" value=(act);
                input type="hidden" name="part" value=(record.part);
                input type="hidden" name="what" value=(record.what);
                button.button { (word) span.unseen { ": " (record.command) } }
            },
        }
    }
}
