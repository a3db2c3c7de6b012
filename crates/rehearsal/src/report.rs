//! What a rehearsal came to: figures by policy, and the differences on the same piles.

use crate::{
    case::Minutes,
    play::Tally,
    policy::Name,
    statistics::{Mean, ratio},
};

/// Piles played by every policy.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Report {
    /// Piles.
    pub piles: usize,
    /// Machines of a pile.
    pub machines: usize,
    /// Machines of a pile that were whole when they came in.
    pub whole: Mean,
    /// By policy, ours first.
    pub policies: Vec<Played>,
}

/// What one policy came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Played {
    /// The policy.
    pub policy: Name,
    /// Machines of a pile that work at the end.
    pub working: Mean,
    /// Minutes by pile.
    pub minutes: Mean,
    /// Minutes for each machine that works at the end.
    pub minutes_each_working: Mean,
    /// Money for parts by pile.
    pub money: Mean,
    /// Parts bought by pile.
    pub parts: Mean,
    /// Parts by pile that replaced a good one.
    pub wrong_parts: Mean,
    /// Places by pile that were treated and were good.
    pub needless_treatments: Mean,
    /// Chips by pile harmed by checks.
    pub harmed: Mean,
    /// Good places by pile damaged by acts.
    pub collateral: Mean,
    /// Machines by pile said to work that do not.
    pub wrongly_said: Mean,
    /// Machines by pile left as they were because their findings tied too much together to be reckoned.
    pub unreckoned: Mean,
    /// Worth at the end less money, minutes and harm, by pile.
    pub value: Mean,
    /// The same by machine.
    pub value_each: Mean,
    /// Where the minutes of a pile go.
    pub where_minutes_go: Minutes,
    /// What ours has more, on the same piles; none for ours.
    pub ours_less_this: Option<Differences>,
}

/// Ours less another policy, in pairs of the same piles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Differences {
    /// Machines that work.
    pub working: Mean,
    /// Minutes by pile.
    pub minutes: Mean,
    /// Minutes for each machine that works.
    pub minutes_each_working: Mean,
    /// Money for parts.
    pub money: Mean,
    /// Parts that replaced a good one.
    pub wrong_parts: Mean,
    /// Net value by pile.
    pub value: Mean,
}

/// The machines of each pile under one policy.
pub(crate) type Piles = Vec<Vec<Tally>>;

/// Figures by policy; the first is what the others are compared with.
pub(crate) fn report(machines: usize, played: &[(Name, Piles)]) -> Report {
    let first = played.first().map(|(_, piles)| Figures::of(piles));
    let policies = played.iter().enumerate().map(|(place, (policy, piles))| {
        let figures = Figures::of(piles);
        let differences = first
            .as_ref()
            .filter(|_| place > 0)
            .map(|first| first.less(&figures));
        figures.played(*policy, machines, differences)
    });
    Report {
        piles: played.first().map_or(0, |(_, piles)| piles.len()),
        machines,
        whole: first
            .as_ref()
            .map_or(Mean::default(), |figures| Mean::of(&figures.whole)),
        policies: policies.collect(),
    }
}

/// Sums by pile.
struct Figures {
    whole: Vec<f64>,
    working: Vec<f64>,
    minutes: Vec<f64>,
    each_working: (f64, Vec<f64>),
    money: Vec<f64>,
    parts: Vec<f64>,
    wrong_parts: Vec<f64>,
    needless_treatments: Vec<f64>,
    harmed: Vec<f64>,
    collateral: Vec<f64>,
    wrongly_said: Vec<f64>,
    unreckoned: Vec<f64>,
    value: Vec<f64>,
    kinds: Minutes,
}

impl Figures {
    fn of(piles: &Piles) -> Self {
        let sum = |figure: fn(&Tally) -> f64| -> Vec<f64> {
            piles
                .iter()
                .map(|pile| pile.iter().map(figure).sum())
                .collect()
        };
        let minutes = sum(|tally| tally.minutes.sum());
        let working = sum(|tally| f64::from(u8::from(tally.works)));
        let mean = |values: Vec<f64>| values.iter().sum::<f64>() / values.len().max(1) as f64;
        Self {
            whole: sum(|tally| f64::from(u8::from(tally.was_whole))),
            each_working: ratio(&minutes, &working),
            working,
            minutes,
            money: sum(|tally| tally.money),
            parts: sum(|tally| f64::from(tally.parts)),
            wrong_parts: sum(|tally| f64::from(tally.wrong_parts)),
            needless_treatments: sum(|tally| f64::from(tally.needless_treatments)),
            harmed: sum(|tally| f64::from(tally.harmed)),
            collateral: sum(|tally| f64::from(tally.collateral)),
            wrongly_said: sum(|tally| f64::from(u8::from(tally.said_to_work && !tally.works))),
            unreckoned: sum(|tally| f64::from(u8::from(tally.unreckoned))),
            value: sum(|tally| tally.value),
            kinds: Minutes {
                checks: mean(sum(|tally| tally.minutes.checks)),
                set_ups: mean(sum(|tally| tally.minutes.set_ups)),
                remedies: mean(sum(|tally| tally.minutes.remedies)),
                retests: mean(sum(|tally| tally.minutes.retests)),
            },
        }
    }

    fn less(&self, other: &Self) -> Differences {
        let less = |ours: &[f64], theirs: &[f64]| {
            let pairs: Vec<f64> = ours.iter().zip(theirs).map(|(a, b)| a - b).collect();
            Mean::of(&pairs)
        };
        Differences {
            working: less(&self.working, &other.working),
            minutes: less(&self.minutes, &other.minutes),
            minutes_each_working: less(&self.each_working.1, &other.each_working.1),
            money: less(&self.money, &other.money),
            wrong_parts: less(&self.wrong_parts, &other.wrong_parts),
            value: less(&self.value, &other.value),
        }
    }

    fn played(&self, policy: Name, machines: usize, ours_less_this: Option<Differences>) -> Played {
        let each: Vec<f64> = self
            .value
            .iter()
            .map(|value| value / machines.max(1) as f64)
            .collect();
        Played {
            policy,
            working: Mean::of(&self.working),
            minutes: Mean::of(&self.minutes),
            minutes_each_working: Mean {
                mean: self.each_working.0,
                within: Mean::of(&self.each_working.1).within,
            },
            money: Mean::of(&self.money),
            parts: Mean::of(&self.parts),
            wrong_parts: Mean::of(&self.wrong_parts),
            needless_treatments: Mean::of(&self.needless_treatments),
            harmed: Mean::of(&self.harmed),
            collateral: Mean::of(&self.collateral),
            wrongly_said: Mean::of(&self.wrongly_said),
            unreckoned: Mean::of(&self.unreckoned),
            value: Mean::of(&self.value),
            value_each: Mean::of(&each),
            where_minutes_go: self.kinds,
            ours_less_this,
        }
    }
}
