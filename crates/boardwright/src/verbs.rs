//! Each verb: the workshop's method, then the answer.

use crate::args::{self, Board, Line, NetworkPart, Order, Places, Switch, Verb, joined};
use crate::printer::{Form, Printer};
use crate::problem::stop;
use crate::sheet::{Sheet, Voice, say};
use crate::text;
use crate::{Outcome, boards, demo, drawer, pages, rehearse};
use serde::Serialize;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use workshop::views::JournalRow;
use workshop::{
    Act, ErrorKind, Fitted, OpenOptions, PlanLimits, Power, ReadParts, Shelf, Workshop,
};

type Result<T = Outcome> = anyhow::Result<T>;

/// Where the pile is, and how to answer.
struct Desk<'a> {
    dir: PathBuf,
    who: Option<String>,
    printer: &'a Printer,
}

impl Desk<'_> {
    fn open(&self) -> Result<Workshop> {
        let options = OpenOptions {
            who: self.who.clone(),
            clock: demo::clock(&self.dir)?,
        };
        Ok(Workshop::open(&self.dir, options)?)
    }

    fn answer<T: Serialize>(
        &self,
        schema: &str,
        view: &T,
        sheet: impl FnOnce() -> Sheet,
    ) -> Result {
        self.printer.answer(schema, view, sheet)?;
        Ok(Outcome::Done)
    }
}

/// Does what the line says.
pub(crate) fn run(line: Line, printer: &Printer) -> Result {
    let dir = line.global.workshop.unwrap_or_else(workshop::default_dir);
    let desk = Desk {
        dir,
        who: line.global.who,
        printer,
    };
    match line.verb {
        None => welcome(&desk),
        Some(Verb::TakeIn(args)) => take_in(&desk, args),
        Some(Verb::Round(args)) => round(&desk, args),
        Some(Verb::Measure(args)) => {
            let written = desk.open()?.measure(&args.tag, &joined(&args.line))?;
            desk.answer("written", &written, || text::written(&written))
        }
        Some(Verb::Show(args)) => {
            let card = desk.open()?.card(&args.tag)?;
            let depth = if args.journal {
                text::Depth::Journal
            } else {
                text::Depth::Front
            };
            desk.answer("show", &card, || text::card(&card, depth))
        }
        Some(Verb::WhatIf(args)) => {
            let view = desk.open()?.what_if(&args.tag, &joined(&args.line))?;
            desk.answer("what-if", &view, || text::what_if(&view))
        }
        Some(Verb::Bench) => bench(&desk),
        Some(Verb::Pull(args)) => act(
            &desk,
            &args.tag,
            Act::Pull {
                part: args.part,
                mark: args.mark,
            },
        ),
        Some(Verb::Fit(args)) => {
            let what = args
                .mark
                .map_or(Fitted::New { works: args.works }, Fitted::Marked);
            act(
                &desk,
                &args.tag,
                Act::Fit {
                    part: args.part,
                    what,
                    old_mark: args.old_mark,
                },
            )
        }
        Some(Verb::Power(args)) => {
            let power = match (args.switch, args.bench) {
                (Switch::Off, true) => {
                    let problem = "`--bench` says with which supply a machine is switched on";
                    return Err(stop(
                        ErrorKind::Usage,
                        problem,
                        "leave it out when switching off",
                    ));
                }
                (Switch::Off, false) => Power::Off,
                (Switch::On, true) => Power::OnBenchSupply,
                (Switch::On, false) => Power::On,
            };
            let written = desk.open()?.power(&args.tag, power)?;
            desk.answer("written", &written, || text::written(&written))
        }
        Some(Verb::Swap(args)) => act(
            &desk,
            &args.tag,
            Act::Swap {
                part: args.part,
                with: args.with,
                there: args.there,
                old_mark: args.old_mark,
            },
        ),
        Some(Verb::Mend(args)) => act(&desk, &args.tag, Act::Mend(joined(&args.what))),
        Some(Verb::Shelve(args)) => {
            let shelf = if args.back { Shelf::Back } else { Shelf::Away };
            let written = desk.open()?.shelve(&args.tag, shelf)?;
            desk.answer("written", &written, || text::written(&written))
        }
        Some(Verb::Reseat(args)) => touch(&desk, args.places, Act::Reseat),
        Some(Verb::Resolder(args)) => touch(&desk, args.places, Act::Resolder),
        Some(Verb::Clean(args)) => touch(&desk, args.places, Act::Clean),
        Some(Verb::Settle(args)) => {
            let written = desk.open()?.settle(&args.tag, &joined(&args.truth))?;
            desk.answer("written", &written, || text::written(&written))
        }
        Some(Verb::Plan(args)) => plan(&desk, args.limits),
        Some(Verb::Order(args)) => order(&desk, args),
        Some(Verb::Receive(args)) => drawer::receive(&desk.open()?, &args, printer),
        Some(Verb::Offers(args)) => drawer::offers(&desk.open()?, args, printer),
        Some(Verb::Stock(args)) => drawer::stock(&desk.open()?, args, printer),
        Some(Verb::Strip(args)) => drawer::strip(&desk.open()?, &args, printer),
        Some(Verb::Undo(args)) => {
            let undone = desk.open()?.undo(args.line)?;
            desk.answer("undone", &undone, || text::undone(&undone))
        }
        Some(Verb::Journal(args)) => {
            let rows = Journal {
                rows: desk.open()?.journal(args.tag.as_deref())?,
            };
            desk.answer("journal", &rows, || text::journal(&rows.rows))
        }
        Some(Verb::Board(board)) => about_board(&desk, board),
        Some(Verb::Rehearse(args)) => {
            let view = rehearse::run(&desk.open()?, args, printer)?;
            desk.answer("rehearsal", &view, || text::rehearsal(&view))
        }
        Some(Verb::Serve(args)) => {
            pages::serve(Arc::new(desk.open()?), &args.address, printer)?;
            Ok(Outcome::Done)
        }
        Some(Verb::Demo(args)) => {
            demo::run(&args, printer)?;
            Ok(Outcome::Done)
        }
    }
}

