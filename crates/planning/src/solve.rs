//! Solving a pile: the best plan, its alternatives, the money curve.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::time::{Duration, Instant};

use crate::conflict::{Settled, conflict};
use crate::instance::Instance;
use crate::lots::{Slack, broken_prices};
use crate::market::slack_of;
use crate::model::{Filler, PileModel, Question, SCALE};
use crate::plan::{Alternatives, Plan};
use crate::recourse::{TwoStage, joint};
use crate::revalue::revalue;

/// A plan this near to its bound, in coins (or machines), is proven.
pub(crate) const NEAR: f64 = 0.01;

/// What a plan is to be best at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Goal {
    /// The worth of the pile, less all it costs.
    #[default]
    Worth,
    /// The expected number of working machines; worth plays no part.
    Working,
}

/// A decision that is settled beforehand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pin {
    /// Hold the machine.
    Hold,
    /// Give it up.
    Donor,
    /// Repair it, by any kit.
    Repair,
    /// Sell it as it stands.
    Sell,
    /// Repair it or hold it, but neither sell it nor give it up.
    Keep,
}

impl fmt::Display for Pin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Pin::Hold => "held",
            Pin::Donor => "given up",
            Pin::Repair => "repaired",
            Pin::Sell => "sold as it stands",
            Pin::Keep => "kept",
        })
    }
}

/// How to solve.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// Stop proving after so long; the plan then says how far it may be from the best.
    pub time_limit: Option<Duration>,
    /// Stop after so many nodes of the search; unlike time, the same on every machine.
    pub node_limit: Option<u64>,
    /// What the plan is to be best at.
    pub goal: Goal,
    /// With at most so many joint states of the machines it is decided in two stages: orders, builds, donors and sales
    /// now, repairs when the faults have shown. With more, or with none given, one kit for each machine has to do.
    pub most_cases: Option<usize>,
    /// Decisions that are settled, by machine.
    pub pins: BTreeMap<String, Pin>,
    /// Remedies that are settled: by machine and part, the ids of those that may be used. The machine is repaired, and
    /// the part among what is put right.
    pub remedies: BTreeMap<String, BTreeMap<String, BTreeSet<String>>>,
}

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq)]
pub enum Error {
    /// Something in the instance makes no sense.
    Input(String),
    /// A machine pinned to repair (or to give up) for which there is no way.
    NoKit(String),
    /// Fewer machines can work than are wanted.
    TooFewWorking {
        /// The number wanted.
        wanted: f64,
        /// The most that can be reached within the other limits.
        most: f64,
    },
    /// Nothing keeps all limits and pins.
    Impossible,
    /// No plan keeps these together; without any one of them there is one.
    Conflict(Vec<Settled>),
    /// The search failed.
    Search(optimum::Error),
    /// The plan does not come to what the model says; a fault of this program.
    Unsound(String),
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Error::Input(what) => f.write_str(what),
            Error::NoKit(machine) => write!(
                f,
                "no remedy at hand repairs `{machine}`; add a remedy or an offer for its parts"
            ),
            Error::TooFewWorking { wanted, most } => write!(
                f,
                "expected {wanted} working machines, found at most {most:.2} within the limits; ask for fewer or loosen one"
            ),
            Error::Impossible => {
                f.write_str("no plan keeps all limits and settled decisions; loosen one")
            }
            Error::Conflict(settled) => {
                f.write_str("no plan keeps these together: ")?;
                for (n, one) in settled.iter().enumerate() {
                    let between = if n == 0 { "" } else { "; " };
                    write!(f, "{between}{one}")?;
                }
                Ok(())
            }
            Error::Search(error) => error.fmt(f),
            Error::Unsound(what) => write!(f, "the plan does not stand up to its check: {what}"),
        }
    }
}

impl std::error::Error for Error {}

/// The best plan for the pile.
///
/// # Errors
/// If the instance makes no sense, nothing keeps the limits, or the search ends without a plan.
pub fn solve(instance: &Instance, settings: &Settings) -> Result<Plan, Error> {
    match solve_once(instance, settings) {
        Err(Error::Impossible | Error::NoKit(_)) => Err(impossible(instance, settings)),
        other => other,
    }
}

