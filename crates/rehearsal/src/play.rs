//! Plays one machine after another with a policy, to the end.

use catalogue::Site;
use diagnosis::{Machine, Situation};

use crate::{
    bench::Bench,
    board::Board,
    case::{Case, Clock, Decision, LOT, Minutes, outcome_of},
    coins::Coins,
    error::Error,
    policy::Policy,
    terms::{How, Terms},
    truth,
    world::World,
};

/// Moves after which a machine is left as it is, whatever the policy says.
const MOST_MOVES: usize = 120;

/// What one machine came to.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Tally {
    /// It works.
    pub works: bool,
    /// It was whole when it came in.
    pub was_whole: bool,
    /// The last retest said that it works.
    pub said_to_work: bool,
    /// Minutes at the bench.
    pub minutes: Minutes,
    /// Money for parts.
    pub money: f64,
    /// Parts bought.
    pub parts: u32,
    /// Parts that replaced a good one.
    pub wrong_parts: u32,
    /// Places treated that were good.
    pub needless_treatments: u32,
    /// Chips harmed by checks.
    pub harmed: u32,
    /// Good places damaged by acts.
    pub collateral: u32,
    /// The findings tied too much together to be reckoned, and the machine was left as it was.
    pub unreckoned: bool,
    /// Worth at the end, less money, minutes and harm.
    pub value: f64,
}

/// The true state of a pile: machines of one lot.
pub(crate) fn pile(board: &Board<'_>, machines: usize, coins: &mut dyn Coins) -> World {
    let machine = |number: usize| Machine {
        tag: number.to_string(),
        profile: board.profile.id.clone(),
        lot: Some(LOT.to_owned()),
        ..Machine::default()
    };
    let situation = Situation {
        machines: (1..=machines).map(machine).collect(),
        ..Situation::default()
    };
    truth::draw(board, &situation, coins)
}

/// Plays one machine of a pile to its end.
pub(crate) fn play(
    terms: &Terms,
    board: &Board<'_>,
    world: &mut World,
    machine: usize,
    coins: &mut dyn Coins,
    policy: &mut dyn Policy,
) -> Result<Tally, Error> {
    let mut case = Case::new(terms, Clock::Runs);
    let mut tally = Tally {
        was_whole: Bench::new(board, world, coins).works(machine),
        ..Tally::default()
    };
    let tag = world.machines[machine].tag.clone();
    for _ in 0..MOST_MOVES {
        let decision = match case.forced() {
            Some(forced) => forced,
            None => policy.decide(&case).unwrap_or_else(|_| {
                tally.unreckoned = true;
                Decision::Stop
            }),
        };
        let Some(step) = case.step(decision, &tag) else {
            break;
        };
        if let Decision::Remedy(remedy) = decision {
            count_remedy(&mut tally, terms, board, world, machine, remedy);
        }
        let mut bench = Bench::new(board, world, coins);
        let done = bench.play(&step)?;
        tally.harmed += bench.damage.harmed;
        tally.collateral += bench.damage.collateral;
        let outcome = match (&done.action, decision) {
            (diagnosis::Action::Measure(measure), Decision::Check(check)) => {
                outcome_of(terms, check, &measure.shown)
            }
            _ => 0,
        };
        case.write(decision, outcome);
    }
    tally.works = Bench::new(board, world, coins).works(machine);
    tally.said_to_work = case.is_known_to_work();
    tally.minutes = case.minutes;
    tally.money = case.money;
    tally.value = value(terms, &case, tally.works) - harm(terms, tally.harmed);
    Ok(tally)
}

/// Worth at the end, less money and minutes.
fn value(terms: &Terms, case: &Case<'_>, works: bool) -> f64 {
    let worth = if works {
        terms.economy.worth
    } else {
        terms.economy.hold
    };
    worth - case.spent()
}

fn harm(terms: &Terms, harmed: u32) -> f64 {
    f64::from(harmed) * terms.economy.harm_cost
}

/// Counts a remedy before it is done: whether what it puts right was good.
fn count_remedy(
    tally: &mut Tally,
    terms: &Terms,
    board: &Board<'_>,
    world: &World,
    machine: usize,
    remedy: usize,
) {
    let Some(&part) = board.parts.get(&terms.economy.remedies[remedy].part[..]) else {
        return;
    };
    match terms.how[remedy] {
        How::Fit => {
            tally.parts += 1;
            let empty = world.machines[machine].positions[part].chip.is_none();
            if !empty && world.mode(machine, part, Site::Chip).is_none() {
                tally.wrong_parts += 1;
            }
        }
        How::Treat(_) => {
            if world.mode(machine, part, Site::Place).is_none() {
                tally.needless_treatments += 1;
            }
        }
    }
}
