//! Rounds over a pile: which check on which machines next, set-ups being paid once for all looks that share them.
//!
//! A look is one check on one machine, worth what [`crate::Diagnosis::next`] says it saves when it is made next; what its
//! preconditions and harms cost is in there already. Savings of different machines add up. Those of two checks on one machine
//! do not, since each tells some of what the other would, so a round has at most one look at a machine; after it everything is
//! reckoned anew.
//!
//! **Which looks.** Those with the greatest saving in all, set-ups paid once. For a given set of set-ups that is the best look
//! of each machine among those it makes possible, so it is enough to go through the unions of the set-ups that looks ask for.
//! (With several looks a machine allowed it would be the selection of projects that share facilities, a minimum cut: Rhys,
//! Management Science 17, 1970; one look a machine makes it the location of facilities, which no short rule solves.)
//!
//! **In which order.** By saving a minute, not by saving: minutes are what runs out, an evening may end after any look, and
//! every look pushes all others back by its minutes. That is the order by chance over cost (p/C) with set-ups as jobs that must
//! come first: on a forest of set-ups the order from the leaves up of Horn (SIAM J. Appl. Math. 23, 1972) and Garey (Discrete
//! Mathematics 4, 1973), which is the best there is; elsewhere the decomposition of Sidney (Operations Research 23, 1975), which
//! is right between its parts, and in which a part's most shared set-up comes first. Within one round the order does not
//! matter, and a look that needs only what stands is made while it stands: troubleshooting with clusters of actions behind one
//! cost, as in Langseth & Jensen (Reliability Engineering and System Safety 80, 2003).

use std::collections::BTreeSet;

use crate::digits::nine_digits;

/// Unions of set-ups that are weighed at most.
const MOST_UNIONS: usize = 4096;
/// So many equal outcomes in one round ask for one repeat with other leads.
const EQUAL: usize = 4;

/// One check on one machine, were it made next.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// Number of the machine.
    pub machine: usize,
    /// Expected saving in money: its own minutes and harms are taken off, its set-ups are not.
    pub saving: f64,
    /// Its own minutes.
    pub minutes: f64,
    /// Set-ups that it needs and that do not stand yet.
    pub set_ups: BTreeSet<usize>,
}

/// What a minute costs, and how many each set-up takes.
#[derive(Debug, Clone)]
pub struct SetUps {
    /// Money for a minute at the bench.
    pub rate_per_minute: f64,
    /// Minutes of each set-up, once a round.
    pub minutes: Vec<f64>,
}

impl SetUps {
    fn minutes<'a>(&self, set_ups: impl IntoIterator<Item = &'a usize>) -> f64 {
        let minutes = |&set_up: &usize| self.minutes.get(set_up).copied().unwrap_or(0.0);
        set_ups.into_iter().map(minutes).sum()
    }
}

/// Looks that are made together.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// Set-ups paid for it.
    pub set_ups: BTreeSet<usize>,
    /// Its looks, as indices into those given, in their order.
    pub looks: Vec<usize>,
    /// Minutes of set-ups and looks.
    pub minutes: f64,
    /// Expected saving, minutes of set-ups and looks taken off.
    pub saving: f64,
}

impl Round {
    fn of(
        looks: &[Look],
        set_ups: &SetUps,
        paid: BTreeSet<usize>,
        mut chosen: Vec<usize>,
    ) -> Round {
        chosen.sort_unstable();
        let own = |figure: fn(&Look) -> f64| -> f64 {
            chosen.iter().map(|&look| figure(&looks[look])).sum()
        };
        let setting_up = set_ups.minutes(&paid);
        Round {
            minutes: setting_up + own(|look| look.minutes),
            saving: own(|look| look.saving) - setting_up * set_ups.rate_per_minute,
            set_ups: paid,
            looks: chosen,
        }
    }

    /// Saving a minute.
    #[must_use]
    pub fn per_minute(&self) -> f64 {
        self.saving / self.minutes.max(1e-9)
    }
}

/// The rounds to come.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rounds {
    /// One after another; a set-up paid in one stands in those after it. A machine is in one of them at most.
    pub rounds: Vec<Round>,
    /// Every set of set-ups was weighed; otherwise they were too many, and a better choice may exist.
    pub complete: bool,
}

/// The looks with the greatest saving in all, in rounds, best saving a minute first.
#[must_use]
pub fn rounds(looks: &[Look], set_ups: &SetUps) -> Rounds {
    let table = Table::of(looks);
    let (unions, complete) = unions(table.kinds.iter().map(|(set, _)| set.clone()));
    let groups = unions
        .iter()
        .filter_map(|set| table.group(looks, set_ups, set));
    let better = |a: Round, b: Round| if b.saving > a.saving { b } else { a };
    let mut best = groups.reduce(better);
    if !complete {
        best = best.map(|best| table.grown(looks, set_ups, best));
    }
    let rounds = best.map(|chosen| in_rounds(looks, set_ups, &chosen.looks));
    Rounds {
        rounds: rounds.unwrap_or_default(),
        complete,
    }
}

