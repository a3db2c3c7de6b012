//! Whether to go on with a machine: what an hour on it brings at best, against an hour on another.
//!
//! The index of a job of unknown length is max over τ of gain × P(done by τ) / E[min(T, τ)], T being the minutes it still needs:
//! work on it until τ and drop it then, at the best τ. Always working on the job with the greatest index brings the gains
//! soonest: Sevcik (Journal of the ACM 21, 1974) for jobs in a queue, Gittins (Journal of the Royal Statistical Society B 41,
//! 1979) in general. With a constant chance a minute it is gain × that chance; with a known length gain over length.
//!
//! The minutes of a whole job are log-normal. T is what is left of them given that those spent were not enough, in closed form by
//! the partial expectation of the log-normal; or it never ends, with what is missing to the chance that the job can be done. The
//! best τ lies where the chance by the minute falls through the index, and is looked for among the quantiles of T.

use crate::answer::{Course, Economy};

/// Quantiles among which the best τ is looked for, before it is closed in on.
const STEPS: u32 = 400;
/// Quantiles farther out than this many deviations are not looked at.
const FARTHEST: f64 = 8.0;

/// A job that may be done after some more minutes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnknownLength {
    /// What doing it brings.
    pub gain: f64,
    /// What must be paid before the first minute.
    pub price: f64,
    /// Chance that it can be done at all, as it looks now.
    pub can_be_done: f64,
    /// Minutes that the whole job takes on average, those spent included, if it can be done.
    pub mean_minutes: f64,
    /// Standard deviation of the logarithm of the whole job's minutes.
    pub spread: f64,
    /// Minutes spent on it so far.
    pub spent: f64,
}

/// What working on a job brings at best.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Index {
    /// Gain a minute.
    pub per_minute: f64,
    /// Minutes after which it is dropped if it is not done.
    pub within: f64,
    /// Chance that it is done by then.
    pub done: f64,
}

impl UnknownLength {
    /// The rest of a course of remedies on a machine on which these minutes were spent: worth above holding it, less the parts
    /// that one success takes.
    #[must_use]
    pub fn rest_of(course: &Course, economy: &Economy, spent: f64, spread: f64) -> UnknownLength {
        let works = course.works;
        let ends = economy.worth * works + economy.hold * (1.0 - works);
        let parts = (ends - course.value - course.minutes * economy.rate_per_minute).max(0.0);
        let parts = if works > 0.0 { parts / works } else { 0.0 };
        // without a remedy it is only seen whether it works
        let minutes = course.minutes.max(economy.retest_minutes);
        UnknownLength {
            gain: economy.worth - economy.hold - parts,
            price: 0.0,
            can_be_done: works,
            mean_minutes: spent + minutes,
            spread,
            spent,
        }
    }

    /// What working on it brings at best; nothing if it is best left alone.
    #[must_use]
    pub fn index(&self) -> Index {
        let law = LogNormal::new(self.mean_minutes, self.spread, self.spent);
        best(self.gain, self.price, self.can_be_done, &law)
    }
}

/// The minutes that a job still needs, if it can be done.
trait Law {
    /// P(T > t).
    fn survival(&self, t: f64) -> f64;
    /// E[min(T, t)].
    fn expected_min(&self, t: f64) -> f64;
    /// Chance by the minute, right now.
    fn at_once(&self) -> f64;
    /// Times at which dropping it is weighed, rising.
    fn times(&self) -> Vec<f64>;
}

/// The greatest gain a minute.
fn best(gain: f64, price: f64, can_be_done: f64, law: &impl Law) -> Index {
    let at = |within: f64| {
        let done = can_be_done * (1.0 - law.survival(within));
        let minutes = (1.0 - can_be_done) * within + can_be_done * law.expected_min(within);
        Index {
            per_minute: (gain * done - price) / minutes.max(f64::MIN_POSITIVE),
            within,
            done,
        }
    };
    let better = |a: Index, b: Index| if b.per_minute > a.per_minute { b } else { a };
    let mut found = Index::default();
    if price == 0.0 {
        found.per_minute = (gain * can_be_done * law.at_once()).max(0.0);
    }
    let times = law.times();
    let weighed: Vec<Index> = times.iter().map(|&time| at(time)).collect();
    let top =
        (0..weighed.len()).max_by(|&a, &b| weighed[a].per_minute.total_cmp(&weighed[b].per_minute));
    let Some(top) = top else {
        return found;
    };
    found = better(found, weighed[top]);
    let low = times[top.saturating_sub(1)];
    let high = times[(top + 1).min(times.len() - 1)];
    better(found, at(highest(low, high, |time| at(time).per_minute)))
}

