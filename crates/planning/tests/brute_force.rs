//! Small random piles against listing every choice: every decision of every machine, every quantity of every offer.

use std::collections::{BTreeMap, BTreeSet};

use planning::{
    Break, Build, Count, Fault, Instance, Limits, Machine, Offer, Pin, Remedy, Rule, Scenario,
    Settings, Settled, Step, Vendor, alternatives, by_rule, curve, revalue, solve, turning,
};

/// A small generator of its own, so that the cases are the same everywhere.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % sides
    }

    fn int(&mut self, sides: u64) -> i64 {
        i64::try_from(self.roll(sides)).unwrap()
    }

    fn small(&mut self, sides: u64) -> u32 {
        u32::try_from(self.roll(sides)).unwrap()
    }

    fn one_in(&mut self, n: u64) -> bool {
        self.roll(n) == 0
    }

    fn pick<'a>(&mut self, from: &[&'a str]) -> &'a str {
        from[usize::try_from(self.roll(from.len() as u64)).unwrap()]
    }
}

const DEVICES: [&str; 3] = ["cpu", "ram", "pla"];
const MODES: [&str; 2] = ["dead", "contact"];

fn count(item: &str, n: u32) -> Count {
    Count {
        item: item.to_string(),
        n,
    }
}

fn remedy(
    dice: &mut Dice,
    device: &str,
    kind: &str,
    item: Option<String>,
    modes: &[&str],
) -> Remedy {
    Remedy {
        id: format!("{device}.{kind}"),
        device: device.to_string(),
        item,
        minutes: 4 + dice.small(30),
        works: f64::from(60 + dice.small(40)) / 100.0,
        later: if dice.one_in(3) {
            dice.int(300) as f64
        } else {
            0.0
        },
        modes: modes.iter().map(ToString::to_string).collect(),
    }
}

fn machine(dice: &mut Dice, index: usize) -> Machine {
    let number = 1 + dice.roll(2);
    let mut scenarios = Vec::new();
    for s in 0..number {
        let mut faults = BTreeSet::new();
        for _ in 0..=dice.roll(2) {
            let part = dice.roll(4);
            let device = DEVICES[usize::try_from(part % 3).unwrap()];
            faults.insert(Fault {
                part: format!("U{part}"),
                device: device.to_string(),
                mode: dice.pick(&MODES).to_string(),
            });
        }
        let chance = if number == 1 {
            1.0
        } else {
            [0.7, 0.25][usize::try_from(s).unwrap()]
        };
        scenarios.push(Scenario {
            chance,
            faults: faults.into_iter().collect(),
        });
    }
    let donor = DEVICES
        .iter()
        .filter(|_| dice.one_in(2))
        .map(|d| count(&format!("{d}@a"), 1))
        .collect();
    Machine {
        id: format!("P-{index}"),
        value: 3000 + dice.int(9000),
        hold_value: 300 + dice.int(1500),
        sell_value: dice.one_in(3).then(|| dice.int(2500)),
        base_minutes: 10 + dice.small(20),
        scenarios,
        donor,
    }
}

fn vendor(dice: &mut Dice, index: usize) -> Vendor {
    let mut shipping = vec![Step {
        from: if dice.one_in(6) { 300 } else { 0 },
        fee: dice.int(900),
    }];
    if !dice.one_in(3) {
        shipping.push(Step {
            from: 400 + dice.int(2500),
            fee: dice.int(600),
        });
    }
    Vendor {
        id: format!("vendor-{index}"),
        hassle: dice.int(3) * 100,
        shipping,
    }
}

fn offer(dice: &mut Dice, vendor: usize, item: &str) -> Offer {
    let each = 50 + dice.int(900);
    let pack = if dice.one_in(4) { 2 } else { 1 };
    let mut breaks = vec![Break {
        from: pack,
        each: each.into(),
    }];
    if dice.one_in(2) {
        breaks.push(Break {
            from: pack + 1 + dice.small(2),
            each: (each * (5 + dice.int(5)) / 10).into(),
        });
    }
    Offer {
        vendor: format!("vendor-{vendor}"),
        item: item.to_string(),
        pack,
        stock: Some(1 + dice.small(4)),
        breaks,
    }
}

