//! The bench in rehearsal: what following the advice would bring, on piles that a board draws.

use rehearsal::{Mean, Minutes, Name, Report, Size, Terms};
use serde::Serialize;
use units::Currency;

use crate::{
    Error, ErrorKind, Workshop,
    economy::{economy_of, hows},
    words::{capital, coins, counted, to_coins},
    workshop::Result,
};

/// Piles and machines that can be rehearsed at most.
const MOST_PILES: usize = 100_000;
const MOST_MACHINES: usize = 99;

/// What is rehearsed.
#[derive(Debug, Clone, Default)]
pub struct Rehearse {
    /// Board id; without one the only board of the folder, else the first starter.
    pub board: Option<String>,
    /// Piles.
    pub piles: usize,
    /// Machines of each.
    pub machines: usize,
    /// What the piles follow from: the same seed gives the same piles.
    pub seed: u64,
}

/// How far a rehearsal is: a way of working has been through this many of its piles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Played {
    /// The way of working: `ours`.
    pub policy: &'static str,
    /// Piles played.
    pub piles: usize,
    /// Of so many.
    pub of: usize,
}

/// A rehearsal: several ways of working on the same piles.
#[derive(Debug, Clone, Serialize)]
pub struct RehearsalView {
    /// The answer in a sentence.
    pub heading: String,
    /// What was played, in a sentence.
    pub summary: String,
    /// Board id.
    pub board: String,
    /// Piles.
    pub piles: usize,
    /// Machines of a pile.
    pub machines: usize,
    /// What the piles followed from.
    pub seed: u64,
    /// Machines of a pile that were whole when they came in.
    pub whole: Figure,
    /// The ways of working, the program's advice first.
    pub policies: Vec<RehearsedPolicy>,
}

/// A mean.
#[derive(Debug, Clone, Serialize)]
pub struct Figure {
    /// The mean, if there is one.
    pub mean: Option<f64>,
    /// Half the width of its 95 % confidence interval, if there is more than one pile.
    pub within: Option<f64>,
}

/// A mean of money.
#[derive(Debug, Clone, Serialize)]
pub struct Sum {
    /// The mean.
    pub mean: String,
    /// Half the width of its 95 % confidence interval, if there is more than one pile.
    pub within: Option<String>,
}

/// What one way of working came to, by pile unless it says otherwise.
#[derive(Debug, Clone, Serialize)]
pub struct RehearsedPolicy {
    /// One word: `ours`.
    pub policy: String,
    /// In words.
    pub title: String,
    /// Machines that work at the end.
    pub working: Figure,
    /// Machines said to work that do not.
    pub wrongly_said: Figure,
    /// Machines left as they were because their findings tied too much together to be reckoned.
    pub unreckoned: Figure,
    /// Minutes.
    pub minutes: Figure,
    /// Minutes for each machine that works at the end.
    pub minutes_each_working: Figure,
    /// Where the minutes go.
    pub where_minutes_go: Where,
    /// Money for parts.
    pub money: Sum,
    /// Parts bought.
    pub parts: Figure,
    /// Parts that replaced a good one.
    pub wrong_parts: Figure,
    /// Places treated that were good.
    pub needless_treatments: Figure,
    /// Chips harmed by checks.
    pub harmed: Figure,
    /// Good places damaged by acts.
    pub collateral: Figure,
    /// Worth at the end less money, minutes and harm.
    pub value: Sum,
    /// The same for each machine.
    pub value_each: Sum,
    /// Ours less this on the same piles; none for ours.
    pub ours_less_this: Option<Lead>,
}

/// Minutes of a pile by what they went into.
#[derive(Debug, Clone, Serialize)]
pub struct Where {
    /// Checks.
    pub checks: f64,
    /// Set-ups.
    pub set_ups: f64,
    /// Remedies.
    pub remedies: f64,
    /// Looking whether it works.
    pub retests: f64,
}

/// Ours less another way of working, pile by pile.
#[derive(Debug, Clone, Serialize)]
pub struct Lead {
    /// Machines that work at the end.
    pub working: Figure,
    /// Minutes.
    pub minutes: Figure,
    /// Minutes for each machine that works at the end.
    pub minutes_each_working: Figure,
    /// Money for parts.
    pub money: Sum,
    /// Parts that replaced a good one.
    pub wrong_parts: Figure,
    /// Worth at the end less money, minutes and harm.
    pub value: Sum,
    /// The value differs by more than chance explains.
    pub beyond_chance: bool,
}

