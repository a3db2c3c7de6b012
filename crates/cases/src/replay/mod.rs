//! Documented repairs replayed on starter profiles, as a yardstick of what the catalogue knows.
//!
//! A repair's observations become findings by the rules of a file, by machine and without a look at the causes. Then each
//! block has a chance, before any finding and after all of them, and the confirmed blocks have a rank among them.
//! The score of a repair is the sum over the blocks of the logarithm of the chance given to what was found: a confirmed
//! cause in it, or none. All chances are of machines of which something is known to be wrong, as all repairs are.

mod mapping;
mod score;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use catalogue::{Library, Profile, Site};
use diagnosis::{
    Action, BenchStep as Step, Diagnosis, Holder, Machine, Measure, Shown, Situation, Supply, Truth,
};

use crate::error::Error;

pub use mapping::{Finding, Mapping};
pub use score::{Interval, Summary, summary};

/// The tag of the machine of a replay.
const TAG: &str = "T-01";

/// Blocks that no profile of the case has get this chance, and none more than 1 less of it.
const LEAST: f64 = 0.002;

/// One documented repair, as far as a replay reads it.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
pub struct Repair {
    /// Its id.
    pub id: String,
    /// Make and model.
    pub machine: String,
    /// What it belongs to.
    pub family: String,
    /// `home`, `sbc`, `arcade` or `self-built`.
    pub kind: String,
    came_in: String,
    observations: Vec<Observation>,
    acts: Vec<Done>,
    causes: Vec<Confirmed>,
}

/// Something seen.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
pub(crate) struct Observation {
    pub(crate) n: u32,
    pub(crate) what: String,
    #[serde(default)]
    pub(crate) condition: Option<String>,
    pub(crate) result: String,
    #[serde(default)]
    pub(crate) value: Option<String>,
}

/// Something done; read only for whether it changed anything.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
struct Done {
    n: u32,
    #[serde(default)]
    after: Option<String>,
}

/// A confirmed cause; read only for the score.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
struct Confirmed {
    block: String,
}

/// A repair replayed.
#[derive(Debug, Clone, PartialEq)]
pub struct Replay {
    /// The repair's id.
    pub id: String,
    /// The starter's answers that differ from the usual.
    pub answers: BTreeMap<String, String>,
    /// What was told to the starter, and from which observation.
    pub findings: Vec<Finding>,
    /// Observations of the repair.
    pub observations: usize,
    /// Blocks with a confirmed cause.
    pub confirmed: Vec<String>,
    /// Chances of the blocks by base rates alone.
    pub base: Ranking,
    /// Chances of the blocks by the starter before any finding.
    pub before: Ranking,
    /// Chances of the blocks after all findings.
    pub after: Ranking,
}

/// The blocks with their chances, and how they fit what was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranking {
    /// Blocks, the most probable first.
    pub blocks: Vec<(String, f64)>,
    /// The best rank of a confirmed block, from 1.
    pub best_rank: usize,
    /// Sum over the blocks of the logarithm of the chance of what was found.
    pub log_score: f64,
}

/// Reads repairs.
///
/// # Errors
/// If the file cannot be read or is no list of repairs.
pub fn read_repairs(file: &Path) -> Result<Vec<Repair>, Error> {
    let text = std::fs::read_to_string(file).map_err(|error| Error::unreadable(file, &error))?;
    serde_json::from_str(&text).map_err(|error| Error::json(file, &error))
}

/// The shares of cases with a cause in each block, from a file of base rates.
///
/// # Errors
/// If the file cannot be read or has no such rows.
pub fn read_base_rates(file: &Path) -> Result<BTreeMap<String, f64>, Error> {
    let text = std::fs::read_to_string(file).map_err(|error| Error::unreadable(file, &error))?;
    let rates: BTreeMap<String, f64> = text
        .lines()
        .filter_map(|line| {
            let mut fields = line.split(',');
            let group = fields.next()?;
            let item = fields.next()?;
            let share = fields.nth(2)?.parse().ok()?;
            (group == "cases with a cause in block").then(|| (item.to_owned(), share))
        })
        .collect();
    if rates.is_empty() {
        return Err(Error::new(
            file,
            "expected rows `cases with a cause in block,BLOCK,k,n,share`, found none",
        ));
    }
    Ok(rates)
}

/// Whether a repair is of a machine that worked once; a new build is not what a starter stands for.
#[must_use]
pub fn fits(repair: &Repair) -> bool {
    repair.came_in != "new-build" && repair.kind != "self-built"
}

/// Cases with a cause in each block, and all cases, of one kind of board or of all.
#[must_use]
pub fn count_blocks(repairs: &[Repair], kind: Option<&str>) -> (BTreeMap<String, u32>, u32) {
    let mut counts = BTreeMap::new();
    let mut cases = 0;
    for repair in repairs
        .iter()
        .filter(|repair| repair.came_in != "new-build")
    {
        if kind.is_none_or(|kind| kind == repair.kind) {
            cases += 1;
            for block in confirmed(repair) {
                *counts.entry(block).or_insert(0) += 1;
            }
        }
    }
    (counts, cases)
}