fn pile(seed: u64) -> Instance {
    let dice = &mut Dice(seed * 7919 + 5);
    let mut remedies = Vec::new();
    for device in DEVICES {
        remedies.push(remedy(dice, device, "reseat", None, &["contact"]));
        remedies.push(remedy(
            dice,
            device,
            "new",
            Some(format!("{device}:new")),
            &["dead", "contact"],
        ));
        remedies.push(remedy(
            dice,
            device,
            "salvage",
            Some(format!("{device}@a")),
            &["dead"],
        ));
    }
    remedies.push(remedy(
        dice,
        "pla",
        "built",
        Some("pla:built".to_string()),
        &["dead"],
    ));
    let vendors: Vec<Vendor> = (0..2).map(|v| vendor(dice, v)).collect();
    let mut offers = Vec::new();
    for item in ["cpu:new", "ram:new", "pla:new", "board"] {
        for vendor in 0..vendors.len() {
            if dice.one_in(2) {
                offers.push(offer(dice, vendor, item));
            }
        }
    }
    let machines = (0..2 + usize::from(dice.one_in(2)))
        .map(|m| machine(dice, m))
        .collect();
    let on_hand = if dice.one_in(3) {
        BTreeMap::from([("ram:new".to_string(), 1)])
    } else {
        BTreeMap::new()
    };
    Instance {
        rate_per_minute: f64::from(dice.small(12)),
        limits: Limits {
            money: dice.one_in(2).then(|| 500 + dice.int(2500)),
            minutes: dice.one_in(2).then(|| f64::from(40 + dice.small(100))),
            least_working: dice.one_in(4).then_some(0.8),
        },
        on_hand,
        vendors,
        offers,
        builds: vec![Build {
            id: "build-pla".to_string(),
            makes: "pla:built".to_string(),
            setup_minutes: dice.small(20),
            unit_minutes: 5 + dice.small(20),
            uses: vec![count("board", 1)],
        }],
        remedies,
        machines,
    }
}

fn keeps(pin: Pin, done: Pin) -> bool {
    match pin {
        Pin::Keep => matches!(done, Pin::Hold | Pin::Repair),
        pin => pin == done,
    }
}

type Bag = BTreeMap<String, i64>;

/// What one choice for one machine comes to.
#[derive(Clone)]
struct Option1 {
    pin: Pin,
    worth: f64,
    minutes: f64,
    working: f64,
    /// Items used, or given as negative numbers.
    uses: Bag,
}

fn options(instance: &Instance, machine: &Machine) -> Vec<Option1> {
    let mut donor = Bag::new();
    for given in &machine.donor {
        *donor.entry(given.item.clone()).or_default() -= i64::from(given.n);
    }
    let still = |pin, worth, uses| Option1 {
        pin,
        worth,
        minutes: 0.0,
        working: 0.0,
        uses,
    };
    let mut options = vec![
        still(Pin::Hold, machine.hold_value as f64, Bag::new()),
        still(Pin::Donor, 0.0, donor),
    ];
    if let Some(price) = machine.sell_value {
        options.push(still(Pin::Sell, price as f64, Bag::new()));
    }
    for mask in 1..1_usize << machine.scenarios.len() {
        let covered: Vec<&Scenario> = (0..machine.scenarios.len())
            .filter(|s| mask >> s & 1 == 1)
            .map(|s| &machine.scenarios[s])
            .collect();
        let faults: Vec<&Fault> = covered
            .iter()
            .flat_map(|s| &s.faults)
            .collect::<BTreeSet<_>>()
            .into_iter()
            .collect();
        kits(
            instance,
            machine,
            &covered,
            &faults,
            &mut Vec::new(),
            &mut options,
        );
    }
    options
}

fn kits<'i>(
    instance: &'i Instance,
    machine: &Machine,
    covered: &[&Scenario],
    faults: &[&Fault],
    chosen: &mut Vec<&'i Remedy>,
    options: &mut Vec<Option1>,
) {
    if chosen.len() == faults.len() {
        options.push(kit(
            machine,
            instance.rate_per_minute,
            covered,
            faults,
            chosen,
        ));
        return;
    }
    let fault = faults[chosen.len()];
    for remedy in &instance.remedies {
        if remedy.device == fault.device && remedy.modes.contains(&fault.mode) {
            chosen.push(remedy);
            kits(instance, machine, covered, faults, chosen, options);
            chosen.pop();
        }
    }
}

fn kit(
    machine: &Machine,
    rate: f64,
    covered: &[&Scenario],
    faults: &[&Fault],
    chosen: &[&Remedy],
) -> Option1 {
    let mut pairs = BTreeSet::new();
    for (fault, remedy) in faults.iter().zip(chosen) {
        pairs.extend(remedy.item.clone().map(|item| (fault.part.clone(), item)));
    }
    let mut uses = Bag::new();
    for (_, item) in pairs {
        *uses.entry(item).or_default() += 1;
    }
    let mut working = 0.0;
    let mut minutes = f64::from(machine.base_minutes);
    let mut later = 0.0;
    for scenario in covered {
        let mut works = 1.0;
        for fault in &scenario.faults {
            let at = faults.iter().position(|f| *f == fault).unwrap();
            works *= chosen[at].works;
            minutes += scenario.chance * f64::from(chosen[at].minutes);
            later += scenario.chance * chosen[at].later;
        }
        working += scenario.chance * works;
    }
    let worth = machine.value as f64 * working + machine.hold_value as f64 * (1.0 - working)
        - rate * minutes
        - later;
    Option1 {
        pin: Pin::Repair,
        worth,
        minutes,
        working,
        uses,
    }
}

