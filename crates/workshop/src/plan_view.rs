//! The plan as it is shown.

use std::{collections::BTreeMap, time::Duration};

use journal::Truth;
use planning::{Choice, Chosen, Kit};
use units::{Currency, Money};

use crate::{
    economy::kind_title,
    exact,
    offer::{is_from_donor, works_already},
    plan::{Core, Sums, spent},
    plan_changes::changes,
    plan_spares::spares,
    say,
    views::{DecisionView, PlanView, SumRow},
    words::{capital, coins, counted, listed, minutes, number, percent, sentence, trimmed},
    workshop::{Result, State},
};

/// The plan as it is shown; what would change it is looked for so long.
pub(crate) fn view(state: &State, core: &Core, patience: Duration) -> Result<PlanView> {
    let settings = &state.folder.settings;
    let currency = settings.currency;
    let sums = core.sums();
    let gap = exact::gap(&core.offered, &core.plan, &core.parcels);
    let proven = core.plan.proven && core.parcels.proven && gap == 0;
    let evenings = (core.plan.minutes / settings.evening_minutes).ceil();
    let changes = changes(state, core, &sums, patience)?;
    let improving = core.cut || changes.cut_short.is_some();
    let mut notes = notes(state, core);
    notes.extend(changes.cut_short);
    Ok(PlanView {
        heading: heading(core, state, evenings),
        proof: proof(state, core, proven, gap),
        proven,
        improving,
        gap: coins(gap, currency),
        money_limit: core.limits.money.clone(),
        evenings_limit: core.limits.evenings,
        working_limit: core.limits.working,
        evening_minutes: settings.evening_minutes,
        decisions: decisions(state, core, &sums)?,
        to_build: crate::building::to_build(state, core),
        other_costs: other_costs(core, currency),
        sum: rows(state, core, &sums),
        curve: changes.curve,
        curve_complete: changes.curve_complete,
        rules: changes.rules,
        settled: changes.settled,
        spends: coins(sums.money, currency),
        minutes: core.plan.minutes,
        working: core.plan.working,
        left_over: coins(sums.left_over, currency),
        spares: spares(state, core),
        changes: changes.changes,
        others: changes.others,
        notes,
    })
}

fn heading(core: &Core, state: &State, evenings: f64) -> String {
    let currency = state.folder.settings.currency;
    let landed = core.parcels.landed.to_minor();
    let money = if landed == 0 {
        "nothing".to_string()
    } else {
        coins(landed, currency)
    };
    let time = match evenings as usize {
        0 => "no evening".to_string(),
        n => counted(n, "evening", "evenings"),
    };
    let working = core.plan.working.round() as usize;
    let all = core.plan.machines.len();
    match all {
        0 if state.pile.machines.is_empty() => "Nothing is taken in yet.".to_string(),
        0 => "No machine is on the bench.".to_string(),
        _ => format!(
            "Spend {money} and {time}; {} of {} should work.",
            match working {
                0 => "none".to_string(),
                some => number(some),
            },
            number(all)
        ),
    }
}

fn proof(state: &State, core: &Core, proven: bool, gap: i64) -> String {
    let currency = state.folder.settings.currency;
    let mut limits = Vec::new();
    let left = core.offered.instance.limits.money;
    limits.extend(core.limits.money.as_ref().map(|limit| match left {
        Some(left) if Some(left) != core.money_limit => {
            format!("the {} left of {limit}", coins(left, currency))
        }
        _ if !state.pile.ordered.is_empty() => format!("{limit} beside what is ordered already"),
        _ => limit.clone(),
    }));
    limits.extend(core.limits.evenings.map(|evenings| match evenings {
        whole if whole.fract() == 0.0 && whole <= 12.0 => {
            counted(whole as usize, "evening", "evenings")
        }
        part => format!("{} evenings", trimmed(part, 1)),
    }));
    let within = if limits.is_empty() {
        String::new()
    } else {
        format!(" within {}", listed(&limits, "and"))
    };
    limits.extend(
        core.limits
            .working
            .map(|least| format!("at least {} working", trimmed(least, 2))),
    );
    let over = match core.plan.cases.len() {
        0 => "Worked out over the best explanations of every machine; what they leave out is taken as not mended.".to_string(),
        cases => format!(
            "Worked out for {} the machines can be in: what is bought is settled now, what is done when the fault has shown.",
            counted(cases, "state", "states")
        ),
    };
    match proven {
        true => format!("Proven: nothing better exists{within}. {over}"),
        false => format!(
            "Best found{within}; another plan could be better by {} at most{}. {over}",
            coins(gap, currency),
            if core.cut {
                ""
            } else {
                ", as duty, tax limits and postage by weight are reckoned exactly for the parcels only"
            }
        ),
    }
}

