//! Whether a machine has eaten enough: what work on it brings by the hour, against work on a fresh one.
//!
//! A machine's minutes still needed and its chance to be done are those of its best course without further checks; what was
//! spent counts towards the whole (see [`diagnosis::UnknownLength`]). The fresh machine is one of the pile at which nobody has
//! looked, or, where there is none, one more of the same board for the same price. The course leaves out what further looks
//! could save, so a machine whose next look alone brings more than the fresh one is never named.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::Profile;
use diagnosis::{Course, Diagnosis, Economy, Situation, Step, UnknownLength};

use crate::{
    card::minutes_spent,
    economy::economy,
    lead::is_looked_at,
    pile::Machine,
    reckon::{Blanks, Boards, held, too_much},
    views::Shelve,
    words::{coins, from_coins, to_coins},
    workshop::{Result, State},
};

/// Spread of the minutes a repair takes: the standard deviation of their logarithm. Common practice, no source; at 0.8 one repair
/// in six takes more than twice the median.
const SPREAD: f64 = 0.8;

/// A machine of which nothing was seen: its board, the events known, the lot's events known, positions that came empty.
pub(crate) type Blank = (String, Vec<String>, Vec<String>, Vec<String>);

/// What work on fresh machines brings.
pub(crate) struct Fresh {
    /// The best of those in the pile that nobody has looked at: its tag, and money a minute.
    waiting: Option<(String, f64)>,
    /// By board: a further one, for what the machines of this board cost on average, and that price in smallest coins.
    further: BTreeMap<String, (f64, i64)>,
}

impl Fresh {
    /// Reckons them; they do not depend on what other machines showed.
    pub(crate) fn of(blanks: &Blanks, state: &State, boards: &Boards) -> Result<Fresh> {
        let mut waiting: Option<(String, f64)> = None;
        for machine in state.pile.on_bench() {
            let Some(board) = boards.get(&machine.board) else {
                continue;
            };
            if is_looked_at(state, machine) || machine.settled.is_some() {
                continue;
            }
            let economy = economy(&state.folder, board, machine, &[]);
            let lot = state.pile.lots.get(&machine.lot);
            let blank = (
                machine.board.clone(),
                machine.events.clone(),
                lot.map(|lot| lot.events.clone()).unwrap_or_default(),
                machine.came_empty.clone(),
            );
            let course = course(blanks, board, blank, &economy)?;
            let spent = minutes_spent(state, machine);
            let brings = UnknownLength::rest_of(&course, &economy, spent, SPREAD).index();
            if waiting
                .as_ref()
                .is_none_or(|(_, most)| brings.per_minute > *most)
            {
                waiting = Some((machine.tag.clone(), brings.per_minute));
            }
        }
        let mut further = BTreeMap::new();
        for (id, board) in boards {
            further.insert(id.clone(), another(blanks, state, id, board)?);
        }
        Ok(Fresh {
            waiting: waiting.filter(|(_, brings)| *brings > 0.0),
            further,
        })
    }

    /// What is said of a machine on which work brings less than on a fresh one.
    pub(crate) fn shelve(
        &self,
        state: &State,
        machine: &Machine,
        economy: &Economy,
        steps: &[Step],
        course: &Course,
    ) -> Option<Shelve> {
        if !can_be_shelved(state, machine) {
            return None;
        }
        let spent = minutes_spent(state, machine);
        let here = UnknownLength::rest_of(course, economy, spent, SPREAD)
            .index()
            .per_minute;
        let waiting = self.waiting.as_ref().filter(|(tag, _)| *tag != machine.tag);
        let further = self.further.get(&machine.board);
        let fresh = match (waiting, further) {
            (Some((_, brings)), _) | (None, Some((brings, _))) => *brings,
            (None, None) => return None,
        };
        if here.max(best_look(steps, economy)) >= fresh {
            return None;
        }
        let currency = state.folder.settings.currency;
        let hourly = |per_minute: f64| coins(to_coins(60.0 * per_minute, currency), currency);
        let (here, fresh) = (hourly(here), hourly(fresh));
        let tag = &machine.tag;
        let brings = format!("work on it brings {here} an hour at best, work on");
        let (sentence, brief) = match (waiting, further) {
            (Some((other, _)), _) => (
                format!(
                    "{tag} can wait: {brings} {other}, which nobody has looked at yet, brings {fresh}."
                ),
                format!("Can wait: {here} an hour at best, {other} {fresh}."),
            ),
            (None, Some((_, price))) => {
                let price = coins(*price, currency);
                (
                    format!(
                        "{tag} could be shelved for now: {brings} a fresh machine for {price} brings {fresh}."
                    ),
                    format!("Could be shelved: {here} an hour at best, a fresh machine {fresh}."),
                )
            }
            (None, None) => return None,
        };
        Some(Shelve {
            tag: tag.clone(),
            sentence,
            brief,
            waiting: waiting.map(|(other, _)| other.clone()),
            here,
            fresh,
        })
    }
}