/// Every set of orders: what it brings, what is paid, what it costs with hassle.
fn orders(instance: &Instance) -> Vec<(Bag, i64, i64)> {
    let mut all: Vec<(Bag, Vec<i64>)> = vec![(Bag::new(), vec![-1; instance.vendors.len()])];
    for offer in &instance.offers {
        let vendor = instance
            .vendors
            .iter()
            .position(|v| v.id == offer.vendor)
            .unwrap();
        let mut next = all.clone();
        for quantity in 1..=offer.stock.unwrap() {
            let Some(level) = offer.breaks.iter().rfind(|b| b.from <= quantity) else {
                continue;
            };
            if quantity % offer.pack != 0 {
                continue;
            }
            let each = i64::try_from(level.each).unwrap();
            for (bag, goods) in &all {
                let (mut bag, mut goods) = (bag.clone(), goods.clone());
                *bag.entry(offer.item.clone()).or_default() += i64::from(quantity);
                goods[vendor] = goods[vendor].max(0) + each * i64::from(quantity);
                next.push((bag, goods));
            }
        }
        all = next;
    }
    let priced = all.into_iter().filter_map(|(bag, goods)| {
        let (mut money, mut hassle) = (0, 0);
        for (vendor, &value) in instance.vendors.iter().zip(&goods) {
            if value >= 0 {
                let step = vendor.shipping.iter().rfind(|step| step.from <= value)?;
                money += value + step.fee;
                hassle += vendor.hassle;
            }
        }
        Some((bag, money, hassle))
    });
    let limit = instance.limits.money.unwrap_or(i64::MAX);
    let mut best: BTreeMap<Vec<(String, i64)>, (i64, i64)> = BTreeMap::new();
    for (bag, money, hassle) in priced.filter(|order| order.1 <= limit) {
        let entry = best
            .entry(bag.into_iter().collect())
            .or_insert((money, hassle));
        if money + hassle < entry.0 + entry.1 {
            *entry = (money, hassle);
        }
    }
    best.into_iter()
        .map(|(bag, (money, hassle))| (bag.into_iter().collect(), money, hassle))
        .collect()
}

/// The best worth less hassle, by listing; `None` if nothing keeps the limits.
fn listed(instance: &Instance, pins: &BTreeMap<String, Pin>) -> Option<f64> {
    let mut combined = vec![(0.0, 0.0, 0.0, Bag::new())];
    for machine in &instance.machines {
        let pin = pins.get(&machine.id);
        let options: Vec<Option1> = options(instance, machine)
            .into_iter()
            .filter(|o| pin.is_none_or(|pin| keeps(*pin, o.pin)))
            .collect();
        let mut next = Vec::new();
        for (worth, minutes, working, uses) in &combined {
            for option in &options {
                let mut uses = uses.clone();
                for (item, n) in &option.uses {
                    *uses.entry(item.clone()).or_default() += n;
                }
                next.push((
                    worth + option.worth,
                    minutes + option.minutes,
                    working + option.working,
                    uses,
                ));
            }
        }
        combined = next;
    }
    let orders = orders(instance);
    let build = &instance.builds[0];
    let mut best: Option<f64> = None;
    for (worth, minutes, working, mut uses) in combined {
        for (item, n) in &instance.on_hand {
            *uses.entry(item.clone()).or_default() -= i64::from(*n);
        }
        let built = uses.remove("pla:built").unwrap_or(0).max(0);
        let mut minutes = minutes;
        let mut worth = worth;
        if built > 0 {
            *uses.entry("board".to_string()).or_default() += built;
            let more =
                f64::from(build.setup_minutes) + f64::from(build.unit_minutes) * built as f64;
            minutes += more;
            worth -= instance.rate_per_minute * more;
        }
        let slow = instance
            .limits
            .minutes
            .is_some_and(|most| minutes > most + 1e-9);
        let few = instance
            .limits
            .least_working
            .is_some_and(|least| working < least - 1e-9);
        if slow || few {
            continue;
        }
        let cheapest = orders
            .iter()
            .filter(|(bag, _, _)| {
                uses.iter()
                    .all(|(item, n)| bag.get(item).copied().unwrap_or(0) >= *n)
            })
            .map(|(_, money, hassle)| money + hassle)
            .min();
        if let Some(cost) = cheapest {
            let total = worth - cost as f64;
            best = Some(best.map_or(total, |other: f64| other.max(total)));
        }
    }
    best
}

fn solved(instance: &Instance, pins: &BTreeMap<String, Pin>, seed: u64) -> Option<f64> {
    let settings = Settings {
        pins: pins.clone(),
        ..Settings::default()
    };
    match solve(instance, &settings) {
        Ok(plan) => {
            assert!(plan.proven, "case {seed}: {plan:#?}");
            assert_eq!(
                revalue(instance, &plan).unwrap().value,
                plan.value,
                "case {seed}"
            );
            Some(plan.value - plan.hassle as f64)
        }
        Err(
            planning::Error::Impossible
            | planning::Error::NoKit(_)
            | planning::Error::Conflict(_)
            | planning::Error::TooFewWorking { .. },
        ) => None,
        Err(error) => panic!("case {seed}: {error}"),
    }
}

