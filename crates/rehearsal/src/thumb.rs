//! Rules of thumb that ask no network: the fixed order of the file, and the usual suspects.

use std::collections::BTreeSet;

use catalogue::{Mount, Need, Profile, Site, Target, Tells};

use crate::{
    board::told,
    case::{Case, Decision, Move},
    error::Error,
    policy::{Policy, is_over},
};

/// See whether it works; the checks in the order of the file until one fails; then replace what that one tells of, part
/// by part, nearest first; then go on with the checks.
pub(crate) struct FixedOrder;

impl Policy for FixedOrder {
    fn decide(&mut self, case: &Case<'_>) -> Result<Decision, Error> {
        let retest = case.terms.retest;
        if case.history.is_empty() {
            return Ok(Decision::Check(retest));
        }
        if is_over(case) {
            return Ok(Decision::Stop);
        }
        let profile = &case.terms.profile;
        let mut next = 0;
        for one in &case.history {
            let Move::Check(check, outcome) = *one else {
                continue;
            };
            if check == retest {
                continue;
            }
            next = next.max(check + 1);
            let blamed = blamed(profile, check, outcome);
            if let Some(remedy) = blamed.iter().find_map(|part| untried(case, part)) {
                return Ok(Decision::Remedy(remedy));
            }
        }
        let open = (next..profile.checks.len())
            .find(|&check| check != retest && case.terms.at_hand[check]);
        Ok(open.map_or(Decision::Stop, Decision::Check))
    }
}

/// A remedy for a part that was not done yet: its chip first, then its place.
fn untried(case: &Case<'_>, part: &str) -> Option<usize> {
    let sites = [Site::Chip, Site::Place].into_iter();
    let mut remedies = sites.filter_map(|site| case.best_remedy(part, site));
    remedies.find(|&remedy| case.times(remedy) == 0)
}

/// The parts that an outcome tells of: those of the function that fails, then those of what it needs. Nothing if the
/// outcome is what a sound board shows.
fn blamed(profile: &Profile, check: usize, outcome: usize) -> Vec<String> {
    let check = &profile.checks[check];
    let targets: Vec<&Target> = if outcome >= check.outcomes.len() {
        check.requires.iter().collect()
    } else {
        match &check.tells {
            Tells::Target { .. } if outcome == 0 => Vec::new(),
            Tells::Target { .. } => told(check),
            Tells::Rows(rows) => {
                let likeliest = rows
                    .iter()
                    .rev()
                    .max_by(|a, b| a.shows[outcome].total_cmp(&b.shows[outcome]));
                likeliest.map_or(Vec::new(), |row| row.fails.iter().collect())
            }
        }
    };
    let mut parts = Vec::new();
    let mut reached = BTreeSet::new();
    let mut layer = targets;
    while !layer.is_empty() {
        let mut deeper = Vec::new();
        for target in layer {
            if reached.insert(target) {
                gather(profile, target, &mut parts, &mut deeper);
            }
        }
        layer = deeper;
    }
    parts
}

/// The parts of one function, and the functions it needs.
fn gather<'a>(
    profile: &'a Profile,
    target: &'a Target,
    parts: &mut Vec<String>,
    deeper: &mut Vec<&'a Target>,
) {
    let mut add = |part: &String| {
        if !parts.contains(part) {
            parts.push(part.clone());
        }
    };
    match target {
        Target::Rail(name, _) => {
            profile
                .rail(name)
                .into_iter()
                .flat_map(|rail| &rail.fed_by)
                .for_each(add);
        }
        Target::Function(id) => {
            for need in profile
                .function(id)
                .into_iter()
                .flat_map(|function| &function.needs)
            {
                match need {
                    Need::Part(part) | Need::Mode { part, .. } => add(part),
                    Need::Target { target, .. } => deeper.push(target),
                }
            }
        }
    }
}

/// See whether it works; swap parts by their prior chance, socketed ones first, until it does.
pub(crate) struct UsualSuspects;

impl Policy for UsualSuspects {
    fn decide(&mut self, case: &Case<'_>) -> Result<Decision, Error> {
        if case.history.is_empty() {
            return Ok(Decision::Check(case.terms.retest));
        }
        if is_over(case) {
            return Ok(Decision::Stop);
        }
        let remedy = usual(case)
            .into_iter()
            .find(|&remedy| case.times(remedy) == 0);
        Ok(remedy.map_or(Decision::Stop, Decision::Remedy))
    }
}

/// Remedies in the order in which a hand reaches for them.
fn usual(case: &Case<'_>) -> Vec<usize> {
    let mut suspects = Vec::new();
    for part in &case.terms.profile.parts {
        for site in [Site::Chip, Site::Place] {
            let modes = part.modes.iter().filter(|mode| mode.site == site);
            let chance: f64 = modes.map(|mode| mode.chance).sum();
            if let (true, Some(remedy)) = (chance > 0.0, case.best_remedy(&part.reference, site)) {
                suspects.push((part.mount == Mount::Soldered, chance, remedy));
            }
        }
    }
    suspects.sort_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)));
    suspects.into_iter().map(|(_, _, remedy)| remedy).collect()
}
