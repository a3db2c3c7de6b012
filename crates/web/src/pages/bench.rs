//! The bench plan: rows are machines, cells are the findings of the round, one line of money at the foot.

use maud::{Markup, Render, html};
use workshop::views::{
    Bench, BenchRow, Cell, CellState, CheckHead, MoneyLine, Progress, Understood,
};

use super::{
    Refused,
    frame::{Setting, Sheet, page, said, said_block, take_back_form, wrong},
    rounds::take_again,
};
use crate::{
    parts::{self, cell_address, count, duration, prose, tag},
    svg,
};

/// The cell that is open, and what stands in it.
#[derive(Debug, Clone, Copy, Default)]
pub struct Open<'a> {
    /// The machine asked for; without it the first that is still to take.
    pub machine: Option<&'a str>,
    /// Somebody opened this cell: the cursor goes there.
    pub asked: bool,
    /// A line that was refused.
    pub refused: Option<Refused<'a>>,
}

/// The bench plan.
#[must_use]
pub fn bench(setting: &Setting<'_>, view: &Bench, open: &Open<'_>) -> Markup {
    let round = Round::new(setting, view, open);
    let said_in_table = setting
        .said
        .and_then(|said| said.tag.as_deref())
        .is_some_and(|tag| view.rows.iter().any(|row| row.tag == tag));
    page(
        setting,
        Sheet::Bench,
        &view.heading,
        html! {
            @if round.open.is_some() { a.skip href="#value" { "To the open cell" } }
            div.headline {
                h1 { (prose(&view.heading)) }
                p { (prose(&view.summary)) }
                (progress(&view.progress))
            }
            @if !said_in_table { (said(setting)) }
            @for again in &view.again { (take_again(again)) }
            (round.checks_line())
            @if let Some(check) = round.check { (how(check)) }
            form.round-form method="post" action="/round" { (round.table()) }
            @if let Some(said) = setting.said.filter(|_| said_in_table) { (take_back_form(said, setting.here)) }
            @if round.open.is_some() {
                p.small.soft.roomy.paste { "A column copied from elsewhere can be pasted into the open cell: one value a machine, downwards." }
            }
            (shelved(&view.shelved))
            (money_line(&view.money))
        },
    )
}

/// Machines put away, each a link to its card.
fn shelved(tags: &[String]) -> Markup {
    html! {
        @if !tags.is_empty() {
            p.small.shelved { span.soft { "On the shelf: " } @for one in tags { (tag(one)) " " } }
        }
    }
}

fn progress(progress: &Progress) -> Markup {
    let Progress {
        taken,
        skipped,
        to_take,
        minutes,
    } = *progress;
    let all = taken + skipped + to_take;
    html! {
        p.small {
            strong { (taken) } " of " (all) " findings taken"
            @if skipped > 0 { ", " strong { (skipped) } " skipped" }
            @if to_take > 0 { ", " strong { (to_take) } " to take: about " strong { (duration(minutes)) } }
            "."
        }
    }
}

/// The open check: caution first, then how it is done.
fn how(check: &CheckHead) -> Markup {
    html! {
        @if let Some(text) = &check.caution {
            (parts::caution(svg::Mark::Triangle, "Before this check", html! { p { (prose(text)) } }))
        }
        @if !check.how.is_empty() { p.how { strong { (check.title) ": " } (prose(&check.how)) } }
    }
}

/// How a typed value is read, for the open cell; nothing typed, nothing said.
#[must_use]
pub fn reading(rows: &[Understood]) -> Markup {
    parts::understood(rows)
}

/// The sentence of a value that cannot be read, for the open cell.
#[must_use]
pub fn unread(error: &workshop::Error) -> Markup {
    html! { p.small.soft { (super::frame::sentence(error.message.lines().next().unwrap_or_default())) } }
}

struct Round<'a> {
    setting: &'a Setting<'a>,
    view: &'a Bench,
    now: Option<usize>,
    check: Option<&'a CheckHead>,
    open: Option<usize>,
    asked: &'a Open<'a>,
}

