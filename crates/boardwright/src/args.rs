//! The command line as typed: flags and words, no side effects.

use clap::{Args, Command, CommandFactory as _, FromArgMatches as _, Parser, Subcommand};
use std::ffi::OsString;
use std::path::PathBuf;

const AFTER: &str = "\
The workshop folder is DIR, else $BOARDWRIGHT_WORKSHOP, else the folder you are in if it holds a workshop.toml, \
else `boardwright` in your home folder; first use makes it.

Exit status: 0 done; 1 the answer is a plain no (nothing to order, no proof within the time, problems in a board file); \
2 an error, and nothing was written.

Examples:
  boardwright demo
  boardwright take-in \"9 from Harbour Street, 270.00\" --board ostrel-8-r2
  boardwright measure T-03 picture black
  boardwright show T-03";

/// Finds what is wrong with a pile of old computers, and what to do with each of them.
///
/// Take the pile in, type what you see, and be told what is probably wrong, what to look at next,
/// which machines to mend with what, and what to order.
#[derive(Debug, Parser)]
#[command(name = "boardwright", version, max_term_width = 80, after_long_help = AFTER, disable_help_subcommand = true)]
pub(crate) struct Line {
    #[command(flatten)]
    pub(crate) global: Global,
    #[command(subcommand)]
    pub(crate) verb: Option<Verb>,
}

/// What each verb understands.
#[derive(Debug, Args)]
#[command(next_help_heading = "For every verb")]
pub(crate) struct Global {
    /// The workshop folder.
    #[arg(long, global = true, value_name = "DIR")]
    pub(crate) workshop: Option<PathBuf>,
    /// Who works; else the first member of the club.
    #[arg(long, global = true, value_name = "NAME")]
    pub(crate) who: Option<String>,
    /// Answer in JSON, as docs/json.md describes.
    #[arg(long, global = true)]
    pub(crate) json: bool,
    /// No colour; $NO_COLOR says the same.
    #[arg(long, global = true, visible_alias = "no-color")]
    pub(crate) no_colour: bool,
    /// No more than the answer and errors.
    #[arg(long, global = true)]
    pub(crate) quiet: bool,
}

/// The verbs of the trade.
#[derive(Debug, Subcommand)]
pub(crate) enum Verb {
    TakeIn(TakeIn),
    Round(Round),
    Measure(Measure),
    Show(Show),
    WhatIf(WhatIf),
    /// Show the bench plan: every machine and what it says so far.
    #[command(after_long_help = "Example:\n  boardwright bench")]
    Bench,
    Power(Power),
    Pull(Pull),
    Fit(Fit),
    Swap(Swap),
    Reseat(Reseat),
    Resolder(Resolder),
    Clean(Clean),
    Mend(Mend),
    Settle(Settle),
    Shelve(Shelve),
    Strip(crate::drawer::Stripping),
    Plan(Plan),
    Order(Order),
    Receive(crate::drawer::Receiving),
    Offers(crate::drawer::Offers),
    Stock(crate::drawer::Stock),
    Undo(Undo),
    Journal(Journal),
    #[command(subcommand)]
    Board(Board),
    Rehearse(crate::rehearse::Rehearse),
    Serve(Serve),
    Demo(Demo),
}

/// Take a lot in: how many, from where, for how much.
///
/// The machines get the next free tags.
/// Without --board they get the starter profile of twelve blocks, which needs no schematic.
/// "the mule" is a good board of your own, in which chips of the pile are tried.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright take-in \"9 from Harbour Street, 270.00\" --board ostrel-8-r2
  boardwright take-in \"2 from the attic, 0\" --except \"T-11 U9 absent; T-11 battery leaked\"
  boardwright take-in \"the mule\" --board ostrel-8-r2")]
pub(crate) struct TakeIn {
    /// The line, the way you would write it on the box.
    #[arg(required = true, num_args = 1.., value_name = "LINE")]
    pub(crate) line: Vec<String>,
    /// Board profile, or a starter.
    #[arg(long, value_name = "BOARD")]
    pub(crate) board: Option<String>,
    /// What is different: "T-06 U9 absent; T-06 battery leaked". May be given again.
    #[arg(long, value_name = "EXCEPTIONS", allow_hyphen_values = true)]
    pub(crate) except: Vec<String>,
    /// First tag, if not the next free one.
    #[arg(long, value_name = "TAG")]
    pub(crate) tags: Option<String>,
    /// Say what would be written, write nothing.
    #[arg(long)]
    pub(crate) dry_run: bool,
}

