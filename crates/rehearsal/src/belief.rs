//! What can be known of one machine: every world it may be, with its chance; enumerated, not drawn.

use std::collections::BTreeMap;

use diagnosis::{Action, Situation};

use crate::{
    bench::Bench,
    board::Board,
    case::{Case, Clock, Decision, TAG, outcome_of},
    coins::{Coins, Lying},
    error::Error,
    terms::Terms,
    truth,
    world::World,
};

/// Worlds that are told apart at most.
const MOST_WORLDS: usize = 200_000;
/// A world below this share of its belief is left out.
const LEAST_SHARE: f64 = 1e-12;

/// Numbers of worlds with their chances, which add up to 1; in the order of the numbers.
pub(crate) type Belief = Vec<(u32, f64)>;

/// One way in which a decision can end.
#[derive(Debug, Clone)]
pub(crate) struct Way {
    pub(crate) outcome: usize,
    pub(crate) chance: f64,
    pub(crate) belief: Belief,
}

/// What a world is worth.
#[derive(Debug, Clone, Copy, Default)]
struct Worth {
    as_it_is: f64,
    at_best: f64,
}

/// Where a decision leads from one world.
#[derive(Debug, Clone, Default)]
struct Leads {
    /// Outcome, world and chance.
    to: Vec<(usize, u32, f64)>,
    /// Expected number of chips harmed.
    harmed: f64,
}

/// Worlds by number, where decisions lead from them, and what they are worth; each reckoned once.
pub(crate) struct Atlas<'a> {
    terms: &'a Terms,
    board: &'a Board<'a>,
    worlds: Vec<(World, Lying)>,
    /// By world and set of parts that can still be put right.
    worths: BTreeMap<(u32, u64), Worth>,
    numbers: BTreeMap<u128, u32>,
    leads: BTreeMap<(u32, Decision), Leads>,
    /// By check: a session may blunder.
    blunders: Vec<bool>,
    /// By part: the least that any remedy for it costs, the retest after it included.
    prices: Vec<f64>,
    /// A machine of which nothing is known, to ask for steps.
    case: Case<'a>,
}

impl<'a> Atlas<'a> {
    pub(crate) fn new(terms: &'a Terms, board: &'a Board<'a>) -> Self {
        let checks = board.profile.checks.iter();
        Self {
            terms,
            board,
            worlds: Vec::new(),
            worths: BTreeMap::new(),
            numbers: BTreeMap::new(),
            leads: BTreeMap::new(),
            blunders: checks.map(|check| check.blunder > 0.0).collect(),
            prices: least_prices(board, terms),
            case: Case::new(terms, Clock::Stands),
        }
    }

    /// A machine as it came in.
    pub(crate) fn prior(&mut self) -> Result<Belief, Error> {
        let situation: Situation = self.case.situation.clone();
        let mut drawn = Vec::new();
        Lying::default().branch(
            |coins| truth::draw(self.board, &situation, coins),
            |world, lying, chance| drawn.push((world, lying, chance)),
        );
        let mut belief = BTreeMap::new();
        for (world, lying, chance) in drawn {
            *belief.entry(self.number(world, lying)?).or_insert(0.0) += chance;
        }
        Ok(belief.into_iter().collect())
    }

    /// The number of a world; worlds that differ in nothing that matters have the same.
    fn number(&mut self, mut world: World, mut lying: Lying) -> Result<u32, Error> {
        lying.forget(&world);
        world.forget_counts(&self.blunders);
        let name = lying.name(&world);
        if let Some(&number) = self.numbers.get(&name) {
            return Ok(number);
        }
        if self.worlds.len() >= MOST_WORLDS {
            return Err(Error::new(format!(
                "found more than {MOST_WORLDS} states of one machine, expected a smaller board"
            )));
        }
        let number = self.worlds.len() as u32;
        self.worlds.push((world, lying));
        self.numbers.insert(name, number);
        Ok(number)
    }

    /// Every way in which a decision can end, and the expected number of chips it harms.
    pub(crate) fn after(
        &mut self,
        belief: &Belief,
        decision: Decision,
    ) -> Result<(Vec<Way>, f64), Error> {
        let mut ways: BTreeMap<usize, BTreeMap<u32, f64>> = BTreeMap::new();
        let mut harmed = 0.0;
        for &(world, weight) in belief {
            let leads = self.leads(world, decision)?;
            harmed += weight * leads.harmed;
            for &(outcome, then, chance) in &leads.to {
                let worlds = ways.entry(outcome).or_default();
                *worlds.entry(then).or_insert(0.0) += weight * chance;
            }
        }
        let ways = ways.into_iter().map(|(outcome, worlds)| {
            let chance: f64 = worlds.values().sum();
            let kept = worlds
                .into_iter()
                .filter(|(_, weight)| *weight >= LEAST_SHARE * chance);
            Way {
                outcome,
                chance,
                belief: kept
                    .map(|(world, weight)| (world, weight / chance))
                    .collect(),
            }
        });
        Ok((ways.collect(), harmed))
    }