/// Where a function with one summit is highest, by the golden section.
fn highest(mut low: f64, mut high: f64, of: impl Fn(f64) -> f64) -> f64 {
    let part = (5f64.sqrt() - 1.0) / 2.0;
    for _ in 0..60 {
        let (left, right) = (high - part * (high - low), low + part * (high - low));
        if of(left) < of(right) {
            low = left;
        } else {
            high = right;
        }
    }
    (low + high) / 2.0
}

/// What is left of log-normal minutes after some of them.
struct LogNormal {
    /// Mean of the whole.
    mean: f64,
    /// Mean and deviation of the logarithm of the whole.
    log_mean: f64,
    spread: f64,
    spent: f64,
    /// P(whole > spent) and E[min(whole, spent)].
    left: f64,
    before: f64,
}

impl LogNormal {
    fn new(mean: f64, spread: f64, spent: f64) -> LogNormal {
        let spread = spread.max(1e-6);
        let mean = mean.max(1e-6);
        let log_mean = mean.ln() - spread * spread / 2.0;
        // beyond this nothing of the distribution is left in floating point
        let longest = (log_mean + 30.0 * spread).exp();
        let mut law = LogNormal {
            mean,
            log_mean,
            spread,
            spent: spent.clamp(0.0, longest),
            left: 1.0,
            before: 0.0,
        };
        law.left = law.whole_survival(law.spent);
        law.before = law.whole_min(law.spent);
        law
    }

    fn deviations(&self, minutes: f64) -> f64 {
        (minutes.ln() - self.log_mean) / self.spread
    }

    fn whole_survival(&self, minutes: f64) -> f64 {
        units::normal_cdf(-self.deviations(minutes))
    }

    fn whole_min(&self, minutes: f64) -> f64 {
        if minutes <= 0.0 {
            return 0.0;
        }
        let partial = self.mean * units::normal_cdf(self.deviations(minutes) - self.spread);
        partial + minutes * self.whole_survival(minutes)
    }
}

impl Law for LogNormal {
    fn survival(&self, t: f64) -> f64 {
        self.whole_survival(self.spent + t) / self.left
    }

    fn expected_min(&self, t: f64) -> f64 {
        (self.whole_min(self.spent + t) - self.before) / self.left
    }

    fn at_once(&self) -> f64 {
        if self.spent <= 0.0 {
            return 0.0;
        }
        let z = self.deviations(self.spent);
        let density = (-z * z / 2.0).exp() / (std::f64::consts::TAU.sqrt() * self.spread);
        density / (self.spent * self.left)
    }