/// Say what to look at next, or write one check over many machines.
///
/// Without a check: the next rounds, set-ups paid once for all machines that share them.
/// With one: one value a machine in the order of the tags; `skip` for a machine left out.
/// Or name the machines: "T-03=4.98; T-05=black".
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright round
  boardwright round reset 142 150 139 144 138 skip
  boardwright round picture \"T-03=black; T-05=white\"")]
pub(crate) struct Round {
    /// The check.
    #[arg(value_name = "CHECK", requires = "values")]
    pub(crate) check: Option<String>,
    /// Values.
    #[arg(num_args = 1.., value_name = "VALUE")]
    pub(crate) values: Vec<String>,
}

/// Write what one machine showed.
///
/// Readings as you write them, outcomes by their word, several separated by `;`.
#[derive(Debug, Args)]
#[command(
    visible_alias = "m",
    after_long_help = "Examples:
  boardwright measure T-03 picture black
  boardwright measure T-03 \"+5v 4.98; sound three; minutes 12\""
)]
pub(crate) struct Measure {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// The line.
    #[arg(required = true, num_args = 1.., value_name = "LINE")]
    pub(crate) line: Vec<String>,
}

/// Show a machine's job card.
///
/// What is probably wrong, the next three steps with their minutes and what they save,
/// the suspects with their chances, the explanations, and the best course.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright show T-03
  boardwright show T-03 --journal")]
pub(crate) struct Show {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// With its journal.
    #[arg(long)]
    pub(crate) journal: bool,
}

/// Suppose something, and see what would follow; nothing is written.
///
/// An act (`pull U9`, `fit U9 new`, `swap U9 mule`, `reseat U9`, `clean J7`, `mend track`), a check with what it shows
/// (`sound none`), a check alone (`sound`: what each answer would change), or a truth (`settle U9.dead`).
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright what-if T-03 pull U9
  boardwright what-if T-03 sound none
  boardwright what-if T-03 sound")]
pub(crate) struct WhatIf {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// What is supposed.
    #[arg(required = true, num_args = 1.., value_name = "WHAT")]
    pub(crate) line: Vec<String>,
}

/// Write that a machine was switched on or off.
///
/// What comes and goes may show at one power-up and not at the next, so each counts by itself.
/// The first look after a while begins one anyway; say it when you switch off and on between two looks.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright power T-07 off
  boardwright power T-07 on --bench")]
pub(crate) struct Power {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// On or off.
    #[arg(value_enum, value_name = "ON|OFF")]
    pub(crate) switch: Switch,
    /// On a bench supply instead of its own.
    #[arg(long)]
    pub(crate) bench: bool,
}

/// On or off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Switch {
    /// Switched on.
    On,
    /// Switched off.
    Off,
}

/// Write that the chips of two positions changed places.
///
/// With another machine, with the mule, or with a loose chip by its mark.
/// What each board shows afterwards speaks of both chips; swap again to put them back.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright swap T-08 U26 mule
  boardwright swap T-03 U9 T-05
  boardwright swap T-03 U9 blue-dot --old-mark T-03-U9
  boardwright swap T-04 U16 T-04 U17")]
pub(crate) struct Swap {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// The position.
    #[arg(value_name = "PART")]
    pub(crate) part: String,
    /// Another machine, `mule`, or the mark of a loose chip.
    #[arg(value_name = "WITH")]
    pub(crate) with: String,
    /// The position there, if it is another.
    #[arg(value_name = "PART THERE")]
    pub(crate) there: Option<String>,
    /// Mark put on the chip that comes out, when a loose one goes in.
    #[arg(long, value_name = "MARK", conflicts_with = "there")]
    pub(crate) old_mark: Option<String>,
}

/// Write that a track, a via or a cable was mended.
///
/// It ends the fault that the profile does not know.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:
  boardwright mend T-03 \"track U7.3 to U12.5\"")]
