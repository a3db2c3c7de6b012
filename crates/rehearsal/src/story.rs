//! Plays a story that is written already: the same steps, with what a true state drawn for it would show.

use catalogue::Profile;
use diagnosis::{Action, BenchStep, Shown, Situation};

use crate::{bench::Bench, board::Board, coins::Coins, error::Error, truth};

/// Draws the machines of a situation and plays its steps; each finding comes back with what was seen instead of what was
/// written. All machines are of one profile. Skipped findings and truths found out are left out.
///
/// # Errors
/// The situation has no profile or several, or a step names something that is not there.
pub fn retold(situation: &Situation, coins: &mut dyn Coins) -> Result<Vec<BenchStep>, Error> {
    let mut profiles = situation.profiles.values();
    let (Some(profile), None) = (profiles.next(), profiles.next()) else {
        return Err(Error::new(format!(
            "found {} board profiles, expected one",
            situation.profiles.len()
        )));
    };
    let profile: &Profile = profile;
    let board = Board::new(profile);
    let mut world = truth::draw(&board, situation, coins);
    let mut bench = Bench::new(&board, &mut world, coins);
    let mut now = None;
    let mut told = Vec::new();
    for step in &situation.steps {
        // a step without a time lets no time pass
        now = step.time.or(now);
        if is_left_out(&step.action) {
            continue;
        }
        told.push(bench.play(&BenchStep {
            time: now,
            action: step.action.clone(),
        })?);
    }
    Ok(told)
}

fn is_left_out(action: &Action) -> bool {
    match action {
        Action::Measure(measure) => measure.shown == Shown::Skipped,
        Action::Settle { .. } => true,
        _ => false,
    }
}
