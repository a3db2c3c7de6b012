//! The answers about one situation: posteriors, fits, predictions.

use std::cell::OnceCell;

use catalogue::{Check, Part, Site};

use crate::{
    answer::{Explanation, Fit, FunctionChance, Holder, ModeChance, Prediction},
    error::Error,
    explain,
    focus::{Focus, Outer, focus},
    graph::{OrId, StateId},
    lower::{Asked, Lowered, lower},
    model::Var,
    situation::Situation,
    tree::{Question, Tree, Upward},
    unroll::{Unrolled, unroll},
};

/// A diagnosed situation; each answer is exact.
#[derive(Debug)]
pub struct Diagnosis {
    situation: Situation,
    unrolled: Unrolled,
    base: Compiled,
    marginals: OnceCell<Vec<Vec<f64>>>,
}

/// Relative rounding error above which the form without signs is used.
const MOST_ROUNDING: f64 = 1e-10;

/// Bound of the relative rounding error above which an answer is refused where the form without signs is too large.
/// The bound is far above the error itself: by a factor of some hundred on the boards measured.
const LEAST_DIGITS: f64 = 1e-6;

/// How much larger the form without signs may come out before the digits are kept as they are.
const MOST_GROWTH: f64 = 8.0;

/// A network with its tree and the pass that holds the findings.
#[derive(Debug)]
pub(crate) struct Compiled {
    pub(crate) lowered: Lowered,
    pub(crate) tree: Tree,
    pub(crate) upward: Upward,
}

impl Compiled {
    pub(crate) fn of(
        unrolled: &Unrolled,
        asked: &[Asked],
        outer: Option<&Outer>,
    ) -> Result<Self, Error> {
        let mut lowered = lower(unrolled, asked, outer);
        let mut tree = Tree::compile(&lowered.model)?;
        let mut upward = tree.upward(&Question::default());
        let rounding = tree.rounding(&upward);
        if rounding > MOST_ROUNDING {
            let unsigned = lowered.model.unsigned(&tree);
            match Tree::compile_within(&unsigned, MOST_GROWTH * tree.entries() as f64) {
                Ok(proper) => {
                    lowered.model = unsigned;
                    tree = proper;
                    upward = tree.upward(&Question::default());
                }
                Err(_) if rounding <= LEAST_DIGITS => {}
                Err(error) => return Err(error),
            }
        }
        Ok(Self {
            lowered,
            tree,
            upward,
        })
    }

    /// All posteriors with these weights beside the findings.
    pub(crate) fn given(&self, question: &Question) -> Vec<Vec<f64>> {
        let upward = self.tree.again(&self.upward, question, question);
        self.tree.marginals(question, &upward)
    }
}

/// A mode that can be present now: where it sits, its variable and state; no variable where it cannot be bad.
#[derive(Debug, Clone)]
pub(crate) struct Listed {
    pub(crate) holder: Holder,
    pub(crate) mode: String,
    pub(crate) site: Site,
    pub(crate) at: Option<(Var, usize)>,
}

impl Diagnosis {
    /// Unrolls and compiles a situation.
    ///
    /// # Errors
    /// A step names something that is not there, or the findings tie too much together for an exact answer.
    pub fn of(situation: &Situation) -> Result<Self, Error> {
        let situation = timed(situation);
        let unrolled = unroll(&situation)?;
        let base = Compiled::of(&unrolled, &[], None)?;
        Ok(Self {
            situation,
            unrolled,
            base,
            marginals: OnceCell::new(),
        })
    }

    /// P(all findings).
    #[must_use]
    pub fn p_findings(&self) -> f64 {
        self.base.upward.log_total.exp()
    }

    /// Natural logarithm of P(all findings); minus infinity if they contradict each other.
    #[must_use]
    pub fn log_p_findings(&self) -> f64 {
        self.base.upward.log_total
    }

    /// Variables in the largest clique of the compiled network.
    #[must_use]
    pub fn width(&self) -> usize {
        self.base.tree.width()
    }

    /// Numbers held by the compiled network.
    #[must_use]
    pub fn entries(&self) -> usize {
        self.base.tree.entries()
    }

    /// Every mode that can be present now, with its posterior.
    #[must_use]
    pub fn modes(&self) -> Vec<ModeChance> {
        let marginals = self.marginals();
        self.listed(&self.base.lowered)
            .into_iter()
            .map(|listed| ModeChance {
                chance: listed.at.map_or(0.0, |(var, state)| marginals[var][state]),
                holder: listed.holder,
                mode: listed.mode,
                site: listed.site,
            })
            .collect()
    }

    /// Every event of a machine or a lot, with its posterior; known ones are 0 or 1.
    #[must_use]
    pub fn events(&self) -> Vec<(String, String, f64)> {
        let marginals = self.marginals();
        let known = self
            .unrolled
            .graph
            .known
            .iter()
            .map(|(key, &known)| (key.0.clone(), key.1.clone(), f64::from(u8::from(known))));
        let unknown = self
            .base
            .lowered
            .events
            .iter()
            .map(|(key, &var)| (key.0.clone(), key.1.clone(), marginals[var][1]));
        let mut events: Vec<_> = known.chain(unknown).collect();
        events.sort_by(|a, b| (&a.0, &a.1).cmp(&(&b.0, &b.1)));
        events
    }

