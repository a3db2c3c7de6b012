//! What all replays say together, with intervals by drawing the repairs anew.

use super::{Ranking, Replay};
use crate::dice::Dice;

/// How often the repairs are drawn anew.
const DRAWS: usize = 4_000;

/// Ranks that count as being in front.
const FRONT: usize = 3;

/// A mean with the middle 95 % of means of repairs drawn anew.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The mean.
    pub mean: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// All replays together.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Repairs.
    pub repairs: usize,
    /// Log score of base rates alone.
    pub base_score: Interval,
    /// Log score of the starter before any finding.
    pub before_score: Interval,
    /// Log score after all findings.
    pub after_score: Interval,
    /// How much better the findings make it than base rates alone, by repair.
    pub gain: Interval,
    /// Share of repairs with a confirmed block in front by base rates.
    pub base_front: Interval,
    /// The same before any finding.
    pub before_front: Interval,
    /// The same after all findings.
    pub after_front: Interval,
}

/// Sums up; nothing if there are no replays.
#[must_use]
pub fn summary(replays: &[&Replay]) -> Option<Summary> {
    if replays.is_empty() {
        return None;
    }
    let each = |value: &dyn Fn(&Replay) -> f64| {
        let values: Vec<f64> = replays.iter().map(|replay| value(replay)).collect();
        interval(&values)
    };
    let front = |ranking: &Ranking| f64::from(u8::from(ranking.best_rank <= FRONT));
    Some(Summary {
        repairs: replays.len(),
        base_score: each(&|replay| replay.base.log_score),
        before_score: each(&|replay| replay.before.log_score),
        after_score: each(&|replay| replay.after.log_score),
        gain: each(&|replay| replay.after.log_score - replay.base.log_score),
        base_front: each(&|replay| front(&replay.base)),
        before_front: each(&|replay| front(&replay.before)),
        after_front: each(&|replay| front(&replay.after)),
    })
}

/// The mean of the values, and of as many drawn from them with return, again and again from the same seed.
fn interval(values: &[f64]) -> Interval {
    let count = u32::try_from(values.len()).unwrap_or(u32::MAX);
    let mean = |sum: f64| sum / f64::from(count);
    let mut dice = Dice::new(47);
    let mut means: Vec<f64> = (0..DRAWS)
        .map(|_| mean((0..count).map(|_| values[dice.roll(count) as usize]).sum()))
        .collect();
    means.sort_by(f64::total_cmp);
    Interval {
        mean: mean(values.iter().sum()),
        low: means[DRAWS / 40],
        high: means[DRAWS - 1 - DRAWS / 40],
    }
}
