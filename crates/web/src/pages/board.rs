//! What is known of a board: leafed through, explained, compared, and added to from lists.

use maud::{Markup, html};
use workshop::{
    BoardView, Error,
    views::{BoardChoice, Section, Told},
};

use super::frame::{Setting, Sheet, page, wrong};
use crate::{
    parts::{ledger_line, prose, segment},
    svg,
};

/// Address of a board's page.
pub(crate) fn board_address(id: &str) -> String {
    format!("/boards/{}", segment(id))
}

fn about_address(id: &str, name: &str) -> String {
    format!("{}/about?name={}", board_address(id), segment(name))
}

/// A list that was pasted: what it is, and what was typed.
#[derive(Debug, Clone, Copy)]
pub struct Pasted<'a> {
    /// Parts or nets.
    pub kind: ListKind,
    /// The list.
    pub text: &'a str,
    /// How it was understood, or what is wrong with it.
    pub found: Result<&'a Told, &'a Error>,
    /// It went into the board's file.
    pub taken: bool,
}

/// Lists that a board takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ListKind {
    /// A parts list.
    Parts,
    /// Nets.
    Nets,
    /// A new revision of the file.
    Revision,
}

impl ListKind {
    /// The last word of its address.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            ListKind::Parts => "parts",
            ListKind::Nets => "nets",
            ListKind::Revision => "revision",
        }
    }
}

/// All boards.
#[must_use]
pub fn boards(setting: &Setting<'_>, boards: &[BoardChoice]) -> Markup {
    let (starters, own): (Vec<_>, Vec<_>) = boards.iter().partition(|board| board.starter);
    page(
        setting,
        Sheet::Boards,
        "Boards",
        html! {
            div.headline {
                h1 { "What is known of each board." }
                p { "A board is a file in the folder boards; a starter comes with the program." }
                div.buttons { a.button href="/new-board" { "Begin a board" } }
            }
            @for (title, some) in [("Of your own", own), ("Starters", starters)] {
                @if !some.is_empty() {
                    section {
                        h2 { (title) }
                        ul.many { @for board in some {
                            li { a href=(board_address(&board.id)) { (board.title) } " " span.soft { (board.id) } }
                        } }
                    }
                }
            }
        },
    )
}

/// One board.
#[must_use]
pub fn board(setting: &Setting<'_>, view: &BoardView) -> Markup {
    page(
        setting,
        Sheet::Boards,
        &view.title,
        html! {
            div.headline {
                h1 { (view.title) "." }
                p { (view.checked.parts) " parts, " (view.checked.functions) " functions, " (view.checked.checks) " checks. Choose one to see what it needs, what it spoils and who tests it." }
            }
            div.columns {
                div {
                    @for (title, parts) in &view.blocks {
                        section {
                            h2 { (title) }
                            ol.ledger.close { @for (reference, title) in parts {
                                (ledger_line(reference, None, html! { a href=(about_address(&view.id, reference)) { (prose(title)) } }))
                            } }
                        }
                    }
                }
                div {
                    (smells(view))
                    (names(view, "Checks", &view.checks))
                    (names(view, "Functions", &view.functions))
                    (compare(view))
                    @if !view.starter {
                        (super::new_board::split_form(view, "", ""))
                        (list_form(&view.id, ListKind::Parts, ""))
                        (list_form(&view.id, ListKind::Nets, ""))
                        (list_form(&view.id, ListKind::Revision, ""))
                    }
                }
            }
        },
    )
}

fn smells(view: &BoardView) -> Markup {
    html! {
        section {
            h2 { "How it holds" }
            @if view.checked.smells.is_empty() { p { "Nothing smells." } }
            @for smell in &view.checked.smells {
                p { span.state.doubt { (svg::mark(svg::Mark::HalfDiamond)) "doubtful" } " " (prose(&smell.what)) ": " (prose(&smell.hint)) "." }
            }
            @if !view.checked.alike.is_empty() {
                details {
                    summary { "Told apart by no check" }
                    ul { @for alike in &view.checked.alike { li { (prose(alike)) } } }
                }
            }
            @if view.nets { p { a href=(format!("{}/net", board_address(&view.id))) { "Nets and buses" } } }
        }
    }
}

