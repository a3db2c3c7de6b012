//! Taking a lot in.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::Profile;
use journal::{Draft, Entry, Line};

use crate::{
    TakeIn, Workshop,
    error::wrong,
    intake::{Exception, board_exception, exception, lot_line, new_tags, pieces, shares},
    views::TakenIn,
    words::{capital, coins, counted, small},
    workshop::{Result, State},
};

impl Workshop {
    /// Takes a lot in.
    ///
    /// # Errors
    /// If the line, an exception or the first tag cannot be understood, or a board is not there; all problems at once.
    pub fn take_in(&self, request: &TakeIn) -> Result<TakenIn> {
        let mut inner = self.fresh()?;
        let mut view = intake(&inner.state(), request)?.view;
        if !request.dry_run {
            let written = inner.write(|state| Ok(intake(state, request)?.drafts))?;
            view = intake_again(&written, view);
        }
        Ok(view)
    }
}

struct Intake {
    drafts: Vec<Draft>,
    view: TakenIn,
}

/// What each machine of a new lot is.
struct Newcomer {
    tag: String,
    board: Arc<Profile>,
    empty: Vec<String>,
    events: Vec<String>,
}

fn intake(state: &State, request: &TakeIn) -> Result<Intake> {
    let currency = state.folder.settings.currency;
    let mut problems = Vec::new();
    let lot = lot_line(&request.line, currency)
        .map_err(|problem| problems.push(problem))
        .ok();
    let board = match &request.board {
        Some(id) => state.folder.board(id)?,
        None => state.folder.usual_board()?,
    };
    let Some(lot) = lot else {
        return Err(wrong(problems));
    };
    let tags = new_tags(request.tags.as_deref(), lot.count, &state.tags())
        .map_err(|problem| wrong(vec![problem]))?;
    let mut newcomers: Vec<Newcomer> = tags
        .iter()
        .map(|tag| Newcomer {
            tag: tag.clone(),
            board: Arc::clone(&board),
            empty: Vec::new(),
            events: Vec::new(),
        })
        .collect();
    let mut lot_events = Vec::new();
    let exceptions = except(
        state,
        &request.exceptions,
        &tags,
        &mut newcomers,
        &mut lot_events,
        &mut problems,
    );
    if !problems.is_empty() {
        return Err(wrong(problems));
    }
    let id = format!("L-{:02}", state.pile.lots.len() + 1);
    let paid: Vec<String> = shares(lot.price, lot.count)
        .into_iter()
        .map(|minor| coins(minor, currency))
        .collect();
    let first = Line::Lot {
        lot: id.clone(),
        from: lot.from.clone(),
        count: lot.count,
        price: coins(lot.price, currency),
        currency: currency.code().to_string(),
        events: lot_events,
    };
    let mut drafts = vec![Draft {
        machine: None,
        epoch: 0,
        line: first,
    }];
    for (newcomer, paid) in newcomers.iter().zip(&paid) {
        let line = Line::TakenIn {
            lot: id.clone(),
            board: newcomer.board.id.clone(),
            paid: paid.clone(),
            empty: newcomer.empty.clone(),
            events: newcomer.events.clone(),
        };
        drafts.push(Draft {
            machine: Some(newcomer.tag.clone()),
            epoch: 0,
            line,
        });
    }
    let range = match tags.as_slice() {
        [only] => only.clone(),
        [first, .., last] => format!("{first} to {last}"),
        [] => String::new(),
    };
    let each = if lot.count == 1 {
        coins(lot.price, currency)
    } else {
        format!("{} each", paid.last().cloned().unwrap_or_default())
    };
    let view = TakenIn {
        heading: format!(
            "{}, {range}, {each}.",
            capital(&counted(lot.count, "machine", "machines"))
        ),
        lot: id,
        from: lot.from,
        tags,
        paid,
        board: board.id.clone(),
        board_title: board.title.clone(),
        starter: state.folder.is_starter(&board.id),
        exceptions,
        lines: Vec::new(),
    };
    Ok(Intake { drafts, view })
}

/// The view with the tags that were written, should others have taken machines in at the same moment.
fn intake_again(written: &[Entry], view: TakenIn) -> TakenIn {
    let tags: Vec<String> = written
        .iter()
        .filter_map(|entry| entry.machine.clone())
        .collect();
    let lines = written.iter().map(|entry| entry.id).collect();
    let heading = match (
        view.tags.first(),
        tags.first(),
        view.tags.last(),
        tags.last(),
    ) {
        (Some(a), Some(b), Some(y), Some(z)) if a != b => view.heading.replace(a, b).replace(y, z),
        _ => view.heading,
    };
    TakenIn {
        heading,
        tags,
        lines,
        ..view
    }
}

/// Works the exceptions into the newcomers; boards first, since the others are read by them.
fn except(
    state: &State,
    texts: &[String],
    tags: &[String],
    newcomers: &mut [Newcomer],
    lot_events: &mut Vec<String>,
    problems: &mut Vec<String>,
) -> Vec<String> {
    let pieces = pieces(texts);
    let mut said = vec![String::new(); pieces.len()];
    for (piece, said) in pieces.iter().zip(&mut said) {
        let Some(found) = board_exception(piece, tags) else {
            continue;
        };
        let board = found.and_then(|(tag, id)| {
            let board = state.folder.board(&id).map_err(|error| error.message)?;
            Ok((tag, board))
        });
        match board {
            Ok((tag, board)) => {
                *said = format!("{tag}: {}.", board.title);
                if let Some(newcomer) = newcomers.iter_mut().find(|newcomer| newcomer.tag == tag) {
                    newcomer.board = board;
                }
            }
            Err(problem) => problems.push(problem),
        }
    }
    let boards: BTreeMap<String, Arc<Profile>> = newcomers
        .iter()
        .map(|newcomer| (newcomer.tag.clone(), Arc::clone(&newcomer.board)))
        .collect();
    for (piece, said) in pieces.iter().zip(&mut said) {
        if board_exception(piece, tags).is_some() {
            continue;
        }
        match exception(piece, tags, |tag| boards.get(tag).map(Arc::as_ref)) {
            Ok(found) => *said = apply(&found, newcomers, lot_events),
            Err(problem) => problems.push(problem),
        }
    }
    said
}

fn apply(found: &[Exception], newcomers: &mut [Newcomer], lot_events: &mut Vec<String>) -> String {
    let mut said = Vec::new();
    let add = |list: &mut Vec<String>, item: &String| {
        if !list.contains(item) {
            list.push(item.clone());
        }
    };
    for exception in found {
        match exception {
            Exception::Absent { tag, part } => {
                newcomers
                    .iter_mut()
                    .filter(|one| one.tag == *tag)
                    .for_each(|one| add(&mut one.empty, part));
                said.push(format!("{tag}: {part} is absent."));
            }
            Exception::Event { tag, event, title } => {
                newcomers
                    .iter_mut()
                    .filter(|one| one.tag == *tag)
                    .for_each(|one| add(&mut one.events, event));
                said.push(format!("{tag}: {}.", small(title)));
            }
            Exception::LotEvent { event, title } => {
                add(lot_events, event);
                said.push(format!("The whole lot: {}.", small(title)));
            }
        }
    }
    said.join(" ")
}
