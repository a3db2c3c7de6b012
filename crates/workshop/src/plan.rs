//! The decision over the pile.

use std::{
    collections::BTreeMap,
    sync::Arc,
    time::{Duration, Instant},
};

use journal::{Draft, Line};
use planning::{Choice, Goal, Plan};
use purchasing::{Need, Parcels, Request};
use units::{Currency, Money};

use crate::{
    Error, ErrorKind, PlanLimits, Workshop, exact,
    offer::{Offered, offered, works_already},
    ordered::count,
    pile::{Limits, Pinned},
    pins,
    plan_view::view,
    views::PlanView,
    words::{coins, quoted},
    workshop::{Inner, Result, State},
};

/// The search ends after so many nodes, the same on every machine; the plan then says how far it may be from the best.
pub(crate) const NODES: u64 = 20_000;
/// With at most so many joint states of the machines, repairs are decided once the faults have shown.
const MOST_CASES: usize = 12;
/// How long the order of a plan is searched for.
pub(crate) const FOR_THE_ORDER: Duration = Duration::from_secs(2);
/// The plan may take this part of the time there is; the rest is for its parcels and what would change it.
pub(crate) const FOR_THE_PLAN: f64 = 0.8;

/// Plans reckoned for one state of journal and folder.
#[derive(Debug, Default)]
pub(crate) struct Plans {
    pub(crate) key: (i64, u64),
    pub(crate) cores: BTreeMap<String, Arc<Core>>,
    pub(crate) views: BTreeMap<String, PlanView>,
    /// A longer search is under way.
    pub(crate) improving: bool,
    /// How many longer searches there were.
    pub(crate) tried: u32,
}

/// A plan with its parcels.
#[derive(Debug, Clone)]
pub(crate) struct Core {
    pub(crate) limits: Limits,
    pub(crate) pinned: Pinned,
    /// The search had no time for a proof.
    pub(crate) cut: bool,
    /// Settled decisions that the plan keeps.
    pub(crate) pins: Vec<pins::One>,
    /// Settled decisions and limits that it does not, and why.
    pub(crate) left_out: Vec<String>,
    pub(crate) money_limit: Option<i64>,
    /// How the plan was sought.
    pub(crate) settings: planning::Settings,
    pub(crate) offered: Offered,
    /// The same with the offers of all vendors, if some are left out.
    pub(crate) all_vendors: Option<Offered>,
    pub(crate) plan: Plan,
    pub(crate) parcels: Parcels,
    /// Who needs each item, a tag for each unit that is bought.
    pub(crate) needers: BTreeMap<String, Vec<String>>,
    /// Parts money of each machine.
    pub(crate) money: BTreeMap<String, i64>,
    /// Units nobody needs: what they cost.
    pub(crate) spares: i64,
    /// Prices at which the order turns.
    pub(crate) turns: crate::turning::Turns,
    /// Machines given up, and for whom: taker's tag and item to giver and position.
    pub(crate) given: BTreeMap<(String, String), Vec<(String, String)>>,
}

impl Workshop {
    /// The decision over the pile, within these limits; limits that are given are remembered.
    ///
    /// # Errors
    /// If a limit cannot be read, findings contradict each other, or nothing keeps the limits.
    pub fn plan(&self, limits: &PlanLimits) -> Result<PlanView> {
        let started = Instant::now();
        self.limit(limits)?;
        let mut inner = self.fresh()?;
        let core = core(&mut inner)?;
        if let Some(view) = inner.plans.views.get(&key(&core.limits)) {
            return Ok(view.clone());
        }
        let state = inner.state();
        let left = patience(&state).saturating_sub(started.elapsed());
        let view = view(&state, &core, left)?;
        inner.plans.views.insert(key(&core.limits), view.clone());
        Ok(view)
    }

    /// Remembers limits and settled decisions, if they are new and can be kept.
    pub(crate) fn limit(&self, limits: &PlanLimits) -> Result<()> {
        let mut inner = self.fresh()?;
        let state = inner.state();
        let (within, pinned) = (merged(&state, limits)?, pins::merged(&state, limits)?);
        if within == state.pile.limits && pinned == state.pile.pinned {
            return Ok(());
        }
        if pinned != state.pile.pinned || within.working != state.pile.limits.working {
            make(&mut inner, &state, within, pinned, Contradiction::Refuse)?;
        }
        inner.write(|state| lines(state, limits))?;
        Ok(())
    }
}

