//! The job card: one machine on one page, its state and next steps in front, its journal behind.

use std::collections::BTreeSet;

use maud::{Markup, html};
use workshop::views::{
    CheckHead, Doubt, ExplanationView, JobCard, JournalRow, NextStep, Suspect, Understood,
};

use super::{
    Refused, Supposed,
    frame::{Setting, Sheet, page, said, wrong},
    what_if,
};
use crate::{
    parts::{self, card_address, duration, ledger_line, percent, prose},
    svg,
};

/// The three forms of a job card that can be refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// A finding.
    Finding,
    /// An act.
    Act,
    /// The truth.
    Truth,
}

/// What stands in the forms of the card.
#[derive(Debug, Clone, Copy, Default)]
pub struct Entry<'a> {
    /// The check asked for; without it the one in doubt, else the best next one.
    pub check: Option<&'a str>,
    /// What is typed already.
    pub typed: &'a str,
    /// How that would be read.
    pub read: &'a [Understood],
    /// Somebody chose a check: the cursor goes to the line.
    pub asked: bool,
    /// A form that was refused.
    pub refused: Option<(Form, Refused<'a>)>,
    /// What is supposed, and what would follow.
    pub supposed: Option<Supposed<'a>>,
    /// Fields of the refused act.
    pub act: Option<&'a ActFields>,
}

/// The fields of the form of acts, as typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ActFields {
    /// `reseat`, `resolder`, `clean`, `pull`, `fit`, `swap`, `mend`.
    pub act: String,
    /// Positions or blocks.
    pub part: String,
    /// What goes in: a mark, or a chance that a new one is good, empty for a new one; or who it is exchanged with.
    pub what: String,
    /// Mark put on the chip that comes out.
    pub mark: String,
}

/// What can be done to a machine, with the word of the form.
pub const ACTS: [(&str, &str); 7] = [
    ("reseat", "Reseated"),
    ("resolder", "Resoldered"),
    ("clean", "Cleaned"),
    ("pull", "Pulled"),
    ("fit", "Fitted"),
    ("swap", "Exchanged"),
    ("mend", "Mended"),
];

/// The job card.
#[must_use]
pub fn card(setting: &Setting<'_>, view: &JobCard, entry: &Entry<'_>) -> Markup {
    page(
        setting,
        Sheet::Bench,
        &format!("{} job card", view.tag),
        html! {
            a.skip href="#line" { "To the entry line" }
            (headline(view))
            div.columns.card {
                div {
                    @for sentence in &view.left_out { (contradiction(sentence)) }
                    @if let Some(aside) = view.aside.as_ref().filter(|aside| !aside.sentence.is_empty()) {
                        (not_exact(&aside.sentence))
                    }
                    @if let Some(doubt) = &view.doubt { (take_again(view, doubt, entry)) }
                    (next_steps(view))
                    (suspects(view))
                    (what_if::section(view, entry.supposed))
                    @if !view.course.is_empty() {
                        section {
                            h2 { "The best course" }
                            p { (parts::with_chances(&view.course)) }
                            @if let Some(shelve) = &view.shelve { p { (prose(&shelve.sentence)) } }
                        }
                    }
                    (acts(view, entry))
                }
                div {
                    (finding(setting, view, entry))
                    (explanations(&view.explanations, view.others))
                    (place(view))
                }
            }
            (journal(view, setting))
        },
    )
}

fn headline(view: &JobCard) -> Markup {
    html! {
        div.headline {
            p.printed {
                "Job card · " (prose(&view.board))
                @if !view.paid.is_empty() { " · " (view.paid) " of the lot" }
                " · " (duration(view.minutes_spent)) " spent"
                @if !matches!(view.state.as_str(), "waiting" | "") { " · " (view.state) }
            }
            h1.with-tag { span.tag.big { (view.tag) } " " span { (prose(&view.heading)) } }
            @if !view.exchanged.is_empty() { p { @for one in &view.exchanged { (prose(one)) " " } } }
        }
    }
}

/// A line that does not count comes first of all.
fn contradiction(sentence: &str) -> Markup {
    html! {
        div.caution.first {
            h2 { (svg::mark(svg::Mark::HalfDiamond)) "A line does not count" }
            p { (prose(sentence)) }
        }
    }
}

fn not_exact(sentence: &str) -> Markup {
    html! {
        div.caution.first {
            h2 { (svg::mark(svg::Mark::HalfDiamond)) "Nearly exact" }
            p { (prose(sentence)) }
        }
    }
}