fn names(view: &BoardView, heading: &str, names: &[(String, String)]) -> Markup {
    html! {
        section {
            h2 { (heading) }
            details {
                summary { (names.len()) " of them" }
                ul { @for (id, title) in names {
                    li { a href=(about_address(&view.id, id)) { (prose(title)) } }
                } }
            }
        }
    }
}

fn compare(view: &BoardView) -> Markup {
    html! {
        @if !view.others.is_empty() {
            section {
                h2 { "Compare" }
                form method="get" action=(format!("{}/compare", board_address(&view.id))) {
                    label for="with" { "With" }
                    select #with name="with" { @for other in &view.others { option value=(other.id) { (other.title) } } }
                    div.buttons { button.button { "Compare" } }
                }
            }
        }
    }
}

/// The form for a pasted list.
fn list_form(id: &str, kind: ListKind, text: &str) -> Markup {
    let (heading, label, example) = match kind {
        ListKind::Parts => (
            "Take a parts list in",
            "A table or typed lines",
            "U22-U25, U30: SN74LS166N",
        ),
        ListKind::Nets => (
            "Take nets in",
            "Test records, or a net and its pins on each line",
            "CLK: U1.6 U12.3",
        ),
        ListKind::Revision => ("Take a new revision", "The new file as a whole", "[board]"),
    };
    let field = format!("list-{}", kind.word());
    html! {
        section {
            h2 { (heading) }
            form method="post" action=(format!("{}/{}", board_address(id), kind.word())) {
                label for=(field) { (label) }
                textarea id=(field) name="text" rows="4" placeholder=(example) spellcheck="false" { (text) }
                p.small.soft { "It is shown first; nothing is written before you say so." }
                div.buttons { button.button { "Show what it means" } }
            }
        }
    }
}

/// What a pasted list means, with the button that takes it.
#[must_use]
pub fn pasted(setting: &Setting<'_>, id: &str, list: &Pasted<'_>) -> Markup {
    page(
        setting,
        Sheet::Boards,
        "A list",
        html! {
            @match list.found {
                Ok(told) => {
                    (heading(told))
                    @if list.taken {
                        div.buttons { a.button href=(board_address(id)) { "To the board" } }
                    } @else {
                        form method="post" action=(format!("{}/{}", board_address(id), list.kind.word())) {
                            input type="hidden" name="text" value=(list.text);
                            div.buttons {
                                button.button.main name="take" value="yes" { "Take it" }
                                a.button href=(board_address(id)) { "Leave it" }
                            }
                        }
                    }
                    (sections(&told.sections))
                }
                Err(error) => {
                    div.headline { h1 { "It cannot be taken as it is." } }
                    (wrong(error))
                    (list_form(id, list.kind, list.text))
                }
            }
        },
    )
}

/// Something told of a board.
#[must_use]
pub fn told(setting: &Setting<'_>, id: &str, told: &Told) -> Markup {
    page(
        setting,
        Sheet::Boards,
        "About a board",
        html! {
            (heading(told))
            (sections(&told.sections))
            div.buttons { a.button href=(board_address(id)) { "To the board" } }
        },
    )
}

fn heading(told: &Told) -> Markup {
    html! {
        div.headline {
            h1 { (prose(&told.heading)) }
            @for sentence in &told.summary { p { (prose(sentence)) } }
        }
    }
}

fn sections(sections: &[Section]) -> Markup {
    html! {
        @for section in sections {
            section {
                h2 { (prose(&section.title)) }
                ol.ledger.close.told { @for line in &section.lines {
                    (ledger_line(prose(&line.figure), None, html! {
                        p { (prose(&line.sentence)) }
                        @if let Some(under) = &line.under { p.small.soft { (prose(under)) } }
                    }))
                } }
            }
        }
    }
}
