//! What a person writes: take-in, findings, acts, truths, and taking back.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::{Mount, Profile};
use journal::{Draft, Entry, Line, Places, Shown, Truth};

use crate::{
    Act, Error, ErrorKind, Fitted, TakeIn, Workshop,
    entry::{Finding, Reader, Understanding, find_tag, round_entries},
    intake::{
        Exception, board_exception, exception, find_part, lot_line, new_tags, pieces, shares,
    },
    names::{best, choices, fit, nearest, plain},
    pile::Machine,
    reckon::Reckoned,
    say,
    views::{TakenIn, Understood, Undone, Written},
    words::{capital, coins, counted, listed, percent, quoted},
    workshop::{Inner, Result, State},
};

/// Chance that a new part works when nothing is said.
const NEW_WORKS: f64 = 0.97;

/// A change below this is not worth a sentence.
const NOTICEABLE: f64 = 0.005;

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

    /// How a line would be understood; writes nothing.
    ///
    /// # Errors
    /// Everything that is wrong in the line.
    pub fn understand(&self, tag: &str, line: &str) -> Result<Vec<Understood>> {
        let mut inner = self.fresh()?;
        let understanding = read_line(&mut inner, tag, line)?;
        let state = inner.state();
        let machine = state.machine(tag)?;
        let board = state.folder.board(&machine.board)?;
        Ok(understood(&board, &understanding.findings))
    }

    /// Writes the findings of one line.
    ///
    /// # Errors
    /// Everything that is wrong in the line; nothing is written then.
    pub fn measure(&self, tag: &str, line: &str) -> Result<Written> {
        let mut inner = self.fresh()?;
        let understanding = read_line(&mut inner, tag, line)?;
        let tag = inner.state().machine(tag)?.tag.clone();
        write_findings(&mut inner, |state| {
            let machine = state.machine(&tag)?;
            let board = state.folder.board(&machine.board)?;
            allowed(machine, &board, &understanding.findings)?;
            Ok(vec![(tag.clone(), board, understanding.clone())])
        })
    }

    /// Writes one check over many machines: tag and value.
    ///
    /// # Errors
    /// Everything that is wrong; nothing is written then.
    pub fn round(&self, check: &str, entries: &[(String, String)]) -> Result<Written> {
        let mut inner = self.fresh()?;
        write_findings(&mut inner, |state| round_findings(state, check, entries))
    }

    /// The same from one line: one value a machine in the order of tags, or `T-03=4.98; T-05=black`.
    ///
    /// # Errors
    /// Everything that is wrong; nothing is written then.
    pub fn round_line(&self, check: &str, line: &str) -> Result<Written> {
        let mut inner = self.fresh()?;
        write_findings(&mut inner, |state| {
            let tags = state.tags();
            if tags.is_empty() {
                return Err(Error::new(ErrorKind::Refused, "nothing is taken in yet")
                    .hint("take a lot in first"));
            }
            let entries = round_entries(line, &tags).map_err(wrong)?;
            round_findings(state, check, &entries)
        })
    }

    /// Writes an act; it opens an epoch.
    ///
    /// # Errors
    /// If a position or block is not there, is empty, or a mark is not free.
    pub fn act(&self, tag: &str, act: &Act) -> Result<Written> {
        let mut inner = self.fresh()?;
        let tag = inner.state().machine(tag)?.tag.clone();
        let before = leads(&mut inner, &tag);
        let entries = inner.write(|state| {
            let machine = state.machine(&tag)?;
            let board = state.folder.board(&machine.board)?;
            let drafts = done(act, &board)?
                .into_iter()
                .enumerate()
                .map(|(index, done)| Draft {
                    machine: Some(tag.clone()),
                    epoch: machine.epoch + u32::try_from(index).unwrap_or(0),
                    line: Line::Act { done },
                });
            Ok(drafts.collect())
        })?;
        written(&mut inner, &entries, Vec::new(), &before)
    }

    /// Writes the truth found out: `U9.dead`, `joint "track U7.3 to U12.5"`, `works`.
    ///
    /// # Errors
    /// If the mode is not one of the board's, or the findings rule it out.
    pub fn settle(&self, tag: &str, truth: &str) -> Result<Written> {
        let mut inner = self.fresh()?;
        let tag = inner.state().machine(tag)?.tag.clone();
        let before = leads(&mut inner, &tag);
        let entries = inner.write(|state| {
            let machine = state.machine(&tag)?;
            let board = state.folder.board(&machine.board)?;
            let truth = find_truth(truth, machine, &board)?;
            let draft = Draft {
                machine: Some(tag.clone()),
                epoch: machine.epoch,
                line: Line::Settled { truth },
            };
            possible(state, &draft)?;
            Ok(vec![draft])
        })?;
        written(&mut inner, &entries, Vec::new(), &before)
    }

    /// Takes back the given line, or what this person wrote last. The lines stay; a later one says that they do not hold.
    ///
    /// # Errors
    /// If there is no such line, it is taken back already, or later lines build on it.
    pub fn undo(&self, line: Option<i64>) -> Result<Undone> {
        let mut inner = self.fresh()?;
        let who = inner.who().to_string();
        let lines = to_take_back(&inner.state(), line, &who)?;
        let state = inner.state();
        let tag = lines
            .iter()
            .find_map(|line| state.pile.entry(*line)?.machine.clone());
        let before = tag
            .as_deref()
            .map(|tag| leads(&mut inner, tag))
            .unwrap_or_default();
        inner.write(|state| {
            let lines = to_take_back(state, line, &who)?;
            let draft = |line: &i64| Draft {
                machine: state
                    .pile
                    .entry(*line)
                    .and_then(|entry| entry.machine.clone()),
                epoch: 0,
                line: Line::TakenBack { line: *line },
            };
            Ok(lines.iter().map(draft).collect())
        })?;
        let texts: Vec<String> = lines
            .iter()
            .filter_map(|line| undone(&state, *line))
            .collect();
        let text = match texts.as_slice() {
            [] => "Taken back.".to_string(),
            texts if texts.len() <= 4 => format!("Taken back: {}.", texts.join("; ")),
            [first, ..] => format!("Taken back: {first} and {} more lines.", texts.len() - 1),
        };
        let changed = tag
            .map(|tag| changed(&mut inner, &[tag], &before))
            .unwrap_or_default();
        Ok(Undone {
            lines,
            text,
            changed,
        })
    }
}

