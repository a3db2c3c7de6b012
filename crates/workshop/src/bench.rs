//! The bench plan: one look at a time over all machines.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::{Check, Profile, Target, Tells};
use diagnosis::Economy;
use journal::{Line, Shown, Truth};

use crate::{
    Error, ErrorKind, Workshop,
    card::standing,
    economy::{economy, missing},
    entry::Reader,
    lead::{absent_words, is_looked_at, lead, standing_words},
    pile::Machine,
    reckon::{Boards, Reckoned},
    repeats::again,
    say,
    shelving::Fresh,
    views::{Bench, BenchRow, Cell, CellState, CheckHead, MoneyLine, Progress},
    words::{capital, coins, counted, percent, sentence, small},
    workshop::{Inner, Result, State},
};

/// Columns of a round.
const COLUMNS: usize = 6;

impl Workshop {
    /// The bench plan; the first check with cells to take is open.
    ///
    /// # Errors
    /// If a board is not there or the findings contradict each other.
    pub fn bench(&self) -> Result<Bench> {
        let mut inner = self.fresh()?;
        bench(&mut inner, None)
    }

    /// The bench plan with this check open.
    ///
    /// # Errors
    /// If no machine's board has such a check.
    pub fn bench_on(&self, check: &str) -> Result<Bench> {
        let mut inner = self.fresh()?;
        bench(&mut inner, Some(check))
    }
}

/// The round that is on.
struct Round {
    number: usize,
    /// Check ids, in the order of the columns.
    checks: Vec<String>,
    /// How many of them have been begun.
    begun: usize,
}

impl Round {
    /// Makes room for a check: a column not begun gives way to it; if all are begun, the next round opens with it.
    fn open(&mut self, id: &str, state: &State, boards: &Boards) {
        if self.begun >= COLUMNS {
            let done = std::mem::take(&mut self.checks);
            let looks = first_looks(state, boards)
                .into_iter()
                .filter(|look| !done.contains(look) && look != id);
            self.checks = std::iter::once(id.to_string())
                .chain(looks)
                .take(COLUMNS)
                .collect();
            self.number += 1;
            self.begun = 0;
        } else {
            self.checks.truncate(COLUMNS - 1);
            self.checks
                .insert(self.begun.min(self.checks.len()), id.to_string());
        }
    }
}

fn bench(inner: &mut Inner, open: Option<&str>) -> Result<Bench> {
    let state = inner.state();
    let boards = state.boards()?;
    let mut round = round(&state, &boards);
    let open = open
        .map(|typed| find_check(&state, &boards, typed))
        .transpose()?;
    if let Some(id) = open.as_ref().filter(|id| !round.checks.contains(id)) {
        round.open(id, &state, &boards);
    }
    let cells: Vec<Vec<Cell>> = state
        .pile
        .on_bench()
        .map(|machine| row_cells(&state, &boards, machine, &round))
        .collect();
    let now = match &open {
        Some(id) => round.checks.iter().position(|check| check == id),
        None => {
            let to_take = |column: &usize| {
                cells
                    .iter()
                    .any(|row| row[*column].state == CellState::ToTake)
            };
            (0..round.checks.len()).find(to_take)
        }
    };
    let checks: Vec<CheckHead> = round
        .checks
        .iter()
        .filter_map(|id| boards.values().find_map(|board| board.check(id)))
        .map(say::head)
        .collect();
    let progress = progress(&boards, &round, &cells);
    let again = again(&state, &boards);
    let rows = rows(inner, &state, &boards, cells)?;
    let money = money(inner, &state, &rows)?;
    Ok(Bench {
        heading: format!("Bench plan, round {}", round.number),
        summary: summary(&state, &checks, now),
        now,
        checks,
        rows,
        again,
        shelved: shelved(&state),
        progress,
        money,
    })
}