pub(crate) struct Mend {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// What was mended.
    #[arg(required = true, num_args = 1.., value_name = "WHAT")]
    pub(crate) what: Vec<String>,
}

/// Put a machine away, or take it back to the bench.
///
/// Bench plan, rounds and plan leave it out; its findings stay, and its chips are not given away.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright shelve T-05
  boardwright shelve T-05 --back")]
pub(crate) struct Shelve {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// Take it back to the bench.
    #[arg(long)]
    pub(crate) back: bool,
}

/// Write that a chip came out.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:
  boardwright pull T-03 U9 --mark dot")]
pub(crate) struct Pull {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// The position.
    #[arg(value_name = "PART")]
    pub(crate) part: String,
    /// Mark put on the chip: a dot, a sticker, a bag.
    #[arg(long, value_name = "MARK")]
    pub(crate) mark: Option<String>,
}

/// Write that a chip went in.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright fit T-03 U9 --works 0.95 --old-mark dot
  boardwright fit T-03 U9 --mark dot")]
pub(crate) struct Fit {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// The position.
    #[arg(value_name = "PART")]
    pub(crate) part: String,
    /// Chance that a chip from outside is good, `0.9` or `90%`; 0.97 if it is not said.
    #[arg(long, value_name = "CHANCE", conflicts_with = "mark", value_parser = chance)]
    pub(crate) works: Option<f64>,
    /// The marked chip that goes in.
    #[arg(long, value_name = "MARK")]
    pub(crate) mark: Option<String>,
    /// Mark put on the chip that comes out.
    #[arg(long, value_name = "MARK")]
    pub(crate) old_mark: Option<String>,
}

/// Positions or a block that something was done to.
#[derive(Debug, Args)]
pub(crate) struct Places {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// Positions.
    #[arg(value_name = "PART", required_unless_present = "block")]
    pub(crate) parts: Vec<String>,
    /// A whole block.
    #[arg(long, value_name = "BLOCK", conflicts_with = "parts")]
    pub(crate) block: Option<String>,
}

/// Write that chips were pulled and pressed in again.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright reseat T-03 U9 U12
  boardwright reseat T-03 --block cpu")]
pub(crate) struct Reseat {
    #[command(flatten)]
    pub(crate) places: Places,
}

/// Write that joints were soldered again.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:
  boardwright resolder T-03 J2")]
pub(crate) struct Resolder {
    #[command(flatten)]
    pub(crate) places: Places,
}

/// Write that contacts were cleaned.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:
  boardwright clean T-03 J2")]
pub(crate) struct Clean {
    #[command(flatten)]
    pub(crate) places: Places,
}

/// Write the truth that was found.
///
/// A finding that cannot err: a part's mode, a joint, or that the machine works.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright settle T-03 U9.dead
  boardwright settle T-01 works")]
pub(crate) struct Settle {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: String,
    /// What was found.
    #[arg(required = true, num_args = 1.., value_name = "TRUTH")]
    pub(crate) truth: Vec<String>,
}

fn chance(text: &str) -> Result<f64, &'static str> {
    workshop::parse_chance(text).ok_or("expected a chance such as 0.9 or 90%")
}

/// Limits of the plan.
#[derive(Debug, Args)]
pub(crate) struct Limits {
    /// Money that may be spent from here on; `none` lifts the limit. Else the limit used last,
    /// less what was ordered since.
    #[arg(long, value_name = "MONEY")]
    pub(crate) money: Option<String>,
    /// Evenings that may be spent; 0 lifts the limit. Else the limit used last.
    #[arg(long, value_name = "EVENINGS")]
    pub(crate) evenings: Option<f64>,
    /// Machines expected to work at least; 0 lifts the limit.
    #[arg(long, value_name = "NUMBER")]
    pub(crate) working: Option<f64>,
    /// Settle a decision: TAG and `fix`, `hold`, `donor`, `sell` or `keep`, or
    /// TAG, PART and the way to put it right, as `used-original`.
    #[arg(long, value_name = "DECISION")]
    pub(crate) pin: Vec<String>,
    /// Let the settled decisions about a machine go; `all` of them.
    #[arg(long, value_name = "TAG")]
    pub(crate) free: Vec<String>,
    /// Order nothing from this vendor.
    #[arg(long, value_name = "VENDOR")]
    pub(crate) without: Vec<String>,
    /// Order from this vendor again; `all` of them.
    #[arg(long, value_name = "VENDOR")]
    pub(crate) with: Vec<String>,
}

