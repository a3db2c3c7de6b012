//! A board begun from the answers to a few questions, and a block taken to pieces.

use std::collections::BTreeMap;

use maud::{Markup, html};
use workshop::{BoardQuestion, BoardView, BoardWritten, Error};

use super::{
    board::board_address,
    frame::{Setting, Sheet, page, wrong},
};
use crate::parts::prose;

/// What was typed and chosen, and what came of it.
#[derive(Debug, Clone, Copy)]
pub struct NewBoardForm<'a> {
    /// The board's name.
    pub title: &'a str,
    /// Answers, by question.
    pub answers: &'a BTreeMap<String, String>,
    /// What would be written, or what is wrong.
    pub found: Option<Result<&'a BoardWritten, &'a Error>>,
}

/// The questions, and what the answers would write.
#[must_use]
pub fn new_board(
    setting: &Setting<'_>,
    questions: &[BoardQuestion],
    form: NewBoardForm<'_>,
) -> Markup {
    let previewed = form.found.and_then(Result::ok);
    page(
        setting,
        Sheet::Boards,
        "A new board",
        html! {
            div.headline {
                @match previewed {
                    Some(view) => { h1 { (prose(&view.heading)) } @for said in &view.said { p { (prose(said)) } } }
                    None => {
                        h1 { "Begin a board: its name and a few answers." }
                        p { "No schematic is needed. What you leave is taken as is usual for such a board; a block is taken to pieces later, when its chips are known." }
                    }
                }
            }
            @if let Some(Err(error)) = form.found { (wrong(error)) }
            form method="post" action="/new-board" {
                label for="title" { "What it is called" }
                input #title name="title" value=(form.title) placeholder="Ostrel 8" required;
                div.pair.questions { @for question in questions { (asked(question, form.answers)) } }
                p.small.soft { "It is shown first; nothing is written before you say so." }
                div.buttons {
                    @if previewed.is_some() { button.button.main name="take" value="yes" { "Write it" } }
                    button.button name="look" value="yes" { "Show what it would be" }
                }
            }
            @if let Some(view) = previewed { (text(view)) }
        },
    )
}

fn asked(question: &BoardQuestion, answers: &BTreeMap<String, String>) -> Markup {
    let field = format!("answer-{}", question.id);
    let chosen = answers.get(&question.id);
    html! {
        div {
            label for=(field) { strong { (question.ask) } }
            p.small.soft { (question.look) }
            select id=(field) name=(question.id) {
                option value="" { "As usual" }
                @for choice in &question.choices {
                    option value=(choice.id) selected[chosen == Some(&choice.id)] { (choice.title) }
                }
            }
            details.small {
                summary { "What each looks like" }
                ul { @for choice in &question.choices { li { (choice.title) ": " (prose(&choice.example)) } } }
            }
        }
    }
}

fn text(view: &BoardWritten) -> Markup {
    html! {
        section {
            h2 { "The file " (view.file) }
            details { summary { "As it would be written" } pre { (view.text) } }
        }
    }
}

/// The form that takes a block to pieces.
pub(super) fn split_form(view: &BoardView, block: &str, pieces: &str) -> Markup {
    html! {
        section {
            h2 { "Take a block to pieces" }
            form method="post" action=(format!("{}/split", board_address(&view.id))) {
                (split_fields(block, pieces))
                p.small.soft { "It is shown first. Findings keep their meaning." }
                div.buttons { button.button { "Show what would change" } }
            }
        }
    }
}

fn split_fields(block: &str, pieces: &str) -> Markup {
    html! {
        label for="block" { "The block" }
        input #block name="block" value=(block) placeholder="video" required;
        label for="pieces" { "Its chips" }
        textarea #pieces name="pieces" rows="3" placeholder="U21 6845 socket; U22-U25 74ls166" spellcheck="false" { (pieces) }
    }
}

/// What taking a block to pieces would change, with the button that does it.
#[must_use]
pub fn split(
    setting: &Setting<'_>,
    id: &str,
    (block, pieces): (&str, &str),
    found: Result<&BoardWritten, &Error>,
) -> Markup {
    page(
        setting,
        Sheet::Boards,
        "A block in pieces",
        html! {
            @match found {
                Ok(view) => {
                    div.headline { h1 { (prose(&view.heading)) } @for said in &view.said { p { (prose(said)) } } }
                    @if !view.written {
                        form method="post" action=(format!("{}/split", board_address(id))) {
                            input type="hidden" name="block" value=(block);
                            input type="hidden" name="pieces" value=(pieces);
                            div.buttons {
                                button.button.main name="take" value="yes" { "Take it to pieces" }
                                a.button href=(board_address(id)) { "Leave it" }
                            }
                        }
                        (text(view))
                    } @else {
                        div.buttons { a.button href=(board_address(id)) { "To the board" } }
                    }
                }
                Err(error) => {
                    div.headline { h1 { "It cannot be taken to pieces so." } }
                    (wrong(error))
                    form method="post" action=(format!("{}/split", board_address(id))) {
                        (split_fields(block, pieces))
                        div.buttons { button.button { "Show what would change" } a.button href=(board_address(id)) { "To the board" } }
                    }
                }
            }
        },
    )
}