fn wrong(problems: Vec<String>) -> Error {
    Error::new(ErrorKind::Usage, problems.join("\n"))
        .hint("nothing was written; mend the line and send it again")
}

// ---------------------------------------------------------------------------------------------------------- take-in

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
                said.push(format!("{tag}: {}.", crate::words::small(title)));
            }
            Exception::LotEvent { event, title } => {
                add(lot_events, event);
                said.push(format!("The whole lot: {}.", crate::words::small(title)));
            }
        }
    }
    said.join(" ")
}

// --------------------------------------------------------------------------------------------------------- findings

fn read_line(inner: &mut Inner, tag: &str, line: &str) -> Result<Understanding> {
    let state = inner.state();
    let machine = state.machine(tag)?;
    let board = state.folder.board(&machine.board)?;
    let mut reader = Reader {
        profile: &board,
        settings: &state.folder.settings,
        open: None,
    };
    let understanding = match reader.line(line) {
        Ok(understanding) => understanding,
        // Only a line that cannot be read otherwise is worth asking which check comes next.
        Err(problems) => {
            let open = crate::card::open_check(inner, &machine.tag);
            reader.open = open.as_deref().and_then(|id| board.check(id));
            if reader.open.is_none() {
                return Err(wrong(problems));
            }
            reader.line(line).map_err(wrong)?
        }
    };
    allowed(machine, &board, &understanding.findings)?;
    Ok(understanding)
}

