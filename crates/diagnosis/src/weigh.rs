//! How each finding speaks for or against a suspect, and whether the findings agree with each other.
//!
//! The weight of a finding is Good's weight of evidence in decibans: ten times the decimal logarithm of how much likelier
//! the finding is with the suspect than without, all other findings given (I. J. Good, "Weight of evidence: a brief survey", Bayesian
//! Statistics 2, 1985). The conflict is Jensen's: the logarithm of the product of the findings' chances over their joint chance
//! (Jensen, Chamberlain, Nordahl & Jensen, "Analysis in HUGIN of data conflict", UAI 1990); above 0 they rather contradict.

use crate::{
    answer::{Holder, Speaks, Weight},
    compiled::Compiled,
    diagnosis::{Diagnosis, listed_on},
    error::Error,
    groups::Group,
    model::{OUTER, Var},
    tree::{Marginals, Question},
    unroll::What,
};

use std::collections::BTreeMap;

/// Weight given in place of an infinite one: a finding that is impossible without the suspect, or with it.
const MOST_DECIBANS: f64 = 150.0;

impl Diagnosis {
    /// How each finding made on a machine, or on one it exchanged chips with, speaks for (above 0) or against (below 0) a mode
    /// of the machine, in decibans.
    ///
    /// # Errors
    /// The machine is unknown, or has no such mode.
    pub fn weights(&self, tag: &str, part: &str, mode: &str) -> Result<Vec<Weight>, Error> {
        let (group, machine) = self.place(tag)?;
        let group = &self.groups()[group];
        let (var, state) = find_mode(group, machine, part, mode)?;
        let states = group.compiled().states_of(var);
        let with: Vec<f64> = (0..states)
            .map(|other| f64::from(u8::from(other == state)))
            .collect();
        let without: Vec<f64> = with.iter().map(|weight| 1.0 - weight).collect();
        let findings = group.unrolled.findings.iter().enumerate();
        let weights = findings.map(|(finding, about)| {
            let decibans = 10.0
                * (log_fit(group.compiled(), finding, var, &with)
                    - log_fit(group.compiled(), finding, var, &without))
                / std::f64::consts::LN_10;
            let decibans = if decibans.is_nan() {
                0.0
            } else {
                decibans.clamp(-MOST_DECIBANS, MOST_DECIBANS)
            };
            Weight {
                steps: group.steps_of(about),
                decibans,
            }
        });
        Ok(weights.collect())
    }

    /// How each check made on a machine, or on one it exchanged chips with, speaks about every mode of the machine: all its
    /// findings together, given those of all other checks. A truth found out speaks by itself.
    ///
    /// # Errors
    /// The machine is unknown.
    pub fn for_and_against(&self, tag: &str) -> Result<Vec<Speaks>, Error> {
        let (group, machine) = self.place(tag)?;
        let group = &self.groups()[group];
        let Compiled {
            places,
            tree,
            upward,
            ..
        } = group.compiled();
        let mut modes: Vec<(Holder, String, Var, usize)> =
            listed_on(&group.unrolled, machine, places)
                .filter_map(|one| {
                    one.at
                        .map(|(var, state)| (one.holder, one.mode, var, state))
                })
                .collect();
        for id in &group.unrolled.graph.boards[machine].outside {
            if let Some(&var) = places.outside.get(id) {
                modes.push((Holder::Outside(id.clone()), "bad".to_owned(), var, 1));
            }
        }
        let wanted: Vec<Var> = modes.iter().map(|(_, _, var, _)| *var).collect();
        let log_odds = |marginals: &Marginals| -> Vec<f64> {
            let log_odds = |(_, _, var, state): &(Holder, String, Var, usize)| {
                let chance = marginals[*var][*state];
                let others: f64 = marginals[*var].iter().sum::<f64>() - chance;
                (chance / others.max(f64::MIN_POSITIVE)).log10()
            };
            modes.iter().map(log_odds).collect()
        };
        let sets = together(group);
        let mut questions = vec![Question::default()];
        questions.extend(sets.iter().map(|without| Question {
            without: without.clone(),
            ..Question::default()
        }));
        let each = tree.posteriors_beside(upward, &questions, &wanted);
        let mut each = each.into_iter();
        let now = each.next().map(|(_, marginals)| log_odds(&marginals));
        let now = now.unwrap_or_default();
        let speaks = sets
            .into_iter()
            .zip(each)
            .map(|(findings, (_, marginals))| {
                let before = log_odds(&marginals);
                let decibans = |(now, before): (&f64, &f64)| {
                    let decibans = 10.0 * (now - before);
                    match decibans.is_nan() {
                        true => 0.0,
                        false => decibans.clamp(-MOST_DECIBANS, MOST_DECIBANS),
                    }
                };
                Speaks {
                    steps: findings
                        .iter()
                        .flat_map(|&finding| group.steps_of(&group.unrolled.findings[finding]))
                        .collect(),
                    decibans: modes
                        .iter()
                        .zip(now.iter().zip(&before).map(decibans))
                        .map(|((holder, mode, _, _), decibans)| {
                            (holder.clone(), mode.clone(), decibans)
                        })
                        .collect(),
                }
            });
        Ok(speaks.collect())
    }

