//! A whole rehearsal: the same piles under every policy.

use std::{
    sync::{
        Mutex, PoisonError,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
};

use crate::{
    coins::Seeded,
    error::Error,
    play::{Tally, pile, play},
    policy::Name,
    report::{Piles, Report, report},
    terms::Terms,
};

/// How much is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Piles.
    pub piles: usize,
    /// Machines of each.
    pub machines: usize,
    /// What the piles follow from.
    pub seed: u64,
}

/// How far a rehearsal is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Done {
    /// The policy that has played a pile.
    pub policy: Name,
    /// Piles it has played.
    pub piles: usize,
    /// Piles it plays.
    pub of: usize,
}

/// Plays the piles with these policies; the first is what the others are compared with. `tell` hears of each pile that was
/// played, from several threads.
///
/// # Errors
/// A policy cannot reckon with what it found.
pub fn rehearse(
    terms: &Terms,
    size: Size,
    policies: &[Name],
    tell: &(dyn Fn(Done) + Sync),
) -> Result<Report, Error> {
    let next = AtomicUsize::new(0);
    let results: Mutex<Vec<(usize, Result<Piles, Error>)>> = Mutex::new(Vec::new());
    let workers = thread::available_parallelism().map_or(1, usize::from);
    let work = || {
        loop {
            let place = next.fetch_add(1, Ordering::Relaxed);
            let Some(&policy) = policies.get(place) else {
                return;
            };
            let piles = play_all(terms, size, policy, tell);
            results
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .push((place, piles));
        }
    };
    thread::scope(|scope| {
        for _ in 0..workers.min(policies.len()) {
            scope.spawn(work);
        }
    });
    let mut results = results.into_inner().unwrap_or_else(PoisonError::into_inner);
    results.sort_by_key(|(place, _)| *place);
    let mut played = Vec::new();
    for (place, piles) in results {
        played.push((policies[place], piles?));
    }
    Ok(report(size.machines, &played))
}

/// Every pile with one policy.
fn play_all(
    terms: &Terms,
    size: Size,
    name: Name,
    tell: &(dyn Fn(Done) + Sync),
) -> Result<Piles, Error> {
    let board = terms.board();
    let mut policy = name.policy();
    let mut piles = Vec::new();
    for number in 0..size.piles {
        let mut coins = Seeded::new(size.seed, number as u64);
        let mut world = pile(&board, size.machines, &mut coins);
        let tallies: Result<Vec<Tally>, Error> = (0..size.machines)
            .map(|machine| {
                play(
                    terms,
                    &board,
                    &mut world,
                    machine,
                    &mut coins,
                    policy.as_mut(),
                )
            })
            .collect();
        piles.push(tallies?);
        tell(Done {
            policy: name,
            piles: number + 1,
            of: size.piles,
        });
    }
    Ok(piles)
}