    fn leads(&mut self, world: u32, decision: Decision) -> Result<&Leads, Error> {
        if !self.leads.contains_key(&(world, decision)) {
            let leads = self.lead(world, decision)?;
            self.leads.insert((world, decision), leads);
        }
        Ok(&self.leads[&(world, decision)])
    }

    fn lead(&mut self, from: u32, decision: Decision) -> Result<Leads, Error> {
        let Some(step) = self.case.step(decision, TAG) else {
            return Err(Error::new(
                "found nothing to do, expected a check or a remedy",
            ));
        };
        let (world, lying) = self.worlds[from as usize].clone();
        let course = |coins: &mut dyn Coins| {
            let mut then = world.clone();
            let mut bench = Bench::new(self.board, &mut then, coins);
            let done = bench.play(&step);
            (done, f64::from(bench.damage.harmed), then)
        };
        let mut ended = Vec::new();
        lying.branch(course, |result, lying, chance| {
            ended.push((result, lying, chance))
        });
        let mut leads = Leads::default();
        let mut to = BTreeMap::new();
        for ((done, harmed, then), lying, chance) in ended {
            let outcome = match (done?.action, decision) {
                (Action::Measure(measure), Decision::Check(check)) => {
                    outcome_of(self.terms, check, &measure.shown)
                }
                _ => 0,
            };
            leads.harmed += chance * harmed;
            *to.entry((outcome, self.number(then, lying)?))
                .or_insert(0.0) += chance;
        }
        leads.to = to
            .into_iter()
            .map(|((outcome, then), chance)| (outcome, then, chance))
            .collect();
        Ok(leads)
    }

    /// What the machine is worth as it is, and what no course is worth more than if only these parts (a bit
    /// each) can be put right.
    pub(crate) fn worth(&mut self, belief: &Belief, within: u64) -> (f64, f64) {
        let (mut as_it_is, mut at_best) = (0.0, 0.0);
        for &(world, weight) in belief {
            let key = (world, within);
            let worth = match self.worths.get(&key) {
                Some(&worth) => worth,
                None => {
                    let worth = self.reckon(world, within);
                    self.worths.insert(key, worth);
                    worth
                }
            };
            as_it_is += weight * worth.as_it_is;
            at_best += weight * worth.at_best;
        }
        (as_it_is, at_best)
    }

    fn reckon(&self, world: u32, within: u64) -> Worth {
        let (world, lying) = &self.worlds[world as usize];
        let mut worth = Worth::default();
        lying.branch(
            |coins| {
                (
                    self.value(world, coins, &[]),
                    self.truth_known(world, coins, within),
                )
            },
            |(as_it_is, at_best), _, chance| {
                worth.as_it_is += chance * as_it_is;
                worth.at_best += chance * at_best;
            },
        );
        worth
    }

    /// The worth of a world when these parts are put right, less the least that costs.
    fn value(&self, world: &World, coins: &mut dyn Coins, parts: &[usize]) -> f64 {
        let economy = &self.terms.economy;
        let mut mended = world.clone();
        parts.iter().for_each(|&part| mend(&mut mended, part));
        let worth = if Bench::new(self.board, &mut mended, coins).works(0) {
            economy.worth
        } else {
            economy.hold
        };
        worth - parts.iter().map(|&part| self.prices[part]).sum::<f64>()
    }

    /// Who knew the truth would put right just what must be, each part at the least price of any remedy for it, or leave
    /// the machine as it is.
    fn truth_known(&self, world: &World, coins: &mut dyn Coins, within: u64) -> f64 {
        let bad = (0..self.prices.len()).filter(|&part| {
            within >> part & 1 == 1 && is_bad(world, part) && self.prices[part].is_finite()
        });
        let bad: Vec<usize> = bad.collect();
        let mut best = f64::NEG_INFINITY;
        for set in 0..1_usize << bad.len() {
            let chosen = bad
                .iter()
                .enumerate()
                .filter(|(bit, _)| set >> bit & 1 == 1);
            let chosen: Vec<usize> = chosen.map(|(_, &part)| part).collect();
            best = best.max(self.value(world, coins, &chosen));
        }
        best
    }
}

/// By part: the least that any remedy for it costs, the retest after it included.
fn least_prices(board: &Board<'_>, terms: &Terms) -> Vec<f64> {
    let economy = &terms.economy;
    let mut prices = vec![f64::INFINITY; board.parts.len()];
    for remedy in &economy.remedies {
        let minutes = remedy.minutes + economy.retest_minutes;
        let price = remedy.money + minutes * economy.rate_per_minute;
        if let Some(&part) = board.parts.get(&remedy.part[..]) {
            prices[part] = prices[part].min(price);
        }
    }
    prices
}

fn is_bad(world: &World, part: usize) -> bool {
    let position = &world.machines[0].positions[part];
    let chip = position.chip.map(|id| &world.chips[&id]);
    position.mode.is_some() || chip.is_none_or(|chip| chip.mode.is_some())
}

/// Puts a part right.
fn mend(world: &mut World, part: usize) {
    let position = &mut world.machines[0].positions[part];
    position.mode = None;
    let id = *position.chip.get_or_insert(u32::MAX - 1 - part as u32);
    let chip = world.chips.entry(id).or_default();
    chip.part = part;
    chip.mode = None;
}