fn same(found: Option<f64>, listed: Option<f64>) -> bool {
    match (found, listed) {
        (Some(found), Some(listed)) => (found - listed).abs() < 0.01,
        (found, listed) => found.is_none() && listed.is_none(),
    }
}

#[test]
fn equals_listing_all_choices() {
    for seed in 0..200 {
        let instance = pile(seed);
        let (found, listed) = (
            solved(&instance, &BTreeMap::new(), seed),
            listed(&instance, &BTreeMap::new()),
        );
        assert!(
            same(found, listed),
            "case {seed}: {found:?} {listed:?} {instance:#?}"
        );
    }
}

#[test]
fn settled_decisions_equal_listing() {
    for seed in 100..180 {
        let instance = pile(seed);
        for pin in [Pin::Hold, Pin::Donor, Pin::Repair, Pin::Sell, Pin::Keep] {
            let pins = BTreeMap::from([("P-0".to_string(), pin)]);
            let (found, listed) = (solved(&instance, &pins, seed), listed(&instance, &pins));
            assert!(
                same(found, listed),
                "case {seed} {pin:?}: {found:?} {listed:?}"
            );
        }
    }
}

#[test]
fn the_best_alternative_is_the_plan() {
    for seed in 200..240 {
        let mut instance = pile(seed);
        for vendor in &mut instance.vendors {
            vendor.hassle = 0;
        }
        let Some(best) = solved(&instance, &BTreeMap::new(), seed) else {
            continue;
        };
        let others = alternatives(&instance, &Settings::default(), "P-1").unwrap();
        let values = [others.hold, others.sell, others.donor, others.repair];
        let most = values
            .into_iter()
            .flatten()
            .fold(f64::NEG_INFINITY, f64::max);
        assert!((most - best).abs() < 0.01, "case {seed}: {values:?} {best}");
    }
}

/// Relations that need no oracle: more money, another vendor, no order of the pile, a change of coin.
#[test]
fn relations_that_need_no_oracle() {
    for seed in 300..340 {
        let mut instance = pile(seed);
        instance.limits.least_working = None;
        instance.limits.money = None;
        let none = BTreeMap::new();
        let best = solved(&instance, &none, seed).unwrap();
        let mut turned = instance.clone();
        turned.machines.reverse();
        turned.offers.reverse();
        assert!(
            (solved(&turned, &none, seed).unwrap() - best).abs() < 0.01,
            "case {seed}"
        );
        let mut poorer = instance.clone();
        poorer.offers.retain(|offer| offer.vendor == "vendor-0");
        assert!(
            solved(&poorer, &none, seed).unwrap() <= best + 0.01,
            "case {seed}"
        );
        let mut coins = instance.clone();
        coins.rate_per_minute *= 10.0;
        for machine in &mut coins.machines {
            machine.value *= 10;
            machine.hold_value *= 10;
            machine.sell_value = machine.sell_value.map(|price| price * 10);
        }
        for remedy in &mut coins.remedies {
            remedy.later *= 10.0;
        }
        for vendor in &mut coins.vendors {
            vendor.hassle *= 10;
            for step in &mut vendor.shipping {
                step.from *= 10;
                step.fee *= 10;
            }
        }
        for offer in &mut coins.offers {
            for level in &mut offer.breaks {
                level.each *= units::Decimal::from(10);
            }
        }
        assert!(
            (solved(&coins, &none, seed).unwrap() / 10.0 - best).abs() < 0.01,
            "case {seed}"
        );
    }
}

/// Every step of the money curve, at its own money and just below.
#[test]
fn the_curve_equals_listing_at_every_step() {
    for seed in 400..440 {
        let mut instance = pile(seed);
        instance.limits.least_working = None;
        let curve = curve(&instance, &Settings::default(), 1000).unwrap();
        assert!(curve.complete && !curve.plans.is_empty(), "case {seed}");
        let score = |plan: &planning::Plan| plan.value - plan.hassle as f64;
        let mut below = None;
        for plan in &curve.plans {
            assert!(plan.proven, "case {seed}");
            let mut limited = instance.clone();
            limited.limits.money = Some(plan.money);
            let most = listed(&limited, &BTreeMap::new());
            assert!(
                same(Some(score(plan)), most),
                "case {seed}: {plan:?} {most:?}"
            );
            limited.limits.money = Some(plan.money - 1);
            if plan.money > 0 {
                let most = listed(&limited, &BTreeMap::new());
                assert!(same(below, most), "case {seed}: {below:?} {most:?}");
            }
            below = Some(score(plan));
        }
    }
}

fn dearer(instance: &Instance, item: &str, more: i64) -> Instance {
    let mut instance = instance.clone();
    for offer in instance.offers.iter_mut().filter(|o| o.item == item) {
        for level in &mut offer.breaks {
            level.each += units::Decimal::from(more);
        }
    }
    instance
}