    /// Chance that a machine has a fault its profile does not know now; 0 for an unknown tag.
    #[must_use]
    pub fn unmodelled(&self, tag: &str) -> f64 {
        let Ok(machine) = self.unrolled.machine(tag) else {
            return 0.0;
        };
        if !self.unrolled.graph.boards[machine].unmodelled {
            return 0.0;
        }
        self.base.lowered.unmodelled[machine].map_or(0.0, |var| self.marginals()[var][1])
    }

    /// The likeliest sets of modes present now, with their shares, best first; proven: no set left out has a larger share.
    ///
    /// # Errors
    /// The machine is unknown.
    pub fn explanations(&self, tag: &str, count: usize) -> Result<Vec<Explanation>, Error> {
        let Focus {
            unrolled,
            machine,
            outer,
        } = focus(&self.situation, tag)?;
        let compiled = Compiled::of(&unrolled, &[], outer.as_ref())?;
        let members = members_of(&unrolled, machine, &compiled.lowered);
        let wanted: Vec<Var> = members.iter().map(|member| member.var).collect();
        let marginals = compiled
            .tree
            .marginals_of(&Question::default(), &compiled.upward, &wanted);
        Ok(explain::best(&compiled, &marginals, &members, count))
    }

    /// P(finding | all other findings) for each finding.
    #[must_use]
    pub fn given_others(&self) -> Vec<Fit> {
        self.unrolled
            .findings
            .iter()
            .enumerate()
            .map(|(index, finding)| {
                let without = Question {
                    without: vec![index],
                    ..Question::default()
                };
                let others = self.base.tree.log_total_with(
                    &self.base.upward,
                    &Question::default(),
                    &without,
                );
                // where the others contradict each other already this is no number, and the finding is not to blame
                Fit {
                    steps: finding.steps.clone(),
                    p: (self.base.upward.log_total - others).exp().min(1.0),
                }
            })
            .collect()
    }

    /// Chance that each function fails, as the next powered look on the usual supply would find it.
    ///
    /// # Errors
    /// The machine is unknown, or the answer would be too large.
    pub fn functions(&self, tag: &str) -> Result<Vec<FunctionChance>, Error> {
        let Focus {
            mut unrolled,
            machine,
            outer,
        } = focus(&self.situation, tag)?;
        let view = unrolled.next_view(machine);
        let board = &unrolled.graph.boards[machine];
        let targets = board.targets.all(&board.profile);
        let ors: Vec<OrId> = targets
            .iter()
            .map(|(number, _)| unrolled.graph.look(machine, *number, view))
            .collect();
        let compiled = Compiled::of(&unrolled, &[], outer.as_ref())?;
        let marginals = compiled
            .tree
            .marginals(&Question::default(), &compiled.upward);
        let chance = |or: OrId| marginals[compiled.lowered.ors[or]][1];
        Ok(targets
            .into_iter()
            .zip(ors)
            .map(|((_, target), or)| FunctionChance {
                target,
                chance: chance(or),
            })
            .collect())
    }

    /// For each check not yet made in the present epoch what it would show and how much it would clear up over all machines.
    ///
    /// # Errors
    /// The machine is unknown, or the answer would be too large.
    pub fn predictions(&self, tag: &str) -> Result<Vec<Prediction>, Error> {
        let machine = self.unrolled.machine(tag)?;
        self.unrolled
            .open_checks(machine)
            .into_iter()
            .map(|check| self.predict(machine, check))
            .collect()
    }

    fn predict(&self, machine: usize, check: usize) -> Result<Prediction, Error> {
        let (unrolled, asked) = self.unrolled.ask(machine, check);
        let compiled = Compiled::of(&unrolled, std::slice::from_ref(&asked), None)?;
        let listed: Vec<(Var, usize)> = self
            .listed(&compiled.lowered)
            .into_iter()
            .filter_map(|listed| listed.at)
            .collect();
        let entropy = |marginals: &[Vec<f64>]| -> f64 {
            listed
                .iter()
                .map(|&(var, state)| binary_entropy(marginals[var][state]))
                .sum()
        };
        let now = compiled
            .tree
            .marginals(&Question::default(), &compiled.upward);
        let var = compiled.lowered.outcomes[0];
        let mut after = 0.0;
        for (outcome, &chance) in now[var]
            .iter()
            .enumerate()
            .filter(|(_, chance)| **chance > 0.0)
        {
            let mut question = Question::default();
            question.fix(&compiled.tree, var, outcome);
            after += chance * entropy(&compiled.given(&question));
        }
        let check = &unrolled.graph.boards[machine].profile.checks[check];
        Ok(Prediction {
            check: check.id.clone(),
            outcomes: outcome_names(check).zip(now[var].iter().copied()).collect(),
            entropy_fall_bits: entropy(&now) - after,
        })
    }

