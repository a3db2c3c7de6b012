//! Rounds against the published order by chance over cost and against every group and every order there is.

use std::collections::{BTreeMap, BTreeSet};

use diagnosis::{
    Job, Look, SetUps, Turn, by_chance_and_cost, by_gain_and_set_up, equal_outcomes, expected_cost,
    groups, rounds,
};

/// Numbers that follow from a seed (a linear congruential generator with the constants of Knuth's MMIX; from memory).
struct Draw(u64);

impl Draw {
    fn below(&mut self, end: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % end
    }

    fn figure(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.below(10_000) as f64 / 10_000.0
    }
}

/// The jobs of an order, set-ups left out.
fn jobs_of(turns: &[Turn]) -> Vec<usize> {
    let job = |turn: &Turn| match turn {
        Turn::Job(job) => Some(*job),
        Turn::SetUp(_) => None,
    };
    turns.iter().filter_map(job).collect()
}

/// Kadane & Simon, Annals of Statistics 5, 1977; Heckerman, Breese & Rommelse, CACM 38(3), 1995. The figures are made up, all 24
/// orders enumerated.
#[test]
fn without_set_ups_it_is_chance_over_cost() {
    let suspects = [(0.40, 100.0), (0.25, 20.0), (0.20, 50.0), (0.15, 10.0)];
    let jobs: Vec<Job> = suspects
        .iter()
        .map(|&(gain, minutes)| Job {
            gain,
            minutes,
            set_ups: BTreeSet::new(),
        })
        .collect();
    let order = jobs_of(&by_gain_and_set_up(&jobs, &[]));
    assert_eq!(order, [3, 1, 0, 2]);
    assert_eq!(order, by_chance_and_cost(&suspects));
    assert!((expected_cost(&suspects, &order) - 97.0).abs() < 1e-9);
    let others = orders(4).into_iter();
    let costs: Vec<f64> = others.map(|order| cost(&jobs, &[], &order)).collect();
    let within = |least: f64, most: f64| costs.iter().all(|cost| (least..=most).contains(cost));
    assert!(within(97.0 - 1e-9, 139.5 + 1e-9));
    assert!((cost(&jobs, &[], &[0, 1, 2, 3]) - 131.0).abs() < 1e-9);
}

/// Expected cost of an order until the fault is found, each set-up paid when it is needed first.
fn cost(jobs: &[Job], set_ups: &[f64], order: &[usize]) -> f64 {
    let (mut left, mut spent) = (1.0, 0.0);
    let mut standing = BTreeSet::new();
    for &job in order {
        let Job {
            gain,
            minutes,
            set_ups: needs,
        } = &jobs[job];
        let new = needs.iter().filter(|&&set_up| standing.insert(set_up));
        spent += (minutes + new.map(|&set_up| set_ups[set_up]).sum::<f64>()) * left;
        left -= gain;
    }
    spent
}

fn orders(count: usize) -> Vec<Vec<usize>> {
    fn go(order: &mut Vec<usize>, count: usize, all: &mut Vec<Vec<usize>>) {
        if order.len() == count {
            return all.push(order.clone());
        }
        for next in 0..count {
            if !order.contains(&next) {
                order.push(next);
                go(order, count, all);
                order.pop();
            }
        }
    }
    let mut all = Vec::new();
    go(&mut Vec::new(), count, &mut all);
    all
}

/// Horn, SIAM J. Appl. Math. 23, 1972; Garey, Discrete Mathematics 4, 1973: on trees of set-ups the order is the best of all.
#[test]
fn on_trees_of_set_ups_no_order_is_better() {
    let mut draw = Draw(4);
    for case in 0..120 {
        let set_ups = 1 + draw.below(5) as usize;
        // each set-up stands on an earlier one, or on none
        let mut above: Vec<BTreeSet<usize>> = Vec::new();
        for set_up in 0..set_ups {
            let on = draw.below(set_up as u64 + 1) as usize;
            let mut path = above.get(on).cloned().unwrap_or_default();
            path.insert(set_up);
            above.push(path);
        }
        let minutes: Vec<f64> = (0..set_ups).map(|_| draw.figure(0.5, 15.0)).collect();
        let count = 2 + draw.below(5) as usize;
        let shares: Vec<f64> = (0..count).map(|_| draw.figure(0.05, 1.0)).collect();
        let sum: f64 = shares.iter().sum::<f64>() * 1.1;
        let jobs: Vec<Job> = shares
            .iter()
            .map(|share| Job {
                gain: share / sum,
                minutes: draw.figure(0.5, 10.0),
                set_ups: above
                    .get(draw.below(set_ups as u64 + 1) as usize)
                    .cloned()
                    .unwrap_or_default(),
            })
            .collect();
        let turns = by_gain_and_set_up(&jobs, &minutes);
        in_time(&jobs, &turns);
        let found = cost(&jobs, &minutes, &jobs_of(&turns));
        let every = orders(count).into_iter();
        let least = every
            .map(|order| cost(&jobs, &minutes, &order))
            .fold(f64::INFINITY, f64::min);
        assert!(
            found <= least + 1e-9,
            "case {case}: {found} {least} {jobs:?} {minutes:?}"
        );
    }
}

