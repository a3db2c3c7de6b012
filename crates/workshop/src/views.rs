//! What the command line and the pages show: plain sentences and figures, ready to be printed.
//!
//! These types are the documented JSON of every `--json` answer: field names are keys, `None` is `null`.
//! Chances are numbers in 0..=1, money is text with its minor digits (`"73.67"`), minutes are numbers.

use serde::Serialize;

pub use crate::offers::{
    History, OfferRow, OffersRead, OffersView, PastPrice, ReadRow, VendorOffers,
};
pub use crate::receive::CameIn;
pub use crate::rehearse::{Figure, Lead, RehearsalView, RehearsedPolicy, Sum, Where};
pub use crate::rounds::{Again, Aside, RoundLook, RoundToMake, RoundsView};
pub use crate::stock::{StockRow, StockView};
pub use crate::strip::{StripRow, StripView};
pub use crate::told::{Section, Told, ToldLine};
pub use crate::what_if::{Answer, Record, WhatIf, WouldBe};

/// What stands at the top right of each page.
#[derive(Debug, Clone, Serialize)]
pub struct Frame {
    /// Name of the workshop.
    pub workshop: String,
    /// Date: `Thu 12 Nov 2026`.
    pub date: String,
    /// Time: `19:36`.
    pub time: String,
    /// Who works.
    pub who: String,
    /// ISO 4217 code all money is in.
    pub currency: String,
}

/// The bench plan: rows are machines, cells are the findings of this round.
#[derive(Debug, Clone, Serialize)]
pub struct Bench {
    /// The heading: `Bench plan, round 2`.
    pub heading: String,
    /// One sentence under it.
    pub summary: String,
    /// The check that is open now, as an index into `checks`.
    pub now: Option<usize>,
    /// Columns.
    pub checks: Vec<CheckHead>,
    /// Rows.
    pub rows: Vec<BenchRow>,
    /// Looks to take once more with other leads.
    pub again: Vec<Again>,
    /// Tags of the machines put away; they have no row.
    pub shelved: Vec<String>,
    /// Findings taken, skipped and still to take, and the minutes these take.
    pub progress: Progress,
    /// The money line.
    pub money: MoneyLine,
}

/// How far a round is.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Progress {
    /// Cells with a finding.
    pub taken: usize,
    /// Cells skipped.
    pub skipped: usize,
    /// Cells still to take.
    pub to_take: usize,
    /// Minutes for those.
    pub minutes: f64,
}

/// Head of a column.
#[derive(Debug, Clone, Serialize)]
pub struct CheckHead {
    /// Check id.
    pub id: String,
    /// Short title: `Reset`.
    pub title: String,
    /// Where: `U1 pin 26`; empty if nowhere in particular.
    pub at: String,
    /// Limits: `80 to 300 ms`.
    pub limits: Option<String>,
    /// Unit symbol a reading is expected in, if a reading decides.
    pub unit: Option<String>,
    /// How to do it.
    pub how: String,
    /// Caution before it.
    pub caution: Option<String>,
    /// Words that can be entered instead of a reading: outcome ids with their titles, then `cannot`, `skip`.
    pub words: Vec<Word>,
}

/// A word that can be entered.
#[derive(Debug, Clone, Serialize)]
pub struct Word {
    /// What is typed: `black`.
    pub id: String,
    /// What it says: `blank, black`.
    pub title: String,
}

/// A row of the bench plan.
#[derive(Debug, Clone, Serialize)]
pub struct BenchRow {
    /// Machine tag.
    pub tag: String,
    /// Cells in the order of the columns.
    pub cells: Vec<Cell>,
    /// What it says so far, one or two short sentences.
    pub says: String,
    /// Chance of what `says` names, for emphasis: `0.84`.
    pub chance: Option<f64>,
    /// `waiting`, `working`, `donor`, `shelved`, `on the bench`.
    pub state: String,
    /// Work on a fresh machine would bring more.
    pub shelve: Option<Shelve>,
}