/// At the price of the turn the plan is beaten, one coin before it is not: by listing.
#[test]
fn a_price_turns_the_plan_where_listing_says() {
    let mut turned = 0;
    for seed in 500..600 {
        let instance = pile(seed);
        let Ok(plan) = solve(&instance, &Settings::default()) else {
            continue;
        };
        let Some(order) = plan.orders.first() else {
            continue;
        };
        let at = |more: i64| dearer(&instance, &order.item, more);
        let turn = turning(&at, &plan, (0, 3000), &Settings::default()).unwrap();
        let stays = |more: i64| {
            let there = at(more);
            let mut plan = plan.clone();
            for order in &mut plan.orders {
                let offer = instance.offers.iter().position(|o| {
                    o.vendor == order.vendor
                        && o.item == order.item
                        && o.total(order.quantity) == Some(order.cost)
                });
                order.cost = there.offers[offer.unwrap()].total(order.quantity).unwrap();
            }
            let value = revalue(&there, &plan).ok()?.value;
            Some(value - plan.hassle as f64)
        };
        let none = BTreeMap::new();
        match turn {
            Some(turn) => {
                turned += 1;
                assert!(turn.proven, "case {seed}");
                let best = listed(&at(turn.price), &none).unwrap();
                let found = turn.plan.value - turn.plan.hassle as f64;
                assert!(
                    stays(turn.price).is_none_or(|stays| stays < best),
                    "case {seed}"
                );
                assert!(found > stays(turn.price).unwrap_or(f64::MIN), "case {seed}");
                let before = listed(&at(turn.price - 1), &none);
                assert!(same(stays(turn.price - 1), before), "case {seed} {turn:?}");
            }
            None => assert!(same(stays(3000), listed(&at(3000), &none)), "case {seed}"),
        }
    }
    assert!(turned > 20, "{turned}");
}

/// No rule beats the plan; what it gives stands up to the rules of worth.
#[test]
fn rules_of_thumb_never_win() {
    for seed in 600..660 {
        let instance = pile(seed);
        let settings = Settings::default();
        let Ok(best) = solve(&instance, &settings) else {
            continue;
        };
        let new = instance.remedies.iter().filter(|r| r.id.ends_with(".new"));
        let rules = [
            Rule::CheapestFirst,
            Rule::NoDonor,
            Rule::Only(new.map(|remedy| remedy.id.clone()).collect()),
        ];
        for rule in rules {
            let Ok(plan) = by_rule(&instance, &settings, &rule) else {
                continue;
            };
            let worth = revalue(&instance, &plan).unwrap();
            assert!(
                (worth.value - plan.value).abs() < 0.01,
                "case {seed} {rule:?}"
            );
            let score = |plan: &planning::Plan| plan.value - plan.hassle as f64;
            assert!(score(&plan) <= score(&best) + 0.01, "case {seed} {rule:?}");
        }
    }
}

/// A remedy that is settled is used, and the plan is the best that uses it.
#[test]
fn a_settled_remedy_is_used() {
    let mut used = 0;
    for seed in 700..760 {
        let instance = pile(seed);
        let fault = &instance.machines[0].scenarios[0].faults[0];
        let id = format!("{}.new", fault.device);
        let parts = BTreeMap::from([(fault.part.clone(), BTreeSet::from([id.clone()]))]);
        let settings = Settings {
            remedies: BTreeMap::from([("P-0".to_string(), parts)]),
            ..Settings::default()
        };
        let Ok(plan) = solve(&instance, &settings) else {
            continue;
        };
        used += 1;
        let planning::Choice::Repair(kit) = &plan.machines[0].choice else {
            panic!("case {seed}: {:?}", plan.machines[0]);
        };
        let mut here = kit.remedies.iter().filter(|c| c.fault.part == fault.part);
        assert!(
            here.clone().count() > 0 && here.all(|c| c.remedy == id),
            "case {seed}"
        );
        let free = solve(&instance, &Settings::default()).unwrap();
        assert!(plan.value <= free.value + 600.0, "case {seed}");
    }
    assert!(used > 20, "{used}");
}

/// What is named cannot be kept together; without any one of it there is a plan.
#[test]
fn a_conflict_is_smallest() {
    let mut named = 0;
    for seed in 800..860 {
        let mut instance = pile(seed);
        instance.limits.least_working = None;
        let pins = BTreeMap::from([
            ("P-0".to_string(), Pin::Repair),
            ("P-1".to_string(), Pin::Repair),
        ]);
        let settings = Settings {
            pins: pins.clone(),
            ..Settings::default()
        };
        let Err(planning::Error::Conflict(set)) = solve(&instance, &settings) else {
            continue;
        };
        named += 1;
        let without = |left_out: Option<&Settled>| {
            let keeps = |one: &Settled| set.contains(one) && Some(one) != left_out;
            let mut looser = instance.clone();
            looser.limits.money = looser.limits.money.filter(|m| keeps(&Settled::Money(*m)));
            looser.limits.minutes = looser
                .limits
                .minutes
                .filter(|m| keeps(&Settled::Minutes(*m)));
            let mut kept = pins.clone();
            kept.retain(|id, pin| keeps(&Settled::Machine(id.clone(), *pin)));
            listed(&looser, &kept)
        };
        assert!(without(None).is_none(), "case {seed}: {set:?}");
        for one in &set {
            assert!(without(Some(one)).is_some(), "case {seed}: {set:?} {one:?}");
        }
    }
    assert!(named > 3, "{named}");
}

