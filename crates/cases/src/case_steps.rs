//! The steps of a case: one object of `case.json`, read into what was done.

use std::collections::BTreeMap;

use diagnosis::{Action, BenchStep, Chip, Measure, Places, Shown, Supply, Treatment, Truth};
use serde::Deserialize;
use serde_json::Value;
use units::Component;

/// One step as it is written: `do` says which of the other keys belong to it.
#[derive(Deserialize)]
pub(crate) struct StepLine {
    #[serde(rename = "do")]
    action: String,
    time: Option<String>,
    machine: Option<String>,
    check: Option<String>,
    outcome: Option<String>,
    reading: Option<f64>,
    instrument: Option<Instrument>,
    person: Option<String>,
    minutes_on: Option<f64>,
    supply: Option<String>,
    part: Option<String>,
    mark: Option<String>,
    old_mark: Option<String>,
    /// A chance at `fit`, true at `settle`.
    works: Option<Value>,
    a: Option<(String, String)>,
    b: Option<(String, String)>,
    parts: Option<Vec<String>>,
    block: Option<String>,
    mode: Option<String>,
    joint: Option<Value>,
    /// What was mended; nothing hangs on it.
    #[serde(rename = "what")]
    _what: Option<Value>,
    /// Keys that the format does not know.
    #[serde(flatten)]
    pub(crate) rest: BTreeMap<String, Value>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Instrument {
    One(ComponentLine),
    Several(Vec<ComponentLine>),
}

#[derive(Deserialize)]
struct ComponentLine {
    #[serde(default)]
    percent: f64,
    #[serde(default)]
    counts: f64,
    #[serde(default)]
    digit: f64,
}

impl StepLine {
    /// What was done and when; the error says what is missing or wrong.
    pub(crate) fn read(self) -> Result<BenchStep, String> {
        let time = self.time.as_deref().map(minutes).transpose()?;
        let action = self.action()?;
        Ok(BenchStep { time, action })
    }

    fn action(self) -> Result<Action, String> {
        match &self.action[..] {
            "measure" => self.measure(),
            "power" => Ok(Action::Power {
                supply: self.supply()?,
                machine: wanted(self.machine, "machine")?,
            }),
            "set-up" => Ok(Action::SetUp {
                machine: wanted(self.machine, "machine")?,
            }),
            "pull" => Ok(Action::Pull {
                machine: wanted(self.machine, "machine")?,
                part: wanted(self.part, "part")?,
                mark: self.mark,
            }),
            "fit" => self.fit(),
            "swap" => Ok(Action::Swap {
                a: wanted(self.a, "a")?,
                b: wanted(self.b, "b")?,
            }),
            "reseat" => self.treat(Treatment::Reseat),
            "resolder" => self.treat(Treatment::Resolder),
            "clean" => self.treat(Treatment::Clean),
            "mend" => Ok(Action::Mend {
                machine: wanted(self.machine, "machine")?,
            }),
            "settle" => self.settle(),
            other => Err(format!(
                "expected `do` to be measure, power, set-up, pull, fit, swap, reseat, resolder, clean, mend or settle, found `{other}`"
            )),
        }
    }

    fn supply(&self) -> Result<Supply, String> {
        match self.supply.as_deref() {
            None | Some("usual") => Ok(Supply::Usual),
            Some("bench") => Ok(Supply::Bench),
            Some(other) => Err(format!(
                "expected `supply` to be `bench` or absent, found `{other}`"
            )),
        }
    }

    fn measure(self) -> Result<Action, String> {
        let supply = self.supply()?;
        let shown = shown(self.outcome, self.reading, self.instrument)?;
        Ok(Action::Measure(Measure {
            machine: wanted(self.machine, "machine")?,
            check: wanted(self.check, "check")?,
            shown,
            person: self.person,
            minutes_on: self.minutes_on,
            supply,
        }))
    }