/// The best plan, or that there is none, without the reason.
pub(crate) fn solve_once(instance: &Instance, settings: &Settings) -> Result<Plan, Error> {
    let started = Instant::now();
    let first = attempt(instance, settings, Filler::Amount, settings.time_limit)?;
    let (mut best, mut bound, mut left_out) = (first.plan, first.bound, first.left_out);
    let left = settings
        .time_limit
        .map(|limit| limit.saturating_sub(started.elapsed()));
    let time_is_up = left.is_some_and(|left| left.is_zero());
    let short = |plan: &Plan| bound - score(plan, settings.goal) > NEAR;
    if best.is_none() || (!time_is_up && best.as_ref().is_some_and(short)) {
        match attempt(instance, settings, Filler::Packs, left) {
            Ok(second) => {
                if !lots_left_out(instance) {
                    bound = bound.min(second.bound);
                    left_out = second.left_out;
                }
                best = better(best, second.plan, settings.goal);
            }
            Err(Error::Impossible | Error::Search(_)) if best.is_some() => {}
            Err(error) => return Err(error),
        }
    }
    let mut plan = best.ok_or(Error::Impossible)?;
    plan.bound = bound + left_out;
    plan.proven = plan.bound - score(&plan, settings.goal) <= NEAR;
    if score(&plan, settings.goal) > plan.bound + NEAR {
        return Err(Error::Unsound(
            "it is worth more than its bound".to_string(),
        ));
    }
    Ok(plan)
}

/// Whether goods that nobody needs could be ordered in ways that the model of packs does not offer.
fn lots_left_out(instance: &Instance) -> bool {
    instance.offers.iter().any(|offer| {
        let mut vendors = instance.vendors.iter();
        let vendor = vendors.find(|vendor| vendor.id == offer.vendor);
        broken_prices(offer, vendor.map_or(Slack::default(), slack_of))
    })
}

fn better(one: Option<Plan>, other: Option<Plan>, goal: Goal) -> Option<Plan> {
    match (one, other) {
        (Some(one), Some(other)) if score(&other, goal) > score(&one, goal) => Some(other),
        (Some(one), _) => Some(one),
        (None, other) => other,
    }
}

/// Worth of the best plan for each choice about `machine`.
///
/// # Errors
/// If the instance makes no sense or a search fails; a choice that the limits forbid is `None`.
pub fn alternatives(
    instance: &Instance,
    settings: &Settings,
    machine: &str,
) -> Result<Alternatives, Error> {
    let worth = |pin: Pin| {
        let mut pinned = settings.clone();
        pinned.pins.insert(machine.to_string(), pin);
        match solve(instance, &pinned) {
            Ok(plan) => Ok(Some(plan.value)),
            Err(
                Error::Impossible
                | Error::NoKit(_)
                | Error::Conflict(_)
                | Error::TooFewWorking { .. },
            ) => Ok(None),
            Err(error) => Err(error),
        }
    };
    Ok(Alternatives {
        hold: worth(Pin::Hold)?,
        sell: worth(Pin::Sell)?,
        donor: worth(Pin::Donor)?,
        repair: worth(Pin::Repair)?,
    })
}

/// The model of a pile as free-format MPS, which other solvers read, and the constant that belongs to its objective.
/// The model is maximized in hundreds of coins (or in machines). With [`Filler::Amount`] it is the one that is solved first.
///
/// # Errors
/// If the instance makes no sense.
pub fn to_mps(
    instance: &Instance,
    settings: &Settings,
    filler: Filler,
) -> Result<(String, f64), Error> {
    let question = Question { settings, filler };
    let pile = PileModel::new(instance, question)?;
    Ok((optimum::to_mps(&pile.model, "pile"), pile.in_coins(0.0)))
}

struct Attempt {
    /// The plan, unless it could only be carried out with goods that nobody needs in broken amounts.
    plan: Option<Plan>,
    /// No plan with the kits considered is worth more.
    bound: f64,
    /// What the kits left out could add.
    left_out: f64,
}