/// Refuses findings at parts that are not there.
fn allowed(machine: &Machine, board: &Profile, findings: &[Finding]) -> Result<()> {
    let problems: Vec<String> = findings
        .iter()
        .filter_map(|finding| absent(machine, board, finding))
        .collect();
    if problems.is_empty() {
        return Ok(());
    }
    Err(Error::new(ErrorKind::Refused, problems.join("\n"))
        .hint("nothing was written; write `skip`, or fit the part first"))
}

fn absent(machine: &Machine, board: &Profile, finding: &Finding) -> Option<String> {
    if matches!(finding.shown, Shown::Skipped) {
        return None;
    }
    let check = board.check(&finding.check)?;
    let part = |at: &String| {
        at.rsplit_once('.')
            .map_or(at.as_str(), |(part, _)| part)
            .to_string()
    };
    let parts: Vec<String> = check.at.iter().map(part).collect();
    let gone = !parts.is_empty() && parts.iter().all(|part| machine.empty.contains(part));
    gone.then(|| {
        format!(
            "`{}` looks at {}, and {} is absent on {}",
            check.id,
            say::at(check),
            listed(&parts, "and"),
            machine.tag
        )
    })
}

fn round_findings(
    state: &State,
    check: &str,
    entries: &[(String, String)],
) -> Result<Vec<(String, Arc<Profile>, Understanding)>> {
    let tags = state.tags();
    let mut problems = Vec::new();
    let mut rows = Vec::new();
    if entries.is_empty() {
        problems.push("expected a value for at least one machine, found nothing".to_string());
    }
    for (typed, value) in entries {
        let tag = match find_tag(typed, &tags) {
            Ok(tag) => tag,
            Err(problem) => {
                problems.push(problem);
                continue;
            }
        };
        let machine = state.machine(&tag)?;
        let board = state.folder.board(&machine.board)?;
        let reader = Reader {
            profile: &board,
            settings: &state.folder.settings,
            open: None,
        };
        let found = reader
            .check(check)
            .and_then(|check| reader.value(check, value));
        let found = found.and_then(|finding| match absent(machine, &board, &finding) {
            Some(problem) => Err(format!("{problem}; write `skip`")),
            None => Ok(finding),
        });
        match found {
            Ok(finding) => {
                let understanding = Understanding {
                    findings: vec![finding],
                    ..Understanding::default()
                };
                rows.push((tag, board, understanding));
            }
            Err(problem) => problems.push(format!("{tag}: {problem}")),
        }
    }
    // The same word is wrong in the same way for every machine.
    problems.dedup_by_key(|problem| {
        problem
            .split_once(": ")
            .map_or(problem.clone(), |(_, rest)| rest.to_string())
    });
    if problems.is_empty() {
        Ok(rows)
    } else {
        Err(wrong(problems))
    }
}

type Rows = Vec<(String, Arc<Profile>, Understanding)>;

fn write_findings(inner: &mut Inner, rows: impl Fn(&State) -> Result<Rows>) -> Result<Written> {
    let first = rows(&inner.state())?;
    let tags: Vec<String> = first.iter().map(|(tag, ..)| tag.clone()).collect();
    let mut before = BTreeMap::new();
    for tag in &tags {
        before.extend(leads(inner, tag));
    }
    let entries = inner.write(|state| {
        let mut drafts = Vec::new();
        for (tag, _, understanding) in rows(state)? {
            let epoch = state.machine(&tag)?.epoch;
            drafts.extend(understanding.findings.iter().map(|finding| Draft {
                machine: Some(tag.clone()),
                epoch,
                line: Line::Finding {
                    check: finding.check.clone(),
                    text: finding.text.clone(),
                    shown: finding.shown.clone(),
                    supply: understanding.supply,
                    minutes_on: understanding.minutes_on,
                },
            }));
        }
        Ok(drafts)
    })?;
    let understood = first
        .iter()
        .flat_map(|(_, board, one)| understood(board, &one.findings))
        .collect();
    written(inner, &entries, understood, &before)
}

