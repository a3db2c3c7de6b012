//! From the words of an observation to a finding, by the rules of a file.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use catalogue::Profile;

use super::Observation;
use crate::error::Error;

/// Minutes of being on that "after a while" stands for.
const WARM_MINUTES: f64 = 30.0;

/// The rules.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mapping {
    #[serde(rename = "about")]
    _about: Vec<String>,
    skip_condition: Vec<String>,
    changed_nothing: Vec<String>,
    passes: Vec<String>,
    families: Vec<Family>,
    events: Vec<Rule>,
    rules: Vec<Rule>,
}

/// Answers to a starter's questions, by words of machine and family.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Family {
    words: Vec<String>,
    answers: BTreeMap<String, String>,
}

/// One rule; a list that is missing holds.
#[derive(Debug, Clone, PartialEq, Default, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Rule {
    check: String,
    outcome: String,
    event: String,
    what: Vec<String>,
    condition: Vec<String>,
    result: Vec<String>,
    text: Vec<String>,
    not: Vec<String>,
    unless: Vec<String>,
    least: Option<f64>,
}

/// A finding and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// The observation's number.
    pub n: u32,
    /// The check.
    pub check: String,
    /// Its outcome.
    pub outcome: String,
    /// Minutes of being on, if the observation says so.
    pub minutes_on: Option<f64>,
}

impl Mapping {
    /// Reads the rules.
    ///
    /// # Errors
    /// If the file cannot be read or is none of this format.
    pub fn read(file: &Path) -> Result<Self, Error> {
        let text =
            std::fs::read_to_string(file).map_err(|error| Error::unreadable(file, &error))?;
        serde_json::from_str(&text).map_err(|error| Error::json(file, &error))
    }

    /// Answers to the starter's questions.
    pub(crate) fn answers(
        &self,
        machine: &str,
        family: &str,
        kind: &str,
    ) -> BTreeMap<String, String> {
        let text = format!("{machine} {family}").to_lowercase();
        let known = self
            .families
            .iter()
            .filter(|known| kind != "arcade" || known.answers.len() == 1)
            .find(|known| has(&text, &known.words));
        let mut answers = known.map(|known| known.answers.clone()).unwrap_or_default();
        if kind == "arcade" || kind == "sbc" {
            answers.insert("kind".to_owned(), kind.to_owned());
        }
        answers
    }

    /// The place in the log of the first act that changed something.
    pub(crate) fn first_change<'a>(
        &self,
        acts: impl Iterator<Item = (u32, Option<&'a str>)>,
    ) -> Option<u32> {
        let changed = acts.filter(|(_, after)| {
            after.is_some_and(|after| !has(&after.to_lowercase(), &self.changed_nothing))
        });
        changed.map(|(n, _)| n).min()
    }

    /// Findings and known events.
    pub(crate) fn findings(
        &self,
        observations: &[Observation],
        changed: Option<u32>,
        profile: &Profile,
    ) -> (Vec<Finding>, BTreeSet<String>) {
        let mut findings = Vec::new();
        let mut events = BTreeSet::new();
        for observation in observations {
            let words = Words::of(observation);
            events.extend(
                self.events
                    .iter()
                    .filter(|rule| words.hold(rule))
                    .map(|rule| rule.event.clone()),
            );
            if has(&words.condition, &self.skip_condition) {
                continue;
            }
            let later = changed.is_some_and(|changed| observation.n > changed);
            let mut told = BTreeSet::new();
            for rule in self.rules.iter().filter(|rule| words.hold(rule)) {
                if !told.insert(rule.check.as_str())
                    || (later && self.passes.contains(&rule.outcome))
                {
                    continue;
                }
                let warm = words.condition.contains("after") || words.condition.contains("long");
                for check in checks(rule, &words, profile) {
                    findings.push(Finding {
                        n: observation.n,
                        check,
                        outcome: rule.outcome.clone(),
                        minutes_on: warm.then_some(WARM_MINUTES),
                    });
                }
            }
        }
        (findings, events)
    }
}

/// The checks of a profile that a rule speaks of; `rails` are those of the rails named, else of all.
fn checks(rule: &Rule, words: &Words, profile: &Profile) -> Vec<String> {
    if rule.check != "rails" {
        let known = profile.check(&rule.check).filter(|check| {
            check
                .outcomes
                .iter()
                .any(|outcome| outcome.id == rule.outcome)
        });
        return known.map(|check| check.id.clone()).into_iter().collect();
    }
    let named = |name: &str| {
        let volts = name.trim_end_matches('V');
        words.what.contains(&format!("{volts} v")) || words.what.contains(&name.to_lowercase())
    };
    let all = profile.rails.iter().map(|rail| rail.name.as_str());
    let some: Vec<&str> = all.clone().filter(|name| named(name)).collect();
    let says_volts = words.what.contains(" v");
    let rails = match (some.is_empty(), says_volts) {
        (false, _) => some,
        (true, true) => Vec::new(),
        // a fault of rails that are not named is one of the first
        (true, false) if rule.outcome == "fail" => all.take(1).collect(),
        (true, false) => all.collect(),
    };
    rails.into_iter().map(str::to_lowercase).collect()
}

/// The words of an observation.
struct Words {
    what: String,
    condition: String,
    result: String,
    value: Option<f64>,
}

impl Words {
    fn of(observation: &Observation) -> Self {
        let condition = observation.condition.as_deref().unwrap_or_default();
        Self {
            what: observation.what.to_lowercase(),
            condition: condition.to_lowercase(),
            result: observation.result.to_lowercase(),
            value: observation
                .value
                .as_ref()
                .and_then(|value| value.trim().parse().ok()),
        }
    }

    fn hold(&self, rule: &Rule) -> bool {
        let text = format!("{} | {}", self.what, self.result);
        let holds = |words: &[String], text: &str| words.is_empty() || has(text, words);
        holds(&rule.what, &self.what)
            && holds(&rule.condition, &self.condition)
            && holds(&rule.result, &self.result)
            && holds(&rule.text, &text)
            && !has(&text, &rule.not)
            && !has(&self.condition, &rule.unless)
            && rule
                .least
                .is_none_or(|least| self.value.is_some_and(|value| value >= least))
    }
}

/// Whether one of the words begins a word of the text.
fn has(text: &str, words: &[String]) -> bool {
    words.iter().any(|word| {
        text.match_indices(word.as_str()).any(|(at, _)| {
            let before = text[..at].chars().next_back();
            !before.is_some_and(char::is_alphanumeric)
        })
    })
}