/// One finding in a grid.
#[derive(Debug, Clone, Serialize)]
pub struct Cell {
    /// How it stands.
    pub state: CellState,
    /// What was entered: `4.61 V`, `no sync`; empty when still to take.
    pub text: String,
    /// The reading in its limits.
    pub band: Option<Band>,
}

/// How a finding stands; each has its own mark and word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CellState {
    /// As it should be.
    Good,
    /// Not as it should be.
    Bad,
    /// Cannot tell, cut short, could not be done, or does not fit the rest.
    Doubt,
    /// Still to take.
    ToTake,
    /// Skipped.
    Skipped,
    /// This check does not apply to this machine's board.
    None,
}

/// A reading with its limits and its uncertainty.
#[derive(Debug, Clone, Serialize)]
pub struct Band {
    /// Lower limit, base unit.
    pub low: Option<f64>,
    /// Upper limit, base unit.
    pub high: Option<f64>,
    /// Reading, base unit.
    pub value: f64,
    /// Half-width of its uncertainty, base unit.
    pub half_width: f64,
    /// Chance that it is truly outside.
    pub outside: f64,
    /// `4.75`.
    pub low_text: Option<String>,
    /// `5.25`.
    pub high_text: Option<String>,
    /// `4.61 V`.
    pub value_text: String,
    /// The whole as a sentence: `4.61 V, outside 4.75 to 5.25 V`.
    pub sentence: String,
}

impl Band {
    /// How the reading stands to its limits. Inside them it is never bad: it may be too coarse to tell.
    #[must_use]
    pub fn state(&self) -> CellState {
        let inside = self.low.is_none_or(|low| low <= self.value)
            && self.high.is_none_or(|high| self.value <= high);
        match self.outside {
            outside if outside >= 0.5 && !inside => CellState::Bad,
            outside if outside >= 0.1 => CellState::Doubt,
            _ => CellState::Good,
        }
    }
}

/// The money line at the foot of the bench plan.
#[derive(Debug, Clone, Serialize)]
pub struct MoneyLine {
    /// Paid for the lots.
    pub paid: String,
    /// What the plan spends.
    pub spends: String,
    /// In how many parcels.
    pub parcels: usize,
    /// Minutes of the plan.
    pub minutes: f64,
    /// Machines expected to work after it.
    pub working: f64,
    /// Machines on hand.
    pub machines: usize,
    /// Worth of them.
    pub worth: String,
}

/// One machine on one page.
#[derive(Debug, Clone, Serialize)]
pub struct JobCard {
    /// Machine tag.
    pub tag: String,
    /// Board title.
    pub board: String,
    /// Its share of the lot's price: `30.00`.
    pub paid: String,
    /// Minutes spent on it so far.
    pub minutes_spent: f64,
    /// The heading that is the answer.
    pub heading: String,
    /// `waiting`, `working`, `donor`, `shelved`, `on the bench`, `the mule`.
    pub state: String,
    /// Chips that are not in their own place, a sentence each: `U26 holds the mule's.`
    pub exchanged: Vec<String>,
    /// P(all findings).
    pub p_findings: f64,
    /// Lines that do not count, for they rule each other out: a sentence each.
    pub left_out: Vec<String>,
    /// Modes taken as not there, as too much hangs together for an exact answer.
    pub aside: Option<TakenAsAbsent>,
    /// A finding that does not fit the rest.
    pub doubt: Option<Doubt>,
    /// The next three steps, best first.
    pub next: Vec<NextStep>,
    /// What the saving is measured against: `Saved against fitting suspects one at a time, at 12.00 an hour.`
    pub next_note: String,
    /// The best course without further checks, in a sentence with its figures; empty once it is settled that it works.
    pub course: String,
    /// Work on a fresh machine would bring more.
    pub shelve: Option<Shelve>,
    /// Suspects, likeliest first.
    pub suspects: Vec<Suspect>,
    /// Chance that the machine has a fault the profile does not know.
    pub unmodelled: f64,
    /// What no finding has spoken of yet.
    pub unseen: Unseen,
    /// The best explanations and what is left for all others.
    pub explanations: Vec<ExplanationView>,
    /// Share of all other explanations together.
    pub others: f64,
    /// Every mode's posterior, whatever its size.
    pub modes: Vec<ModeView>,
    /// Every function's chance to fail.
    pub functions: Vec<FunctionView>,
    /// The board drawing.
    pub drawing: Option<Drawing>,
    /// Checks that can be entered on this machine.
    pub checks: Vec<CheckHead>,
    /// The journal of this machine, oldest first.
    pub journal: Vec<JournalRow>,
}