impl<'a> Round<'a> {
    fn new(setting: &'a Setting<'a>, view: &'a Bench, asked: &'a Open<'a>) -> Round<'a> {
        let now = view.now.filter(|now| *now < view.checks.len());
        let open = now.and_then(|now| match asked.machine {
            Some(tag) => view.rows.iter().position(|row| row.tag == tag),
            None => next_to_take(view, now, 0),
        });
        Round {
            setting,
            view,
            now,
            check: now.map(|now| &view.checks[now]),
            open,
            asked,
        }
    }

    /// On a phone: which check this is, and the ones before and after.
    fn checks_line(&self) -> Markup {
        let checks = &self.view.checks;
        let link = |n: usize| html! { a.button href=(cell_address(&checks[n].id, None)) { (checks[n].title) } };
        html! {
            @if let Some(now) = self.now {
                nav.turn aria-label="Checks of this round" {
                    p { strong { (checks[now].title) } ", check " (now + 1) " of " (checks.len()) }
                    @if now > 0 { (link(now - 1)) }
                    @if now + 1 < checks.len() { (link(now + 1)) }
                }
            }
        }
    }

    fn table(&self) -> Markup {
        html! {
            table.round {
                caption.unseen { "Findings of this round, a row a machine" }
                thead {
                    tr {
                        th scope="col" { "Machine" }
                        @for (n, check) in self.view.checks.iter().enumerate() { (self.column_head(n, check)) }
                        th.says scope="col" { "What it says so far" }
                    }
                }
                tbody { @for (n, row) in self.view.rows.iter().enumerate() { (self.row(n, row)) } }
            }
        }
    }

    fn column_head(&self, n: usize, check: &CheckHead) -> Markup {
        html! {
            th.now[self.now == Some(n)] scope="col" {
                a href=(cell_address(&check.id, None)) { (check.title) }
                @if !check.at.is_empty() { span { (prose(&check.at)) } }
                @if let Some(limits) = &check.limits { span.limit { (prose(limits)) } }
            }
        }
    }

    fn row(&self, n: usize, row: &BenchRow) -> Markup {
        let open = self.open == Some(n);
        let said = self
            .setting
            .said
            .filter(|said| said.tag.as_deref() == Some(row.tag.as_str()));
        let across = self.view.checks.len() + 2;
        html! {
            tr.open[open] id=[open.then_some("open")] {
                th scope="row" { (tag(&row.tag)) }
                @for column in 0..self.view.checks.len() { (self.cell(row, column, open)) }
                td.says { (says(row)) @if let Some(shelve) = &row.shelve { p.soft { (prose(&shelve.brief)) } } }
            }
            @if open { tr.more { td colspan=(across) { (self.under_open(n)) } } }
            @if let Some(said) = said {
                tr.more.told { td colspan=(across) { (said_block(said)) } }
            }
        }
    }

    fn cell(&self, row: &BenchRow, column: usize, open: bool) -> Markup {
        let empty = Cell {
            state: CellState::None,
            text: String::new(),
            band: None,
        };
        let cell = row.cells.get(column).unwrap_or(&empty);
        let now = self.now == Some(column);
        if now && open {
            return html! { td.now { (self.entry(row, &self.view.checks[column])) } };
        }
        let links = cell.state != CellState::None && (now || cell.state == CellState::ToTake);
        let check = &self.view.checks[column];
        html! {
            td.now[now] {
                @if links {
                    a.cell href=(cell_address(&check.id, Some(&row.tag))) {
                        (content(cell)) span.unseen { ", " (check.title) " of " (row.tag) }
                    }
                } @else { (content(cell)) }
            }
        }
    }

    fn entry(&self, row: &BenchRow, check: &CheckHead) -> Markup {
        let typed = self
            .asked
            .refused
            .map(|refused| refused.typed)
            .unwrap_or_default();
        let wrong = self.asked.refused.is_some();
        html! {
            div.entry {
                label for="value" { (check.title) span.unseen { " of " (row.tag) } @if let Some(unit) = &check.unit { ", " (unit) } }
                input #value name="value" value=(typed) inputmode=(if check.unit.is_some() { "decimal" } else { "text" })
                    autocomplete="off" autocapitalize="off" spellcheck="false" enterkeyhint="next"
                    aria-describedby=(if wrong { "wrong read" } else { "read" }) aria-invalid=[wrong.then_some("true")]
                    autofocus[self.asked.asked || wrong] data-machine=(row.tag) data-check=(check.id) data-numbers[check.unit.is_some()];
                input type="hidden" name="check" value=(check.id);
                input type="hidden" name="machine" value=(row.tag);
            }
        }
    }

    /// Under the open row: how it was read, then the words that need no typing.
    fn under_open(&self, n: usize) -> Markup {
        let Some((now, check)) = self.now.zip(self.check) else {
            return html! {};
        };
        let next = next_after(self.view, now, n).map(|next| self.view.rows[next].tag.as_str());
        html! {
            div.under {
                div.reading {
                    @if let Some(refused) = self.asked.refused { (wrong(refused.error)) }
                    div #read aria-live="polite" {
                        p.small.soft.roomy {
                            @match next {
                                Some(next) => { "Enter writes it and goes on to " (prose(next)) "." },
                                None => "This is the last one of this check.",
                            }
                        }
                    }
                }
                input type="hidden" name="next" value=[next];
                div.choices {
                    button.main { "Write" }
                    @for word in parts::choices(check) { button name="word" value=(word.id) { (word.title) } }
                }
            }
        }
    }
}