fn understood(board: &Profile, findings: &[Finding]) -> Vec<Understood> {
    let one = |finding: &Finding| {
        let check = board.check(&finding.check)?;
        let mut sentence = say::understood(check, &finding.shown);
        if let Some(source) = finding
            .source
            .as_deref()
            .filter(|source| *source == crate::settings::NO_SOURCE)
        {
            sentence = format!("{sentence} (accuracy: {source})");
        }
        Some(Understood {
            check: check.id.clone(),
            sentence,
            cell: say::cell(check, &finding.shown),
            alternatives: say::alternatives(check, &finding.shown),
        })
    };
    findings.iter().filter_map(one).collect()
}

// ------------------------------------------------------------------------------------------------------------- acts

fn done(act: &Act, board: &Profile) -> Result<Vec<journal::Act>> {
    let refuse =
        |problem: String| Error::new(ErrorKind::NotFound, problem).hint("nothing was written");
    let part = |typed: &str| find_part(typed, board).map_err(refuse);
    let mark = |mark: &Option<String>| -> Result<Option<String>> {
        match mark.as_deref().map(str::trim) {
            Some("") => Err(Error::new(
                ErrorKind::Usage,
                "expected a mark such as `dot-1`, found nothing",
            )),
            other => Ok(other.map(str::to_string)),
        }
    };
    Ok(match act {
        Act::Pull {
            part: typed,
            mark: on,
        } => vec![journal::Act::Pull {
            part: part(typed)?,
            mark: mark(on)?,
        }],
        Act::Fit {
            part: typed,
            what,
            old_mark,
        } => {
            let chip = match what {
                Fitted::New { works } => journal::Chip::New {
                    works: sound_chance(works.unwrap_or(NEW_WORKS))?,
                },
                Fitted::Marked(mark) => journal::Chip::Marked(mark.trim().to_string()),
            };
            vec![journal::Act::Fit {
                part: part(typed)?,
                chip,
                old_mark: mark(old_mark)?,
            }]
        }
        Act::Reseat(names) => places(names, board, true)?
            .into_iter()
            .map(journal::Act::Reseat)
            .collect(),
        Act::Resolder(names) => places(names, board, false)?
            .into_iter()
            .map(journal::Act::Resolder)
            .collect(),
        Act::Clean(names) => places(names, board, false)?
            .into_iter()
            .map(journal::Act::Clean)
            .collect(),
    })
}

fn sound_chance(chance: f64) -> Result<f64> {
    if (0.0..=1.0).contains(&chance) {
        return Ok(chance);
    }
    Err(Error::new(
        ErrorKind::Usage,
        format!("expected a chance from 0 to 1, found `{chance}`"),
    )
    .hint("0.97 is usual for a new part, 0.8 for a used one"))
}

/// Positions, all in one act, or blocks, an act each.
fn places(names: &[String], board: &Profile, reseat: bool) -> Result<Vec<Places>> {
    let mut parts = Vec::new();
    let mut blocks = Vec::new();
    let mut problems = Vec::new();
    for name in names
        .iter()
        .flat_map(|name| name.split([',', ' ']))
        .filter(|name| !name.is_empty())
    {
        let part = board
            .parts
            .iter()
            .find(|part| part.reference.eq_ignore_ascii_case(name));
        let block = board
            .blocks
            .iter()
            .find(|block| block.id.eq_ignore_ascii_case(name));
        match (part, block) {
            (Some(part), _) if reseat && part.mount == Mount::Soldered => {
                problems.push(format!(
                    "{} is soldered in, so it cannot be reseated; resolder it",
                    part.reference
                ));
            }
            (Some(part), _) if !parts.contains(&part.reference) => {
                parts.push(part.reference.clone())
            }
            (Some(_), _) => {}
            (None, Some(block)) => blocks.push(Places::Block(block.id.clone())),
            (None, None) => {
                let known = board
                    .parts
                    .iter()
                    .map(|part| &*part.reference)
                    .chain(board.blocks.iter().map(|block| &*block.id));
                problems.push(format!(
                    "the board `{}` has no part or block {}; nearest are {}",
                    board.id,
                    quoted(name),
                    choices(nearest(name, known))
                ));
            }
        }
    }
    if parts.is_empty() && blocks.is_empty() && problems.is_empty() {
        problems.push("expected a part or a block, found nothing".to_string());
    }
    if !problems.is_empty() {
        return Err(
            Error::new(ErrorKind::NotFound, problems.join("\n")).hint("nothing was written")
        );
    }
    let parts = (!parts.is_empty()).then_some(Places::Parts(parts));
    Ok(parts.into_iter().chain(blocks).collect())
}

