//! The next rounds: a block a round, a ledger line a check, each line leading to where it is written.

use maud::{Markup, html};
use workshop::views::{Again, Aside, RoundLook, RoundToMake, RoundsView, Shelve};

use super::{
    frame::{Setting, Sheet, page, said},
    what_if,
};
use crate::{
    parts::{self, cell_address, duration, ledger_line, prose, tag},
    svg,
};

/// The rounds page.
#[must_use]
pub fn rounds(setting: &Setting<'_>, view: &RoundsView) -> Markup {
    let beside = !view.instead.is_empty()
        || !view.lacking.is_empty()
        || !view.aside.is_empty()
        || !view.shelve.is_empty();
    page(
        setting,
        Sheet::Rounds,
        "Next rounds",
        html! {
            div.headline {
                h1 { (prose(&view.heading)) }
                p { (prose(&view.summary)) }
            }
            (said(setting))
            @for again in &view.again { (take_again(again)) }
            div.columns[beside] {
                div {
                    @for (nth, one) in view.rounds.iter().enumerate() { (round(nth, one)) }
                    @if view.rounds.is_empty() { p { a href="/" { "The bench plan" } " has every machine with its card." } }
                    @else { p.how.small.soft { (prose(&view.note)) } }
                }
                @if beside {
                    div {
                        (others("Instead of the first", &view.instead))
                        (others("With an instrument that is missing", &view.lacking))
                        (aside(&view.aside, &view.shelve))
                    }
                }
            }
        },
    )
}

/// A look that many machines answered alike comes before everything else.
pub(super) fn take_again(again: &Again) -> Markup {
    parts::caution(
        svg::Mark::HalfDiamond,
        "Take this look again",
        html! {
            p { (prose(&again.sentence)) }
            p.buttons { a.button href=(cell_address(&again.check, Some(&again.tag))) { "Write it again" } }
        },
    )
}

fn round(nth: usize, round: &RoundToMake) -> Markup {
    html! {
        section.parcel {
            h2 { @if nth == 0 { "First: " } @else { "Then: " } (prose(&decapital(&round.title))) }
            p {
                strong { (duration(round.minutes)) } ", saves " strong { (round.saves) } "; that is "
                (round.saves_an_hour) " an hour."
            }
            ol.ledger {
                @if !round.set_ups.is_empty() {
                    (ledger_line(duration(round.set_up_minutes), Some("once"), html! {
                        p { span.soft { "Set up for all: " (round.set_ups.join(", ")) "." } }
                    }))
                }
                @for one in &round.looks { (look(one)) }
            }
        }
    }
}

fn look(look: &RoundLook) -> Markup {
    let first = look.tags.first().map(String::as_str);
    ledger_line(
        duration(look.minutes),
        None,
        html! {
            @if let Some(caution) = &look.caution {
                p.before { (svg::mark(svg::Mark::Triangle)) (prose(caution)) }
            }
            div.split {
                div {
                    p { strong { (prose(&look.title)) "." } " " (prose(&look.how)) " Saves " strong { (look.saves) } "." }
                    p.tags { @for one in &look.tags { (tag(one)) " " } }
                }
                @match (&look.act, first) {
                    (Some(act), Some(tag)) => a.button href=(what_if::address(tag, act)) { "See it first" span.unseen { ": " (look.title) } },
                    _ => a.button href=(cell_address(&look.check, first)) { "Write it" span.unseen { ": " (look.title) } },
                }
            }
        },
    )
}

fn others(heading: &str, rounds: &[RoundToMake]) -> Markup {
    html! {
        @if !rounds.is_empty() {
            section {
                h2 { (heading) }
                ol.ledger.close {
                    @for round in rounds {
                        (ledger_line(&round.saves, Some(&duration(round.minutes)), html! {
                            (prose(&round.title)) "."
                            @if let Some(missing) = &round.missing {
                                " " span.state.doubt { (svg::mark(svg::Mark::HalfDiamond)) "missing" } " " (prose(missing)) "."
                            } @else if !round.set_ups.is_empty() {
                                span.soft { " Set up: " (round.set_ups.join(", ")) "." }
                            }
                        }))
                    }
                }
                p.small.soft { "Saved, and the minutes it takes." }
            }
        }
    }
}

fn aside(aside: &[Aside], shelve: &[Shelve]) -> Markup {
    html! {
        @if !aside.is_empty() || !shelve.is_empty() {
            section {
                h2 { "The others" }
                ul.notes {
                    @for one in aside { li { (prose(&one.sentence)) } }
                    @for one in shelve { li { (prose(&one.sentence)) } }
                }
            }
        }
    }
}

/// The first letter small, unless the word is an abbreviation.
fn decapital(text: &str) -> String {
    let mut letters = text.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            format!("{}{}", first.to_lowercase(), letters.as_str())
        }
        _ => text.to_owned(),
    }
}