/// The journal lines of what is new.
fn lines(state: &State, limits: &PlanLimits) -> Result<Vec<Draft>> {
    let (within, pinned) = (merged(state, limits)?, pins::merged(state, limits)?);
    let draft = |line: Line| Draft {
        machine: None,
        epoch: 0,
        line,
    };
    let mut drafts = Vec::new();
    if within != state.pile.limits {
        drafts.push(draft(Line::Limits {
            money: within.money,
            evenings: within.evenings,
            working: within.working,
        }));
    }
    if pinned != state.pile.pinned {
        drafts.push(draft(Line::Pinned {
            pins: pinned.pins,
            without: pinned.without,
        }));
    }
    Ok(drafts)
}

/// What to do with settled decisions that cannot be kept together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Contradiction {
    /// Say so: they are only being written.
    Refuse,
    /// Plan without them and name them: they were written earlier, and things have changed since.
    LeaveOut,
}

/// The limits remembered, with those given now.
fn merged(state: &State, limits: &PlanLimits) -> Result<Limits> {
    let currency = state.folder.settings.currency;
    let mut merged = state.pile.limits.clone();
    let wrong = |message: String, hint: &str| Err(Error::new(ErrorKind::Usage, message).hint(hint));
    match limits.money.as_deref().map(str::trim) {
        None => {}
        Some("none" | "-" | "") => merged.money = None,
        Some(text) => match Money::parse(text, currency) {
            Ok(money) if money.currency == currency && money.to_minor() >= 0 => {
                merged.money = Some(coins(money.to_minor(), currency));
            }
            Ok(_) => {
                return wrong(
                    format!(
                        "expected money in {currency}, 0 or more, found {}",
                        quoted(text)
                    ),
                    "`none` lifts the limit",
                );
            }
            Err(error) => return wrong(error.to_string(), "`none` lifts the limit"),
        },
    }
    match limits.evenings {
        None => {}
        Some(0.0) => merged.evenings = None,
        Some(evenings) if evenings > 0.0 && evenings <= 10_000.0 => {
            merged.evenings = Some(evenings)
        }
        Some(evenings) => {
            return wrong(
                format!("expected evenings from 0 to 10000, found `{evenings}`"),
                "0 lifts the limit",
            );
        }
    }
    match limits.working {
        None => {}
        Some(0.0) => merged.working = None,
        Some(least) if least > 0.0 && least <= 10_000.0 => merged.working = Some(least),
        Some(least) => {
            return wrong(
                format!("expected a number of machines from 0 to 10000, found `{least}`"),
                "0 lifts the limit",
            );
        }
    }
    Ok(merged)
}

pub(crate) fn key(limits: &Limits) -> String {
    format!("{:?} {:?}", limits.money, limits.evenings)
}

pub(crate) fn refused(error: impl ToString) -> Error {
    Error::new(ErrorKind::Refused, error.to_string())
}

/// How long a page waits for a plan and all that goes with it.
pub(crate) fn patience(state: &State) -> Duration {
    Duration::from_secs_f64(state.folder.settings.plan_seconds)
}

pub(crate) fn search(patience: Duration) -> planning::Settings {
    planning::Settings {
        node_limit: Some(NODES),
        time_limit: Some(patience.mul_f64(FOR_THE_PLAN)),
        goal: Goal::Worth,
        most_cases: Some(MOST_CASES),
        pins: BTreeMap::new(),
        remedies: BTreeMap::new(),
    }
}

/// How long the order is searched for.
pub(crate) fn patient() -> purchasing::Settings {
    purchasing::Settings {
        node_limit: Some(NODES),
        time_limit: Some(FOR_THE_ORDER),
    }
}

/// The cheapest parcels, proven if that can be done in reasonable time.
pub(crate) fn cheapest(request: &Request) -> Result<Parcels> {
    purchasing::cheapest(request, &patient()).map_err(refused)
}