impl Workshop {
    /// Plays piles that a board draws, with the program's advice and with rules of thumb; nothing is written. `tell` hears
    /// how far it is, from several threads.
    ///
    /// # Errors
    /// The board is not there, or too much or nothing is asked for.
    pub fn rehearse(
        &self,
        request: &Rehearse,
        tell: &(dyn Fn(Played) + Sync),
    ) -> Result<RehearsalView> {
        within("piles", request.piles, MOST_PILES)?;
        within("machines", request.machines, MOST_MACHINES)?;
        let state = self.fresh()?.state();
        let folder = &state.folder;
        let board = match &request.board {
            Some(id) => folder.board(id)?,
            None => folder.usual_board()?,
        };
        let economy = economy_of(folder, &board, &board.id, &[]);
        let terms = Terms::new(&board, economy, hows(folder, &board)).map_err(stopped)?;
        let size = Size {
            piles: request.piles,
            machines: request.machines,
            seed: request.seed,
        };
        let report = rehearsal::rehearse(&terms, size, &Name::ALL, &|done| {
            tell(Played {
                policy: done.policy.word(),
                piles: done.piles,
                of: done.of,
            });
        });
        let report = report.map_err(stopped)?;
        let view = Viewer(folder.settings.currency).view(&report);
        Ok(RehearsalView {
            board: board.id.clone(),
            seed: request.seed,
            ..view
        })
    }
}

fn within(what: &str, found: usize, most: usize) -> Result<()> {
    if (1..=most).contains(&found) {
        return Ok(());
    }
    Err(Error::new(
        ErrorKind::Usage,
        format!("found {found} {what}, expected 1 to {most}"),
    ))
}

fn stopped(error: rehearsal::Error) -> Error {
    Error::new(ErrorKind::Refused, error.to_string())
}

/// Makes the view, in a currency.
struct Viewer(Currency);

impl Viewer {
    fn view(&self, report: &Report) -> RehearsalView {
        let policies: Vec<RehearsedPolicy> = report
            .policies
            .iter()
            .map(|played| self.policy(played))
            .collect();
        RehearsalView {
            heading: heading(report),
            summary: format!(
                "{} of {}, the same for every way of working; {} whole when it came in.",
                capital(&counted(report.piles, "pile", "piles")),
                counted(report.machines, "machine", "machines"),
                shown(report.whole, 1),
            ),
            board: String::new(),
            piles: report.piles,
            machines: report.machines,
            seed: 0,
            whole: figure(report.whole),
            policies,
        }
    }

    fn policy(&self, played: &rehearsal::Played) -> RehearsedPolicy {
        RehearsedPolicy {
            policy: played.policy.word().to_string(),
            title: title(played.policy).to_string(),
            working: figure(played.working),
            wrongly_said: figure(played.wrongly_said),
            unreckoned: figure(played.unreckoned),
            minutes: figure(played.minutes),
            minutes_each_working: figure(played.minutes_each_working),
            where_minutes_go: spent(played.where_minutes_go),
            money: self.sum(played.money),
            parts: figure(played.parts),
            wrong_parts: figure(played.wrong_parts),
            needless_treatments: figure(played.needless_treatments),
            harmed: figure(played.harmed),
            collateral: figure(played.collateral),
            value: self.sum(played.value),
            value_each: self.sum(played.value_each),
            ours_less_this: played.ours_less_this.map(|less| Lead {
                working: figure(less.working),
                minutes: figure(less.minutes),
                minutes_each_working: figure(less.minutes_each_working),
                money: self.sum(less.money),
                wrong_parts: figure(less.wrong_parts),
                value: self.sum(less.value),
                beyond_chance: less.value.is_beyond_chance(),
            }),
        }
    }

    fn sum(&self, mean: Mean) -> Sum {
        let text = |amount: f64| coins(to_coins(amount, self.0), self.0);
        Sum {
            mean: text(mean.mean),
            within: mean.within.is_finite().then(|| text(mean.within)),
        }
    }
}

/// What a way of working is.
fn title(policy: Name) -> &'static str {
    match policy {
        Name::Ours => "what the program advises",
        Name::FixedOrder => {
            "the checks in the order of the file, then what the first failing one tells of"
        }
        Name::MostProbable => "the likeliest suspect replaced, one after another",
        Name::MostInformation => {
            "the check that tells most by the minute, until a suspect stands out"
        }
        Name::UsualSuspects => "the usual suspects swapped, socketed ones first",
    }
}

fn heading(report: &Report) -> String {
    let Some(ours) = report.policies.first() else {
        return "Nothing was played.".to_string();
    };
    format!(
        "Following the advice, {} of {} machines work at the end, {} min for each.",
        shown(ours.working, 1),
        report.machines,
        shown(ours.minutes_each_working, 0),
    )
}

/// A mean in words: `6.1`.
fn shown(mean: Mean, digits: usize) -> String {
    if mean.mean.is_finite() {
        format!("{:.digits$}", mean.mean)
    } else {
        "no".to_string()
    }
}

/// Three decimals are more than any pile has.
fn rounded(value: f64) -> Option<f64> {
    value.is_finite().then(|| (value * 1000.0).round() / 1000.0)
}

fn figure(mean: Mean) -> Figure {
    Figure {
        mean: rounded(mean.mean),
        within: rounded(mean.within),
    }
}

fn spent(minutes: Minutes) -> Where {
    let round = |minutes: f64| rounded(minutes).unwrap_or(0.0);
    Where {
        checks: round(minutes.checks),
        set_ups: round(minutes.set_ups),
        remedies: round(minutes.remedies),
        retests: round(minutes.retests),
    }
}