/// Work on this machine brings less than work on a fresh one.
#[derive(Debug, Clone, Serialize)]
pub struct Shelve {
    /// Machine tag.
    pub tag: String,
    /// Both figures in a sentence.
    pub sentence: String,
    /// The same, short, where the tag stands beside it.
    pub brief: String,
    /// The fresh machine, if one of the pile was not looked at yet; otherwise it would have to be got.
    pub waiting: Option<String>,
    /// Money that an hour on this machine brings at best.
    pub here: String,
    /// Money that an hour on a fresh machine brings at best.
    pub fresh: String,
}

/// A finding that does not fit the rest.
#[derive(Debug, Clone, Serialize)]
pub struct Doubt {
    /// Check id.
    pub check: String,
    /// Sentence before the reading: `The dot clock of`.
    pub before: String,
    /// The reading or word.
    pub text: String,
    /// Sentence after it.
    pub after: String,
    /// P(finding | all others).
    pub chance: f64,
    /// The reading in its limits.
    pub band: Option<Band>,
}

/// One of the next steps.
#[derive(Debug, Clone, Serialize)]
pub struct NextStep {
    /// Check id.
    pub check: String,
    /// The act that comes before the look, as it is typed: `swap U9 mule`. The look is then at the mule.
    pub act: Option<String>,
    /// `Look at sync on U14 pin 4.`
    pub title: String,
    /// How to do it, and what it needs.
    pub how: String,
    /// Caution before it.
    pub caution: Option<String>,
    /// Minutes, its share of new set-ups included.
    pub minutes: f64,
    /// Expected saving, money: `6.40`.
    pub saves: String,
    /// The saving if it is only made once the machine is seen not to work, where that matters: `8.10`.
    pub saves_later: Option<String>,
    /// The instrument that is missing, if one is.
    pub missing: Option<String>,
    /// What each outcome would mean: `black (62 %): then U9.dead, 91 %`.
    pub outcomes: Vec<String>,
}

/// A suspect.
#[derive(Debug, Clone, Serialize)]
pub struct Suspect {
    /// Position: `U9`.
    pub part: String,
    /// Mode id: `dead`.
    pub mode: String,
    /// `U9, the video controller, is dead.`
    pub title: String,
    /// Why, in a sentence; may be empty.
    pub why: String,
    /// What speaks for and against it, the strongest first.
    pub evidence: Vec<Evidence>,
    /// Posterior.
    pub chance: f64,
    /// Posterior before the last finding.
    pub was: Option<f64>,
}

/// What all findings of one check say about a suspect, those of all other checks given.
#[derive(Debug, Clone, Serialize)]
pub struct Evidence {
    /// Journal lines.
    pub lines: Vec<i64>,
    /// `picture black`, `sound two voices in the mule`.
    pub finding: String,
    /// By how much it changes the odds: `12 times likelier`.
    pub odds: String,
    /// The same in decibans: 10 make the odds ten times larger, −10 ten times smaller.
    pub decibans: f64,
}

/// Modes taken as not there.
#[derive(Debug, Clone, Serialize)]
pub struct TakenAsAbsent {
    /// `U9.warm`, with the tag before it on another machine.
    pub modes: Vec<String>,
    /// Proven: no chance on the card is off by more than this.
    pub at_most: f64,
    /// The same in plain words; empty where no figure shown would be another.
    pub sentence: String,
}

