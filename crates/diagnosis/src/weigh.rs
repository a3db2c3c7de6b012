//! How each finding speaks for or against a suspect, and whether the findings agree with each other.
//!
//! The weight of a finding is Good's weight of evidence in decibans: ten times the decimal logarithm of how much likelier
//! the finding is with the suspect than without, all other findings given (I. J. Good, "Weight of evidence: a brief survey", Bayesian
//! Statistics 2, 1985). The conflict is Jensen's: the logarithm of the product of the findings' chances over their joint chance
//! (Jensen, Chamberlain, Nordahl & Jensen, "Analysis in HUGIN of data conflict", UAI 1990); above 0 they rather contradict.

use crate::{
    answer::{Holder, Weight},
    diagnosis::{Diagnosis, listed_on},
    error::Error,
    model::Var,
    tree::Question,
};

/// Weight given in place of an infinite one: a finding that is impossible without the suspect, or with it.
const MOST_DECIBANS: f64 = 150.0;

impl Diagnosis {
    /// How each finding speaks for (above 0) or against (below 0) a mode of a machine, in decibans.
    ///
    /// # Errors
    /// The machine is unknown, or has no such mode.
    pub fn weights(&self, tag: &str, part: &str, mode: &str) -> Result<Vec<Weight>, Error> {
        let (var, state) = self.find_mode(tag, part, mode)?;
        let states = self.base().lowered.model.variables[var].states;
        let with: Vec<f64> = (0..states)
            .map(|other| f64::from(u8::from(other == state)))
            .collect();
        let without: Vec<f64> = with.iter().map(|weight| 1.0 - weight).collect();
        let weights = self
            .unrolled()
            .findings
            .iter()
            .enumerate()
            .map(|(finding, about)| {
                let decibans = 10.0
                    * (self.log_fit(finding, var, &with) - self.log_fit(finding, var, &without))
                    / std::f64::consts::LN_10;
                let decibans = if decibans.is_nan() {
                    0.0
                } else {
                    decibans.clamp(-MOST_DECIBANS, MOST_DECIBANS)
                };
                Weight {
                    steps: about.steps.clone(),
                    decibans,
                }
            });
        Ok(weights.collect())
    }

    /// Natural logarithm of the product of the findings' single chances over their joint chance.
    #[must_use]
    pub fn conflict(&self) -> f64 {
        let tree = &self.base().tree;
        let all: Vec<usize> = (0..self.unrolled().findings.len()).collect();
        let none = Question {
            without: all.clone(),
            ..Question::default()
        };
        let empty = tree.upward(&none).log_total;
        let single = |finding: usize| {
            let others = Question {
                without: all
                    .iter()
                    .copied()
                    .filter(|other| *other != finding)
                    .collect(),
                ..Question::default()
            };
            tree.upward(&others).log_total - empty
        };
        all.iter().map(|&finding| single(finding)).sum::<f64>() - (self.log_p_findings() - empty)
    }

    /// log P(finding | all others, these weights of a variable).
    fn log_fit(&self, finding: usize, var: Var, weights: &[f64]) -> f64 {
        let base = self.base();
        let given = Question {
            weights: vec![(var, weights.to_vec())],
            without: Vec::new(),
        };
        let others = Question {
            without: vec![finding],
            ..given.clone()
        };
        let log = |question: &Question| {
            base.tree
                .log_total_with(&base.upward, &Question::default(), question)
        };
        log(&given) - log(&others)
    }

    fn find_mode(&self, tag: &str, part: &str, mode: &str) -> Result<(Var, usize), Error> {
        let machine = self.unrolled().machine(tag)?;
        let holder = Holder::Position {
            machine: tag.to_owned(),
            part: part.to_owned(),
        };
        let listed = listed_on(self.unrolled(), machine, &self.base().lowered);
        let found = listed
            .iter()
            .find(|listed| listed.holder == holder && listed.mode == mode)
            .and_then(|listed| listed.at);
        found.ok_or_else(|| {
            Error::new(format!(
                "found mode `{part}.{mode}`, expected a mode that machine `{tag}` can have"
            ))
        })
    }
}