fn other_costs(core: &Core, currency: Currency) -> Vec<SumRow> {
    let sum = |amount: fn(&purchasing::Parcel) -> &Money| -> i64 {
        core.parcels
            .parcels
            .iter()
            .map(|parcel| amount(parcel).to_minor())
            .sum()
    };
    let parcels = counted(core.parcels.parcels.len(), "parcel", "parcels");
    let wishes = core.money.get(crate::wish::DRAWER).copied().unwrap_or(0);
    let rows = [
        (
            wishes,
            "for the drawer: wishes that make the order no dearer".to_string(),
        ),
        (
            core.spares,
            "spares: packs and least quantities hold more than is needed".to_string(),
        ),
        (sum(|parcel| &parcel.postage), format!("postage, {parcels}")),
        (sum(|parcel| &parcel.duty), "duty".to_string()),
        (sum(|parcel| &parcel.vat), "import tax".to_string()),
        (sum(|parcel| &parcel.clearance), "clearance".to_string()),
    ];
    let shown = rows.into_iter().filter(|(amount, _)| *amount != 0);
    shown
        .map(|(amount, text)| SumRow {
            amount: coins(amount, currency),
            text,
        })
        .collect()
}

fn rows(state: &State, core: &Core, sums: &Sums) -> Vec<SumRow> {
    let currency = state.folder.settings.currency;
    let signed = |amount: i64, text: String| SumRow {
        amount: coins(amount, currency),
        text,
    };
    let machines = counted(core.plan.machines.len(), "machine", "machines");
    let mut rows = vec![signed(sums.worth, format!("worth when done, {machines}"))];
    if !sums.working_now.is_empty() {
        rows.push(signed(
            -sums.already,
            format!("already there: {}", listed(&sums.working_now, "and")),
        ));
    }
    if sums.others != 0 {
        rows.push(signed(-sums.others, "the others as they stand".to_string()));
    }
    let rate = coins(state.folder.settings.rate_per_hour, currency);
    rows.push(signed(-sums.money, "money".to_string()));
    rows.push(signed(
        -sums.minutes,
        format!("{:.0} min at {rate} an hour", core.plan.minutes),
    ));
    if sums.later != 0 {
        let years = trimmed(state.folder.settings.horizon_years, 1);
        rows.push(signed(
            -sums.later,
            format!("to mend again what is fitted now, in {years} years"),
        ));
    }
    rows.push(signed(sums.left_over, "left over".to_string()));
    rows
}

fn decisions(state: &State, core: &Core, sums: &Sums) -> Result<Vec<DecisionView>> {
    let currency = state.folder.settings.currency;
    let mut views = Vec::new();
    for (at, decision) in core.plan.machines.iter().enumerate() {
        let tag = &decision.id;
        let worth = coins(sums.worth_of.get(tag).copied().unwrap_or(0), currency);
        let whole = core.offered.whole.get(tag).copied().unwrap_or(0.0);
        let given_up = core.plan.given_up(at);
        let (kind, title, text, chance, minutes) = match &decision.choice {
            Choice::Hold if given_up > 0.0 => {
                let text = format!(
                    "Its parts serve the others if what they show asks for it: given up then with {}.",
                    percent(given_up)
                );
                ("hold", "Keep it whole for now.", text, 0.0, 0.0)
            }
            Choice::Hold => ("hold", "Hold.", core.held(state, tag)?, 0.0, 0.0),
            Choice::Sell => {
                let text = format!("It brings {worth}.");
                ("sell", "Sell it as it stands.", text, 0.0, 0.0)
            }
            Choice::Donor => ("donor", "Give up as a donor.", core.donated(tag), 0.0, 0.0),
            Choice::Repair(kit) => {
                let (kind, title, mut text) = core.repaired(tag, kit, whole, &worth);
                let machine = state.pile.machine(tag);
                if kind == "works" && machine.is_some_and(|one| one.settled == Some(Truth::Works)) {
                    text = format!("That is settled. Worth {worth}.");
                }
                if given_up > 0.0 {
                    text = format!(
                        "{text} Given up as a donor by what shows, with {}.",
                        percent(given_up)
                    );
                }
                (kind, title, text, kit.chance, kit.minutes)
            }
        };
        views.push(DecisionView {
            tag: tag.clone(),
            decision: kind.to_string(),
            money: coins(core.money.get(tag).copied().unwrap_or(0), currency),
            title: title.to_string(),
            text,
            chance,
            minutes,
            worth,
        });
    }
    Ok(views)
}