/// Tags of the machines put away.
pub(crate) fn shelved(state: &State) -> Vec<String> {
    let away = state.pile.machines.iter().filter(|machine| machine.shelved);
    away.map(|machine| machine.tag.clone()).collect()
}

fn summary(state: &State, checks: &[CheckHead], now: Option<usize>) -> String {
    let count = state.pile.on_bench().count();
    let machines = capital(&counted(count, "machine", "machines"));
    let Some(head) = now.and_then(|index| checks.get(index)) else {
        return match (count, state.pile.machines.len()) {
            (0, 0) => "Nothing is taken in yet.".to_string(),
            (0, _) => "No machine is on the bench.".to_string(),
            _ => format!("{machines}; everything in this round is taken."),
        };
    };
    let at = if head.at.is_empty() {
        String::new()
    } else {
        format!(" at {}", head.at)
    };
    let limits = head
        .limits
        .as_ref()
        .map(|limits| format!(", {limits}"))
        .unwrap_or_default();
    format!("{machines}. Now: {}{at}{limits}.", small(&head.title))
}

/// The checks made in rounds so far fill the columns six at a time; the profile's first looks fill what is left.
fn round(state: &State, boards: &Boards) -> Round {
    let mut used: Vec<String> = Vec::new();
    for id in round_checks(state) {
        if !used.contains(&id) && boards.values().any(|board| board.check(&id).is_some()) {
            used.push(id);
        }
    }
    let number = used.len().saturating_sub(1) / COLUMNS;
    let mut checks = used.split_off(number * COLUMNS);
    let begun = checks.len();
    for id in first_looks(state, boards) {
        if checks.len() < COLUMNS && !checks.contains(&id) && !used.contains(&id) {
            checks.push(id);
        }
    }
    Round {
        number: number + 1,
        checks,
        begun,
    }
}

/// Checks of findings written on several machines together, in the order of their first use.
fn round_checks(state: &State) -> Vec<String> {
    let mut batches: BTreeMap<i64, (BTreeSet<&str>, &str)> = BTreeMap::new();
    for entry in state.pile.holding() {
        if let (Line::Finding { check, .. }, Some(tag)) = (&entry.line, &entry.machine) {
            batches
                .entry(entry.batch)
                .or_insert((BTreeSet::new(), check))
                .0
                .insert(tag);
        }
    }
    let alone = state.pile.on_bench().count() == 1;
    batches
        .into_values()
        .filter(|(tags, _)| alone || tags.len() > 1)
        .map(|(_, check)| check.to_string())
        .collect()
}

/// The first checks of the most frequent board that need no missing instrument and harm nothing; supplies first.
fn first_looks(state: &State, boards: &Boards) -> Vec<String> {
    let count = |board: &&std::sync::Arc<Profile>| {
        state
            .pile
            .on_bench()
            .filter(|machine| machine.board == board.id)
            .count()
    };
    let Some(board) = boards.values().max_by_key(count) else {
        return Vec::new();
    };
    let missing = missing(&state.folder, board);
    let usual = |check: &&Check| {
        check.harms.is_empty() && !check.set_up.iter().any(|set_up| missing.contains(set_up))
    };
    let (supply, rest): (Vec<&Check>, Vec<&Check>) =
        board.checks.iter().filter(usual).partition(|check| {
            matches!(
                &check.tells,
                Tells::Target {
                    target: Target::Rail(..),
                    ..
                }
            )
        });
    supply
        .into_iter()
        .take(2)
        .chain(rest)
        .map(|check| check.id.clone())
        .collect()
}

fn find_check(state: &State, boards: &Boards, typed: &str) -> Result<String> {
    let mut problem = None;
    for board in boards.values() {
        let reader = Reader {
            profile: board,
            settings: &state.folder.settings,
            open: None,
        };
        match reader.check(typed) {
            Ok(check) => return Ok(check.id.clone()),
            Err(text) => problem = problem.or(Some(text)),
        }
    }
    let problem = problem.unwrap_or_else(|| "nothing is taken in yet".to_string());
    Err(Error::new(ErrorKind::NotFound, problem).hint("the board's file lists its checks"))
}