    fn times(&self) -> Vec<f64> {
        let from = self.deviations(self.spent).max(-FARTHEST);
        let to = from.max(0.0) + FARTHEST;
        let time = |step: u32| {
            let z = from + (to - from) * f64::from(step) / f64::from(STEPS);
            (self.log_mean + self.spread * z).exp() - self.spent
        };
        let least = self.mean * 1e-6;
        (0..=STEPS)
            .map(time)
            .filter(|&time| time >= least)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A constant chance by the minute.
    struct Constant(f64);

    impl Law for Constant {
        fn survival(&self, t: f64) -> f64 {
            (-self.0 * t).exp()
        }
        fn expected_min(&self, t: f64) -> f64 {
            (1.0 - self.survival(t)) / self.0
        }
        fn at_once(&self) -> f64 {
            self.0
        }
        fn times(&self) -> Vec<f64> {
            (1..500).map(|n| f64::from(n) * 0.1 / self.0).collect()
        }
    }

    /// A known length.
    struct Known(f64);

    impl Law for Known {
        fn survival(&self, t: f64) -> f64 {
            f64::from(u8::from(t < self.0))
        }
        fn expected_min(&self, t: f64) -> f64 {
            t.min(self.0)
        }
        fn at_once(&self) -> f64 {
            0.0
        }
        fn times(&self) -> Vec<f64> {
            vec![self.0 / 2.0, self.0, self.0 * 2.0]
        }
    }

    #[track_caller]
    fn near(found: f64, expected: f64, relative: f64) {
        assert!(
            (found - expected).abs() <= relative * expected.abs(),
            "{found} {expected}"
        );
    }

    #[test]
    fn closed_forms() {
        // constant chance: gain × chance, whatever the time; with a chance never to end, best at once
        near(best(80.0, 0.0, 1.0, &Constant(0.02)).per_minute, 1.6, 1e-9);
        near(best(80.0, 0.0, 0.7, &Constant(0.02)).per_minute, 1.12, 1e-9);
        // known length: chance × gain over length
        near(best(80.0, 0.0, 0.7, &Known(40.0)).per_minute, 1.4, 1e-12);
        near(best(80.0, 16.0, 0.7, &Known(40.0)).per_minute, 1.0, 1e-12);
        // a log-normal so narrow that its length is known
        let narrow = UnknownLength {
            gain: 80.0,
            price: 0.0,
            can_be_done: 0.7,
            mean_minutes: 50.0,
            spread: 1e-5,
            spent: 10.0,
        };
        near(narrow.index().per_minute, 1.4, 1e-3);
    }

    #[test]
    fn nothing_is_gained_where_nothing_can_be_done() {
        let job = UnknownLength {
            gain: 80.0,
            price: 0.0,
            can_be_done: 0.0,
            mean_minutes: 50.0,
            spread: 0.8,
            spent: 10.0,
        };
        assert_eq!(job.index().per_minute, 0.0);
        let loss = UnknownLength {
            gain: -5.0,
            can_be_done: 0.9,
            ..job
        };
        assert_eq!(loss.index().per_minute, 0.0);
        let dear = UnknownLength {
            price: 100.0,
            can_be_done: 0.9,
            ..job
        };
        assert_eq!(dear.index().per_minute, 0.0);
    }

    /// By other means: the density summed up in small steps, every τ of a fine grid tried.
    fn summed(job: &UnknownLength) -> f64 {
        let log_mean = job.mean_minutes.ln() - job.spread.powi(2) / 2.0;
        let density = |x: f64| {
            let z = (x.ln() - log_mean) / job.spread;
            (-0.5 * z * z).exp() / (x * job.spread * (2.0 * std::f64::consts::PI).sqrt())
        };
        let step = job.mean_minutes / 20_000.0;
        let middle = |n: u32| job.spent + (f64::from(n) + 0.5) * step;
        let count = 2_000_000;
        let left: f64 = (0..count).map(|n| density(middle(n)) * step).sum();
        let (mut done, mut minutes, mut most) = (0.0, 0.0, 0.0f64);
        for n in 0..count {
            let share = job.can_be_done * density(middle(n)) * step / left;
            minutes += (1.0 - done - share / 2.0) * step;
            done += share;
            most = most.max((job.gain * done - job.price) / minutes);
        }
        most
    }

    #[test]
    fn agrees_with_a_sum_in_small_steps() {
        let job = |price, can_be_done, mean_minutes, spread, spent| UnknownLength {
            gain: 103.0,
            price,
            can_be_done,
            mean_minutes,
            spread,
            spent,
        };
        for job in [
            job(0.0, 0.9, 60.0, 0.8, 0.0),
            job(0.0, 0.5, 60.0, 0.8, 20.0),
            job(0.0, 0.7, 90.0, 1.2, 60.0),
            job(0.0, 1.0, 30.0, 0.3, 5.0),
            job(18.0, 0.6, 45.0, 0.8, 0.0),
        ] {
            near(job.index().per_minute, summed(&job), 2e-3);
        }
    }

    #[test]
    fn long_wide_jobs_lose_by_every_minute_spent() {
        let index = |spent: f64| {
            UnknownLength {
                gain: 100.0,
                price: 0.0,
                can_be_done: 1.0,
                mean_minutes: 60.0,
                spread: 1.2,
                spent,
            }
            .index()
            .per_minute
        };
        let later = [20.0, 40.0, 80.0, 160.0, 320.0].map(index);
        assert!(later.windows(2).all(|pair| pair[0] > pair[1]), "{later:?}");
    }
}