    /// Natural logarithm of the product of the findings' single chances over their joint chance.
    #[must_use]
    pub fn conflict(&self) -> f64 {
        let (mut singles, mut empty) = (0.0, 0.0);
        for group in self.groups() {
            let tree = &group.compiled().tree;
            let all: Vec<usize> = (0..group.unrolled.findings.len()).chain([OUTER]).collect();
            let total = |kept: Option<usize>| {
                let question = Question {
                    without: all
                        .iter()
                        .copied()
                        .filter(|other| Some(*other) != kept)
                        .collect(),
                    ..Question::default()
                };
                tree.upward(&question).log_total
            };
            let nothing = total(None);
            empty += nothing;
            singles += (0..group.unrolled.findings.len())
                .map(|finding| total(Some(finding)) - nothing)
                .sum::<f64>();
        }
        singles - (self.log_p_findings() - empty)
    }
}

/// Findings of one check on one machine are together, truths found out each alone; in the order of the first of each.
fn together(group: &Group) -> Vec<Vec<usize>> {
    let mut sets: Vec<Vec<usize>> = Vec::new();
    let mut by_check: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for (index, finding) in group.unrolled.findings.iter().enumerate() {
        let set = match &finding.what {
            What::Look(look) => *by_check
                .entry((look.machine, look.check))
                .or_insert(sets.len()),
            _ => sets.len(),
        };
        match sets.get_mut(set) {
            Some(set) => set.push(index),
            None => sets.push(vec![index]),
        }
    }
    sets
}

/// log P(finding | all others, these weights of a variable).
fn log_fit(compiled: &Compiled, finding: usize, var: Var, weights: &[f64]) -> f64 {
    let given = Question {
        weights: vec![(var, weights.into())],
        ..Question::default()
    };
    let others = Question {
        without: vec![finding],
        ..given.clone()
    };
    let log = |question: &Question| {
        compiled
            .tree
            .log_total_with(&compiled.upward, &Question::default(), question)
    };
    log(&given) - log(&others)
}

fn find_mode(group: &Group, machine: usize, part: &str, mode: &str) -> Result<(Var, usize), Error> {
    let tag = &group.unrolled.graph.boards[machine].tag;
    let holder = Holder::Position {
        machine: tag.clone(),
        part: part.to_owned(),
    };
    let mut listed = listed_on(&group.unrolled, machine, &group.compiled().places);
    let found = listed
        .find(|listed| listed.holder == holder && listed.mode == mode)
        .and_then(|listed| listed.at);
    found.ok_or_else(|| {
        Error::new(format!(
            "found mode `{part}.{mode}`, expected a mode that machine `{tag}` can have"
        ))
    })
}