fn row_cells(state: &State, boards: &Boards, machine: &Machine, round: &Round) -> Vec<Cell> {
    let cell = |id: &String| {
        let Some(check) = boards.get(&machine.board).and_then(|board| board.check(id)) else {
            return say::empty_cell(CellState::None);
        };
        let latest = state
            .pile
            .lines(machine)
            .rev()
            .find_map(|entry| match &entry.line {
                Line::Finding { check, shown, .. } if check == id => Some(shown),
                _ => None,
            });
        latest.map_or_else(
            || say::empty_cell(CellState::ToTake),
            |shown| say::cell(check, shown),
        )
    };
    round.checks.iter().map(cell).collect()
}

fn progress(boards: &Boards, round: &Round, cells: &[Vec<Cell>]) -> Progress {
    let mut progress = Progress {
        taken: 0,
        skipped: 0,
        to_take: 0,
        minutes: 0.0,
    };
    for row in cells {
        for (cell, id) in row.iter().zip(&round.checks) {
            match cell.state {
                CellState::Good | CellState::Bad | CellState::Doubt => progress.taken += 1,
                CellState::Skipped => progress.skipped += 1,
                CellState::ToTake => {
                    progress.to_take += 1;
                    let check = boards.values().find_map(|board| board.check(id));
                    progress.minutes += check.map_or(1.0, |check| check.minutes);
                }
                CellState::None => {}
            }
        }
    }
    progress
}

fn rows(
    inner: &mut Inner,
    state: &State,
    boards: &Boards,
    cells: Vec<Vec<Cell>>,
) -> Result<Vec<BenchRow>> {
    if state.pile.on_bench().next().is_none() {
        return Ok(Vec::new());
    }
    let fresh = Fresh::of(&inner.cache().blanks(), state, boards)?;
    let each: Vec<Vec<String>> = state
        .pile
        .on_bench()
        .map(|machine| standing(state, machine, &inner.now()))
        .collect();
    let reckoned = inner.reckon(&[&[]])?;
    let now = reckoned.first().copied();
    let mut economies = Vec::new();
    for (machine, standing) in state.pile.on_bench().zip(each) {
        let Some((now, board)) = now.zip(boards.get(&machine.board)) else {
            economies.push(None);
            continue;
        };
        let working = standing_words(state, machine, now.whole(&machine.tag)?) == "working";
        let open = !working && machine.settled.is_none() && is_looked_at(state, machine);
        economies.push(open.then(|| economy(&state.folder, board, machine, &standing)));
    }
    if let Some(now) = now {
        let pairs = state.pile.on_bench().zip(&economies);
        let asked: Vec<(&str, &Economy)> = pairs
            .filter_map(|(machine, economy)| Some((machine.tag.as_str(), economy.as_ref()?)))
            .collect();
        now.advise_each(&asked)?;
    }
    let mut rows = Vec::new();
    for ((machine, cells), economy) in state.pile.on_bench().zip(cells).zip(economies) {
        let Some((now, board)) = now.zip(boards.get(&machine.board)) else {
            continue;
        };
        let (mut says, chance) = says(state, now, machine, board)?;
        let own = |line: i64| {
            machine
                .lines
                .iter()
                .any(|index| state.pile.entries[*index].id == line)
        };
        if let Some(out) = now.left_out.iter().find(|out| own(out.line)) {
            says = format!(
                "Line {} does not count; the card says why. {says}",
                out.line
            );
        }
        let words = standing_words(state, machine, now.whole(&machine.tag)?);
        let mut shelve = None;
        if let Some(economy) = economy {
            let advice = now.advice(&machine.tag, &economy)?;
            shelve = fresh.shelve(state, machine, &economy, &advice.0, &advice.1);
        }
        rows.push(BenchRow {
            tag: machine.tag.clone(),
            cells,
            says,
            chance,
            state: words,
            shelve,
        });
    }
    Ok(rows)
}

