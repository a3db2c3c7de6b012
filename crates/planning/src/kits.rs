//! Kits: the ways to repair one machine that could be part of a best plan.

use std::collections::{BTreeMap, BTreeSet};

use crate::instance::{Fault, Instance, Machine, Remedy, Scenario};
use crate::market::{Items, Price};

/// Half-made kits kept for one set of scenarios; beyond this the least promising are dropped and the bound says so.
const MOST_PARTIAL: usize = 40_000;

/// Kits kept for the whole pile, shared evenly; but for each machine at least [`FEWEST_KITS`], at most [`MOST_KITS`].
const PILE_KITS: usize = 2_400_000;
const FEWEST_KITS: usize = 100;
const MOST_KITS: usize = 20_000;

/// All sets of so many of the likeliest scenarios are tried; a further one is covered only with all likelier ones.
const MOST_SCENARIOS: usize = 5;

/// A way to repair one machine.
#[derive(Debug, Clone)]
pub(crate) struct Kit<'i> {
    /// Items used up, sorted, by position in [`Items`].
    pub(crate) items: Vec<(usize, u32)>,
    /// Scenarios in which the machine works afterwards, unless a remedy fails.
    pub(crate) covered: Vec<usize>,
    /// Fault and position of the remedy in the instance.
    pub(crate) remedies: Vec<(&'i Fault, usize)>,
    pub(crate) chance: f64,
    pub(crate) minutes: f64,
    /// Expected costs later.
    pub(crate) later: f64,
}

/// The kits of one machine, and what was left out.
#[derive(Debug, Default)]
pub(crate) struct Kits<'i> {
    pub(crate) list: Vec<Kit<'i>>,
    /// The most that a kit dropped for want of room can gain over holding; `None` if none was.
    pub(crate) dropped: Option<f64>,
}

/// What kit making needs to know about the world.
pub(crate) struct Market<'m, 'i> {
    pub(crate) instance: &'i Instance,
    pub(crate) items: &'m Items,
    /// What doing without one of each item surely saves; `None` if it cannot be had at all.
    pub(crate) prices: &'m [Option<Price>],
    /// Drop kits that gain nothing over holding: right only when worth alone decides.
    pub(crate) worth_decides: bool,
    /// Positions of this machine for which only these remedies may be used, and that must be put right.
    pub(crate) only: Option<&'m BTreeMap<String, BTreeSet<String>>>,
}

/// All kits of `machine` that are not beaten by another of its kits.
pub(crate) fn kits_of<'i>(market: &Market<'_, 'i>, machine: &'i Machine) -> Kits<'i> {
    let mut kits = Kits::default();
    for covered in subsets(&machine.scenarios) {
        let maker = Maker {
            market,
            machine,
            covered: &covered,
        };
        maker.make(&mut kits);
    }
    for part in market.only.into_iter().flat_map(BTreeMap::keys) {
        let mends = |kit: &Kit<'_>| kit.remedies.iter().any(|(fault, _)| fault.part == *part);
        kits.list.retain(mends);
    }
    prune(&mut kits.list);
    let gain = |kit: &Kit<'_>| market.gain(machine, kit.made(), &kit.items);
    if market.worth_decides {
        kits.list.retain(|kit| gain(kit) > 0.0);
    }
    let share = PILE_KITS / market.instance.machines.len().max(1);
    let room = share.clamp(FEWEST_KITS, MOST_KITS);
    if kits.list.len() > room {
        // half of them by what they could gain at best, half by what they gain at usual prices
        kits.list.sort_by(|a, b| gain(b).total_cmp(&gain(a)));
        let usual = |kit: &Kit<'_>| gain(kit) - market.usual_cost(&kit.items);
        kits.list[room / 2..].sort_by(|a, b| usual(b).total_cmp(&usual(a)));
        let best_left_out = kits.list[room..].iter().map(gain).fold(0.0, f64::max);
        kits.drop_one(best_left_out);
        kits.list.truncate(room);
    }
    kits
}

/// What a kit does besides using items up.
#[derive(Clone, Copy)]
struct Made {
    chance: f64,
    minutes: f64,
    later: f64,
}

impl Kit<'_> {
    fn made(&self) -> Made {
        Made {
            chance: self.chance,
            minutes: self.minutes,
            later: self.later,
        }
    }
}

impl Kits<'_> {
    fn drop_one(&mut self, gain: f64) {
        self.dropped = Some(self.dropped.map_or(gain, |other| other.max(gain)));
    }
}

impl Market<'_, '_> {
    fn usual_cost(&self, items: &[(usize, u32)]) -> f64 {
        let prices = items
            .iter()
            .filter_map(|&(item, n)| Some((self.prices[item]?.usual?, n)));
        prices.map(|(price, n)| price * f64::from(n)).sum()
    }

