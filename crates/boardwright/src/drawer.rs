//! Offers, parcels that come in, the drawer, donors: the verbs with which things come and go.

use crate::args::joined;
use crate::printer::Printer;
use crate::problem::stop;
use crate::sheet::Sheet;
use crate::{Outcome, text};
use clap::Args;
use serde::Serialize;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use workshop::{ErrorKind, OffersIn, Receive, StockChange, Strip, Workshop};

type Result<T = Outcome> = anyhow::Result<T>;

/// Say what vendors ask, or take their prices in.
///
/// Without a vendor: what they ask now, what is worth asking again, and what an item cost over time.
/// With a vendor and a line: that price, `8 at 3.40` for the price from eight on.
/// With a file (or - for what is pasted in): a table or a cart.
/// What the columns are is guessed and shown; --take writes it.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright offers
  boardwright offers --item 4164-150ns
  boardwright offers northgate 4164-150ns 8 at 3.40
  boardwright offers northgate --file cart.csv
  boardwright offers northgate --file cart.csv --columns \"code, name, quantity, each, -\" --item 3=4164-150ns --take")]
pub(crate) struct Offers {
    /// The vendor.
    #[arg(value_name = "VENDOR")]
    vendor: Option<String>,
    /// A price: name, then price, or `8 at 3.40`; `pack 2`, `least 5`, `stock 40` may follow.
    #[arg(value_name = "LINE", requires = "vendor", conflicts_with = "file")]
    line: Vec<String>,
    /// A file to read; - is what is pasted in.
    #[arg(long, value_name = "FILE", requires = "vendor")]
    file: Option<PathBuf>,
    /// What the columns are, if the guess is wrong.
    #[arg(long, value_name = "WORDS", requires = "file")]
    columns: Option<String>,
    /// The item that a line means, LINE=ITEM; may be given again. Without a vendor: the item to look back at.
    #[arg(long, value_name = "ITEM")]
    item: Vec<String>,
    /// The day on which the prices were seen, if not today.
    #[arg(long, value_name = "DAY", requires = "vendor")]
    seen: Option<String>,
    /// Write what was read from the file.
    #[arg(long, requires = "file")]
    take: bool,
    /// Say what would be written, write nothing.
    #[arg(long, requires = "line")]
    dry_run: bool,
}

/// Write that a parcel came in: wholly, in part, or with wrong items.
///
/// What came goes into the drawer, and the plan reckons with it.
#[derive(Debug, Args)]
#[command(
    name = "receive",
    after_long_help = "Examples:
  boardwright receive A
  boardwright receive A \"3 4164-150ns; 2 74LS04\"
  boardwright receive A \"3 4164-150ns\" --no-more"
)]
pub(crate) struct Receiving {
    /// The parcel's letter.
    #[arg(value_name = "PARCEL")]
    letter: String,
    /// What was in it, if not all: "3 4164-150ns; 2 74LS04".
    #[arg(value_name = "WHAT")]
    what: Vec<String>,
    /// Nothing more will come of it.
    #[arg(long)]
    no_more: bool,
    /// Say what would be written, write nothing.
    #[arg(long)]
    dry_run: bool,
}

/// Say what is in the drawer, put something in, or take it out.
///
/// The plan uses what is there before it buys.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright stock
  boardwright stock --add \"3 4164-150ns\" --note \"from the attic\"
  boardwright stock --add \"2 z80a\" --works 0.8
  boardwright stock --out \"1 4164-150ns\"
  boardwright stock --built \"2 ob-2\"
  boardwright stock --wish \"5 dip-socket-40\"")]
pub(crate) struct Stock {
    /// Put this in: how many, and of what item or device.
    #[arg(long, value_name = "WHAT")]
    add: Option<String>,
    /// Take this out.
    #[arg(long, value_name = "WHAT", conflicts_with = "add")]
    out: Option<String>,
    /// These boards were built and are good: they go in, and their parts out.
    #[arg(long, value_name = "WHAT", conflicts_with_all = ["add", "out", "works", "note"])]
    built: Option<String>,
    /// Wanted for the drawer: ordered along where that makes the order no dearer.
    #[arg(long, value_name = "WHAT", conflicts_with_all = ["add", "out", "built", "works", "note"])]
    wish: Option<String>,
    /// Wanted no more.
    #[arg(long, value_name = "ITEM", conflicts_with_all = ["add", "out", "built", "wish", "works", "note"])]
    no_wish: Option<String>,
    /// Chance that one of them is good, if it is no matter of course.
    #[arg(long, value_name = "CHANCE")]
    works: Option<String>,
    /// Where they come from, or go.
    #[arg(long, value_name = "TEXT", default_value = "")]
    note: String,
}