fn attempt(
    instance: &Instance,
    settings: &Settings,
    filler: Filler,
    time_limit: Option<Duration>,
) -> Result<Attempt, Error> {
    let question = Question { settings, filler };
    let most = settings.most_cases.unwrap_or(0);
    let (plan, left_out, bound) = match joint(instance, settings, most) {
        Some(joint) => {
            let model = TwoStage::new(instance, &joint, question)?;
            let solution = search(&model.pile, settings, time_limit)?;
            let plan = model.plan(&solution);
            let bound = model.pile.in_coins(solution.bound);
            (plan, model.left_out(), bound)
        }
        None => {
            let pile = PileModel::new(instance, question)?;
            let solution = search(&pile, settings, time_limit)?;
            let plan = pile.plan(&solution);
            let bound = pile.in_coins(solution.bound);
            (plan, pile.left_out(), bound)
        }
    };
    let plan = close(instance, plan);
    let plan = match filler {
        // the model may have reached a postage step with goods that no vendor sells in that amount
        Filler::Amount => plan.ok(),
        Filler::Packs => Some(plan?),
    };
    Ok(Attempt {
        plan,
        bound,
        left_out,
    })
}

fn search(
    pile: &PileModel<'_>,
    settings: &Settings,
    time_limit: Option<Duration>,
) -> Result<optimum::Solution, Error> {
    let solution = pile.model.solve(&optimum::Settings {
        time_limit,
        node_limit: settings.node_limit,
        // half of what counts as proven
        gap: match settings.goal {
            Goal::Worth => 0.5 * NEAR / SCALE,
            Goal::Working => 1e-6,
        },
        start: Some(vec![0.0; pile.model.columns()]),
    });
    solution.map_err(|error| match error {
        optimum::Error::Infeasible => Error::Impossible,
        other => Error::Search(other),
    })
}

#[expect(clippy::cast_precision_loss, reason = "amounts are far below 2^53")]
pub(crate) fn score(plan: &Plan, goal: Goal) -> f64 {
    match goal {
        Goal::Worth => plan.value - plan.hassle as f64,
        Goal::Working => plan.working,
    }
}

/// Fills in the sums of a plan from the rules, not from the model.
pub(crate) fn close(instance: &Instance, mut plan: Plan) -> Result<Plan, Error> {
    for vendor in &instance.vendors {
        let orders = plan.orders.iter().filter(|order| order.vendor == vendor.id);
        let goods: Vec<i64> = orders.map(|order| order.cost).collect();
        if goods.is_empty() {
            continue;
        }
        let postage = vendor.postage(goods.iter().sum());
        let postage = postage
            .ok_or_else(|| Error::Unsound(format!("`{}` takes no such order", vendor.id)))?;
        plan.shipping.push((vendor.id.clone(), postage));
        plan.hassle += vendor.hassle;
    }
    let worth = revalue(instance, &plan).map_err(Error::Unsound)?;
    plan.value = worth.value;
    plan.money = worth.money;
    plan.minutes = worth.minutes;
    plan.working = worth.working;
    Ok(plan)
}

/// Why there is no plan: settled decisions that contradict each other or a limit, else too few machines that can work.
fn impossible(instance: &Instance, settings: &Settings) -> Error {
    if !settings.pins.is_empty() || !settings.remedies.is_empty() {
        return match conflict(instance, settings).as_deref() {
            Ok([Settled::Machine(id, Pin::Repair | Pin::Sell)]) => Error::NoKit(id.clone()),
            Ok([]) | Err(_) => Error::Impossible,
            Ok(settled) => Error::Conflict(settled.to_vec()),
        };
    }
    let Some(wanted) = instance.limits.least_working else {
        return Error::Impossible;
    };
    let mut free = instance.clone();
    free.limits.least_working = None;
    let most = Settings {
        goal: Goal::Working,
        ..settings.clone()
    };
    match solve_once(&free, &most) {
        Ok(plan) => Error::TooFewWorking {
            wanted,
            most: plan.working,
        },
        Err(error) => error,
    }
}