    /// The most that repairing can gain over holding, with every item at the least it costs.
    fn gain(&self, machine: &Machine, made: Made, items: &[(usize, u32)]) -> f64 {
        // each unit may come from another vendor, whose postage may rise without it
        let prices = items
            .iter()
            .filter_map(|&(item, n)| Some((self.prices[item]?, f64::from(n))));
        let goods: f64 = prices
            .map(|(price, n)| n * (price.each - price.drop).max(0.0))
            .sum();
        #[expect(clippy::cast_precision_loss, reason = "amounts are far below 2^53")]
        let rise = (machine.value - machine.hold_value) as f64;
        rise * made.chance - self.instance.rate_per_minute * made.minutes - made.later - goods
    }
}

/// The sets of scenarios to cover.
fn subsets(scenarios: &[Scenario]) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..scenarios.len()).collect();
    order.sort_by(|&a, &b| scenarios[b].chance.total_cmp(&scenarios[a].chance));
    let free = order.len().min(MOST_SCENARIOS);
    let mut sets: Vec<Vec<usize>> = (1_u32..1 << free)
        .map(|mask| {
            (0..free)
                .filter(|bit| mask >> bit & 1 == 1)
                .map(|bit| order[bit])
                .collect()
        })
        .collect();
    sets.extend((free..order.len()).map(|end| order[..=end].to_vec()));
    sets
}

struct Maker<'m, 'i> {
    market: &'m Market<'m, 'i>,
    machine: &'i Machine,
    covered: &'m [usize],
}

/// What is chosen for the parts so far.
#[derive(Clone)]
struct Partial<'i> {
    items: Vec<(usize, u32)>,
    /// Chance that all remedies so far work, for each covered scenario.
    works: Vec<f64>,
    minutes: f64,
    later: f64,
    remedies: Vec<(&'i Fault, usize)>,
}

impl<'i> Maker<'_, 'i> {
    fn make(&self, kits: &mut Kits<'i>) {
        let mut partials = vec![Partial {
            items: Vec::new(),
            works: vec![1.0; self.covered.len()],
            minutes: f64::from(self.machine.base_minutes),
            later: 0.0,
            remedies: Vec::new(),
        }];
        for faults in self.faults_by_part() {
            let options = self.options(&faults);
            if options.is_empty() {
                return;
            }
            partials = combine(&partials, &options);
            if self.market.worth_decides {
                // further parts lower the chance and take time and money, so what gains nothing now never will
                partials.retain(|partial| self.gain(partial) > 0.0);
            }
            self.make_room(&mut partials, kits);
        }
        for partial in partials {
            kits.list.push(Kit {
                chance: self.chance(&partial.works),
                covered: self.covered.to_vec(),
                items: partial.items,
                minutes: partial.minutes,
                later: partial.later,
                remedies: partial.remedies,
            });
        }
    }

    fn faults_by_part(&self) -> Vec<Vec<&'i Fault>> {
        let scenarios = self.covered.iter().map(|&s| &self.machine.scenarios[s]);
        let faults: BTreeSet<&'i Fault> = scenarios.flat_map(|s| &s.faults).collect();
        let mut parts: Vec<Vec<&'i Fault>> = Vec::new();
        for fault in faults {
            match parts.last_mut() {
                Some(last) if last[0].part == fault.part => last.push(fault),
                _ => parts.push(vec![fault]),
            }
        }
        parts
    }

    /// The ways to put one part right in all its modes, beaten ones left out.
    fn options(&self, faults: &[&'i Fault]) -> Vec<Partial<'i>> {
        let mut options = vec![Partial {
            items: Vec::new(),
            works: vec![1.0; self.covered.len()],
            minutes: 0.0,
            later: 0.0,
            remedies: Vec::new(),
        }];
        for &fault in faults {
            let remedies = self.remedies(fault);
            let longer = options.iter().flat_map(|option| {
                remedies
                    .iter()
                    .map(|&(at, remedy)| self.with(option, fault, at, remedy))
            });
            options = longer.collect();
        }
        keep_unbeaten(&mut options);
        options
    }

    fn remedies(&self, fault: &Fault) -> Vec<(usize, &'i Remedy)> {
        let all = self.market.instance.remedies.iter().enumerate();
        all.filter(|(_, remedy)| {
            let item = remedy
                .item
                .as_ref()
                .and_then(|item| self.market.items.find(item));
            let there = item.is_none_or(|item| self.market.prices[item].is_some());
            let allowed = self.market.only.and_then(|only| only.get(&fault.part));
            there
                && remedy.device == fault.device
                && remedy.modes.contains(&fault.mode)
                && allowed.is_none_or(|ids| ids.contains(&remedy.id))
        })
        .collect()
    }

    /// One more remedy for a part. An item that the part gets already is used once.
    fn with(
        &self,
        option: &Partial<'i>,
        fault: &'i Fault,
        at: usize,
        remedy: &Remedy,
    ) -> Partial<'i> {
        let mut next = option.clone();
        next.remedies.push((fault, at));
        if let Some(item) = remedy
            .item
            .as_ref()
            .and_then(|item| self.market.items.find(item))
            && next.items.iter().all(|&(other, _)| other != item)
        {
            next.items = joined(&next.items, &[(item, 1)]);
        }
        for (slot, &scenario) in self.covered.iter().enumerate() {
            let scenario = &self.machine.scenarios[scenario];
            if scenario.faults.contains(fault) {
                next.works[slot] *= remedy.works;
                next.minutes += scenario.chance * f64::from(remedy.minutes);
                next.later += scenario.chance * remedy.later;
            }
        }
        next
    }

    fn chance(&self, works: &[f64]) -> f64 {
        let scenarios = self.covered.iter().map(|&s| &self.machine.scenarios[s]);
        scenarios
            .zip(works)
            .map(|(scenario, works)| scenario.chance * works)
            .sum()
    }

    /// Keeps the most promising half-made kits, and notes the most that a dropped one could have gained.
    fn make_room(&self, partials: &mut Vec<Partial<'i>>, kits: &mut Kits<'i>) {
        if partials.len() <= MOST_PARTIAL {
            return;
        }
        partials.sort_by(|a, b| self.gain(b).total_cmp(&self.gain(a)));
        kits.drop_one(self.gain(&partials[MOST_PARTIAL]));
        partials.truncate(MOST_PARTIAL);
    }

    fn gain(&self, partial: &Partial<'i>) -> f64 {
        let made = Made {
            chance: self.chance(&partial.works),
            minutes: partial.minutes,
            later: partial.later,
        };
        self.market.gain(self.machine, made, &partial.items)
    }
}