/// Decide what to do with each machine, within money and evenings.
///
/// Limits and settled decisions are remembered, and each is shown with what it costs.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright plan --money 120 --evenings 3
  boardwright plan --pin \"T-06 keep\" --pin \"T-07 U9 used-original\"
  boardwright plan --free T-06 --without farside")]
pub(crate) struct Plan {
    #[command(flatten)]
    pub(crate) limits: Limits,
}

/// List the parcels of the plan, proven cheapest.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright order
  boardwright order --without farside
  boardwright order --placed A")]
pub(crate) struct Order {
    #[command(flatten)]
    pub(crate) limits: Limits,
    /// Write that this parcel was ordered, by itself: limits change the parcels first.
    #[arg(
        long,
        value_name = "PARCEL",
        conflicts_with_all = ["money", "evenings", "working", "pin", "free", "without", "with"]
    )]
    pub(crate) placed: Option<String>,
}

/// Take a journal line back: your last one, or the one named.
///
/// The line stays in the journal, struck out; nothing is ever deleted.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright undo
  boardwright undo 17")]
pub(crate) struct Undo {
    /// Number of the line, as `journal` prints it.
    #[arg(value_name = "LINE")]
    pub(crate) line: Option<i64>,
}

/// Show what was written, oldest first: of one machine, or all.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright journal
  boardwright journal T-03")]
pub(crate) struct Journal {
    /// The machine.
    #[arg(value_name = "TAG")]
    pub(crate) tag: Option<String>,
}