/// Say which good chips a donor would give, or write that they came out.
///
/// Each gets a mark and keeps the chance that it is good; the machine is put away.
/// Without positions: all good chips in sockets.
#[derive(Debug, Args)]
#[command(
    name = "strip",
    after_long_help = "Examples:
  boardwright strip T-05
  boardwright strip T-05 U9 U12 --take"
)]
pub(crate) struct Stripping {
    /// The machine.
    #[arg(value_name = "TAG")]
    tag: String,
    /// Positions.
    #[arg(value_name = "PART")]
    parts: Vec<String>,
    /// Good chips that are soldered in, too.
    #[arg(long, conflicts_with = "parts")]
    soldered: bool,
    /// Write it.
    #[arg(long)]
    take: bool,
}

fn answer<T: Serialize>(
    printer: &Printer,
    schema: &str,
    view: &T,
    sheet: impl FnOnce() -> Sheet,
) -> Result {
    printer.answer(schema, view, sheet)?;
    Ok(Outcome::Done)
}

/// Prices in, or what is asked now.
pub(crate) fn offers(workshop: &Workshop, args: Offers, printer: &Printer) -> Result {
    let Some(vendor) = args.vendor else {
        if let Some(item) = args.item.first() {
            let view = workshop.history(item)?;
            return answer(printer, "history", &view, || text::history(&view));
        }
        let view = workshop.offers()?;
        return answer(printer, "offers", &view, || text::offers(&view));
    };
    let typed = !args.line.is_empty();
    let (text, file) = match &args.file {
        Some(path) => file(path)?,
        None if typed => (joined(&args.line).into_bytes(), None),
        None => {
            let hint = format!(
                "add a line such as `4164-150ns 3.90`, or `--file cart.csv`, after `offers {vendor}`"
            );
            return Err(stop(
                ErrorKind::Usage,
                "expected a price or a file, found neither",
                hint,
            ));
        }
    };
    let asked = OffersIn {
        vendor,
        text,
        file,
        typed,
        columns: args.columns,
        items: args
            .item
            .iter()
            .map(|one| named(one))
            .collect::<Result<_>>()?,
        seen: args.seen,
        take: args.take || typed && !args.dry_run,
    };
    let view = workshop.offers_in(&asked)?;
    answer(printer, "offers-read", &view, || text::offers_read(&view))
}

/// `3=4164-150ns`.
fn named(text: &str) -> Result<(usize, String)> {
    let pair = text.split_once('=');
    let pair =
        pair.and_then(|(line, item)| Some((line.trim().parse().ok()?, item.trim().to_owned())));
    pair.ok_or_else(|| {
        let problem =
            format!("expected a line and its item such as `3=4164-150ns`, found `{text}`");
        stop(ErrorKind::Usage, problem, "the lines are counted from 1")
    })
}

/// The content of a file and its name, or what is pasted in.
fn file(path: &Path) -> Result<(Vec<u8>, Option<String>)> {
    let unreadable = |error: &std::io::Error| {
        let problem = format!("`{}` cannot be read: {error}", path.display());
        stop(
            ErrorKind::Io,
            problem,
            "name a file that can be read, or - for what is pasted in",
        )
    };
    if path == Path::new("-") {
        let mut text = Vec::new();
        std::io::stdin()
            .read_to_end(&mut text)
            .map_err(|error| unreadable(&error))?;
        return Ok((text, None));
    }
    let text = std::fs::read(path).map_err(|error| unreadable(&error))?;
    let name = path
        .file_name()
        .map(|name| name.to_string_lossy().into_owned());
    Ok((text, name))
}

/// A parcel that came in.
pub(crate) fn receive(workshop: &Workshop, args: &Receiving, printer: &Printer) -> Result {
    let view = workshop.receive(&Receive {
        letter: args.letter.clone(),
        what: joined(&args.what),
        closed: args.no_more,
        dry_run: args.dry_run,
    })?;
    answer(printer, "came-in", &view, || text::came_in(&view))
}

/// The drawer.
pub(crate) fn stock(workshop: &Workshop, args: Stock, printer: &Printer) -> Result {
    if let Some(built) = &args.built {
        let written = workshop.built(built)?;
        return answer(printer, "written", &written, || text::written(&written));
    }
    let wish = args.wish.as_ref().map(|wish| (wish, false));
    if let Some((what, end)) = wish.or(args.no_wish.as_ref().map(|wish| (wish, true))) {
        let written = workshop.wish(what, end)?;
        return answer(printer, "written", &written, || text::written(&written));
    }
    let (what, out) = match (args.add, args.out) {
        (Some(what), _) => (what, false),
        (None, Some(what)) => (what, true),
        (None, None) => {
            let view = workshop.stock()?;
            return answer(printer, "stock", &view, || text::stock(&view));
        }
    };
    let written = workshop.keep(&StockChange {
        what,
        out,
        works: args.works,
        note: args.note,
    })?;
    answer(printer, "written", &written, || text::written(&written))
}

/// A donor.
pub(crate) fn strip(workshop: &Workshop, args: &Stripping, printer: &Printer) -> Result {
    let view = workshop.strip(&Strip {
        tag: args.tag.clone(),
        parts: args.parts.clone(),
        soldered: args.soldered,
        take: args.take,
    })?;
    answer(printer, "strip", &view, || text::strip(&view))
}