/// A finding that does not fit the rest is to be taken again before anything else.
fn take_again(view: &JobCard, doubt: &Doubt, entry: &Entry<'_>) -> Markup {
    let in_hand = default_check(view, entry).is_some_and(|check| check.id == doubt.check);
    html! {
        div.caution.first {
            h2 { (svg::mark(svg::Mark::HalfDiamond)) "Take this reading again" }
            p {
                (prose(&doubt.before)) " " span.hand { (prose(&doubt.text)) } " " (prose(&doubt.after))
            }
            @if let Some(band) = &doubt.band { (svg::band_large(band)) }
            @if !in_hand { p.buttons { a.button href=(with_check(&view.tag, &doubt.check)) { "Write it again" } } }
        }
    }
}

fn with_check(tag: &str, check: &str) -> String {
    format!("{}?check={}", card_address(tag), parts::segment(check))
}

fn next_steps(view: &JobCard) -> Markup {
    html! {
        section {
            h2 { "Next" }
            @if view.next.is_empty() { p { @if view.next_note.is_empty() { "No further check is worth its minutes." } @else { (prose(&view.next_note)) } } }
            ol.ledger { @for step in &view.next { (next_step(&view.tag, step)) } }
            @if !view.next_note.is_empty() && !view.next.is_empty() { p.small.soft { (prose(&view.next_note)) } }
        }
    }
}

pub(super) fn next_step(tag: &str, step: &NextStep) -> Markup {
    let saves = format!("saves {}", step.saves);
    ledger_line(
        duration(step.minutes),
        Some(&saves),
        html! {
            @if let Some(caution) = &step.caution {
                p.before { (svg::mark(svg::Mark::Triangle)) (prose(caution)) }
            }
            div.split {
                div {
                    p { strong { (prose(&step.title)) } " " (prose(&step.how)) }
                    @if let Some(later) = &step.saves_later {
                        p.small { "Saves " (later) " if it is only made once the machine is seen not to work." }
                    }
                    @if let Some(missing) = &step.missing {
                        p.small { span.state.doubt { (svg::mark(svg::Mark::HalfDiamond)) "missing" } " " (prose(missing)) }
                    }
                    @if !step.outcomes.is_empty() {
                        details.small {
                            summary { "What each answer would mean" }
                            ul { @for outcome in &step.outcomes { li { (parts::with_chances(outcome)) } } }
                            @if step.act.is_none() { p { a href=(what_if::address(tag, &step.check)) { "More of what each would change" } } }
                        }
                    }
                }
                @if let Some(act) = &step.act {
                    a.button href=(what_if::address(tag, act)) { "See it first" span.unseen { ": " (step.title) } }
                } @else {
                    a.button href=(with_check(tag, &step.check)) { "Write it" span.unseen { ": " (step.title) } }
                }
            }
        },
    )
}

fn suspects(view: &JobCard) -> Markup {
    let likelier = view
        .suspects
        .partition_point(|suspect| suspect.chance >= view.unmodelled);
    let (before, after) = view.suspects.split_at(likelier);
    html! {
        section {
            h2 { "Suspects" }
            ol.ledger {
                @for suspect in before { (suspect_line(suspect)) }
                @if view.unmodelled > 0.0 { (unknown_line(view.unmodelled)) }
                @for suspect in after { (suspect_line(suspect)) }
            }
            @if view.suspects.is_empty() && view.unmodelled <= 0.0 { p { "Nothing is suspect." } }
            @else { p.small.soft { "The open mark is the chance before the last finding. Two can be true at once, so these may add up to more than 100." } }
            @if !view.unseen.sentence.is_empty() { p.small { (prose(&view.unseen.sentence)) } }
        }
    }
}

fn unknown_line(chance: f64) -> Markup {
    ledger_line(
        percent(chance),
        None,
        html! {
            div.split {
                p { strong { "Something this profile does not know." } " A track, a via or a cable." }
                (svg::ruler(chance, None))
            }
        },
    )
}

fn suspect_line(suspect: &Suspect) -> Markup {
    let was = suspect.was.map(|was| format!("was {}", percent(was)));
    ledger_line(
        percent(suspect.chance),
        was.as_deref(),
        html! {
            div.split {
                p { strong { (prose(&suspect.title)) } @if !suspect.why.is_empty() { " " span.why { (parts::with_chances(&suspect.why)) } } }
                (svg::ruler(suspect.chance, suspect.was))
            }
        },
    )
}