/// Begin, split, read, check and explain board profiles.
#[derive(Debug, Subcommand)]
pub(crate) enum Board {
    /// Begin a board profile from the answers to a few questions; no schematic is needed.
    ///
    /// What is not answered by an option is asked, if somebody sits at the terminal, else it is as usual for such a board.
    /// The profile has one part for each block; `board split` takes a block to pieces when its chips are known.
    #[command(after_long_help = "Examples:
  boardwright board new \"Ostrel 8\" --answer cpu=z80 --answer ram=dram-three
  boardwright board new \"Ostrel 8\" --usual
  boardwright board new --questions")]
    New {
        /// What the board is called.
        #[arg(value_name = "NAME", required_unless_present = "questions")]
        name: Option<String>,
        /// An answer, such as cpu=z80. May be given again.
        #[arg(long = "answer", short = 'a', value_name = "QUESTION=ANSWER")]
        answers: Vec<String>,
        /// Ask nothing: what is not answered is as usual.
        #[arg(long)]
        usual: bool,
        /// Print the questions with their answers.
        #[arg(long, conflicts_with = "name")]
        questions: bool,
        /// Print the profile, write nothing.
        #[arg(long)]
        dry_run: bool,
    },
    /// Take a block of a board profile to pieces: its chips share what could be wrong with it.
    ///
    /// Findings keep their meaning, and the chance that something of the block is bad stays what it was.
    /// A piece is a position or several, a device, and `socket` or `soldered` where that is known.
    #[command(after_long_help = "Example:
  boardwright board split ostrel-8 video \"U21 6845 socket; U22-U25 74ls166\"")]
    Split {
        /// The board.
        #[arg(value_name = "BOARD")]
        board: String,
        /// The block, or the part.
        #[arg(value_name = "BLOCK")]
        block: String,
        /// The pieces, with `;` between them.
        #[arg(value_name = "PIECES")]
        pieces: String,
        /// Say what would change, write nothing.
        #[arg(long)]
        dry_run: bool,
    },
    /// Read a board file and tell everything that is wrong with it, then what smells.
    ///
    /// A smell is allowed but hardly meant: a function nothing tests, a part with no mode, two modes no check can tell apart,
    /// a check that can never change a decision. Exit status 1 if there are problems; smells alone are none.
    #[command(after_long_help = "Example:
  boardwright board check boards/ostrel-8-r2.toml")]
    Check {
        /// The file.
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// Explain a part, a function, a rail or a check: what it needs, what it spoils, who tests it.
    #[command(after_long_help = "Examples:
  boardwright board explain U7
  boardwright board explain clock --board ostrel-8-r2")]
    Explain {
        /// Part, function, rail or check.
        #[arg(required = true, num_args = 1.., value_name = "NAME")]
        name: Vec<String>,
        /// The board; without it the only one of the workshop.
        #[arg(long, value_name = "BOARD")]
        board: Option<String>,
    },
    /// Read a parts list, as a table or as typed lines, and take its parts into a board's file.
    ///
    /// Shows how the list is understood and which device each name means; writes only with --take, and all of it or nothing.
    /// A table may have tabs, semicolons or commas; a line `U22-U25, U30: 74LS166` does as well.
    #[command(after_long_help = "Examples:
  boardwright board read-parts ostrel-8-r2 parts.csv
  boardwright board read-parts ostrel-8-r2 parts.csv --as OV-2=6845 --block \"video: U21 U22-U25\" --take")]
    ReadParts {
        /// The board, one of the workshop's own.
        #[arg(value_name = "BOARD")]
        board: String,
        /// The list; `-` is what is typed or piped in.
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// Which device a name of the list means. May be given again.
        #[arg(long = "as", value_name = "NAME=DEVICE")]
        devices: Vec<String>,
        /// The block that positions belong to. May be given again.
        #[arg(long = "block", value_name = "BLOCK: POSITIONS")]
        blocks: Vec<String>,
        /// Write the parts into the board's file.
        #[arg(long)]
        take: bool,
    },
    /// Compare two revisions of a board: what changed in parts, functions and checks, and what it means for findings.
    ///
    /// Each is a board of the workshop or a file. Where machines were taken in as the first, it says which of their lines would
    /// no longer count and how the leading suspects change. With --take the second, a file, takes the place of the first; the old
    /// file is kept beside it, and no journal line is ever lost.
    #[command(after_long_help = "Examples:
  boardwright board compare ostrel-8-r2 ostrel-8-r3
  boardwright board compare ostrel-8-r2 mended.toml --take")]
    Compare {
        /// The old revision.
        #[arg(value_name = "OLD")]
        old: String,
        /// The new revision.
        #[arg(value_name = "NEW")]
        new: String,
        /// Put the new file in the place of the old one.
        #[arg(long)]
        take: bool,
    },
    /// Read the nets of a board: which pins are one wire.
    ///
    /// Test records as in IPC-D-356, or a plain list with a line `CLK: U1.6 U12.3` for each net. They are kept beside the board's
    /// file; then check texts name the net at a pin, and a part that does not touch the bus cannot hold it.
    #[command(after_long_help = "Examples:
  boardwright board read-nets ostrel-8-r2 nets.txt
  boardwright board read-nets ostrel-8-r2 board.ipc --take")]
    ReadNets {
        /// The board, one of the workshop's own.
        #[arg(value_name = "BOARD")]
        board: String,
        /// The list; `-` is what is typed or piped in.
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// Keep them.
        #[arg(long)]
        take: bool,
    },
    /// Show a net: who is on it, and where to probe it, easiest first; without a name, the buses and who can hold them.
    #[command(after_long_help = "Examples:
  boardwright board net
  boardwright board net CLK
  boardwright board net U1.6 --board ostrel-8-r2")]
    Net {
        /// The net, or a pin of it.
        #[arg(value_name = "NET|PIN")]
        name: Option<String>,
        /// The board; without it the only one of the workshop.
        #[arg(long, value_name = "BOARD")]
        board: Option<String>,
    },
    /// Compare resistances to ground of a good board and a suspect one, pin by pin; without a file, list the pins to measure.
    #[command(after_long_help = "Examples:
  boardwright board ohms --board ostrel-8-r2
  boardwright board ohms readings.txt")]
    Ohms {
        /// Lines such as `U1.6 4.52k 61`, the good board first; `-` is what is typed or piped in.
        #[arg(value_name = "FILE")]
        file: Option<PathBuf>,
        /// The board; without it the only one of the workshop.
        #[arg(long, value_name = "BOARD")]
        board: Option<String>,
    },
    /// Write the shape of a board file as a JSON Schema, for an editor that completes and checks while you type.
    #[command(after_long_help = "Example:
  boardwright board schema")]
    Schema,
    /// Write a machine's fault network, in the open UAI format.
    ///
    /// Three files: TAG.uai holds the network, TAG.uai.evid the findings, TAG.names what each variable is.
    /// Without --to the network is written to standard output.
    #[command(after_long_help = "Examples:
  boardwright board export-network T-03 --to network
  boardwright board export-network T-03 --what names")]
    ExportNetwork {
        /// The machine.
        #[arg(value_name = "TAG")]
        tag: String,
        /// Folder for the three files.
        #[arg(long, value_name = "DIR")]
        to: Option<PathBuf>,
        /// What to write to standard output.
        #[arg(long, value_enum, default_value = "network", conflicts_with = "to")]
        what: NetworkPart,
    },
}