/// For each set of set-ups that some looks share, all that pays for its own minutes and together for the set-ups; best saving a
/// minute first. Each stands for itself: a machine may be in several.
#[must_use]
pub fn groups(looks: &[Look], set_ups: &SetUps) -> Vec<Round> {
    let table = Table::of(looks);
    let kinds = table.kinds.iter().map(|(set, _)| set);
    let mut groups: Vec<Round> = kinds
        .filter_map(|set| table.group(looks, set_ups, set))
        .collect();
    let size = |round: &Round| nine_digits(round.per_minute());
    groups.sort_by(|a, b| size(b).total_cmp(&size(a)));
    groups
}

/// The best look of each machine by the set-ups it needs; looks that do not pay for their own minutes are left out.
struct Table {
    machines: usize,
    kinds: Vec<(BTreeSet<usize>, Vec<usize>)>,
}

impl Table {
    fn of(looks: &[Look]) -> Table {
        let mut kinds: Vec<(BTreeSet<usize>, Vec<usize>)> = Vec::new();
        let paying = |(_, look): &(usize, &Look)| look.saving > 0.0;
        for (index, look) in looks.iter().enumerate().filter(paying) {
            let place = kinds
                .iter()
                .position(|(set, _)| *set == look.set_ups)
                .unwrap_or_else(|| {
                    kinds.push((look.set_ups.clone(), Vec::new()));
                    kinds.len() - 1
                });
            let best = &mut kinds[place].1;
            match best
                .iter_mut()
                .find(|&&mut known| looks[known].machine == look.machine)
            {
                Some(known) if look.saving > looks[*known].saving => *known = index,
                Some(_) => {}
                None => best.push(index),
            }
        }
        let machines = looks
            .iter()
            .map(|look| look.machine + 1)
            .max()
            .unwrap_or_default();
        Table { machines, kinds }
    }

    /// The best looks with these set-ups, if all of them are of use and pay.
    fn group(&self, looks: &[Look], set_ups: &SetUps, set: &BTreeSet<usize>) -> Option<Round> {
        let mut best: Vec<Option<usize>> = vec![None; self.machines];
        let possible = self.kinds.iter().filter(|(kind, _)| kind.is_subset(set));
        for &look in possible.flat_map(|(_, looks)| looks) {
            let slot = &mut best[looks[look].machine];
            if slot.is_none_or(|known| looks[look].saving > looks[known].saving) {
                *slot = Some(look);
            }
        }
        let chosen: Vec<usize> = best.into_iter().flatten().collect();
        let used: BTreeSet<usize> = chosen
            .iter()
            .flat_map(|&look| looks[look].set_ups.iter().copied())
            .collect();
        // with a set-up that nothing uses it is the group of a smaller set
        if used != *set {
            return None;
        }
        let round = Round::of(looks, set_ups, used, chosen);
        (round.saving > 0.0).then_some(round)
    }

    /// The same with the set-ups of one kind of look more, as long as that saves more.
    fn grown(&self, looks: &[Look], set_ups: &SetUps, mut best: Round) -> Round {
        loop {
            let more = self.kinds.iter().filter_map(|(kind, _)| {
                self.group(looks, set_ups, &(&best.set_ups | kind))
                    .filter(|group| group.saving > best.saving)
            });
            match more.reduce(|a, b| if b.saving > a.saving { b } else { a }) {
                Some(more) => best = more,
                None => return best,
            }
        }
    }
}

/// All unions of these sets, and whether there was room for all of them; the sets themselves are always there.
fn unions(sets: impl Iterator<Item = BTreeSet<usize>>) -> (Vec<BTreeSet<usize>>, bool) {
    let sets: BTreeSet<BTreeSet<usize>> = sets.collect();
    let mut all = sets.clone();
    for set in &sets {
        let more: Vec<BTreeSet<usize>> = all.iter().map(|one| one | set).collect();
        let room = |all: &BTreeSet<_>| all.len() < MOST_UNIONS.max(sets.len());
        for union in more {
            if !all.contains(&union) && !room(&all) {
                return (all.into_iter().collect(), false);
            }
            all.insert(union);
        }
    }
    (all.into_iter().collect(), true)
}

