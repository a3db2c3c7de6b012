//! What stands round every sheet: the links, the hour, the choice of light.

use maud::{DOCTYPE, Markup, Render, html};
use workshop::{Error, views::Frame};

use crate::{
    assets,
    parts::{self, prose},
    said::Said,
};

/// Which sheet is open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sheet {
    /// Bench plan and job cards.
    Bench,
    /// Next rounds.
    Rounds,
    /// Plan.
    Plan,
    /// Parcel ledger.
    Parcels,
    /// Take in.
    TakeIn,
    /// What is known of boards.
    Boards,
    /// A page that does not exist.
    Missing,
}

/// Light or dark, where the person chose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Theme {
    /// As the system has it.
    #[default]
    System,
    /// Light.
    Light,
    /// Dark.
    Dark,
}

impl Theme {
    /// All choices.
    pub const ALL: [Theme; 3] = [Theme::System, Theme::Light, Theme::Dark];

    /// The word of the cookie and of `data-theme`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Theme::System => "system",
            Theme::Light => "light",
            Theme::Dark => "dark",
        }
    }

    /// The theme of this word; the system's for any other.
    #[must_use]
    pub fn from_word(word: &str) -> Theme {
        Theme::ALL
            .into_iter()
            .find(|theme| theme.word() == word)
            .unwrap_or_default()
    }

    fn chosen(self) -> Option<&'static str> {
        (self != Theme::System).then(|| self.word())
    }
}

/// What a page needs to know besides its view.
#[derive(Debug, Clone)]
pub struct Setting<'a> {
    /// Workshop, hour and person.
    pub frame: &'a Frame,
    /// Light or dark.
    pub theme: Theme,
    /// What the last write had to say.
    pub said: Option<&'a Said>,
    /// Address of this page, for forms that come back to it.
    pub here: &'a str,
}

const LINKS: [(Sheet, &str, &str); 5] = [
    (Sheet::Bench, "/", "Bench"),
    (Sheet::Rounds, "/rounds", "Rounds"),
    (Sheet::Plan, "/plan", "Plan"),
    (Sheet::Parcels, "/parcels", "Parcels"),
    (Sheet::TakeIn, "/take-in", "Take in"),
];

/// A whole page.
pub(crate) fn page(setting: &Setting<'_>, sheet: Sheet, title: &str, body: impl Render) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" data-theme=[setting.theme.chosen()] {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width,initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · Boardwright" }
                link rel="icon" href=(assets::icon()) type="image/svg+xml";
                @for font in assets::fonts() {
                    link rel="preload" href=(font) as="font" type="font/woff2" crossorigin;
                }
                link rel="stylesheet" href=(assets::style());
                script src=(assets::script()) defer {}
            }
            body {
                a.skip href="#main" { "To the sheet" }
                (header(setting, sheet))
                main.sheet #main tabindex="-1" { (body) }
                (footer(setting))
            }
        }
    }
}

fn header(setting: &Setting<'_>, sheet: Sheet) -> Markup {
    let Frame {
        workshop,
        date,
        time,
        who,
        ..
    } = setting.frame;
    let before: Vec<&str> = [workshop, date]
        .into_iter()
        .map(String::as_str)
        .filter(|text| !text.is_empty())
        .collect();
    let now: Vec<&str> = [time, who]
        .into_iter()
        .map(String::as_str)
        .filter(|text| !text.is_empty())
        .collect();
    html! {
        header.top {
            a.brand href="/" { "Boardwright" }
            nav.links aria-label="Sheets" {
                @for (which, address, word) in LINKS {
                    a href=(address) aria-current=[(which == sheet).then_some("page")] { (word) }
                }
            }
            p.who {
                span.roomy { (before.join(" · ")) @if !before.is_empty() && !now.is_empty() { ", " } }
                (now.join(" · "))
            }
        }
    }
}

fn footer(setting: &Setting<'_>) -> Markup {
    html! {
        footer.below {
            p { a href="/boards" { "Boards" } ": what is known of each. Violet on a dotted line: entered by hand. Black: worked out. Grey: the printed form." }
            form.light method="post" action="/theme" {
                input type="hidden" name="back" value=(setting.here);
                span { "Light:" }
                @for theme in Theme::ALL {
                    button name="theme" value=(theme.word()) aria-pressed=(theme == setting.theme) {
                        @match theme { Theme::System => "as the system", _ => (theme.word()) }
                    }
                }
            }
        }
    }
}

/// What the last write had to say, with the way back.
pub(crate) fn said(setting: &Setting<'_>) -> Markup {
    html! { @if let Some(said) = setting.said { (said_block(said)) (take_back_form(said, setting.here)) } }
}

/// The sentences and a button that belongs to the form of [`take_back_form`], wherever that stands.
pub(crate) fn said_block(said: &Said) -> Markup {
    html! {
        div.said role="status" {
            div {
                @for sentence in &said.sentences { p { (prose(sentence)) } }
                @if !said.changed.is_empty() { p { strong { (parts::with_chances(&said.changed)) } } }
            }
            @if !said.lines.is_empty() { button.plain form="take-back" { "Take it back" } }
        }
    }
}

/// The form behind the button: apart, for a form cannot stand within another.
pub(crate) fn take_back_form(said: &Said, here: &str) -> Markup {
    html! {
        form #take-back method="post" action="/undo" {
            input type="hidden" name="lines" value=(joined(&said.lines));
            input type="hidden" name="back" value=(here);
        }
    }
}

/// Journal line numbers as one form field.
pub(crate) fn joined(lines: &[i64]) -> String {
    lines
        .iter()
        .map(i64::to_string)
        .collect::<Vec<_>>()
        .join(",")
}

/// What is wrong with a line, at the line: the sentence, then what to do.
pub(crate) fn wrong(error: &Error) -> Markup {
    html! {
        div.wrong #wrong role="alert" {
            @for line in error.message.lines() {
                p { (crate::svg::mark(crate::svg::Mark::Cross)) (sentence(line)) }
            }
            @if let Some(hint) = &error.hint { p.hint { (sentence(hint)) } }
        }
    }
}

/// A message as a sentence of a page: capital first, a dot last, values in back-quotes as written by hand.
pub(crate) fn sentence(message: &str) -> Markup {
    let message = message.trim();
    let mut letters = message.chars();
    let head: String = letters
        .next()
        .map(|first| first.to_uppercase().collect())
        .unwrap_or_default();
    let whole = format!("{head}{}", letters.as_str());
    let dot = if whole.ends_with(['.', ':', '?', ')']) || whole.is_empty() {
        ""
    } else {
        "."
    };
    html! {
        @for (n, piece) in whole.split('`').enumerate() {
            @if n % 2 == 1 { span.hand { (piece) } } @else { (prose(piece)) }
        }
        (dot)
    }
}