    /// Sum of the binary entropies of all modes, in bits.
    #[must_use]
    pub fn entropy_bits(&self) -> f64 {
        self.modes()
            .iter()
            .map(|mode| binary_entropy(mode.chance))
            .sum()
    }

    pub(crate) fn base(&self) -> &Compiled {
        &self.base
    }

    pub(crate) fn unrolled(&self) -> &Unrolled {
        &self.unrolled
    }

    pub(crate) fn marginals(&self) -> &[Vec<f64>] {
        self.marginals.get_or_init(|| {
            self.base
                .tree
                .marginals(&Question::default(), &self.base.upward)
        })
    }

    pub(crate) fn situation(&self) -> &Situation {
        &self.situation
    }

    /// Everything that is listed as a mode now.
    fn listed(&self, lowered: &Lowered) -> Vec<Listed> {
        let graph = &self.unrolled.graph;
        let machines = 0..graph.boards.len();
        let mut listed: Vec<Listed> = machines
            .flat_map(|machine| listed_on(&self.unrolled, machine, lowered))
            .collect();
        for chip in graph.chips.iter().filter(|chip| chip.position.is_none()) {
            if let Some(mark) = &chip.mark {
                let holder = Holder::Marked(mark.clone());
                listed.extend(list_state(
                    &self.unrolled,
                    chip.state,
                    lowered,
                    &holder,
                    Site::Chip,
                ));
            }
        }
        for (id, &var) in &lowered.outside {
            listed.push(Listed {
                holder: Holder::Outside(id.clone()),
                mode: "bad".to_owned(),
                site: Site::Chip,
                at: Some((var, 1)),
            });
        }
        listed
    }
}

/// The modes of one machine's chips and places.
pub(crate) fn listed_on(unrolled: &Unrolled, machine: usize, lowered: &Lowered) -> Vec<Listed> {
    let graph = &unrolled.graph;
    let board = &graph.boards[machine];
    let mut listed = Vec::new();
    for (part, position) in board.profile.parts.iter().zip(&board.positions) {
        let holder = Holder::Position {
            machine: board.tag.clone(),
            part: part.reference.clone(),
        };
        if let Some(chip) = position.chip {
            listed.extend(list_state(
                unrolled,
                graph.chips[chip].state,
                lowered,
                &holder,
                Site::Chip,
            ));
        }
        let places = list_state(unrolled, position.place, lowered, &holder, Site::Place);
        listed.extend(
            places
                .into_iter()
                .filter(|listed| position.touched || is_given(&board.profile, part, &listed.mode)),
        );
    }
    listed
}

/// What an explanation of a machine is made of: its modes, its outside things, its unmodelled fault.
pub(crate) fn members_of(
    unrolled: &Unrolled,
    machine: usize,
    lowered: &Lowered,
) -> Vec<explain::Member> {
    let board = &unrolled.graph.boards[machine];
    let mut members = explain::members(listed_on(unrolled, machine, lowered));
    for id in &board.outside {
        if let Some(&var) = lowered.outside.get(id) {
            members.push(explain::Member {
                var,
                states: vec![None, Some((id.clone(), "bad".to_owned()))],
                unmodelled: false,
            });
        }
    }
    if let (Some(var), true) = (lowered.unmodelled[machine], board.unmodelled) {
        members.push(explain::Member {
            var,
            states: vec![None, None],
            unmodelled: true,
        });
    }
    members
}

/// The outcomes of a check by name, and after them `cannot`.
pub(crate) fn outcome_names(check: &Check) -> impl Iterator<Item = String> + '_ {
    check
        .outcomes
        .iter()
        .map(|outcome| outcome.id.clone())
        .chain(std::iter::once("cannot".to_owned()))
}

/// Every step with its time: a step without one lets no time pass, whichever machine the step before was on.
fn timed(situation: &Situation) -> Situation {
    let mut timed = situation.clone();
    let mut now = None;
    for step in &mut timed.steps {
        now = step.time.or(now);
        step.time = now;
    }
    timed
}

/// The modes of one state as a list.
fn list_state(
    unrolled: &Unrolled,
    state: StateId,
    lowered: &Lowered,
    holder: &Holder,
    site: Site,
) -> Vec<Listed> {
    let var = lowered.states.get(&state).copied();
    let modes = unrolled.graph.states[state].modes.iter().enumerate();
    modes
        .map(|(mode, known)| Listed {
            holder: holder.clone(),
            mode: known.id.clone(),
            site,
            at: var.map(|var| (var, mode + 1)),
        })
        .collect()
}

/// A place mode that the profile gives a chance or an event; the implicit joint has neither.
fn is_given(profile: &catalogue::Profile, part: &Part, mode: &str) -> bool {
    let struck = || {
        profile
            .events
            .iter()
            .flat_map(|event| &event.causes)
            .any(|cause| cause.part == part.reference && cause.mode == mode)
    };
    part.mode(mode).is_some_and(|mode| mode.chance > 0.0) || struck()
}

/// Entropy of a two-way question, in bits.
#[must_use]
pub fn binary_entropy(chance: f64) -> f64 {
    let part = |p: f64| if p > 0.0 { -p * p.log2() } else { 0.0 };
    part(chance) + part(1.0 - chance)
}