/// Every job once, its set-ups before it.
fn in_time(jobs: &[Job], turns: &[Turn]) {
    let mut standing = BTreeSet::new();
    let mut done = BTreeSet::new();
    for turn in turns {
        match turn {
            Turn::SetUp(set_up) => assert!(standing.insert(*set_up), "{turns:?}"),
            Turn::Job(job) => {
                assert!(jobs[*job].set_ups.is_subset(&standing), "{turns:?}");
                assert!(done.insert(*job), "{turns:?}");
            }
        }
    }
    assert_eq!(done.len(), jobs.len());
}

fn random_looks(draw: &mut Draw) -> (Vec<Look>, SetUps) {
    let (machines, set_ups) = (1 + draw.below(3), 1 + draw.below(4));
    let count = 1 + draw.below(10);
    let looks = (0..count)
        .map(|_| Look {
            machine: draw.below(machines) as usize,
            saving: draw.figure(-1.0, 4.0),
            minutes: draw.figure(0.5, 6.0),
            set_ups: (0..set_ups as usize)
                .filter(|_| draw.below(3) == 0)
                .collect(),
        })
        .collect();
    let set_ups = SetUps {
        rate_per_minute: 0.2,
        minutes: (0..set_ups).map(|_| draw.figure(0.0, 12.0)).collect(),
    };
    (looks, set_ups)
}

/// What a group of looks brings, or nothing if a machine is in it twice.
fn saving(looks: &[Look], set_ups: &SetUps, group: &[usize]) -> Option<f64> {
    let mut machines = BTreeSet::new();
    let mut paid = BTreeSet::new();
    for &look in group {
        if !machines.insert(looks[look].machine) {
            return None;
        }
        paid.extend(looks[look].set_ups.iter().copied());
    }
    let minutes: f64 = paid.iter().map(|&set_up| set_ups.minutes[set_up]).sum();
    let own: f64 = group.iter().map(|&look| looks[look].saving).sum();
    Some(own - minutes * set_ups.rate_per_minute)
}

fn every_group(count: usize) -> impl Iterator<Item = Vec<usize>> {
    (0..1u32 << count).map(move |bits| (0..count).filter(|n| bits >> n & 1 == 1).collect())
}

#[test]
fn no_group_of_all_saves_more() {
    let mut draw = Draw(7);
    for case in 0..300 {
        let (looks, set_ups) = random_looks(&mut draw);
        let found = rounds(&looks, &set_ups);
        assert!(found.complete);
        let made: Vec<usize> = found
            .rounds
            .iter()
            .flat_map(|round| round.looks.clone())
            .collect();
        let total: f64 = found.rounds.iter().map(|round| round.saving).sum();
        let alone = saving(&looks, &set_ups, &made).expect("one look a machine");
        assert!((total - alone).abs() < 1e-9, "case {case}");
        let every = every_group(looks.len());
        let best = every
            .filter_map(|group| saving(&looks, &set_ups, &group))
            .fold(0.0, f64::max);
        assert!(
            (total - best).abs() < 1e-9,
            "case {case}: {total} {best}\n{looks:?}\n{set_ups:?}"
        );
        // what stands in a round was set up there or before, and no round is empty
        let mut standing: BTreeSet<usize> = BTreeSet::new();
        for round in &found.rounds {
            standing.extend(&round.set_ups);
            assert!(!round.looks.is_empty(), "case {case}: {found:?}");
            for &look in &round.looks {
                assert!(looks[look].set_ups.is_subset(&standing), "case {case}");
            }
        }
    }
}

/// For each set of set-ups: the best group that pays exactly for it.
#[test]
fn each_set_of_set_ups_has_its_best_group() {
    let mut draw = Draw(9);
    for case in 0..300 {
        let (looks, set_ups) = random_looks(&mut draw);
        let mut best: BTreeMap<BTreeSet<usize>, f64> = BTreeMap::new();
        for group in every_group(looks.len()) {
            let paid: BTreeSet<usize> = group
                .iter()
                .flat_map(|&look| looks[look].set_ups.iter().copied())
                .collect();
            if let Some(saving) = saving(&looks, &set_ups, &group) {
                let known = best.entry(paid).or_insert(f64::NEG_INFINITY);
                *known = known.max(saving);
            }
        }
        let found = groups(&looks, &set_ups);
        for round in &found {
            let saves = saving(&looks, &set_ups, &round.looks).expect("one look a machine");
            assert!((saves - round.saving).abs() < 1e-9, "case {case}");
            assert!(
                (saves - best[&round.set_ups]).abs() < 1e-9,
                "case {case}: {round:?}"
            );
        }
        let ranked = found
            .windows(2)
            .all(|pair| pair[0].per_minute() >= pair[1].per_minute());
        assert!(ranked, "case {case}");
        // a set that is missing pays for nothing, or a smaller one does as well
        let paying = looks.iter().filter(|look| look.saving > 0.0);
        let kinds: BTreeSet<&BTreeSet<usize>> = paying.map(|look| &look.set_ups).collect();
        for kind in kinds {
            let listed = found.iter().any(|round| round.set_ups == *kind);
            let smaller = best
                .iter()
                .filter(|(set, _)| set.is_subset(kind) && *set != kind)
                .map(|(_, saving)| *saving)
                .fold(0.0, f64::max);
            assert!(
                listed || best[kind] <= smaller + 1e-9 || best[kind] <= 0.0,
                "case {case}: {kind:?}"
            );
        }
    }
}