impl Core {
    pub(crate) fn works_now(&self, tag: &str) -> bool {
        self.offered
            .whole
            .get(tag)
            .is_some_and(|whole| works_already(*whole))
    }

    fn held(&self, state: &State, tag: &str) -> Result<String> {
        let machine = self
            .offered
            .instance
            .machines
            .iter()
            .find(|machine| machine.id == tag);
        let board = state.folder.board(&state.machine(tag)?.board)?;
        let Some(machine) = machine else {
            return Ok(String::new());
        };
        let best = diagnosis::first_of_most(machine.scenarios.iter(), |one| one.chance);
        let hold = coins(machine.hold_value, state.folder.settings.currency);
        let settled = self.pins.iter().any(|one| one.tag() == tag);
        Ok(match best {
            _ if settled => format!("It is settled so. Worth {hold} as it is."),
            Some(_) if self.cut => {
                format!("The best plan found so far leaves it so. Worth {hold} as it is.")
            }
            None => format!("Nothing that could be had mends it. Worth {hold} as it is."),
            Some(best) if best.faults.is_empty() => {
                format!("No time is left for it. Worth {hold} as it is.")
            }
            Some(best) => {
                let faults: Vec<String> = best
                    .faults
                    .iter()
                    .map(|fault| say::mode_short(&board, &fault.part, &fault.mode))
                    .collect();
                format!(
                    "Mending it does not pay now: the likeliest, {}, is true with {} only. Worth {hold} as it is.",
                    listed(&faults, "and"),
                    percent(best.chance)
                )
            }
        })
    }

    /// `U30 and PS1 go to T-02; U9 goes to T-03.`
    fn donated(&self, tag: &str) -> String {
        let mut by_taker: BTreeMap<&String, Vec<String>> = BTreeMap::new();
        for ((taker, _), parts) in &self.given {
            let own = parts
                .iter()
                .filter(|(giver, _)| giver == tag)
                .map(|(_, part)| part.clone());
            by_taker.entry(taker).or_default().extend(own);
        }
        by_taker.retain(|_, parts| !parts.is_empty());
        let goes: Vec<String> = by_taker
            .iter()
            .map(|(taker, parts)| {
                format!(
                    "{} {} to {taker}",
                    listed(parts, "and"),
                    if parts.len() == 1 { "goes" } else { "go" }
                )
            })
            .collect();
        if goes.is_empty() {
            "Its parts serve the others.".to_string()
        } else {
            sentence(&goes.join("; "))
        }
    }

    fn repaired(
        &self,
        tag: &str,
        kit: &Kit,
        whole: f64,
        worth: &str,
    ) -> (&'static str, &'static str, String) {
        let spent = minutes(kit.minutes);
        if kit.remedies.is_empty() {
            return if works_already(whole) {
                (
                    "works",
                    "Works.",
                    format!("Only the proof is missing. Worth {worth}, {spent}."),
                )
            } else {
                let chance = percent(kit.chance);
                (
                    "repair",
                    "Test it as it is.",
                    format!("It works with {chance}, worth {worth}, {spent}."),
                )
            };
        }
        let mut by_way: Vec<(String, Vec<String>)> = Vec::new();
        for chosen in &kit.remedies {
            let way = self.way(tag, chosen);
            let part = say::short(&chosen.fault.part);
            match by_way.iter_mut().find(|(known, _)| *known == way) {
                Some((_, parts)) if parts.contains(&part) => {}
                Some((_, parts)) => parts.push(part),
                None => by_way.push((way, vec![part])),
            }
        }
        let ways: Vec<String> = by_way
            .iter()
            .map(|(way, parts)| format!("{} {way}", listed(parts, "and")))
            .collect();
        let ways = ways.join("; ");
        let chance = percent(kit.chance);
        if works_already(whole) {
            return (
                "works",
                "Works.",
                format!("If the proof fails: {ways}. Then {chance}, worth {worth}, {spent}."),
            );
        }
        if self.by_what_shows(tag) {
            return (
                "repair",
                "Look further first.",
                format!(
                    "By what it shows: {} Works after with {chance}, worth {worth}, {spent}.",
                    sentence(&ways)
                ),
            );
        }
        let title = if kit.chance < 0.5 {
            "Look further first."
        } else {
            "Repair now."
        };
        (
            "repair",
            title,
            format!(
                "{} Works after with {chance}, worth {worth}, {spent}.",
                sentence(&ways)
            ),
        )
    }