fn content(cell: &Cell) -> Markup {
    html! { (parts::state(cell)) @if let Some(band) = &cell.band { (svg::band_small(band)) } }
}

fn says(row: &BenchRow) -> impl Render {
    let text = parts::with_chances(&row.says);
    let state = (!matches!(row.state.as_str(), "waiting" | "on the bench")
        && !row.says.to_lowercase().contains(&row.state))
    .then_some(row.state.as_str());
    html! { @if let Some(state) = state { span.soft { (capital(state)) ". " } } (text) }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

fn to_take(row: &BenchRow, column: usize) -> bool {
    row.cells
        .get(column)
        .is_some_and(|cell| cell.state == CellState::ToTake)
}

/// The first row from here on whose cell of this check is still to take.
fn next_to_take(view: &Bench, column: usize, from: usize) -> Option<usize> {
    (from..view.rows.len()).find(|n| to_take(&view.rows[*n], column))
}

/// The row to go on to: the next below that still lacks this check, then from the top.
fn next_after(view: &Bench, column: usize, row: usize) -> Option<usize> {
    let below = next_to_take(view, column, row + 1);
    below
        .or_else(|| next_to_take(view, column, 0))
        .filter(|next| *next != row)
}

/// The pile in one sentence of money.
fn money_line(money: &MoneyLine) -> Markup {
    let MoneyLine {
        paid,
        spends,
        parcels,
        minutes,
        working,
        machines,
        worth,
    } = money;
    html! {
        div.purse {
            p {
                strong { (paid) } " paid for what came in. The plan spends " strong { (spends) } " more"
                @if *parcels > 0 { " in " (count(*parcels)) @if *parcels == 1 { " parcel" } @else { " parcels" } }
                " and " strong { (duration(*minutes)) } "; then " strong { (format!("{working:.2}")) } " of " (machines)
                " are expected to work, worth " strong { (worth) } "."
            }
            a.button href="/plan" { "Open the plan" }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    #[test]
    fn the_next_machine_lies_below_and_then_above() {
        let view = sample::bench_view();
        let tag = |row: usize| view.rows[row].tag.as_str();
        let cases = [
            ("T-05", Some("T-07")),
            ("T-08", Some("T-09")),
            ("T-09", Some("T-05")),
        ];
        for (after, next) in cases {
            let row = view
                .rows
                .iter()
                .position(|row| row.tag == after)
                .expect("a row");
            assert_eq!(next_after(&view, 5, row).map(tag), next, "after {after}");
        }
        assert_eq!(next_after(&view, 1, 0), None, "all sounds are taken");
    }
}