/// Everything that is to be bought, with all that is offered.
pub(crate) fn full(core: &Core) -> Request {
    let need = |(item, tags): (&String, &Vec<String>)| Need {
        item: item.clone(),
        quantity: count(tags.len()),
    };
    Request {
        needs: core.needers.iter().map(need).collect(),
        ..core.offered.request.clone()
    }
}

/// The plan within the limits remembered.
pub(crate) fn core(inner: &mut Inner) -> Result<Arc<Core>> {
    let state = inner.state();
    if inner.plans.key != state.key() {
        inner.plans = Plans {
            key: state.key(),
            ..Plans::default()
        };
    }
    let limits = state.pile.limits.clone();
    if let Some(core) = inner.plans.cores.get(&key(&limits)) {
        return Ok(Arc::clone(core));
    }
    let pinned = state.pile.pinned.clone();
    let made = make(inner, &state, limits, pinned, Contradiction::LeaveOut)?;
    let core = Arc::new(made);
    inner
        .plans
        .cores
        .insert(key(&core.limits), Arc::clone(&core));
    Ok(core)
}

fn make(
    inner: &mut Inner,
    state: &State,
    limits: Limits,
    pinned: Pinned,
    contradiction: Contradiction,
) -> Result<Core> {
    let settings = &state.folder.settings;
    let currency = settings.currency;
    let minor = |text: &String| Money::parse(text, currency).map_or(0, |money| money.to_minor());
    let money_limit = limits.money.as_ref().map(minor);
    let within = planning::Limits {
        money: money_limit.map(|limit| (limit - spent(state, currency)).max(0)),
        minutes: limits
            .evenings
            .map(|evenings| evenings * settings.evening_minutes),
        least_working: limits.working,
    };
    let boards = state.boards()?;
    let now = &*inner.reckoned()?;
    let mut offered = offered(state, &boards, now, within, &pinned.without)?;
    let all_vendors = match pinned.without.as_slice() {
        [] => None,
        _ => Some(crate::offer::offered(state, &boards, now, within, &[])?),
    };
    let mut taken = pins::taken(state, &pinned.pins, &offered);
    let (plan, settings) = loop {
        let mut settings = search(patience(state));
        pins::settle(&mut settings, state, &taken.pins, &offered);
        match planning::solve(&offered.instance, &settings) {
            Ok(plan) => break (plan, settings),
            Err(error) => {
                let refusal = pins::refused(error.clone(), &taken.pins, &limits);
                if contradiction == Contradiction::Refuse
                    || !loosened(&error, &mut offered, &mut taken, &refusal)
                {
                    return Err(refusal);
                }
            }
        }
    };
    let cut = !plan.proven;
    let (plan, ordered) = exact::settled(&offered, &settings, plan, currency)?;
    Ok(Core {
        limits,
        pinned,
        cut,
        pins: taken.pins,
        left_out: taken.left_out,
        money_limit,
        settings,
        offered,
        all_vendors,
        plan,
        parcels: ordered.parcels,
        needers: ordered.needers,
        money: ordered.money,
        spares: ordered.spares,
        turns: crate::turning::Turns::default(),
        given: ordered.given,
    })
}

/// Leaves out what cannot be kept, and says so; whether there was anything to leave out.
fn loosened(
    error: &planning::Error,
    offered: &mut Offered,
    taken: &mut pins::Taken,
    why: &Error,
) -> bool {
    let named = match error {
        planning::Error::Conflict(settled) => pins::named(settled, &taken.pins),
        planning::Error::NoKit(tag) => {
            let own = taken.pins.iter().filter(|one| one.tag() == tag);
            own.cloned().collect()
        }
        _ => Vec::new(),
    };
    if named.is_empty() && offered.instance.limits.least_working.take().is_none() {
        return false;
    }
    taken.pins.retain(|one| !named.contains(one));
    taken.left_out.push(why.message.clone());
    true
}