/// What each choice comes to when every machine is known to be in one state; its own minutes are paid elsewhere.
fn known_options(instance: &Instance, machine: &Machine, state: Option<usize>) -> Vec<Option1> {
    let scenarios = state.map(|at| Scenario {
        chance: 1.0,
        ..machine.scenarios[at].clone()
    });
    let known = Machine {
        base_minutes: 0,
        scenarios: scenarios.into_iter().collect(),
        ..machine.clone()
    };
    options(instance, &known)
}

/// States of a machine with their chances.
fn states(machine: &Machine) -> Vec<(Option<usize>, f64)> {
    let there = machine.scenarios.iter().enumerate();
    let mut states: Vec<(Option<usize>, f64)> =
        there.map(|(at, one)| (Some(at), one.chance)).collect();
    let rest = 1.0 - states.iter().map(|one| one.1).sum::<f64>();
    if rest > 1e-9 {
        states.push((None, rest));
    }
    states
}

/// All choices of one from each list.
fn every<T: Clone>(lists: &[Vec<T>]) -> Vec<Vec<T>> {
    let mut all = vec![Vec::new()];
    for list in lists {
        let longer = all.iter().flat_map(|done: &Vec<T>| {
            list.iter()
                .map(move |one| done.iter().cloned().chain([one.clone()]).collect())
        });
        all = longer.collect();
    }
    all
}

/// What is settled for a machine before the faults show.
#[derive(Clone, PartialEq)]
enum First {
    Sold,
    /// Repaired, given up or left by what has shown.
    TakenUp,
    /// Not looked at, and given up if the other machine is in one of these states.
    GivenUpIf(Vec<Option<usize>>),
}

/// Every first decision about one of two machines.
fn firsts(machine: &Machine, other: &Machine) -> Vec<First> {
    let mut firsts = vec![First::TakenUp];
    firsts.extend(machine.sell_value.map(|_| First::Sold));
    let own = states(other);
    for mask in 0..1_u32 << own.len() {
        let chosen = own
            .iter()
            .enumerate()
            .filter(|(bit, _)| mask >> bit & 1 == 1);
        firsts.push(First::GivenUpIf(chosen.map(|(_, one)| one.0).collect()));
    }
    firsts
}

/// The best worth less hassle in two stages, by listing: every first decision of both machines, every order, every number
/// of boards, and for each joint state every choice of kits.
fn listed_in_two_stages(instance: &Instance) -> f64 {
    let [one, two] = instance.machines.as_slice() else {
        panic!("two machines are listed");
    };
    let firsts = [firsts(one, two), firsts(two, one)];
    let cases = every(&instance.machines.iter().map(states).collect::<Vec<_>>());
    let orders = orders(instance);
    let build = &instance.builds[0];
    let mut best = f64::NEG_INFINITY;
    for first in every(&firsts) {
        // by case: the chance, and what each combination is worth and uses
        let mut by_case: Vec<(f64, Vec<(f64, Bag)>)> = Vec::new();
        for case in &cases {
            let chance: f64 = case.iter().map(|one| one.1).product();
            let lists: Vec<Vec<Option1>> = instance
                .machines
                .iter()
                .zip(&first)
                .enumerate()
                .map(|(at, (machine, first))| {
                    let mut own = known_options(instance, machine, case[at].0);
                    own.retain(|option| match first {
                        First::Sold => option.pin == Pin::Sell,
                        First::TakenUp => option.pin != Pin::Sell,
                        First::GivenUpIf(states) if states.contains(&case[1 - at].0) => {
                            option.pin == Pin::Donor
                        }
                        First::GivenUpIf(_) => option.pin == Pin::Hold,
                    });
                    own
                })
                .collect();
            let combined = every(&lists).into_iter().map(|chosen| {
                let mut uses = Bag::new();
                for (item, n) in chosen.iter().flat_map(|option| &option.uses) {
                    *uses.entry(item.clone()).or_default() += n;
                }
                for (item, n) in &instance.on_hand {
                    *uses.entry(item.clone()).or_default() -= i64::from(*n);
                }
                uses.retain(|_, n| *n > 0);
                (chosen.iter().map(|option| option.worth).sum(), uses)
            });
            by_case.push((chance, combined.collect()));
        }
        let base: u32 = instance
            .machines
            .iter()
            .zip(&first)
            .filter(|(_, first)| **first == First::TakenUp)
            .map(|(machine, _)| machine.base_minutes)
            .sum();
        let base = f64::from(base) * instance.rate_per_minute;
        for built in 0..=2_i64 {
            let minutes = if built > 0 {
                f64::from(build.setup_minutes) + f64::from(build.unit_minutes) * built as f64
            } else {
                0.0
            };
            for (bag, money, hassle) in &orders {
                let mut there = bag.clone();
                *there.entry("board".to_string()).or_default() +=
                    i64::from(instance.on_hand.get("board").copied().unwrap_or(0)) - built;
                if there["board"] < 0 {
                    continue;
                }
                *there.entry("pla:built".to_string()).or_default() += built;
                let mut sum = -base - minutes * instance.rate_per_minute - (money + hassle) as f64;
                for (chance, combined) in &by_case {
                    let fits = |uses: &Bag| {
                        uses.iter()
                            .all(|(item, n)| there.get(item).is_some_and(|have| have >= n))
                    };
                    let fitting = combined.iter().filter(|(_, uses)| fits(uses));
                    let most = fitting.map(|one| one.0).fold(f64::NEG_INFINITY, f64::max);
                    sum += chance * most;
                }
                best = best.max(sum);
            }
        }
    }
    best
}