    /// Whether what is done to a machine depends on the fault that shows.
    fn by_what_shows(&self, tag: &str) -> bool {
        let mut ways = self.plan.cases.iter().filter_map(|case| {
            let own = case.machines.iter().find(|decision| decision.id == tag)?;
            Some(match &own.choice {
                Choice::Repair(kit) => Some(&kit.remedies),
                _ => None,
            })
        });
        let first = ways.next();
        first.is_some_and(|first| ways.any(|way| way != first))
    }

    /// `from T-06`, `new old stock`.
    fn way(&self, tag: &str, chosen: &Chosen) -> String {
        let remedy = self
            .offered
            .instance
            .remedies
            .iter()
            .find(|remedy| remedy.id == chosen.remedy);
        let item = remedy
            .and_then(|remedy| remedy.item.clone())
            .filter(|item| is_from_donor(item));
        let giver =
            item.and_then(|item| self.given.get(&(tag.to_string(), item))?.first().cloned());
        match giver {
            Some((giver, _)) => format!("from {giver}"),
            None => {
                let lies = self.offered.lying.get(&chosen.remedy).cloned();
                let kind = || self.offered.kinds.get(&chosen.remedy);
                lies.or_else(|| kind().map(|kind| kind_title(*kind).to_string()))
                    .unwrap_or_default()
            }
        }
    }
}

/// How sure the limits are: money is spent before any fault shows, minutes are not.
fn how_sure(state: &State, core: &Core) -> Vec<String> {
    let mut told = Vec::new();
    let spent = spent(state, state.folder.settings.currency);
    let landed = core.parcels.landed.to_minor();
    if core
        .money_limit
        .is_some_and(|limit| landed + spent <= limit)
    {
        told.push("All that is ordered is paid now, whatever the faults turn out to be: the limit on money holds for certain, not only on average.".to_string());
    }
    let evenings = core.limits.evenings.filter(|_| core.plan.minutes > 0.0);
    told.extend(evenings.map(|evenings| {
        let most = evenings * state.folder.settings.evening_minutes;
        let within = planning::within_minutes(&core.offered.instance, &core.plan, most);
        match within {
            sure if sure > 1.0 - 1e-9 => {
                "The minutes depend on which faults show: the evenings suffice whatever shows."
                    .to_string()
            }
            chance => format!(
                "The minutes depend on which faults show: the evenings suffice with {}.",
                percent(chance)
            ),
        }
    }));
    told
}

fn notes(state: &State, core: &Core) -> Vec<String> {
    let mut notes: Vec<String> = core
        .left_out
        .iter()
        .map(|what| sentence(&format!("left out of what is settled: {what}")))
        .collect();
    notes.extend(core.offered.notes.iter().cloned());
    notes.extend(how_sure(state, core));
    if exact::differs(&core.offered) && !core.parcels.parcels.is_empty() {
        notes.push("The parcels are reckoned exactly. Curve, prices and other decisions take each parcel as light and below the limit for duty, and all as taxed.".to_string());
    }
    let shelved = crate::bench::shelved(state);
    match shelved.as_slice() {
        [] => {}
        [one] => notes.push(format!("{one} is on the shelf and left out.")),
        many => notes.push(format!(
            "{} are on the shelf and left out.",
            listed(many, "and")
        )),
    }
    for (tag, part) in state.pile.on_bench().flat_map(|machine| {
        let guests = machine.guests.keys();
        guests.map(move |part| (&machine.tag, part))
    }) {
        notes.push(format!(
            "{part} of {tag} holds another board's chip; the plan takes it as {tag}'s own until it is swapped back."
        ));
    }
    notes.extend(core.parcels.unmet.iter().map(|unmet| {
        sentence(&format!(
            "{} × {}: {}",
            unmet.missing, unmet.item, unmet.why
        ))
    }));
    if let Some(limit) = core.money_limit {
        let currency = state.folder.settings.currency;
        let over = core.parcels.landed.to_minor() + spent(state, currency) - limit;
        if over > 0 {
            notes.push(format!(
                "Tax, duty and weight are reckoned exactly for the parcels only: the limit is passed by {}.",
                coins(over, currency)
            ));
        }
    }
    notes.iter().map(|note| capital(note)).collect()
}
