//! What would change the plan: money, prices, other decisions, simple rules.

use std::{
    collections::{BTreeMap, BTreeSet},
    time::{Duration, Instant},
};

use catalogue::RemedyKind;
use planning::{Choice, Chosen, Instance, Kit, Pin, Plan, Rule, Settings};
use units::{Currency, Decimal};

use crate::{
    economy::kind_title,
    pins,
    plan::{Core, Sums, refused, round, whole},
    say,
    views::{CurvePoint, RuleView, SettledView, SumRow},
    words::{coins, from_coins, listed, minutes, number, sentence},
    workshop::{Result, State},
};

/// Plans sought for the money curve, at most.
const MOST_POINTS: usize = 80;
/// Machines of which it is asked what another decision would cost.
const MOST_OTHERS: usize = 8;
/// Prices that are shown.
const MOST_PRICES: usize = 6;
/// Differences of two plans that are told.
const MOST_TOLD: usize = 3;
/// A price is sought up to so many times what is asked.
const DEARER: i64 = 4;

/// What would change the plan.
pub(crate) struct Changes {
    pub(crate) curve: Vec<CurvePoint>,
    pub(crate) curve_complete: bool,
    pub(crate) rules: Vec<RuleView>,
    pub(crate) changes: Vec<SumRow>,
    pub(crate) others: Vec<SumRow>,
    pub(crate) settled: Vec<SettledView>,
    /// What was left out for want of time.
    pub(crate) cut_short: Option<String>,
}

/// Looks for what would change the plan. It takes no longer than `patience`; what was not found by then is left out and
/// said to be.
pub(crate) fn changes(
    state: &State,
    core: &Core,
    sums: &Sums,
    patience: Duration,
) -> Result<Changes> {
    let asker = Asker {
        state,
        core,
        sums,
        currency: state.folder.settings.currency,
        patience,
        started: Instant::now(),
    };
    let settled = asker.settled()?;
    let (curve, curve_complete, mut changes) = asker.curve()?;
    let rules = asker.rules();
    let others = asker.others();
    changes.extend(asker.more_evenings());
    changes.extend(asker.prices()?);
    let cut_short = asker.left().is_none().then(|| {
        "There was no time left to find all that would change the plan; the lists are cut short."
            .to_string()
    });
    Ok(Changes {
        curve,
        curve_complete,
        rules,
        changes,
        others,
        settled,
        cut_short,
    })
}

struct Asker<'a> {
    state: &'a State,
    core: &'a Core,
    sums: &'a Sums,
    currency: Currency,
    patience: Duration,
    started: Instant,
}