fn combine<'i>(partials: &[Partial<'i>], options: &[Partial<'i>]) -> Vec<Partial<'i>> {
    let mut by_items: BTreeMap<Vec<(usize, u32)>, Vec<Partial<'i>>> = BTreeMap::new();
    for partial in partials {
        for option in options {
            let next = Partial {
                items: joined(&partial.items, &option.items),
                works: partial
                    .works
                    .iter()
                    .zip(&option.works)
                    .map(|(a, b)| a * b)
                    .collect(),
                minutes: partial.minutes + option.minutes,
                later: partial.later + option.later,
                remedies: [&partial.remedies[..], &option.remedies[..]].concat(),
            };
            let group = by_items.entry(next.items.clone()).or_default();
            if !group.iter().any(|other| as_good(other, &next)) {
                group.retain(|other| !as_good(&next, other));
                group.push(next);
            }
        }
    }
    by_items.into_values().flatten().collect()
}

fn as_good(one: &Partial<'_>, other: &Partial<'_>) -> bool {
    one.minutes <= other.minutes
        && one.later <= other.later
        && one.works.iter().zip(&other.works).all(|(a, b)| a >= b)
}

fn keep_unbeaten(options: &mut Vec<Partial<'_>>) {
    let mut kept: Vec<Partial<'_>> = Vec::new();
    for option in options.drain(..) {
        let beats = |one: &Partial<'_>, other: &Partial<'_>| {
            as_good(one, other) && within(&one.items, &other.items)
        };
        if !kept.iter().any(|other| beats(other, &option)) {
            kept.retain(|other| !beats(&option, other));
            kept.push(option);
        }
    }
    *options = kept;
}

/// Drops each kit to which another, with no item more, gives as much chance in no more minutes.
fn prune(kits: &mut Vec<Kit<'_>>) {
    // the fewest items and the best chance first, so that a kit is beaten by an earlier one only
    kits.sort_by(|a, b| {
        let size = |kit: &Kit<'_>| kit.items.iter().map(|item| item.1).sum::<u32>();
        let by_size = size(a).cmp(&size(b));
        by_size
            .then(b.chance.total_cmp(&a.chance))
            .then(a.minutes.total_cmp(&b.minutes))
            .then(a.later.total_cmp(&b.later))
    });
    let mut kept: Vec<Kit<'_>> = Vec::new();
    for kit in kits.drain(..) {
        let beaten = kept.iter().any(|other| {
            other.chance >= kit.chance
                && other.minutes <= kit.minutes
                && other.later <= kit.later
                && within(&other.items, &kit.items)
        });
        if !beaten {
            kept.push(kit);
        }
    }
    *kits = kept;
}

/// Whether `few` is a part of `many`, counted.
fn within(few: &[(usize, u32)], many: &[(usize, u32)]) -> bool {
    few.iter()
        .all(|&(item, n)| many.iter().any(|&(other, m)| other == item && m >= n))
}

fn joined(one: &[(usize, u32)], other: &[(usize, u32)]) -> Vec<(usize, u32)> {
    let mut counts: BTreeMap<usize, u32> = one.iter().copied().collect();
    for &(item, n) in other {
        *counts.entry(item).or_default() += n;
    }
    counts.into_iter().collect()
}