/// One of the three files of a network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum NetworkPart {
    /// Variables and tables.
    Network,
    /// What was found.
    Evidence,
    /// What each variable is.
    Names,
}

/// Where pages are served.
#[derive(Debug, Args)]
pub(crate) struct Address {
    /// Port; the next free one above it if it is taken.
    #[arg(long, default_value_t = 8017)]
    pub(crate) port: u16,
    /// Open the pages in the browser.
    #[arg(long)]
    pub(crate) open: bool,
    /// Address to listen at; any but 127.0.0.1 lets others in the house read and write.
    #[arg(long, value_name = "ADDR", default_value = "127.0.0.1")]
    pub(crate) bind: std::net::IpAddr,
}

/// Serve the pages, on this computer only unless asked otherwise.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright serve --open
  boardwright serve --bind 192.168.1.20 --port 8080")]
pub(crate) struct Serve {
    #[command(flatten)]
    pub(crate) address: Address,
}

/// Show an invented club's pile, its findings and its vendors.
///
/// Makes its own folder, plays the findings, prints this evening's plan and serves the pages.
/// A demo folder is made afresh each time; a folder that is not a demo's is never touched.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright demo --open
  boardwright demo --once")]
pub(crate) struct Demo {
    /// End after printing.
    #[arg(long, conflicts_with = "open")]
    pub(crate) once: bool,
    /// The demo's folder.
    #[arg(long, value_name = "DIR", default_value = "boardwright-demo")]
    pub(crate) dir: PathBuf,
    #[command(flatten)]
    pub(crate) address: Address,
}

/// The verbs in the order of the work, for the help of the program itself.
const GROUPS: [(&str, &[&str]); 4] = [
    (
        "The pile",
        &["take-in", "bench", "show", "what-if", "journal"],
    ),
    (
        "At the bench",
        &[
            "measure", "round", "power", "pull", "fit", "swap", "reseat", "resolder", "clean",
            "mend", "settle", "shelve", "strip", "undo",
        ],
    ),
    (
        "The decision",
        &["plan", "order", "receive", "offers", "stock"],
    ),
    ("Beside the work", &["serve", "demo", "board", "rehearse"]),
];

/// The parser, its verbs grouped in the help.
pub(crate) fn parser() -> Command {
    let mut command = Line::command();
    let mut verbs = String::new();
    for (title, names) in GROUPS {
        verbs.push_str(&format!("{title}:\n"));
        for name in names {
            let about = command.find_subcommand(name).and_then(Command::get_about);
            verbs.push_str(&format!(
                "  {name:<8}  {}\n",
                about.map(ToString::to_string).unwrap_or_default()
            ));
        }
        verbs.push('\n');
    }
    for name in GROUPS.iter().flat_map(|(_, names)| *names) {
        command = command.mut_subcommand(name, |verb| verb.hide(true));
    }
    command
        .override_usage("boardwright [OPTIONS] [VERB]")
        .help_template(format!("{{about-with-newline}}\n{{usage-heading}} {{usage}}\n\n{verbs}{{all-args}}{{after-help}}"))
}

/// Reads a command line.
pub(crate) fn read(words: impl IntoIterator<Item = OsString>) -> Result<Line, clap::Error> {
    let words = words.into_iter().map(|word| match word.into_string() {
        Ok(word) => shield(word).into(),
        Err(word) => word,
    });
    let mut parser = parser();
    let matches = parser.try_get_matches_from_mut(words)?;
    Line::from_arg_matches(&matches).map_err(|error| error.format(&mut parser))
}