/// What no finding has spoken of yet.
#[derive(Debug, Clone, Serialize)]
pub struct Unseen {
    /// Function ids.
    pub functions: Vec<String>,
    /// Positions.
    pub parts: Vec<String>,
    /// The same in a sentence; empty if everything was spoken of.
    pub sentence: String,
}

/// One explanation.
#[derive(Debug, Clone, Serialize)]
pub struct ExplanationView {
    /// `U9 dead, all else good.`
    pub title: String,
    /// Its modes: `U9.dead`.
    pub modes: Vec<String>,
    /// It includes a fault the profile does not know.
    pub unmodelled: bool,
    /// Share.
    pub share: f64,
}

/// One mode's posterior.
#[derive(Debug, Clone, Serialize)]
pub struct ModeView {
    /// `U9.dead`.
    pub mode: String,
    /// `chip` or `place`.
    pub site: String,
    /// Posterior.
    pub chance: f64,
}

/// One function's chance to fail.
#[derive(Debug, Clone, Serialize)]
pub struct FunctionView {
    /// `clock`, `+5V.present`.
    pub function: String,
    /// Chance.
    pub chance: f64,
}

/// The board drawing: an outline, parts, and the ranks of suspects.
#[derive(Debug, Clone, Serialize)]
pub struct Drawing {
    /// Width of the board, millimetres.
    pub width: f64,
    /// Height of the board, millimetres.
    pub height: f64,
    /// Parts.
    pub parts: Vec<DrawnPart>,
    /// The whole as a sentence.
    pub sentence: String,
}

/// One part of the drawing.
#[derive(Debug, Clone, Serialize)]
pub struct DrawnPart {
    /// Reference.
    pub part: String,
    /// x, y, width, height in millimetres.
    pub area: [f64; 4],
    /// Ranks of the suspects it holds, from 1; empty for the others.
    pub ranks: Vec<usize>,
}

/// One line of the journal.
#[derive(Debug, Clone, Serialize)]
pub struct JournalRow {
    /// Line number, for `undo`.
    pub line: i64,
    /// `Thu 12 Nov 2026`.
    pub date: String,
    /// `19:12`.
    pub time: String,
    /// Who.
    pub who: String,
    /// What was done, printed part: `+5 V at C12`.
    pub text: String,
    /// What was entered by hand: `4.98 V`.
    pub entered: String,
    /// What follows it: `± 0.03`.
    pub after: String,
    /// An act: opens an epoch.
    pub act: bool,
    /// Taken back: when and by whom.
    pub taken_back: Option<String>,
}

/// The decision over the pile.
#[derive(Debug, Clone, Serialize)]
pub struct PlanView {
    /// `Spend 73.67 and two evenings; seven of nine should work.`
    pub heading: String,
    /// `Proven: nothing better exists within 120.00 and three evenings.`
    pub proof: String,
    /// Proven optimal.
    pub proven: bool,
    /// A longer search could show more, and where pages are served it is under way.
    pub improving: bool,
    /// How much better a plan could be at most.
    pub gap: String,
    /// Money limit, if one is set.
    pub money_limit: Option<String>,
    /// Evenings limit, if one is set.
    pub evenings_limit: Option<f64>,
    /// Machines expected to work at least, if a number is set.
    pub working_limit: Option<f64>,
    /// Minutes of an evening.
    pub evening_minutes: f64,
    /// What is settled before the plan is made.
    pub settled: Vec<SettledView>,
    /// One decision a machine, in the order of tags.
    pub decisions: Vec<DecisionView>,
    /// Boards to build: how many, what they take.
    pub to_build: Vec<SumRow>,
    /// Spares, postage and taxes: with the money of the decisions they add up to what is spent.
    pub other_costs: Vec<SumRow>,
    /// Rows of the sum: amount and what it is for; the last is the sum.
    pub sum: Vec<SumRow>,
    /// The money curve: the best plan from each amount of money on.
    pub curve: Vec<CurvePoint>,
    /// Every step of the curve is there; else there may be more between two points.
    pub curve_complete: bool,
    /// What simple rules make of the same pile.
    pub rules: Vec<RuleView>,
    /// Total to spend.
    pub spends: String,
    /// Minutes.
    pub minutes: f64,
    /// Machines expected to work.
    pub working: f64,
    /// What is left over.
    pub left_over: String,
    /// Spares that pay: what each saves on average, and why.
    pub spares: Vec<SumRow>,
    /// What would change it: an amount of money or a price, and what is done from there on.
    pub changes: Vec<SumRow>,
    /// What other decisions cost.
    pub others: Vec<SumRow>,
    /// Lines that no vendor sells, and other things to know.
    pub notes: Vec<String>,
}