impl Asker<'_> {
    fn left(&self) -> Option<Duration> {
        let left = self.patience.saturating_sub(self.started.elapsed());
        (!left.is_zero()).then_some(left)
    }

    fn settings(&self, left: Duration) -> Settings {
        Settings {
            time_limit: Some(left),
            ..self.core.settings.clone()
        }
    }

    fn instance(&self) -> &Instance {
        &self.core.offered.instance
    }

    /// How much less this plan leaves over.
    fn loses(&self, other: &Plan) -> i64 {
        self.sums.left_over - self.core.sums_of(other, other.money).left_over
    }

    fn point(&self, plan: &Plan) -> CurvePoint {
        if *plan == self.core.plan {
            return CurvePoint {
                money: from_coins(self.sums.money, self.currency),
                left_over: from_coins(self.sums.left_over, self.currency),
                working: plan.working,
                chosen: true,
                proven: plan.proven,
            };
        }
        let left_over = self.sums.left_over - self.loses(plan);
        CurvePoint {
            money: from_coins(plan.money, self.currency),
            left_over: from_coins(left_over, self.currency),
            working: plan.working,
            chosen: false,
            proven: plan.proven,
        }
    }

    /// The money curve, whether it is complete, and what its next steps bring.
    fn curve(&self) -> Result<(Vec<CurvePoint>, bool, Vec<SumRow>)> {
        let Some(left) = self.left() else {
            return Ok((vec![self.point(&self.core.plan)], false, Vec::new()));
        };
        let found = planning::curve(self.instance(), &self.settings(left), MOST_POINTS);
        let mut curve = found.map_err(refused)?;
        let chosen = &self.core.plan;
        let near = |plan: &Plan| (plan.value - chosen.value).abs() < 0.5;
        curve.plans.retain(|plan| {
            let same_money = plan.money == chosen.money;
            !(same_money || plan.money > chosen.money && near(plan))
        });
        let at = curve
            .plans
            .iter()
            .filter(|p| p.money < chosen.money)
            .count();
        curve.plans.insert(at, chosen.clone());
        let rows = self.steps(&curve.plans, at);
        let points = curve.plans.iter().map(|plan| self.point(plan)).collect();
        Ok((points, curve.complete, rows))
    }

    fn steps(&self, plans: &[Plan], at: usize) -> Vec<SumRow> {
        let mut rows = Vec::new();
        let chosen = &plans[at];
        if let Some(next) = plans.get(at + 1) {
            rows.push(SumRow {
                amount: coins(next.money, self.currency),
                text: format!(
                    "With this much to spend: {}. Leaves {} more.",
                    self.difference(chosen, next),
                    coins(-self.loses(next), self.currency)
                ),
            });
        }
        if let Some(top) = plans.last().filter(|_| plans.len() > at + 2) {
            rows.push(SumRow {
                amount: coins(top.money, self.currency),
                text: format!(
                    "More than this buys nothing: {:.2} expected to work. Leaves {} more.",
                    top.working,
                    coins(-self.loses(top), self.currency)
                ),
            });
        }
        if let Some(before) = at.checked_sub(1).and_then(|before| plans.get(before)) {
            rows.push(SumRow {
                amount: coins(chosen.money, self.currency),
                text: format!(
                    "With less than this: {}. Leaves {} less.",
                    self.difference(chosen, before),
                    coins(self.loses(before), self.currency)
                ),
            });
        }
        rows
    }

    /// What more evenings would bring.
    fn more_evenings(&self) -> Option<SumRow> {
        self.instance().limits.minutes?;
        let mut free = self.instance().clone();
        free.limits.minutes = None;
        let more = planning::solve(&free, &self.settings(self.left()?)).ok()?;
        let gain = -self.loses(&more);
        (gain > 0).then(|| SumRow {
            amount: coins(gain, self.currency),
            text: format!(
                "More is left over if evenings have no limit: {}. {} at the bench.",
                self.difference(&self.core.plan, &more),
                minutes(more.minutes)
            ),
        })
    }

    fn rules(&self) -> Vec<RuleView> {
        let ids = |kind: RemedyKind| -> BTreeSet<String> {
            let of_kind = self.core.offered.kinds.iter();
            of_kind
                .filter(|(_, known)| **known == kind)
                .map(|(id, _)| id.clone())
                .collect()
        };
        let used = ids(RemedyKind::UsedOriginal);
        let built = ids(RemedyKind::HomeBuilt);
        let mut rules = vec![("cheapest first", Rule::CheapestFirst)];
        if self.instance().machines.iter().any(|m| !m.donor.is_empty()) {
            rules.push(("no donor", Rule::NoDonor));
        }
        if !used.is_empty() {
            rules.push(("all used originals", Rule::Only(used)));
        }
        if !built.is_empty() {
            rules.push(("all home-built", Rule::Only(built)));
        }
        let views = rules.into_iter().filter_map(|(title, rule)| {
            let settings = self.settings(self.left()?);
            let plan = planning::by_rule(self.instance(), &settings, &rule).ok()?;
            let point = self.point(&plan);
            Some(RuleView {
                title: title.to_string(),
                money: point.money,
                left_over: point.left_over,
                working: plan.working,
                loses: coins(-self.loses(&plan), self.currency),
                proven: plan.proven,
            })
        });
        views.collect()
    }

    /// What another decision about a machine would cost.
    fn others(&self) -> Vec<SumRow> {
        let mut rows = Vec::new();
        for decision in &self.core.plan.machines {
            let tag = &decision.id;
            if self.core.pins.iter().any(|one| one.tag() == tag) {
                continue;
            }
            let (pin, what) = match &decision.choice {
                Choice::Repair(kit) if !kit.remedies.is_empty() && !self.core.works_now(tag) => {
                    (Pin::Hold, format!("{tag} left as it is."))
                }
                Choice::Donor => (Pin::Keep, format!("{tag} kept whole.")),
                Choice::Sell => (Pin::Keep, format!("{tag} not sold.")),
                Choice::Hold => (Pin::Repair, format!("{tag} mended all the same.")),
                Choice::Repair(_) => continue,
            };
            let Some(left) = self.left().filter(|_| rows.len() < MOST_OTHERS) else {
                break;
            };
            let mut settings = self.settings(left);
            settings.pins.insert(tag.clone(), pin);
            if let Ok(other) = planning::solve(self.instance(), &settings) {
                rows.push(SumRow {
                    amount: coins(-self.loses(&other).max(0), self.currency),
                    text: what,
                });
            }
        }
        rows
    }

    /// What is settled beforehand, and what each of it costs.
    fn settled(&self) -> Result<Vec<SettledView>> {
        let mut views = Vec::new();
        for (at, pin) in self.core.pins.iter().enumerate() {
            let mut others = self.core.pins.clone();
            others.remove(at);
            let settings = self.free(&others, &self.core.offered);
            let free = settings.map(|settings| planning::solve(self.instance(), &settings));
            let free = free.transpose().map_err(refused)?;
            views.push(self.settled_view(pin.typed(), &pin.sentence(), free.as_ref()));
        }
        for vendor in &self.core.pinned.without {
            let Some(all) = &self.core.all_vendors else {
                continue;
            };
            let mut with = all.instance.clone();
            let kept = |id: &String| id == vendor || !self.core.pinned.without.contains(id);
            with.vendors.retain(|one| kept(&one.id));
            with.offers.retain(|offer| kept(&offer.vendor));
            let settings = self.free(&self.core.pins, all);
            let free = settings.map(|settings| planning::solve(&with, &settings));
            let free = free.transpose().map_err(refused)?;
            let title = self.vendor_title(vendor);
            let text = format!("nothing is ordered from {title}");
            views.push(self.settled_view(format!("without {vendor}"), &text, free.as_ref()));
        }
        Ok(views)
    }

    /// The search with these decisions settled and no others; nothing if no time is left.
    fn free(&self, pins: &[pins::One], offered: &crate::offer::Offered) -> Option<Settings> {
        let mut settings = crate::plan::search(self.left()?);
        pins::settle(&mut settings, self.state, pins, offered);
        Some(settings)
    }

    fn vendor_title(&self, id: &str) -> String {
        let vendors = &self.state.folder.vendors;
        let found = vendors.iter().find(|vendor| vendor.id == id);
        match found {
            Some(vendor) if !vendor.title.is_empty() => vendor.title.clone(),
            _ => id.to_string(),
        }
    }

    fn settled_view(&self, typed: String, text: &str, free: Option<&Plan>) -> SettledView {
        let Some(free) = free else {
            return SettledView {
                typed,
                text: sentence(&format!("{text}; what that costs is still open")),
                cost: String::new(),
            };
        };
        let cost = (-self.loses(free)).max(0);
        let text = if cost == 0 {
            format!("{text}; that costs nothing")
        } else {
            let otherwise = self.difference(&self.core.plan, free);
            format!("{text}; else {otherwise}")
        };
        SettledView {
            typed,
            text: sentence(&text),
            cost: coins(-cost, self.currency),
        }
    }

    /// At which prices the plan changes, the nearest first.
    fn prices(&self) -> Result<Vec<SumRow>> {
        let mut found: Vec<(f64, SumRow)> = Vec::new();
        for item in self.items() {
            let Some(ask) = self.ask(&item) else {
                continue;
            };
            let bought = self.core.plan.orders.iter().any(|o| o.item == item);
            let now = ask.landed;
            let ways = [
                bought.then_some((now, now * DEARER + 1_000)),
                (now > 1).then_some((now, now / 2)),
            ];
            for (from, to) in ways.into_iter().flatten() {
                let Some(left) = self.left() else {
                    break;
                };
                let at = |price: i64| self.priced(&item, price - now);
                let settings = self.settings(left);
                let turn = planning::turning(&at, &self.core.plan, (from, to), &settings);
                if let Ok(Some(turn)) = turn {
                    let far = whole((turn.price - now).abs()) / whole(now);
                    found.push((far, self.price_row(&ask, turn.price, &turn.plan)));
                }
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        found.truncate(MOST_PRICES);
        Ok(found.into_iter().map(|(_, row)| row).collect())
    }

    /// Items that the pile's faults or boards to build could use up, but for parts of donors.
    fn items(&self) -> BTreeSet<String> {
        let remedies = self.instance().remedies.iter();
        let parts = self.instance().builds.iter().flat_map(|build| &build.uses);
        let items = remedies.filter_map(|remedy| remedy.item.clone());
        items
            .chain(parts.map(|part| part.item.clone()))
            .filter(|item| !crate::offer::is_from_donor(item))
            .collect()
    }

    fn price_row(&self, ask: &Ask, price: i64, other: &Plan) -> SumRow {
        let dearer = price > ask.landed;
        // the last price at which the plan stays, or the first at which it does not
        let landed = if dearer { price - 1 } else { price };
        let each = (whole(landed) / ask.factor).floor();
        let than = if dearer {
            "Dearer than this"
        } else {
            "At this or less"
        };
        SumRow {
            amount: coins(round(each), ask.currency),
            text: format!(
                "{than}, {}, now {}: {}.",
                ask.title,
                coins(ask.each, ask.currency),
                self.difference(&self.core.plan, other)
            ),
        }
    }

    /// What is asked for one of an item: where the plan buys it, else where it is cheapest.
    fn ask(&self, item: &str) -> Option<Ask> {
        let real = |price: Decimal| price.to_string().parse::<f64>().ok();
        let bought = self.core.plan.orders.iter().find(|o| o.item == item);
        let quantity = bought.map_or(1, |order| order.quantity);
        let offers = self.instance().offers.iter().filter(|o| o.item == item);
        let there = offers.filter(|o| bought.is_none_or(|order| order.vendor == o.vendor));
        let priced = there.filter_map(|offer| {
            let holds = offer.breaks.iter().rfind(|one| one.from <= quantity);
            let landed = real(holds.or(offer.breaks.first())?.each)?;
            Some((landed, offer))
        });
        let (landed, offer) = priced.min_by(|a, b| a.0.total_cmp(&b.0))?;
        let request = &self.core.offered.request;
        let vendor = request.vendors.iter().find(|v| v.id == offer.vendor)?;
        let mut asked = request.offers.iter();
        let asked = asked.find(|one| one.vendor == offer.vendor && one.item == item)?;
        let least = quantity.max(asked.least);
        let holds = asked.breaks.iter().rfind(|one| one.from <= least);
        let coin = Decimal::from(10_i64.pow(vendor.currency.minor_digits()));
        let each = real(holds.or(asked.breaks.first())?.each * coin)?;
        (each > 0.0 && landed >= 1.0).then(|| Ask {
            title: match asked.title.as_str() {
                "" => item.to_string(),
                title => title.to_string(),
            },
            landed: round(landed),
            each: round(each),
            factor: landed / each,
            currency: vendor.currency,
        })
    }

    /// A vendor's words for an item.
    fn item_title(&self, item: &str) -> String {
        let offers = &self.state.folder.offers;
        let titles = offers.iter().filter(|offer| offer.item == item);
        let mut titles = titles.map(|offer| offer.title.as_str());
        let first = titles.find(|title| !title.is_empty());
        first.unwrap_or(item).to_string()
    }

    /// The pile with this item dearer, or cheaper, everywhere.
    fn priced(&self, item: &str, more: i64) -> Instance {
        let mut instance = self.instance().clone();
        for offer in instance.offers.iter_mut().filter(|o| o.item == item) {
            for level in &mut offer.breaks {
                level.each = (level.each + Decimal::from(more)).max(Decimal::ZERO);
            }
        }
        instance
    }

    /// What another plan does otherwise: `T-02 is left as it is; T-07 and T-09 get U9 from a donor`.
    fn difference(&self, from: &Plan, to: &Plan) -> String {
        let pairs = from.machines.iter().zip(&to.machines);
        let mut alike: Vec<(Otherwise, Vec<String>)> = Vec::new();
        for (one, other) in pairs {
            let Some(what) = self.otherwise(&one.choice, &other.choice) else {
                continue;
            };
            match alike.iter_mut().find(|(known, _)| *known == what) {
                Some((_, tags)) => tags.push(one.id.clone()),
                None => alike.push((what, vec![one.id.clone()])),
            }
        }
        let told: Vec<String> = alike.iter().map(|(what, tags)| what.of(tags)).collect();
        match told.len() {
            0 => "the parcels are others".to_string(),
            n if n > MOST_TOLD + 1 => {
                let others = alike[MOST_TOLD..].iter().map(|(_, tags)| tags.len()).sum();
                format!(
                    "{}, and {} others are decided anew",
                    told[..MOST_TOLD].join(", "),
                    number(others)
                )
            }
            _ => listed(&told, "and"),
        }
    }

    fn otherwise(&self, from: &Choice, to: &Choice) -> Option<Otherwise> {
        let is = |what: &str| Otherwise::Is(what.to_string());
        Some(match (from, to) {
            (Choice::Repair(from), Choice::Repair(to)) => {
                return self.otherwise_mended(from, to);
            }
            (Choice::Hold, Choice::Hold)
            | (Choice::Donor, Choice::Donor)
            | (Choice::Sell, Choice::Sell) => return None,
            (Choice::Donor, Choice::Hold) => is("kept whole"),
            (_, Choice::Hold) => Otherwise::Left,
            (_, Choice::Donor) => is("given up"),
            (_, Choice::Sell) => is("sold as it stands"),
            (_, Choice::Repair(kit)) if kit.remedies.is_empty() => is("tested"),
            (_, Choice::Repair(kit)) => Otherwise::Gets(self.ways(kit, None)?),
        })
    }

    fn otherwise_mended(&self, from: &Kit, to: &Kit) -> Option<Otherwise> {
        if let Some(ways) = self.ways(to, Some(from)) {
            return Some(Otherwise::Gets(ways));
        }
        let parts = |kit: &Kit| -> BTreeSet<String> {
            let parts = kit.remedies.iter();
            parts.map(|chosen| say::short(&chosen.fault.part)).collect()
        };
        let less: Vec<String> = parts(from).difference(&parts(to)).cloned().collect();
        (!less.is_empty()).then(|| Otherwise::Gets(format!("no {}", listed(&less, "or"))))
    }

    /// `U16 and U17 new old stock`, what is the same in another kit left out.
    fn ways(&self, kit: &Kit, known: Option<&Kit>) -> Option<String> {
        let mut by_way: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for chosen in &kit.remedies {
            let before = known.and_then(|known| {
                let mut remedies = known.remedies.iter();
                remedies.find(|other| other.fault == chosen.fault)
            });
            if before == Some(chosen) {
                continue;
            }
            let parts = by_way.entry(self.way(chosen, before)).or_default();
            let part = say::short(&chosen.fault.part);
            if !parts.contains(&part) {
                parts.push(part);
            }
        }
        let ways: Vec<String> = by_way
            .iter()
            .map(|(way, parts)| format!("{} {way}", listed(parts, "and")))
            .collect();
        (!ways.is_empty()).then(|| listed(&ways, "and"))
    }

    /// What kind of way a remedy is; where it takes the place of one of the same kind, the item.
    fn way(&self, chosen: &Chosen, before: Option<&Chosen>) -> String {
        let all = [Some(&self.core.offered), self.core.all_vendors.as_ref()];
        let all = || all.into_iter().flatten();
        let kind = |id: &String| all().find_map(|offered| offered.kinds.get(id));
        let title = kind(&chosen.remedy).map_or("", |kind| kind_title(*kind));
        let same = before.is_some_and(|before| kind(&before.remedy) == kind(&chosen.remedy));
        let mut remedies = all().flat_map(|offered| &offered.instance.remedies);
        let remedy = remedies.find(|remedy| remedy.id == chosen.remedy);
        match remedy.and_then(|remedy| remedy.item.as_deref()) {
            Some(item) if same && !crate::offer::is_from_donor(item) => {
                format!("{title} ({})", self.item_title(item))
            }
            _ => title.to_string(),
        }
    }
}

/// What is done otherwise with a machine.
#[derive(Debug, PartialEq)]
enum Otherwise {
    /// `is given up`
    Is(String),
    /// `is left as it is`
    Left,
    /// `gets U9 new old stock`
    Gets(String),
}

impl Otherwise {
    fn of(&self, tags: &[String]) -> String {
        let who = listed(tags, "and");
        match (self, tags.len()) {
            (Otherwise::Is(what), 1) => format!("{who} is {what}"),
            (Otherwise::Is(what), _) => format!("{who} are {what}"),
            (Otherwise::Left, 1) => format!("{who} is left as it is"),
            (Otherwise::Left, _) => format!("{who} are left as they are"),
            (Otherwise::Gets(what), 1) => format!("{who} gets {what}"),
            (Otherwise::Gets(what), _) => format!("{who} get {what}"),
        }
    }
}

/// What is asked for an item.
struct Ask {
    title: String,
    /// In coins of the workshop, taxes paid.
    landed: i64,
    /// As the vendor asks it.
    each: i64,
    /// From what is asked to what is paid.
    factor: f64,
    currency: Currency,
}