/// A minus sign that no flag begins with.
const MINUS: char = '\u{2212}';

/// Lets values begin with a minus (`-5v -5.02`): no flag begins with a minus and a digit.
fn shield(word: String) -> String {
    match word.strip_prefix('-') {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit() || c == '.') => {
            format!("{MINUS}{rest}")
        }
        _ => word,
    }
}

/// The words of a line as one text, minus signs as they were typed.
pub(crate) fn joined(words: &[String]) -> String {
    let plain = |word: &String| match word.strip_prefix(MINUS) {
        Some(rest) => format!("-{rest}"),
        None => word.clone(),
    };
    words.iter().map(plain).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(words: &[&str]) -> Result<Line, clap::Error> {
        read(
            std::iter::once("boardwright")
                .chain(words.iter().copied())
                .map(OsString::from),
        )
    }

    fn check_measure(words: &[&str], tag: &str, line: &str) {
        match parse(words).map(|line| line.verb) {
            Ok(Some(Verb::Measure(measure))) => {
                assert_eq!(
                    (measure.tag.as_str(), joined(&measure.line).as_str()),
                    (tag, line)
                );
            }
            other => panic!("{words:?}: {other:?}"),
        }
    }

    #[test]
    fn the_definition_holds() {
        parser().debug_assert();
    }

    #[test]
    fn measure_joins_its_words() {
        check_measure(
            &["measure", "T-03", "picture", "black"],
            "T-03",
            "picture black",
        );
        check_measure(
            &["measure", "T-03", "picture black"],
            "T-03",
            "picture black",
        );
        check_measure(
            &["m", "T-03", "+5v", "4.98;", "picture", "black"],
            "T-03",
            "+5v 4.98; picture black",
        );
        check_measure(&["measure", "T-03", "-5v", "-5.02"], "T-03", "-5v -5.02");
        check_measure(&["measure", "T-03", "-.5"], "T-03", "-.5");
        check_measure(
            &["measure", "T-03", "picture", "black", "--json"],
            "T-03",
            "picture black",
        );
        check_measure(
            &["--json", "measure", "T-03", "picture", "black"],
            "T-03",
            "picture black",
        );
        check_measure(
            &["measure", "T-03", "--who", "Ines", "picture", "black"],
            "T-03",
            "picture black",
        );
    }

    #[test]
    fn a_finding_fits_in_forty_characters() {
        for line in [
            "boardwright measure T-03 picture black",
            "boardwright m T-03 \"+5v 4.98 V\"",
            "boardwright m T-03 sound three",
        ] {
            assert!(line.len() <= 40, "{line}: {}", line.len());
        }
    }

    #[test]
    fn every_verb_is_in_one_group() {
        let line = Line::command();
        let mut verbs: Vec<&str> = line.get_subcommands().map(Command::get_name).collect();
        let mut grouped: Vec<&str> = GROUPS
            .iter()
            .flat_map(|(_, names)| *names)
            .copied()
            .collect();
        verbs.sort_unstable();
        grouped.sort_unstable();
        assert_eq!(grouped, verbs);
    }

    #[test]
    fn every_verb_has_an_example() {
        fn visit(command: &clap::Command) {
            for verb in command.get_subcommands() {
                if verb.has_subcommands() {
                    visit(verb);
                    continue;
                }
                let after = verb
                    .get_after_long_help()
                    .map(ToString::to_string)
                    .unwrap_or_default();
                assert!(
                    after.contains("  boardwright "),
                    "{}: {after}",
                    verb.get_name()
                );
                let examples = after
                    .lines()
                    .filter_map(|line| line.trim().strip_prefix("boardwright "));
                for example in examples {
                    assert!(parse(&split(example)).is_ok(), "{example}");
                }
            }
        }
        visit(&Line::command());
    }

    /// Words of an example, quotes holding words together.
    fn split(example: &str) -> Vec<&str> {
        let quoted = example.split('"').enumerate();
        let words = quoted.flat_map(|(nth, piece)| {
            if nth % 2 == 1 {
                vec![piece]
            } else {
                piece.split_whitespace().collect()
            }
        });
        words.collect()
    }
}