/// Set-ups of a bench: 0 the lid, 1 power, 2 the oscilloscope, 3 the mule.
#[test]
fn the_chips_of_the_pile_go_through_the_mule_in_one_session() {
    let set_ups = SetUps {
        rate_per_minute: 0.2,
        minutes: vec![3.0, 1.0, 4.0, 10.0],
    };
    let look = |machine, saving, minutes, needs: &[usize]| Look {
        machine,
        saving,
        minutes,
        set_ups: needs.iter().copied().collect(),
    };
    // one video controller alone does not pay for setting the mule up, three do
    let tried = |machine| look(machine, 0.9, 4.0, &[3]);
    assert!(rounds(&[tried(0)], &set_ups).rounds.is_empty());
    let three: Vec<Look> = (0..3).map(tried).collect();
    let found = rounds(&three, &set_ups).rounds;
    assert_eq!(found.len(), 1);
    assert_eq!(
        (found[0].looks.len(), found[0].minutes),
        (3, 10.0 + 3.0 * 4.0)
    );
    assert!((found[0].saving - (2.7 - 2.0)).abs() < 1e-12);
    // with a look at sound that is quick and dear it is a round of its own, before the mule
    let mut more = three;
    more.push(look(3, 3.0, 1.0, &[1]));
    let found = rounds(&more, &set_ups).rounds;
    let looks: Vec<&[usize]> = found.iter().map(|round| &round.looks[..]).collect();
    assert_eq!(looks, [&[3][..], &[0, 1, 2]]);
    // a machine that sound would tell about is not tried in the mule as well
    more.push(look(0, 3.5, 1.0, &[1]));
    let found = rounds(&more, &set_ups).rounds;
    let looks: Vec<&[usize]> = found.iter().map(|round| &round.looks[..]).collect();
    assert_eq!(looks, [&[3, 4][..]]);
}

#[test]
fn lids_off_on_all_then_what_it_opens() {
    let set_ups = SetUps {
        rate_per_minute: 0.2,
        minutes: vec![3.0, 1.0, 4.0],
    };
    let look = |machine, saving, needs: &[usize]| Look {
        machine,
        saving,
        minutes: 2.0,
        set_ups: needs.iter().copied().collect(),
    };
    // neither pays for the lid alone
    let looks = [
        look(0, 0.7, &[0, 1]),
        look(1, 0.9, &[0, 2]),
        look(2, 0.6, &[0, 1]),
    ];
    let found = rounds(&looks[..2], &set_ups).rounds;
    assert!(found.is_empty(), "{found:?}");
    let found = rounds(&looks, &set_ups).rounds;
    let made: Vec<(&BTreeSet<usize>, &[usize])> = found
        .iter()
        .map(|round| (&round.set_ups, &round.looks[..]))
        .collect();
    let (first, second) = (BTreeSet::from([0, 1]), BTreeSet::from([2]));
    assert_eq!(made, [(&first, &[0, 2][..]), (&second, &[1][..])]);
}

#[test]
fn many_kinds_of_set_ups_are_not_all_weighed_and_that_is_said() {
    let look = |machine| Look {
        machine,
        saving: 5.0,
        minutes: 1.0,
        set_ups: BTreeSet::from([machine]),
    };
    let looks: Vec<Look> = (0..40).map(look).collect();
    let set_ups = SetUps {
        rate_per_minute: 0.2,
        minutes: vec![1.0; 40],
    };
    let found = rounds(&looks, &set_ups);
    assert!(!found.complete);
    let made: usize = found.rounds.iter().map(|round| round.looks.len()).sum();
    assert_eq!(
        made, 40,
        "each pays by itself and is found one after another"
    );
}

#[test]
fn four_equal_outcomes_ask_for_a_repeat() {
    let check = |shown: &[&str], expect: Option<(&str, usize)>| {
        assert_eq!(equal_outcomes(shown.iter().copied()), expect);
    };
    check(&["none", "none", "none", "two"], None);
    check(&["none", "two", "none", "none", "none"], Some(("none", 4)));
    check(&["none"; 9], Some(("none", 9)));
    check(&[], None);
}