/// Somebody looked at it, and what is wrong with it is not settled.
pub(crate) fn can_be_shelved(state: &State, machine: &Machine) -> bool {
    machine.settled.is_none() && is_looked_at(state, machine)
}

/// What the best look brings by the minute, its own minutes not taken off.
fn best_look(steps: &[Step], economy: &Economy) -> f64 {
    let can = |step: &&Step| {
        !step
            .new_set_ups
            .iter()
            .any(|set_up| economy.missing.contains(set_up))
    };
    steps
        .iter()
        .filter(can)
        .map(|step| step.saving / step.minutes.max(0.1) + economy.rate_per_minute)
        .fold(0.0, f64::max)
}

/// One more of this board, for the price that those of the pile cost on average: money a minute, and the price.
fn another(blanks: &Blanks, state: &State, id: &str, board: &Arc<Profile>) -> Result<(f64, i64)> {
    let settings = &state.folder.settings;
    let paid = |machine: &&Machine| {
        units::Money::parse(&machine.paid, settings.currency).map_or(0, |money| money.to_minor())
    };
    let of_board = state
        .pile
        .machines
        .iter()
        .filter(|machine| machine.board == id);
    let prices: Vec<i64> = of_board.map(|machine| paid(&machine)).collect();
    let count = i64::try_from(prices.len()).unwrap_or(i64::MAX).max(1);
    let price = prices.iter().sum::<i64>() / count;
    let new = Machine {
        board: id.to_string(),
        ..Machine::default()
    };
    let economy = economy(&state.folder, board, &new, &[]);
    let blank = (id.to_string(), Vec::new(), Vec::new(), Vec::new());
    let course = course(blanks, board, blank, &economy)?;
    // bought, it can at least be held
    let lost = (from_coins(price, settings.currency) - economy.hold).max(0.0);
    let job = UnknownLength {
        price: lost,
        ..UnknownLength::rest_of(&course, &economy, 0.0, SPREAD)
    };
    Ok((job.index().per_minute, price))
}

/// The best course for a machine of which nothing was seen, by itself.
fn course(
    blanks: &Blanks,
    board: &Arc<Profile>,
    blank: Blank,
    economy: &Economy,
) -> Result<Course> {
    let known = held(blanks).get(&blank).cloned();
    if let Some(course) = known {
        return Ok(course);
    }
    const TAG: &str = "fresh";
    let (id, events, lot_events, empty) = &blank;
    let known = |events: &[String]| -> BTreeMap<String, bool> {
        events.iter().map(|event| (event.clone(), true)).collect()
    };
    let situation = Situation {
        profiles: BTreeMap::from([(id.clone(), Arc::clone(board))]),
        machines: vec![diagnosis::Machine {
            tag: TAG.to_string(),
            profile: id.clone(),
            lot: Some(TAG.to_string()),
            known: known(events),
            empty: empty.clone(),
            outside: None,
            mule: false,
        }],
        lots: BTreeMap::from([(TAG.to_string(), known(lot_events))]),
        ..Situation::default()
    };
    let diagnosis = Diagnosis::of(situation).map_err(|error| too_much(&error))?;
    let course = diagnosis.course(TAG, economy);
    let course = course.map_err(|error| too_much(&error))?;
    held(blanks).insert(blank, course.clone());
    Ok(course)
}