    fn fit(self) -> Result<Action, String> {
        let chip = match (self.mark, self.works) {
            (Some(mark), _) => Chip::Marked(mark),
            (None, None) => Chip::New { works: 1.0 },
            (None, Some(works)) => Chip::New {
                works: works
                    .as_f64()
                    .ok_or_else(|| format!("expected `works` to be a chance, found {works}"))?,
            },
        };
        Ok(Action::Fit {
            machine: wanted(self.machine, "machine")?,
            part: wanted(self.part, "part")?,
            chip,
            old_mark: self.old_mark,
        })
    }

    fn treat(self, treatment: Treatment) -> Result<Action, String> {
        let places = match (self.block, self.parts) {
            (Some(block), None) => Places::Block(block),
            (None, Some(parts)) => Places::Parts(parts),
            _ => return Err("expected either `parts` or `block`".to_owned()),
        };
        Ok(Action::Treat {
            machine: wanted(self.machine, "machine")?,
            treatment,
            places,
        })
    }

    fn settle(self) -> Result<Action, String> {
        let truth = match (self.mark, self.mode) {
            (Some(mark), Some(mode)) => Truth::MarkedMode {
                mark,
                mode: mode.rsplit('.').next().unwrap_or(&mode).to_owned(),
            },
            (None, Some(mode)) => {
                let (part, mode) = mode
                    .split_once('.')
                    .ok_or_else(|| format!("expected `mode` as `U9.dead`, found `{mode}`"))?;
                Truth::Mode {
                    part: part.to_owned(),
                    mode: mode.to_owned(),
                }
            }
            (_, None) if self.works == Some(Value::Bool(true)) => Truth::Works,
            (_, None) if self.joint.is_some() => Truth::Unmodelled,
            (_, None) => return Err("expected `mode`, `joint` or `works`: true".to_owned()),
        };
        Ok(Action::Settle {
            machine: self.machine,
            truth,
        })
    }
}

fn wanted<T>(value: Option<T>, key: &str) -> Result<T, String> {
    value.ok_or_else(|| format!("expected `{key}`, found none"))
}

fn shown(
    outcome: Option<String>,
    reading: Option<f64>,
    instrument: Option<Instrument>,
) -> Result<Shown, String> {
    match (outcome, reading) {
        (Some(outcome), None) => Ok(match &outcome[..] {
            "cannot" => Shown::Cannot,
            "skipped" => Shown::Skipped,
            _ => Shown::Outcome(outcome),
        }),
        (None, Some(value)) => {
            let lines = match wanted(instrument, "instrument")? {
                Instrument::One(line) => vec![line],
                Instrument::Several(lines) => lines,
            };
            let components = lines.into_iter().map(|line| Component {
                percent: line.percent,
                counts: line.counts,
                digit: line.digit,
            });
            Ok(Shown::Reading {
                value,
                components: components.collect(),
            })
        }
        _ => Err("expected either `outcome` or `reading`".to_owned()),
    }
}

/// Minutes of an ISO time since the first of March of the year 0.
fn minutes(time: &str) -> Result<f64, String> {
    let wrong = || format!("expected `time` as `2026-05-04T19:30`, found `{time}`");
    let plain = time.strip_suffix('Z').unwrap_or(time);
    let mut numbers = Vec::new();
    for number in plain.split(['-', 'T', ' ', ':']) {
        numbers.push(number.parse::<f64>().map_err(|_| wrong())?);
    }
    numbers.resize(numbers.len().max(6), 0.0);
    let [year, month, day, hour, minute, second] = numbers[..] else {
        return Err(wrong());
    };
    let fits = (1.0..=12.0).contains(&month) && (1.0..=31.0).contains(&day);
    if !fits || hour >= 24.0 || minute >= 60.0 || second >= 61.0 {
        return Err(wrong());
    }
    // the year begins with March, so that the day put in comes last
    let (year, month) = match month < 3.0 {
        true => (year - 1.0, month + 9.0),
        false => (year, month - 3.0),
    };
    let leaps = (year / 4.0).floor() - (year / 100.0).floor() + (year / 400.0).floor();
    let before_month = ((153.0 * month + 2.0) / 5.0).floor();
    let days = 365.0 * year + leaps + before_month + day - 1.0;
    Ok(days * 1440.0 + hour * 60.0 + minute + second / 60.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(line: &str) -> Result<BenchStep, String> {
        serde_json::from_str::<StepLine>(line)
            .map_err(|error| error.to_string())?
            .read()
    }

    #[test]
    fn times_run_on() {
        let check = |from: &str, to: &str, expect: f64| {
            let passed = minutes(to).unwrap() - minutes(from).unwrap();
            assert_eq!(passed, expect, "{from} to {to}");
        };
        check("2026-05-04T19:30", "2026-05-04T20:01", 31.0);
        check("2026-05-31T23:59", "2026-06-01T00:00", 1.0);
        check("2025-12-31T23:50", "2026-01-01T00:10", 20.0);
        check("2024-02-28T12:00", "2024-03-01T12:00", 2880.0);
        check("2026-02-28T12:00:30", "2026-03-01T12:00:00Z", 1439.5);
        check("2000-01-01T00:00", "2100-01-01T00:00", 36525.0 * 1440.0);
    }

    #[test]
    fn wrong_steps_say_what_is_expected() {
        let check = |line: &str, expect: &str| {
            let error = read(line).unwrap_err();
            assert!(error.contains(expect), "{line}: {error}");
        };
        check(r#"{"do": "wash"}"#, "found `wash`");
        check(r#"{"do": "pull", "machine": "T-01"}"#, "expected `part`");
        check(
            r#"{"do": "measure", "machine": "T-01", "check": "bus"}"#,
            "expected either `outcome` or `reading`",
        );
        check(
            r#"{"do": "measure", "machine": "T-01", "check": "bus", "reading": 4.8}"#,
            "expected `instrument`",
        );
        check(
            r#"{"do": "power", "machine": "T-01", "supply": "mains"}"#,
            "found `mains`",
        );
        check(
            r#"{"do": "power", "machine": "T-01", "time": "soon"}"#,
            "found `soon`",
        );
        check(
            r#"{"do": "settle", "machine": "T-01", "mode": "U9"}"#,
            "U9.dead",
        );
        check(r#"{"do": "settle", "machine": "T-01"}"#, "expected `mode`");
        check(
            r#"{"do": "fit", "machine": "T-01", "part": "U1", "works": "yes"}"#,
            "expected `works` to be a chance",
        );
        check(
            r#"{"do": "clean", "machine": "T-01"}"#,
            "`parts` or `block`",
        );
        check(r#"{"machine": "T-01"}"#, "missing field `do`");
    }

    #[test]
    fn every_kind_of_step() {
        let check = |line: &str, expect: &str| {
            let found = format!("{:?}", read(line).unwrap().action);
            assert!(found.starts_with(expect), "{line}: {found}");
        };
        check(
            r#"{"do": "measure", "machine": "T-01", "check": "v", "reading": 4.8, "instrument": [{"percent": 0.5}, {"counts": 2, "digit": 0.01}]}"#,
            "Measure(Measure { machine: \"T-01\", check: \"v\", shown: Reading { value: 4.8, components: [Component { percent: 0.5",
        );
        check(
            r#"{"do": "fit", "machine": "T-01", "part": "U1", "mark": "dot"}"#,
            "Fit { machine: \"T-01\", part: \"U1\", chip: Marked(\"dot\")",
        );
        check(
            r#"{"do": "settle", "mark": "dot", "mode": "U1.dead"}"#,
            "Settle { machine: None, truth: MarkedMode { mark: \"dot\", mode: \"dead\"",
        );
        check(
            r#"{"do": "settle", "machine": "T-01", "joint": "track"}"#,
            "Settle { machine: Some(\"T-01\"), truth: Unmodelled",
        );
        check(
            r#"{"do": "clean", "machine": "T-01", "block": "cpu"}"#,
            "Treat { machine: \"T-01\", treatment: Clean, places: Block(\"cpu\")",
        );
        check(
            r#"{"do": "mend", "machine": "T-01", "what": "track"}"#,
            "Mend",
        );
    }
}