/// Something settled before the plan is made.
#[derive(Debug, Clone, Serialize)]
pub struct SettledView {
    /// As it is typed: `T-06 donor`, `without farside`.
    pub typed: String,
    /// `T-06 is given up; else T-06 is kept whole.`
    pub text: String,
    /// What it costs: `−21.04`.
    pub cost: String,
}

/// What a simple rule makes of the pile.
#[derive(Debug, Clone, Serialize)]
pub struct RuleView {
    /// `cheapest first`
    pub title: String,
    /// Spent.
    pub money: f64,
    /// Left over after money and minutes.
    pub left_over: f64,
    /// Machines expected to work.
    pub working: f64,
    /// Left over less than with the plan: `−48.93`.
    pub loses: String,
    /// The best that the rule allows, proven.
    pub proven: bool,
}

/// The decision for one machine.
#[derive(Debug, Clone, Serialize)]
pub struct DecisionView {
    /// Machine tag.
    pub tag: String,
    /// `repair`, `hold`, `sell`, `donor`, `works`.
    pub decision: String,
    /// Parts money: `14.50`.
    pub money: String,
    /// `Repair now.`
    pub title: String,
    /// The rest of the sentence.
    pub text: String,
    /// Chance that it works after.
    pub chance: f64,
    /// Minutes.
    pub minutes: f64,
    /// Expected worth after.
    pub worth: String,
}

/// An amount and what it is for.
#[derive(Debug, Clone, Serialize)]
pub struct SumRow {
    /// Signed amount as text: `−73.67`.
    pub amount: String,
    /// What it is for.
    pub text: String,
}

/// A point of the money curve.
#[derive(Debug, Clone, Serialize)]
pub struct CurvePoint {
    /// Spent.
    pub money: f64,
    /// Left over after money and minutes.
    pub left_over: f64,
    /// Machines expected to work.
    pub working: f64,
    /// This is the chosen point.
    pub chosen: bool,
    /// Proven.
    pub proven: bool,
}

/// The parcel ledger.
#[derive(Debug, Clone, Serialize)]
pub struct Ledger {
    /// `Two parcels, 73.67 landed.`
    pub heading: String,
    /// `Proven: nothing cheaper exists among the offers of four vendors asked so far.`
    pub proof: String,
    /// Proven optimal.
    pub proven: bool,
    /// How much cheaper it could be at most.
    pub gap: String,
    /// One block a parcel.
    pub parcels: Vec<ParcelView>,
    /// Total landed.
    pub landed: String,
    /// What remains of the money limit.
    pub remains: Option<String>,
    /// Money limit.
    pub money_limit: Option<String>,
    /// Why these: amount and sentence, other ways to order and what they cost more.
    pub why: Vec<SumRow>,
    /// Prices at which the order turns, a sentence each.
    pub turns: Vec<SumRow>,
    /// What waits while a parcel is late, and what that is worth.
    pub late: Vec<SumRow>,
    /// Vendors that are not asked: id and title.
    pub left_out: Vec<(String, String)>,
    /// Price of bother per parcel, in a sentence.
    pub bother: String,
    /// Offers that are old: days and sentence.
    pub ask_again: Vec<(i64, String)>,
    /// Lines that no vendor sells.
    pub unmet: Vec<String>,
}