/// Replays one repair.
///
/// # Errors
/// If the starter cannot be written or the findings cannot be reckoned with.
pub fn replay(
    repair: &Repair,
    mapping: &Mapping,
    base: &BTreeMap<String, f64>,
) -> Result<Replay, String> {
    let answers = mapping.answers(&repair.machine, &repair.family, &repair.kind);
    let text = catalogue::new_board("starter", "starter", &answers)
        .map_err(|problems| problems.join("; "))?;
    let profile = catalogue::parse_profile(&text, "starter", Library::built_in())
        .map_err(|problems| format!("{:?}", problems.first()))?;
    let profile = Arc::new(profile);
    let changed = mapping.first_change(repair.acts.iter().map(|act| (act.n, act.after.as_deref())));
    let (findings, events) = mapping.findings(&repair.observations, changed, &profile);
    let confirmed = confirmed(repair);
    let rank = |chances: Vec<(String, f64)>| ranking(chances, base, &confirmed);
    Ok(Replay {
        id: repair.id.clone(),
        observations: repair.observations.len(),
        base: rank(base.clone().into_iter().collect()),
        before: rank(chances(&profile, &[], &BTreeSet::new())?),
        after: rank(chances(&profile, &findings, &events)?),
        answers,
        findings,
        confirmed: confirmed.into_iter().collect(),
    })
}

fn confirmed(repair: &Repair) -> BTreeSet<String> {
    let blocks = repair.causes.iter().map(|cause| cause.block.clone());
    blocks.collect()
}

/// All blocks of the base rates, those that are missing with the least chance, the most probable first.
fn ranking(
    chances: Vec<(String, f64)>,
    base: &BTreeMap<String, f64>,
    confirmed: &BTreeSet<String>,
) -> Ranking {
    let known: BTreeMap<String, f64> = chances.into_iter().collect();
    let mut blocks: Vec<(String, f64)> = base
        .keys()
        .map(|block| {
            let chance = known.get(block).copied().unwrap_or(0.0);
            (block.clone(), chance.clamp(LEAST, 1.0 - LEAST))
        })
        .collect();
    blocks.sort_by(|one, other| other.1.total_cmp(&one.1).then_with(|| one.0.cmp(&other.0)));
    let best = blocks
        .iter()
        .position(|(block, _)| confirmed.contains(block));
    let log_score = blocks
        .iter()
        .map(|(block, chance)| {
            let found = confirmed.contains(block);
            if found {
                chance.ln()
            } else {
                (1.0 - chance).ln()
            }
        })
        .sum();
    Ranking {
        best_rank: best.map_or(blocks.len(), |index| index + 1),
        blocks,
        log_score,
    }
}

/// The chance that a block has a fault, for each block, of a machine of which something is wrong.
fn chances(
    profile: &Arc<Profile>,
    findings: &[Finding],
    events: &BTreeSet<String>,
) -> Result<Vec<(String, f64)>, String> {
    let steps: Vec<Step> = findings.iter().map(step).collect();
    let of_scope = |scope| -> BTreeMap<String, bool> {
        let mine = profile
            .events
            .iter()
            .filter(|event| event.scope == scope && events.contains(&event.id));
        mine.map(|event| (event.id.clone(), true)).collect()
    };
    let situation = Situation {
        profiles: [(profile.id.clone(), Arc::clone(profile))].into(),
        machines: vec![Machine {
            tag: TAG.to_owned(),
            profile: profile.id.clone(),
            lot: Some("L".to_owned()),
            known: of_scope(catalogue::Scope::Machine),
            ..Machine::default()
        }],
        lots: [("L".to_owned(), of_scope(catalogue::Scope::Lot))].into(),
        steps,
    };
    let diagnosis = Diagnosis::of(&situation).map_err(|error| error.to_string())?;
    let works = works(&diagnosis);
    let mut sides: BTreeMap<(&str, bool), f64> = BTreeMap::new();
    for mode in diagnosis.modes_of(TAG) {
        if let Holder::Position { part, .. } = &mode.holder
            && let Some(part) = profile.part(part)
        {
            *sides
                .entry((&part.block, mode.site == Site::Chip))
                .or_insert(0.0) += mode.chance;
        }
    }
    let mut blocks: BTreeMap<String, f64> = BTreeMap::new();
    for ((block, _), chance) in sides {
        *blocks.entry(block.to_owned()).or_insert(0.0) += chance;
    }
    // a fault that the profile does not know is a track, a hole or a cable
    *blocks.entry("board".to_owned()).or_insert(0.0) += diagnosis.unmodelled(TAG);
    let faulty = (1.0 - works).max(LEAST);
    let given_faulty = |chance: f64| (chance / faulty).min(1.0);
    Ok(blocks
        .into_iter()
        .map(|(block, chance)| (block, given_faulty(chance)))
        .collect())
}

/// P(the machine works | findings).
fn works(diagnosis: &Diagnosis) -> f64 {
    let settled = diagnosis.then(Step {
        time: None,
        action: Action::Settle {
            machine: Some(TAG.to_owned()),
            truth: Truth::Works,
        },
    });
    // findings that rule it out leave no network to ask
    settled.map_or(0.0, |settled| {
        (settled.log_p_findings() - diagnosis.log_p_findings()).exp()
    })
}

fn step(finding: &Finding) -> Step {
    Step {
        time: None,
        action: Action::Measure(Measure {
            machine: TAG.to_owned(),
            check: finding.check.clone(),
            shown: Shown::Outcome(finding.outcome.clone()),
            person: None,
            minutes_on: finding.minutes_on,
            supply: Supply::Usual,
        }),
    }
}