/// What a machine's findings say so far, and the chance of what that names.
fn says(
    state: &State,
    now: &Reckoned,
    machine: &Machine,
    board: &Profile,
) -> Result<(String, Option<f64>)> {
    match &machine.settled {
        Some(Truth::Works) => return Ok(("It works; settled.".to_string(), Some(1.0))),
        Some(Truth::Joint(what)) => return Ok((sentence(&format!("{what}; settled")), Some(1.0))),
        Some(Truth::Mode { part, mode }) => {
            return Ok((
                sentence(&format!("{}; settled", say::mode_short(board, part, mode))),
                Some(1.0),
            ));
        }
        None => {}
    }
    let absent = absent_words(machine, board);
    let mut known: Vec<String> = absent.iter().cloned().collect();
    let events = machine
        .events
        .iter()
        .filter_map(|id| board.events.iter().find(|event| event.id == *id));
    known.extend(events.map(|event| event.title.clone()));
    let said = |shown: &Shown| *shown != Shown::Skipped;
    let looked = state
        .pile
        .lines(machine)
        .any(|entry| matches!(&entry.line, Line::Finding { shown, .. } if said(shown)));
    let whole = now.whole(&machine.tag)?;
    let lead = lead(board, &now.modes(machine, board));
    let (found, chance) = if !looked {
        (
            if known.is_empty() {
                "Nothing seen yet".to_string()
            } else {
                String::new()
            },
            None,
        )
    } else if absent.is_none() && whole >= 0.5 {
        (format!("Looks whole, {}", percent(whole)), Some(whole))
    } else if !known.is_empty() && lead.chance() < 0.3 {
        ("Nothing else speaks against it".to_string(), None)
    } else if lead.chance() < 0.1 {
        ("No suspect stands out".to_string(), None)
    } else {
        let parts: Vec<String> = lead.parts.iter().map(|(part, _)| part.clone()).collect();
        (
            format!("{}{}", block_of(board, &parts), lead.with_chances()),
            Some(lead.chance()),
        )
    };
    known.push(found);
    let sentences: Vec<String> = known
        .iter()
        .map(|text| sentence(text))
        .filter(|text| !text.is_empty())
        .collect();
    Ok((sentences.join(" "), chance))
}

/// `Supply: `, if all leading parts belong to one block that is not named like them.
fn block_of(board: &Profile, parts: &[String]) -> String {
    let block = |name: &String| {
        board
            .parts
            .iter()
            .find(|part| say::short(&part.reference) == *name)
            .map(|part| part.block.as_str())
    };
    let Some(first) = parts.first().and_then(block) else {
        return String::new();
    };
    let one = parts.iter().all(|part| block(part) == Some(first));
    let title = board
        .blocks
        .iter()
        .find(|block| block.id == first)
        .map(|block| block.title.as_str());
    match title {
        Some(title)
            if one
                && !title.is_empty()
                && !parts.iter().any(|part| part.eq_ignore_ascii_case(first)) =>
        {
            format!("{title}: ")
        }
        _ => String::new(),
    }
}

fn money(inner: &mut Inner, state: &State, rows: &[BenchRow]) -> Result<MoneyLine> {
    let currency = state.folder.settings.currency;
    let price =
        |text: &str| units::Money::parse(text, currency).map_or(0, |money| money.to_minor());
    let paid: i64 = state
        .pile
        .machines
        .iter()
        .map(|machine| price(&machine.paid))
        .sum();
    let foot = crate::plan::foot(inner)?;
    Ok(MoneyLine {
        paid: coins(paid, currency),
        spends: foot.spends,
        parcels: foot.parcels,
        minutes: foot.minutes,
        working: foot.working,
        machines: rows.len(),
        worth: foot.worth,
    })
}