/// One parcel.
#[derive(Debug, Clone, Serialize)]
pub struct ParcelView {
    /// `A`.
    pub letter: String,
    /// Vendor title.
    pub vendor: String,
    /// Landed total.
    pub landed: String,
    /// `Tuesday 17 November`.
    pub arrives: String,
    /// Machines that wait for it.
    pub waiting: Vec<String>,
    /// Lines.
    pub lines: Vec<ParcelLine>,
    /// It was ordered already: when and by whom.
    pub ordered: Option<String>,
    /// It came in: `whole, Thu 12 Nov 2026 by Pavel`.
    pub received: Option<String>,
    /// What is still to come of an ordered parcel: `1 × ov-2-used`.
    pub to_come: Vec<String>,
    /// Vendor id.
    pub vendor_id: String,
}

/// One line of a parcel.
#[derive(Debug, Clone, Serialize)]
pub struct ParcelLine {
    /// Amount: `11.70`.
    pub amount: String,
    /// `3 × 4164, 150 ns at 3.90`, `postage; free from 60.00, that is 27.80 away`.
    pub text: String,
    /// `for T-04 two, one spare`.
    pub note: String,
}

/// How a typed line was understood, shown before or after it is written.
#[derive(Debug, Clone, Serialize)]
pub struct Understood {
    /// Check id.
    pub check: String,
    /// `dot clock, U9 pin 22, 8.004 MHz ± 0.001: within 7.98 to 8.02`.
    pub sentence: String,
    /// As a cell.
    pub cell: Cell,
    /// Three other words that could be meant.
    pub alternatives: Vec<Word>,
}

/// The answer to a line that was written.
#[derive(Debug, Clone, Serialize)]
pub struct Written {
    /// Journal line numbers written.
    pub lines: Vec<i64>,
    /// What was understood, a row each.
    pub understood: Vec<Understood>,
    /// What it changed, in a sentence: `U9 is dead: 63 %, was 41 %.`
    pub changed: String,
}

/// What was taken in.
#[derive(Debug, Clone, Serialize)]
pub struct TakenIn {
    /// `Nine machines, T-01 to T-09, 30.00 each.`
    pub heading: String,
    /// The lot: `L-01`.
    pub lot: String,
    /// Where they came from.
    pub from: String,
    /// Tags in order.
    pub tags: Vec<String>,
    /// Share of the price for each tag; they add up to the price.
    pub paid: Vec<String>,
    /// Board id.
    pub board: String,
    /// Board title.
    pub board_title: String,
    /// It is a built-in starter.
    pub starter: bool,
    /// How each exception was understood, a sentence each.
    pub exceptions: Vec<String>,
    /// Journal lines written; empty on a dry run.
    pub lines: Vec<i64>,
}

/// What was taken back.
#[derive(Debug, Clone, Serialize)]
pub struct Undone {
    /// Lines taken back.
    pub lines: Vec<i64>,
    /// `Taken back: T-03, picture black.`
    pub text: String,
    /// What it changed.
    pub changed: String,
}

/// A board that machines can be taken in as.
#[derive(Debug, Clone, Serialize)]
pub struct BoardChoice {
    /// Board id.
    pub id: String,
    /// Board title.
    pub title: String,
    /// Built in, blocks only.
    pub starter: bool,
}

/// A machine's fault network in the open UAI format.
#[derive(Debug, Clone, Serialize)]
pub struct ExportedNetwork {
    /// The network: `BAYES`, sizes, tables.
    pub uai: String,
    /// The evidence file that goes with it.
    pub evidence: String,
    /// What each variable is, a line each.
    pub names: String,
}