/// The entry line: one line for anything, words for the check in hand, and how to get at another check.
fn finding(setting: &Setting<'_>, view: &JobCard, entry: &Entry<'_>) -> Markup {
    let check = default_check(view, entry);
    let refused = entry
        .refused
        .filter(|(form, _)| *form == Form::Finding)
        .map(|(_, refused)| refused);
    let typed = refused.map_or(entry.typed, |refused| refused.typed);
    html! {
        section.second #entry {
            h2 { "Write a finding" }
            (said(setting))
            form method="post" action=(card_address(&view.tag)) {
                div.line {
                    label for="line" {
                        @if let Some(check) = check { (prose(&asked_for(check))) ", or any line" } @else { "A finding" }
                    }
                    input #line name="line" value=(typed) autocomplete="off" autocapitalize="off" spellcheck="false"
                        enterkeyhint="send" placeholder=[check.is_none().then_some("+5v 4.98")]
                        aria-describedby=(if refused.is_some() { "wrong read" } else { "read" })
                        aria-invalid=[refused.map(|_| "true")] autofocus[entry.asked || refused.is_some() || setting.said.is_some()]
                        data-machine=(view.tag) data-check=[check.map(|check| check.id.as_str())]
                        data-numbers[check.is_none_or(|check| check.unit.is_some())];
                    @if let Some(check) = check { input type="hidden" name="check" value=(check.id); }
                    button.button.main { "Write" }
                }
                @if let Some(refused) = refused { (wrong(refused.error)) }
                div #read aria-live="polite" { (parts::understood(entry.read)) }
                @if let Some(check) = check {
                    div.choices { @for word in parts::choices(check) { button name="word" value=(word.id) { (word.title) } } }
                }
            }
            @if view.checks.len() > 1 { (other_checks(view, check)) }
        }
    }
}

/// The check a bare value belongs to.
fn default_check<'a>(view: &'a JobCard, entry: &Entry<'_>) -> Option<&'a CheckHead> {
    let doubt = view.doubt.as_ref().map(|doubt| doubt.check.as_str());
    let looks = |step: &&NextStep| step.act.is_none();
    let next = view.next.iter().find(looks).map(|step| step.check.as_str());
    [entry.check, doubt, next]
        .into_iter()
        .flatten()
        .find_map(|id| view.checks.iter().find(|check| check.id == id))
}

fn asked_for(check: &CheckHead) -> String {
    let mut text = check.title.clone();
    if !check.at.is_empty() && !text.contains(&check.at) {
        text.push_str(&format!(", {}", check.at));
    }
    if let Some(limits) = &check.limits {
        text.push_str(&format!(", {limits}"));
    }
    text
}

fn other_checks(view: &JobCard, now: Option<&CheckHead>) -> Markup {
    html! {
        details.small {
            summary { "Another check" }
            ul.many {
                @for check in view.checks.iter().filter(|check| now.is_none_or(|now| now.id != check.id)) {
                    li { a href=(with_check(&view.tag, &check.id)) { (check.title) } @if !check.at.is_empty() { span.soft { " " (prose(&check.at)) } } }
                }
            }
        }
    }
}

fn explanations(explanations: &[ExplanationView], others: f64) -> Markup {
    html! {
        @if !explanations.is_empty() {
            section {
                h2 { "What fits it all" }
                ol.ledger.close.narrow-figures {
                    @for one in explanations { (ledger_line(percent(one.share), None, prose(&one.title))) }
                    li.total { span { (percent(others)) } div { "all others together" } }
                }
            }
        }
    }
}

fn place(view: &JobCard) -> Markup {
    html! {
        @if let Some(drawing) = &view.drawing {
            section.where {
                h2 { "Where" }
                (svg::board(drawing))
                p.small.soft { "Seen from the top. The figure is the rank among the suspects." }
            }
        }
    }
}