/// Deciding in two stages equals listing every first and every second decision; it is never worse than one kit for each
/// machine, and on many piles better.
#[test]
fn two_stages_equal_listing() {
    let (mut looked_at, mut better, mut waits) = (0, 0, 0);
    for seed in 900..990 {
        let mut instance = pile(seed);
        instance.limits.minutes = None;
        instance.limits.least_working = None;
        instance.machines.truncate(2);
        instance.offers.truncate(3);
        for machine in &mut instance.machines {
            machine
                .scenarios
                .iter_mut()
                .for_each(|one| one.faults.truncate(2));
        }
        let kits = solve(&instance, &Settings::default()).unwrap();
        let settings = Settings {
            most_cases: Some(12),
            ..Settings::default()
        };
        let plan = solve(&instance, &settings).unwrap();
        assert!(!plan.cases.is_empty() && plan.proven, "case {seed}");
        let total: f64 = plan.cases.iter().map(|case| case.chance).sum();
        assert!((total - 1.0).abs() < 1e-9, "case {seed}");
        let score = |plan: &planning::Plan| plan.value - plan.hassle as f64;
        let listed = listed_in_two_stages(&instance);
        assert!(
            (score(&plan) - listed).abs() < 0.01,
            "case {seed}: {} {listed} {plan:#?}",
            score(&plan)
        );
        assert!(score(&plan) > score(&kits) - 0.01, "case {seed}");
        looked_at += 1;
        better += usize::from(score(&plan) > score(&kits) + 1.0);
        let mut given_up = (0..2).map(|at| plan.given_up(at));
        waits += usize::from(given_up.any(|chance| (0.01..0.99).contains(&chance)));
    }
    assert!(looked_at == 90 && better > 5, "{looked_at} {better}");
    assert!(waits > 5, "{waits} donors are decided late");
}

/// Settled decisions in two stages: kept, and never better than the plan without them.
#[test]
fn two_stages_keep_what_is_settled() {
    for seed in 1000..1060 {
        let instance = pile(seed);
        let two_stages = Settings {
            most_cases: Some(12),
            ..Settings::default()
        };
        let Ok(best) = solve(&instance, &two_stages) else {
            continue;
        };
        let score = |plan: &planning::Plan| plan.value - plan.hassle as f64;
        for pin in [Pin::Hold, Pin::Donor, Pin::Repair, Pin::Sell, Pin::Keep] {
            let settings = Settings {
                pins: BTreeMap::from([("P-0".to_string(), pin)]),
                ..two_stages.clone()
            };
            let plan = match solve(&instance, &settings) {
                Ok(plan) => plan,
                Err(planning::Error::Conflict(_) | planning::Error::NoKit(_)) => continue,
                Err(error) => panic!("case {seed} {pin:?}: {error}"),
            };
            assert!(
                plan.proven && score(&plan) <= score(&best) + 0.01,
                "case {seed} {pin:?}"
            );
            let done = match plan.machines[0].choice {
                planning::Choice::Hold => Pin::Hold,
                planning::Choice::Sell => Pin::Sell,
                planning::Choice::Donor => Pin::Donor,
                planning::Choice::Repair(_) => Pin::Repair,
            };
            assert!(keeps(pin, done), "case {seed} {pin:?} {done:?}");
        }
        let fault = &instance.machines[0].scenarios[0].faults[0];
        let ids = BTreeSet::from([format!("{}.new", fault.device)]);
        let parts = BTreeMap::from([(fault.part.clone(), ids.clone())]);
        let settings = Settings {
            remedies: BTreeMap::from([("P-0".to_string(), parts)]),
            ..two_stages
        };
        let Ok(plan) = solve(&instance, &settings) else {
            continue;
        };
        let planning::Choice::Repair(kit) = &plan.machines[0].choice else {
            panic!("case {seed}: {:?}", plan.machines[0]);
        };
        let mut here = kit.remedies.iter().filter(|c| c.fault.part == fault.part);
        assert!(
            here.clone().count() > 0 && here.all(|c| ids.contains(&c.remedy)),
            "case {seed}"
        );
    }
}