/// No verb: the bench plan if there is a pile, else how to begin.
fn welcome(desk: &Desk<'_>) -> Result {
    if desk.dir.join("journal.db").exists() {
        return bench(desk);
    }
    begin(desk)
}

/// How to begin, and in which folder there is nothing yet.
fn begin(desk: &Desk<'_>) -> Result {
    let folder = desk.dir.display();
    let printer = desk.printer;
    printer.raw(&format!(
        "{WELCOME}\n\nThe workshop is {folder}; --workshop names another.\n"
    ))?;
    Ok(Outcome::Done)
}

const WELCOME: &str = "\
Nothing is taken in yet. Say what came in, the way you would write it on the box:
  boardwright take-in \"9 from Harbour Street, 270.00\"

Only looking? An invented club's pile, with its findings and five vendors:
  boardwright demo

All verbs: boardwright --help";

fn bench(desk: &Desk<'_>) -> Result {
    let workshop = desk.open()?;
    if workshop.is_empty()? && desk.printer.is_text() {
        return begin(desk);
    }
    let view = workshop.bench()?;
    desk.answer("bench", &view, || text::bench(&view))
}

fn take_in(desk: &Desk<'_>, args: args::TakeIn) -> Result {
    let exceptions = args.except.iter().flat_map(|line| line.split(';'));
    let exceptions = exceptions
        .map(str::trim)
        .filter(|one| !one.is_empty())
        .map(str::to_owned)
        .collect();
    let request = workshop::TakeIn {
        line: joined(&args.line),
        board: args.board,
        exceptions,
        tags: args.tags,
        dry_run: args.dry_run,
    };
    let taken = desk.open()?.take_in(&request)?;
    desk.answer("taken-in", &taken, || text::taken_in(&taken, args.dry_run))
}

/// A check over many machines; without one, which to take next.
fn round(desk: &Desk<'_>, args: args::Round) -> Result {
    let workshop = desk.open()?;
    let Some(check) = args.check else {
        let view = workshop.rounds()?;
        return desk.answer("rounds", &view, || text::rounds(&view));
    };
    let written = workshop.round_line(&check, &joined(&args.values))?;
    desk.answer("written", &written, || text::written(&written))
}

fn act(desk: &Desk<'_>, tag: &str, act: Act) -> Result {
    let written = desk.open()?.act(tag, &act)?;
    desk.answer("written", &written, || text::written(&written))
}

fn touch(desk: &Desk<'_>, places: Places, how: impl FnOnce(Vec<String>) -> Act) -> Result {
    let names = match places.block {
        Some(block) => vec![block],
        None => places.parts,
    };
    act(desk, &places.tag, how(names))
}

fn limits(limits: args::Limits) -> PlanLimits {
    PlanLimits {
        money: limits.money,
        evenings: limits.evenings,
        working: limits.working,
        pins: limits.pin,
        free: limits.free,
        without: limits.without,
        with: limits.with,
    }
}

/// A plan that is not proven is an answer, but not the one asked for: exit status 1.
fn plan(desk: &Desk<'_>, typed: args::Limits) -> Result {
    let view = desk.open()?.plan(&limits(typed))?;
    desk.printer.answer("plan", &view, || text::plan(&view))?;
    Ok(if view.proven {
        Outcome::Done
    } else {
        Outcome::No
    })
}

/// Nothing to order, or no proof: exit status 1.
fn order(desk: &Desk<'_>, args: Order) -> Result {
    let workshop = desk.open()?;
    if let Some(letter) = args.placed {
        let written = workshop.ordered(&letter)?;
        return desk.answer("written", &written, || text::written(&written));
    }
    let view = workshop.order(&limits(args.limits))?;
    desk.printer
        .answer("order", &view, || text::parcels(&view))?;
    Ok(if view.proven && !view.parcels.is_empty() {
        Outcome::Done
    } else {
        Outcome::No
    })
}