/// Refuses a truth that cannot be, given all findings.
fn possible(state: &State, draft: &Draft) -> Result<()> {
    let then = state.pile.with([Entry {
        id: state.pile.last() + 1,
        batch: state.pile.last() + 1,
        time: state
            .pile
            .entries
            .last()
            .map(|entry| entry.time.clone())
            .unwrap_or_default(),
        who: String::new(),
        machine: draft.machine.clone(),
        epoch: draft.epoch,
        line: draft.line.clone(),
    }]);
    let reckoned = Reckoned::of(&then, &state.boards()?, &[])?;
    if reckoned.diagnosis.log_p_findings().is_finite() {
        return Ok(());
    }
    Err(Error::new(
        ErrorKind::Refused,
        "that cannot be true together with what was settled or found before",
    )
    .hint("see `journal`, and take back the line that is wrong first"))
}

fn find_truth(typed: &str, machine: &Machine, board: &Profile) -> Result<Truth> {
    let typed = typed.trim();
    let word = plain(typed);
    if ["works", "it works", "fine"].contains(&word.as_str()) {
        return Ok(Truth::Works);
    }
    if let Some(rest) = ["joint", "track", "other"]
        .iter()
        .find_map(|start| word.strip_prefix(start))
        && (rest.is_empty() || rest.starts_with([' ', '"'])) {
            let what = typed
                .split_once(char::is_whitespace)
                .map_or("", |(_, what)| what)
                .trim()
                .trim_matches('"');
            return Ok(Truth::Joint(if what.is_empty() {
                typed.to_string()
            } else {
                what.to_string()
            }));
        }
    let refuse = |problem: String| {
        Error::new(ErrorKind::NotFound, problem)
            .hint("write `U9.dead`, `joint \"track U7.3 to U12.5\"` or `works`")
    };
    let Some((part, mode)) = typed.split_once(['.', ' ']) else {
        return Err(refuse(format!(
            "expected a part and its mode such as `U9.dead`, found {}",
            quoted(typed)
        )));
    };
    let reference = find_part(part, board).map_err(refuse)?;
    let modes = board
        .part(&reference)
        .map(|part| part.modes.as_slice())
        .unwrap_or_default();
    let word = plain(mode);
    let found = best(
        modes
            .iter()
            .filter_map(|mode| Some((fit(&word, [&*mode.id, &*mode.title])?, mode))),
    );
    let known = choices(modes.iter().map(|mode| &*mode.id));
    let mode = match found.as_ref().map(|(_, found)| found.as_slice()) {
        Some([one]) => *one,
        Some(_) => {
            return Err(refuse(format!(
                "{} could be several modes of {reference}; known are {known}",
                quoted(mode)
            )));
        }
        None => {
            return Err(refuse(format!(
                "{reference} has no mode {}; known are {known}",
                quoted(mode)
            )));
        }
    };
    if mode.site == catalogue::Site::Chip && machine.empty.contains(&reference) {
        return Err(Error::new(
            ErrorKind::Refused,
            format!("{reference} is absent on {}", machine.tag),
        )
        .hint("nothing was written"));
    }
    Ok(Truth::Mode {
        part: reference,
        mode: mode.id.clone(),
    })
}

// ------------------------------------------------------------------------------------------------------------- undo