/// With more joint states than allowed one kit for each machine has to do.
#[test]
fn many_joint_states_are_decided_at_once() {
    for seed in 0..20 {
        let instance = pile(seed);
        let settings = Settings {
            most_cases: Some(0),
            ..Settings::default()
        };
        let (Ok(one), Ok(other)) = (
            solve(&instance, &settings),
            solve(&instance, &Settings::default()),
        ) else {
            continue;
        };
        assert_eq!(one, other);
    }
}

/// What is ordered is paid in every joint state of the machines, so a money limit holds for certain, with one kit for each
/// machine and case by case alike; the chance that the minutes hold equals adding up all joint states.
#[test]
fn money_is_certain_and_minutes_have_a_chance() {
    let mut by_case = 0;
    for seed in 900..960 {
        let mut instance = pile(seed);
        instance.limits.least_working = None;
        for most_cases in [0, 12] {
            let settings = Settings {
                most_cases: Some(most_cases),
                ..Settings::default()
            };
            let plan = solve(&instance, &settings).unwrap();
            by_case += usize::from(!plan.cases.is_empty());
            let states = joint_minutes(&instance, &plan);
            for &(_, money, _) in &states {
                assert_eq!(money, plan.money, "case {seed}");
                assert!(instance.limits.money.is_none_or(|most| money <= most));
            }
            let expected: f64 = states
                .iter()
                .map(|(chance, _, minutes)| chance * minutes)
                .sum();
            assert!(
                (expected - plan.minutes).abs() < 1e-6,
                "case {seed}: {expected} {plan:?}"
            );
            for most in [0.0, 20.0, plan.minutes, 90.0, 1e6] {
                let listed: f64 = states
                    .iter()
                    .filter(|(_, _, minutes)| *minutes <= most + 1e-9)
                    .map(|(chance, _, _)| chance)
                    .sum();
                let found = planning::within_minutes(&instance, &plan, most);
                assert!(
                    (found - listed).abs() < 1e-9,
                    "case {seed} {most}: {found} {listed}"
                );
            }
        }
    }
    assert!(by_case > 10, "{by_case}");
}

/// Every joint state with its chance, what is paid in it, and the minutes it takes.
fn joint_minutes(instance: &Instance, plan: &planning::Plan) -> Vec<(f64, i64, f64)> {
    let paid: i64 = plan.orders.iter().map(|order| order.cost).sum::<i64>()
        + plan.shipping.iter().map(|(_, fee)| fee).sum::<i64>();
    let built: u32 = plan
        .builds
        .iter()
        .map(|(id, n)| {
            let build = instance
                .builds
                .iter()
                .find(|build| build.id == *id)
                .unwrap();
            build.setup_minutes + n * build.unit_minutes
        })
        .sum();
    let mut states = vec![(1.0, Vec::<Option<usize>>::new())];
    for machine in &instance.machines {
        let mut own: Vec<(f64, Option<usize>)> = machine
            .scenarios
            .iter()
            .enumerate()
            .map(|(at, scenario)| (scenario.chance, Some(at)))
            .collect();
        own.push((1.0 - own.iter().map(|one| one.0).sum::<f64>(), None));
        states = states
            .iter()
            .flat_map(|(chance, before)| {
                own.iter().map(move |(more, state)| {
                    (chance * more, [before.as_slice(), &[*state]].concat())
                })
            })
            .collect();
    }
    let minutes = |states: &[Option<usize>]| {
        let case = plan.cases.iter().find(|case| case.states == states);
        let mut sum = f64::from(built);
        for (at, machine) in instance.machines.iter().enumerate() {
            if let planning::Choice::Repair(_) = &plan.machines[at].choice {
                sum += f64::from(machine.base_minutes);
            }
            let decisions = case.map_or(&plan.machines, |case| &case.machines);
            let planning::Choice::Repair(kit) = &decisions[at].choice else {
                continue;
            };
            // a case's kit is made for the one state
            let Some(state) = states[at].filter(|at| case.is_some() || kit.covered.contains(at))
            else {
                continue;
            };
            for fault in &machine.scenarios[state].faults {
                let chosen = kit
                    .remedies
                    .iter()
                    .find(|chosen| chosen.fault == *fault)
                    .unwrap();
                let remedy = instance
                    .remedies
                    .iter()
                    .find(|one| one.id == chosen.remedy)
                    .unwrap();
                sum += f64::from(remedy.minutes);
            }
        }
        sum
    };
    states
        .iter()
        .map(|(chance, state)| (*chance, paid, minutes(state)))
        .collect()
}
