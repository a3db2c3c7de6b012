//! The bench in rehearsal: the verb, and how far it is on standard error.

use crate::printer::Printer;
use crate::sheet::{Voice, say};
use clap::Args;
use workshop::views::RehearsalView;
use workshop::{Played, Workshop};

/// Rehearse on piles drawn from a board: what the advice brings.
///
/// The same machines with the same faults are played with the program's advice and with four rules of thumb,
/// at the workshop's own rates and prices. Nothing is written to the journal.
/// A board of a few parts takes seconds. On a starter or a board of sixty parts a pile of nine takes a few
/// seconds, played in all five ways.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  boardwright rehearse
  boardwright rehearse --piles 20 --machines 9 --seed 7 --board ostrel-8-r2")]
pub(crate) struct Rehearse {
    /// Piles to play.
    #[arg(long, value_name = "N", default_value_t = 20)]
    piles: usize,
    /// Machines of each.
    #[arg(long, value_name = "N", default_value_t = 9)]
    machines: usize,
    /// The same seed gives the same piles.
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    seed: u64,
    /// Board profile, or a starter; without it the only board of the folder.
    #[arg(long, value_name = "BOARD")]
    board: Option<String>,
}

/// Tenths of the piles after which it says how far it is.
const TENTHS: usize = 10;

/// Plays, and says how far it is.
pub(crate) fn run(
    workshop: &Workshop,
    args: Rehearse,
    printer: &Printer,
) -> anyhow::Result<RehearsalView> {
    let request = workshop::Rehearse {
        board: args.board,
        piles: args.piles,
        machines: args.machines,
        seed: args.seed,
    };
    let tell = |played: Played| {
        if is_told(&played) {
            let Played { policy, piles, of } = played;
            printer.aside(say(Voice::Soft, format!("{policy}: {piles} of {of} piles")));
        }
    };
    Ok(workshop.rehearse(&request, &tell)?)
}

/// Each tenth of the piles, and the last.
fn is_told(played: &Played) -> bool {
    let tenth = |piles: usize| piles * TENTHS / played.of.max(1);
    tenth(played.piles) > tenth(played.piles - 1)
}