fn to_take_back(state: &State, line: Option<i64>, who: &str) -> Result<Vec<i64>> {
    let pile = &state.pile;
    let Some(line) = line else {
        let mut own = pile.holding().filter(|entry| entry.who == who);
        let last = own.next_back().ok_or_else(|| {
            Error::new(
                ErrorKind::Refused,
                format!("{who} has written nothing that could be taken back"),
            )
            .hint("name a line of the journal to take back what somebody else wrote")
        })?;
        return Ok(pile
            .holding()
            .filter(|entry| entry.batch == last.batch)
            .map(|entry| entry.id)
            .collect());
    };
    let entry = pile.entry(line).ok_or_else(|| {
        Error::new(ErrorKind::NotFound, format!("there is no line {line}"))
            .hint("the numbers stand at the start of each line of the journal")
    })?;
    if pile.taken_back.contains_key(&line) {
        return Err(Error::new(
            ErrorKind::Refused,
            format!("line {line} is taken back already"),
        )
        .hint("name the line that took it back to make it hold again"));
    }
    match entry.line {
        // A lot goes with its machines.
        Line::Lot { .. } => Ok(pile
            .holding()
            .filter(|other| other.batch == entry.batch)
            .map(|other| other.id)
            .collect()),
        _ => Ok(vec![line]),
    }
}

fn undone(state: &State, line: i64) -> Option<String> {
    let entry = state.pile.entry(line)?;
    let row = crate::rows::row(state, entry);
    let text = [row.text.trim_end_matches('.'), &row.entered].join(" ");
    let text = crate::words::small(text.trim());
    Some(match &entry.machine {
        Some(tag) => format!("{tag}, {text}"),
        None => text,
    })
}

// ---------------------------------------------------------------------------------------------------- what it changed

/// Posterior of each mode, by machine, part and mode; nothing where it cannot be reckoned.
pub(crate) type Leads = BTreeMap<(String, String, String), f64>;

/// The posteriors of one machine.
pub(crate) fn leads(inner: &mut Inner, tag: &str) -> Leads {
    let state = inner.state();
    let Some(machine) = state.pile.machine(tag) else {
        return Leads::new();
    };
    let Ok(board) = state.folder.board(&machine.board) else {
        return Leads::new();
    };
    let Ok(reckoned) = inner.reckon(&[&[]]) else {
        return Leads::new();
    };
    let Some(now) = reckoned.first() else {
        return Leads::new();
    };
    now.modes(machine, &board)
        .into_iter()
        .map(|one| ((tag.to_string(), one.part, one.mode), one.chance))
        .collect()
}

fn written(
    inner: &mut Inner,
    entries: &[Entry],
    understood: Vec<Understood>,
    before: &Leads,
) -> Result<Written> {
    let mut tags: Vec<String> = entries
        .iter()
        .filter_map(|entry| entry.machine.clone())
        .collect();
    tags.dedup();
    let changed = changed(inner, &tags, before);
    Ok(Written {
        lines: entries.iter().map(|entry| entry.id).collect(),
        understood,
        changed,
    })
}

/// The largest change of a posterior, in a sentence.
pub(crate) fn changed(inner: &mut Inner, tags: &[String], before: &Leads) -> String {
    let mut best: Option<(f64, String)> = None;
    for tag in tags {
        let after = leads(inner, tag);
        let state = inner.state();
        let board = state
            .pile
            .machine(tag)
            .and_then(|machine| state.folder.board(&machine.board).ok());
        let Some(board) = board else { continue };
        for (key, now) in &after {
            let Some(was) = before.get(key) else { continue };
            let by = (now - was).abs();
            if by < NOTICEABLE || best.as_ref().is_some_and(|(most, _)| *most >= by) {
                continue;
            }
            let (_, part, mode) = key;
            let name = match board
                .part(part)
                .and_then(|part| Some((part, part.mode(mode)?)))
            {
                Some((part, mode)) => say::mode_sentence(part, mode)
                    .trim_end_matches('.')
                    .to_string(),
                None => say::mode_short(&board, part, mode),
            };
            let place = if tags.len() > 1 {
                format!("{tag}: ")
            } else {
                String::new()
            };
            best = Some((
                by,
                format!("{place}{name}: {}, was {}.", percent(*now), percent(*was)),
            ));
        }
    }
    match best {
        Some((_, sentence)) => sentence,
        None if before.is_empty() => String::new(),
        None => "It changes no chance by as much as one in two hundred.".to_string(),
    }
}
