//! Taking a lot in.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::Profile;
use journal::{Draft, Entry, Line};
use units::Currency;

use crate::{
    TakeIn, Workshop,
    error::wrong,
    intake::{
        Exception, LotLine, board_exception, exception, is_mule, lot_line, mule_tag, new_tags,
        pieces, shares,
    },
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
            if is_mule(&request.line) {
                view.lines = written.iter().map(|entry| entry.id).collect();
            } else {
                view = intake_again(&written, view);
            }
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
    if is_mule(&request.line) {
        return the_mule(state, request);
    }
    let currency = state.folder.settings.currency;
    let lot = lot_line(&request.line, currency).map_err(|problem| wrong(vec![problem]))?;
    let board = match &request.board {
        Some(id) => state.folder.board(id)?,
        None => state.folder.usual_board()?,
    };
    let tags = new_tags(request.tags.as_deref(), lot.count, &state.tags())
        .map_err(|problem| wrong(vec![problem]))?;
    let newcomer = |tag: &String| Newcomer {
        tag: tag.clone(),
        board: Arc::clone(&board),
        empty: Vec::new(),
        events: Vec::new(),
    };
    let mut newcomers: Vec<Newcomer> = tags.iter().map(newcomer).collect();
    let mut lot_events = Vec::new();
    let mut problems = Vec::new();
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
    let drafts = drafts(&id, &lot, currency, lot_events, &newcomers, &paid);
    let view = TakenIn {
        heading: heading(&tags, &paid),
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

/// A good board of one's own: no lot, no price.
fn the_mule(state: &State, request: &TakeIn) -> Result<Intake> {
    let board = match &request.board {
        Some(id) => state.folder.board(id)?,
        None => state.folder.usual_board()?,
    };
    let tag =
        mule_tag(request.tags.as_deref(), &state.tags()).map_err(|problem| wrong(vec![problem]))?;
    if let Some(text) = pieces(&request.exceptions).first() {
        return Err(wrong(vec![format!(
            "expected a mule without exceptions, for it is good and complete, found `{text}`"
        )]));
    }
    let draft = Draft {
        machine: Some(tag.clone()),
        epoch: 0,
        line: Line::TakenIn {
            lot: String::new(),
            board: board.id.clone(),
            paid: String::new(),
            empty: Vec::new(),
            events: Vec::new(),
            mule: true,
        },
    };
    let view = TakenIn {
        heading: format!(
            "{}, a good {}: try the pile's chips in it.",
            capital(&crate::rows::owner(&tag)),
            board.title
        ),
        lot: String::new(),
        from: String::new(),
        tags: vec![tag],
        paid: Vec::new(),
        board: board.id.clone(),
        board_title: board.title.clone(),
        starter: state.folder.is_starter(&board.id),
        exceptions: Vec::new(),
        lines: Vec::new(),
    };
    Ok(Intake {
        drafts: vec![draft],
        view,
    })
}

/// `Nine machines, T-01 to T-09, 30.00 each.`
fn heading(tags: &[String], paid: &[String]) -> String {
    let each = paid.last().cloned().unwrap_or_default();
    let machines = capital(&counted(tags.len(), "machine", "machines"));
    match tags {
        [] => String::new(),
        [only] => format!("{machines}, {only}, {each}."),
        [first, .., last] => format!("{machines}, {first} to {last}, {each} each."),
    }
}

fn drafts(
    id: &str,
    lot: &LotLine,
    currency: Currency,
    events: Vec<String>,
    newcomers: &[Newcomer],
    paid: &[String],
) -> Vec<Draft> {
    let first = Line::Lot {
        lot: id.to_string(),
        from: lot.from.clone(),
        count: lot.count,
        price: coins(lot.price, currency),
        currency: currency.code().to_string(),
        events,
    };
    let machine = |(newcomer, paid): (&Newcomer, &String)| Draft {
        machine: Some(newcomer.tag.clone()),
        epoch: 0,
        line: Line::TakenIn {
            lot: id.to_string(),
            board: newcomer.board.id.clone(),
            paid: paid.clone(),
            empty: newcomer.empty.clone(),
            events: newcomer.events.clone(),
            mule: false,
        },
    };
    let lot = Draft {
        machine: None,
        epoch: 0,
        line: first,
    };
    std::iter::once(lot)
        .chain(newcomers.iter().zip(paid).map(machine))
        .collect()
}

/// The view with the tags that were written, should others have taken machines in at the same moment.
fn intake_again(written: &[Entry], view: TakenIn) -> TakenIn {
    let tags: Vec<String> = written
        .iter()
        .filter_map(|entry| entry.machine.clone())
        .collect();
    let lines = written.iter().map(|entry| entry.id).collect();
    TakenIn {
        heading: heading(&tags, &view.paid),
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