/// What was done to the machine, and the truth once it is known.
fn acts(view: &JobCard, entry: &Entry<'_>) -> Markup {
    let empty = ActFields::default();
    let fields = entry.act.unwrap_or(&empty);
    let of = |wanted: Form| {
        entry
            .refused
            .filter(|(form, _)| *form == wanted)
            .map(|(_, refused)| refused)
    };
    let (act, truth) = (of(Form::Act), of(Form::Truth));
    html! {
        section.paperless #acts {
            h2 { "Something was done" }
            datalist #parts { @for part in parts_of(view) { option value=(part) {} } }
            datalist #truths { @for mode in &view.suspects { option value={ (mode.part) "." (mode.mode) } {} } option value="works" {} }
            form.done method="post" action={ (card_address(&view.tag)) "/act" } {
                div {
                    label for="act" { "Act" }
                    select #act name="act" {
                        @for (id, word) in ACTS { option value=(id) selected[fields.act == id] { (word) } }
                    }
                }
                div {
                    label for="part" { "Position, block or track" }
                    input #part name="part" value=(fields.part) list="parts" placeholder="U9" autocomplete="off" spellcheck="false" required
                        autofocus[act.is_some()] aria-describedby=[act.map(|_| "wrong")] aria-invalid=[act.map(|_| "true")];
                }
                div {
                    label for="what" { "Fitted what, or exchanged with" }
                    input #what name="what" value=(fields.what) placeholder="new, its mark, mule" autocomplete="off" spellcheck="false";
                }
                div {
                    label for="mark" { "Mark on what came out" }
                    input #mark name="mark" value=(fields.mark) placeholder="blue dot" autocomplete="off" spellcheck="false";
                }
                @if let Some(refused) = act { (wrong(refused.error)) }
                button.button { "Write the act" }
            }
            @if !matches!(view.state.as_str(), "shelved") { (switch(&view.tag)) }
            details open[truth.is_some()] {
                summary { "The truth was found" }
                form.done method="post" action={ (card_address(&view.tag)) "/settle" } {
                    div {
                        label for="truth" { "What it was" }
                        input #truth name="truth" value=(truth.map(|refused| refused.typed).unwrap_or_default()) list="truths"
                            placeholder="U9.dead, or works" autocomplete="off" spellcheck="false" required
                            autofocus[truth.is_some()] aria-describedby=[truth.map(|_| "wrong")] aria-invalid=[truth.map(|_| "true")];
                    }
                    @if let Some(refused) = truth { (wrong(refused.error)) }
                    button.button { "Settle" }
                    p.small.soft { "Settled is what was found, not what was replaced." }
                }
            }
            (shelf(view))
        }
    }
}

/// Switched on and off, and put away.
fn switch(tag: &str) -> Markup {
    html! {
        form.switch method="post" action={ (card_address(tag)) "/power" } {
            span.soft { "Switched" }
            button.button name="power" value="on" { "on" }
            button.button name="power" value="bench" { "on, bench supply" }
            button.button name="power" value="off" { "off" }
        }
    }
}

fn shelf(view: &JobCard) -> Markup {
    let (back, word) = match view.state.as_str() {
        "the mule" => return html! {},
        "shelved" => (true, "Take it back to the bench"),
        _ => (false, "Put it on the shelf"),
    };
    html! {
        form.switch method="post" action={ (card_address(&view.tag)) "/shelve" } {
            button.button name="shelf" value=(if back { "back" } else { "away" }) { (word) }
            span.small.soft { @if back { "Its findings are all there." } @else { "Bench plan and plan leave it out; its findings stay." } }
            a.button href={ (card_address(&view.tag)) "/strip" } { "Its chips into the drawer…" }
        }
    }
}

pub(super) fn parts_of(view: &JobCard) -> BTreeSet<&str> {
    let drawn = view
        .drawing
        .iter()
        .flat_map(|drawing| drawing.parts.iter().map(|part| part.part.as_str()));
    view.suspects
        .iter()
        .map(|suspect| suspect.part.as_str())
        .chain(drawn)
        .collect()
}

fn journal(view: &JobCard, setting: &Setting<'_>) -> Markup {
    let last = view
        .journal
        .iter()
        .rev()
        .find(|row| row.taken_back.is_none());
    html! {
        section.behind {
            h2 { "Journal" }
            @if view.journal.is_empty() { p { "Nothing is written yet." } } @else { (journal_table(&view.journal)) }
            @if let Some(last) = last {
                form.buttons method="post" action="/undo" {
                    input type="hidden" name="lines" value=(last.line);
                    input type="hidden" name="back" value=(setting.here);
                    button.button { "Take the last line back" }
                }
            }
        }
    }
}

fn journal_table(rows: &[JournalRow]) -> Markup {
    html! {
        table.journal {
            thead { tr { th scope="col" { "Time" } th scope="col" { "Who" } th scope="col" { "What was done or seen" } } }
            tbody {
                @for (n, row) in rows.iter().enumerate() {
                    @if n == 0 || rows[n - 1].date != row.date {
                        tr.day { th colspan="3" scope="rowgroup" { (row.date) } }
                    }
                    (journal_row(row))
                }
            }
        }
    }
}

fn journal_row(row: &JournalRow) -> Markup {
    let text = html! {
        @if row.act { strong { (prose(&row.text)) } } @else { (prose(&row.text)) }
        @if !row.entered.is_empty() { " " span.hand { (prose(&row.entered)) } }
        @if !row.after.is_empty() { " " (prose(&row.after)) }
    };
    html! {
        tr.epoch[row.act && row.taken_back.is_none()] {
            td { (row.time) }
            td { (row.who) }
            td {
                @match &row.taken_back {
                    Some(how) => { del { (text) } " " span.soft { (super::frame::sentence(how)) } },
                    None => (text),
                }
            }
        }
    }
}