/// What parcels ordered since the limits were set have cost.
pub(crate) fn spent(state: &State, currency: Currency) -> i64 {
    let set = state
        .pile
        .holding()
        .filter(|entry| matches!(entry.line, Line::Limits { .. }))
        .map(|entry| entry.id)
        .max();
    let ordered = state
        .pile
        .ordered
        .iter()
        .filter(|id| set.is_none_or(|set| **id > set));
    let landed = ordered.filter_map(|id| match &state.pile.entry(*id)?.line {
        Line::Ordered { landed, .. } => Money::parse(landed, currency).ok(),
        _ => None,
    });
    landed.map(|money| money.to_minor()).sum()
}

/// How the plan adds up, in smallest coins.
pub(crate) struct Sums {
    pub(crate) worth: i64,
    pub(crate) already: i64,
    pub(crate) others: i64,
    pub(crate) money: i64,
    pub(crate) minutes: i64,
    /// To mend again what is fitted now, over the years that a machine is to last.
    pub(crate) later: i64,
    pub(crate) left_over: i64,
    pub(crate) working_now: Vec<String>,
    pub(crate) worth_of: BTreeMap<String, i64>,
}

impl Core {
    /// A vendor's words for an item.
    pub(crate) fn title_of<'c>(&'c self, item: &'c str) -> &'c str {
        let offers = self.offered.request.offers.iter();
        let titles = offers.filter(|offer| offer.item == item);
        let mut titles = titles.map(|offer| offer.title.as_str());
        titles.find(|title| !title.is_empty()).unwrap_or(item)
    }

    /// How the plan adds up.
    pub(crate) fn sums(&self) -> Sums {
        self.sums_of(&self.plan, self.parcels.landed.to_minor())
    }

    /// How a plan for this pile adds up, rounded in the same places as the one that is shown.
    pub(crate) fn sums_of(&self, plan: &Plan, money: i64) -> Sums {
        let mut sums = Sums {
            worth: 0,
            already: 0,
            others: 0,
            money,
            minutes: round(self.offered.instance.rate_per_minute * plan.minutes),
            later: 0,
            left_over: 0,
            working_now: Vec::new(),
            worth_of: BTreeMap::new(),
        };
        let mut later = 0.0;
        let machines = self.offered.instance.machines.iter().zip(&plan.machines);
        for (at, (machine, decision)) in machines.enumerate() {
            // what is lost where it is given up only once the faults have shown
            let lost = round(whole(machine.hold_value) * plan.given_up(at));
            let expected = |chance: f64| {
                round(
                    whole(machine.hold_value) + whole(machine.value - machine.hold_value) * chance,
                )
            };
            let worth = match &decision.choice {
                Choice::Hold => machine.hold_value - lost,
                Choice::Sell => machine.sell_value.unwrap_or(0),
                Choice::Donor => 0,
                Choice::Repair(kit) => {
                    later += kit.later;
                    expected(kit.chance) - lost
                }
            };
            let chance = self.offered.whole.get(&machine.id).copied().unwrap_or(0.0);
            if works_already(chance) {
                sums.already += expected(chance);
                sums.working_now.push(machine.id.clone());
            } else {
                sums.others += machine.hold_value;
            }
            sums.worth += worth;
            sums.worth_of.insert(machine.id.clone(), worth);
        }
        sums.later = round(later);
        sums.left_over =
            sums.worth - sums.already - sums.others - sums.money - sums.minutes - sums.later;
        sums
    }
}

pub(crate) fn round(coins: f64) -> i64 {
    // Sums of a pile lie far below the limit; the cast saturates.
    coins.round() as i64
}

#[expect(clippy::cast_precision_loss, reason = "amounts are far below 2^53")]
pub(crate) fn whole(coins: i64) -> f64 {
    coins as f64
}

/// What the bench plan says about money.
pub(crate) struct Foot {
    pub(crate) spends: String,
    pub(crate) parcels: usize,
    pub(crate) minutes: f64,
    pub(crate) working: f64,
    pub(crate) worth: String,
}

/// The money line of the bench plan.
pub(crate) fn foot(inner: &mut Inner) -> Result<Foot> {
    let core = core(inner)?;
    let currency = inner.state().folder.settings.currency;
    let sums = core.sums();
    Ok(Foot {
        spends: coins(sums.money, currency),
        parcels: core.parcels.parcels.len(),
        minutes: core.plan.minutes,
        working: core.plan.working,
        worth: coins(sums.worth, currency),
    })
}