/// Cuts the order by gain and set-up into rounds, wherever something new is set up.
fn in_rounds(looks: &[Look], set_ups: &SetUps, chosen: &[usize]) -> Vec<Round> {
    let jobs: Vec<Job> = chosen
        .iter()
        .map(|&look| Job::of(&looks[look], set_ups.rate_per_minute))
        .collect();
    let mut rounds: Vec<(BTreeSet<usize>, Vec<usize>)> = Vec::new();
    let mut looked = true;
    for turn in by_gain_and_set_up(&jobs, &set_ups.minutes) {
        match turn {
            Turn::SetUp(set_up) => {
                if looked {
                    rounds.push(Default::default());
                }
                looked = false;
                if let Some((paid, _)) = rounds.last_mut() {
                    paid.insert(set_up);
                }
            }
            Turn::Job(job) => {
                if rounds.is_empty() {
                    rounds.push(Default::default());
                }
                looked = true;
                let needs = |(paid, _): &(BTreeSet<usize>, Vec<usize>)| {
                    !paid.is_disjoint(&jobs[job].set_ups)
                };
                let first = rounds.iter().rposition(needs).unwrap_or(0);
                rounds[first].1.push(chosen[job]);
            }
        }
    }
    rounds
        .into_iter()
        .map(|(paid, chosen)| Round::of(looks, set_ups, paid, chosen))
        .collect()
}

/// Something to do: what it brings, what it takes, what must be set up before.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// What it brings; in p/C its chance.
    pub gain: f64,
    /// What it takes; in p/C its cost.
    pub minutes: f64,
    /// Set-ups before it.
    pub set_ups: BTreeSet<usize>,
}

impl Job {
    fn of(look: &Look, rate_per_minute: f64) -> Job {
        Job {
            gain: look.saving + look.minutes * rate_per_minute,
            minutes: look.minutes,
            set_ups: look.set_ups.clone(),
        }
    }

    fn per_minute(&self) -> f64 {
        self.gain / self.minutes.max(1e-9)
    }
}

/// One thing after another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// Set this up.
    SetUp(usize),
    /// Do this.
    Job(usize),
}

/// The order in which gains come soonest for their minutes, each set-up being made once, before the first that needs it: best
/// where the set-ups form a forest, that is where of two jobs' set-ups those they share come before all others.
#[must_use]
pub fn by_gain_and_set_up(jobs: &[Job], set_up_minutes: &[f64]) -> Vec<Turn> {
    let mut open: Vec<usize> = (0..jobs.len()).collect();
    let size = |job: usize| nine_digits(jobs[job].per_minute());
    open.sort_by(|&a, &b| size(b).total_cmp(&size(a)));
    let mut needs: Vec<BTreeSet<usize>> = jobs.iter().map(|job| job.set_ups.clone()).collect();
    let mut turns = Vec::new();
    while !open.is_empty() {
        let free = open.iter().position(|&job| needs[job].is_empty());
        let (sets, _) = unions(open.iter().map(|&job| needs[job].clone()));
        let closed = sets.iter().filter(|set| !set.is_empty());
        let best = closed
            .map(|set| block(jobs, set_up_minutes, &open, &needs, set))
            .reduce(|a, b| if b.0 > a.0 { b } else { a });
        match (free, best) {
            (Some(place), best)
                if best
                    .as_ref()
                    .is_none_or(|(most, _)| jobs[open[place]].per_minute() >= *most) =>
            {
                turns.push(Turn::Job(open.remove(place)));
            }
            (_, Some((_, first))) => {
                turns.push(Turn::SetUp(first));
                for needs in &mut needs {
                    needs.remove(&first);
                }
            }
            (_, None) => break,
        }
    }
    turns
}

/// With these set-ups: the greatest gain a minute of jobs that need some of them, and the set-up that most of these need.
fn block(
    jobs: &[Job],
    set_up_minutes: &[f64],
    open: &[usize],
    needs: &[BTreeSet<usize>],
    set: &BTreeSet<usize>,
) -> (f64, usize) {
    let minutes = |&set_up: &usize| set_up_minutes.get(set_up).copied().unwrap_or(0.0);
    let mut gain = 0.0;
    let mut spent: f64 = set.iter().map(minutes).sum();
    let mut most = f64::NEG_INFINITY;
    let mut within: Vec<usize> = Vec::new();
    let opened = |&&job: &&usize| !needs[job].is_empty() && needs[job].is_subset(set);
    // best first: as long as the next one is better than all so far
    for &job in open.iter().filter(opened) {
        if jobs[job].per_minute() < most {
            break;
        }
        gain += jobs[job].gain;
        spent += jobs[job].minutes;
        most = gain / spent.max(1e-9);
        within.push(job);
    }
    let shared = |set_up: &usize| {
        within
            .iter()
            .filter(|&&job| needs[job].contains(set_up))
            .count()
    };
    let first = set.iter().rev().max_by_key(|set_up| shared(set_up));
    (most, first.copied().unwrap_or_default())
}

/// The outcome that so many machines of one round showed that one of them should be looked at again with other leads: blunders
/// are reckoned for each machine by itself, and a bad lead or a wrong range would speak on all.
pub fn equal_outcomes<T: Ord>(shown: impl IntoIterator<Item = T>) -> Option<(T, usize)> {
    let mut counts = std::collections::BTreeMap::new();
    for outcome in shown {
        *counts.entry(outcome).or_insert(0) += 1;
    }
    counts
        .into_iter()
        .max_by_key(|(_, count)| *count)
        .filter(|(_, count)| *count >= EQUAL)
}