/// What is known of a board.
fn about_board(desk: &Desk<'_>, board: Board) -> Result {
    match board {
        Board::New {
            name,
            answers,
            usual,
            questions,
            dry_run,
        } => match name {
            Some(title) if !questions => {
                let answers = boards::ask(boards::answers(&answers)?, usual, desk.printer)?;
                let new = workshop::NewBoard { title, answers };
                let written = desk.open()?.new_board(&new, dry_run)?;
                desk.answer("board-written", &written, || boards::written(&written))
            }
            _ => {
                let questions = boards::Questions {
                    questions: workshop::board_questions(),
                };
                desk.answer("board-questions", &questions, || {
                    boards::questions(&questions)
                })
            }
        },
        Board::Split {
            board,
            block,
            pieces,
            dry_run,
        } => {
            let written = desk.open()?.split_board(&board, &block, &pieces, dry_run)?;
            desk.answer("board-written", &written, || boards::written(&written))
        }
        Board::Check { file } => boards::check(&file, desk.printer),
        Board::Explain { name, board } => {
            let told = desk.open()?.explain(board.as_deref(), &joined(&name))?;
            desk.answer("told", &told, || text::told(&told))
        }
        Board::ReadParts {
            board,
            file,
            devices,
            blocks,
            take,
        } => {
            let (name, bytes) = boards::list(&file)?;
            let request = ReadParts {
                name,
                devices,
                blocks,
                take,
            };
            let read = desk.open()?.read_parts(&board, &bytes, &request)?;
            desk.answer("parts-read", &read, || text::told(&read.says))
        }
        Board::Compare { old, new, take } => {
            let (old, new) = (boards::revision(&old)?, boards::revision(&new)?);
            let workshop = desk.open()?;
            let compared = workshop.compare_boards(old.as_ref(), new.as_ref(), take)?;
            desk.answer("compared", &compared, || text::told(&compared.says))
        }
        Board::ReadNets { board, file, take } => {
            let (name, bytes) = boards::list(&file)?;
            let read = desk.open()?.read_nets(&board, &name, &bytes, take)?;
            desk.answer("nets-read", &read, || text::told(&read.says))
        }
        Board::Net { name, board } => {
            let told = desk.open()?.net(board.as_deref(), name.as_deref())?;
            desk.answer("told", &told, || text::told(&told))
        }
        Board::Ohms { file, board } => {
            let list = file.as_deref().map(boards::list).transpose()?;
            let list = list.as_ref().map(|(name, bytes)| (&name[..], &bytes[..]));
            let told = desk.open()?.ohms(board.as_deref(), list)?;
            desk.answer("told", &told, || text::told(&told))
        }
        Board::Schema => {
            desk.printer.raw(&crate::schema::text())?;
            Ok(Outcome::Done)
        }
        Board::ExportNetwork { tag, to, what } => export_network(desk, &tag, to.as_deref(), what),
    }
}

/// Lines of the journal.
#[derive(Serialize)]
struct Journal {
    rows: Vec<JournalRow>,
}

/// The files that were written.
#[derive(Serialize)]
struct Files {
    files: Vec<String>,
}

fn export_network(desk: &Desk<'_>, tag: &str, to: Option<&Path>, what: NetworkPart) -> Result {
    let network = desk.open()?.export_network(tag)?;
    let Some(dir) = to else {
        let part = match what {
            _ if desk.printer.form == Form::Json => {
                return desk.answer("network", &network, Sheet::default);
            }
            NetworkPart::Network => &network.uai,
            NetworkPart::Evidence => &network.evidence,
            NetworkPart::Names => &network.names,
        };
        desk.printer.raw(part)?;
        return Ok(Outcome::Done);
    };
    let files = [
        ("uai", &network.uai),
        ("uai.evid", &network.evidence),
        ("names", &network.names),
    ];
    let mut written = Files { files: Vec::new() };
    std::fs::create_dir_all(dir).map_err(|error| unwritable(dir, &error))?;
    for (ending, content) in files {
        let path = dir.join(format!("{tag}.{ending}"));
        std::fs::write(&path, content).map_err(|error| unwritable(&path, &error))?;
        written.files.push(path.display().to_string());
    }
    desk.answer("files", &written, || {
        let mut sheet = Sheet::default();
        for file in &written.files {
            sheet.text(say(Voice::Plain, file.as_str()));
        }
        sheet
    })
}

/// A file or folder that cannot be written.
pub(crate) fn unwritable(path: &Path, error: &std::io::Error) -> anyhow::Error {
    let message = format!("`{}` cannot be written: {error}", path.display());
    stop(ErrorKind::Io, message, "name a folder that can be written")
}
