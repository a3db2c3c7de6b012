//! Playing a pile script: the demo's evening, step by step.

use jiff::ZonedDateTime;
use serde::Deserialize;

use crate::{
    Act, Error, ErrorKind, Fitted, PlanLimits, Power, Shelf, TakeIn, Workshop, words::quoted,
    workshop::Result,
};

impl Workshop {
    /// Plays a script of `[[step]]` tables and says what each step gave, a line each. Stops at the first that is refused.
    ///
    /// # Errors
    /// If the script cannot be read, or a step is refused; the message names the step.
    pub fn play(&self, script: &str) -> Result<Vec<String>> {
        let script: Script = toml::from_str(script).map_err(|error| {
            Error::new(
                ErrorKind::Usage,
                format!(
                    "the script cannot be read\n{}",
                    error.to_string().trim_end()
                ),
            )
        })?;
        let mut said = Vec::new();
        for (index, step) in script.step.iter().enumerate() {
            let place = |error: Error| Error {
                message: format!("step {}: {}", index + 1, error.message),
                ..error
            };
            said.push(self.step(step).map_err(place)?);
        }
        Ok(said)
    }

    fn step(&self, step: &Step) -> Result<String> {
        let at = step.at.as_deref().map(|at| {
            at.parse::<ZonedDateTime>().map_err(|error| {
                Error::new(ErrorKind::Usage, format!("expected a time such as `2026-11-12T19:00:00[Europe/Berlin]`, found {}: {error}", quoted(at)))
            })
        });
        self.turn(step.who.as_deref(), at.transpose()?);
        match step.act.as_str() {
            "take-in" => {
                let request = TakeIn {
                    line: need("line", &step.line)?,
                    board: step.board.clone(),
                    exceptions: step.except.clone(),
                    tags: step.tags.clone(),
                    dry_run: false,
                };
                Ok(self.take_in(&request)?.heading)
            }
            "round" => Ok(self
                .round_line(&need("check", &step.check)?, &need("line", &step.line)?)?
                .changed),
            "measure" => Ok(self
                .measure(&need("machine", &step.machine)?, &need("line", &step.line)?)?
                .changed),
            "settle" => Ok(self
                .settle(
                    &need("machine", &step.machine)?,
                    &need("truth", &step.truth)?,
                )?
                .changed),
            "power" => {
                let power = match need("power", &step.power)?.as_str() {
                    "on" => Power::On,
                    "bench" => Power::OnBenchSupply,
                    "off" => Power::Off,
                    other => {
                        return Err(Error::new(
                            ErrorKind::Usage,
                            format!("expected `on`, `bench` or `off`, found {}", quoted(other)),
                        ));
                    }
                };
                Ok(self.power(&need("machine", &step.machine)?, power)?.changed)
            }
            "shelve" => Ok(self
                .shelve(&need("machine", &step.machine)?, Shelf::Away)?
                .changed),
            "take-back" => Ok(self
                .shelve(&need("machine", &step.machine)?, Shelf::Back)?
                .changed),
            "undo" => Ok(self.undo(step.back)?.text),
            "limits" => {
                let limits = PlanLimits {
                    money: step.money.clone(),
                    evenings: step.evenings,
                    ..PlanLimits::default()
                };
                self.limit(&limits)?;
                Ok("Limits are set.".to_string())
            }
            "order" => Ok(self.ordered(&need("letter", &step.letter)?)?.changed),
            act => {
                let act = step.act(act)?;
                Ok(self.act(&need("machine", &step.machine)?, &act)?.changed)
            }
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Script {
    #[serde(default)]
    step: Vec<Step>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Step {
    at: Option<String>,
    who: Option<String>,
    #[serde(rename = "do")]
    act: String,
    line: Option<String>,
    board: Option<String>,
    #[serde(default)]
    except: Vec<String>,
    tags: Option<String>,
    check: Option<String>,
    machine: Option<String>,
    truth: Option<String>,
    #[serde(default)]
    parts: Vec<String>,
    part: Option<String>,
    power: Option<String>,
    with: Option<String>,
    there: Option<String>,
    what: Option<String>,
    mark: Option<String>,
    old_mark: Option<String>,
    works: Option<f64>,
    money: Option<String>,
    evenings: Option<f64>,
    letter: Option<String>,
    back: Option<i64>,
}

impl Step {
    fn act(&self, word: &str) -> Result<Act> {
        Ok(match word {
            "reseat" => Act::Reseat(self.parts.clone()),
            "resolder" => Act::Resolder(self.parts.clone()),
            "clean" => Act::Clean(self.parts.clone()),
            "pull" => Act::Pull {
                part: need("part", &self.part)?,
                mark: self.mark.clone(),
            },
            "swap" => Act::Swap {
                part: need("part", &self.part)?,
                with: need("with", &self.with)?,
                there: self.there.clone(),
                old_mark: self.old_mark.clone(),
            },
            "mend" => Act::Mend(need("what", &self.what)?),
            "fit" => Act::Fit {
                part: need("part", &self.part)?,
                what: match &self.mark {
                    Some(mark) => Fitted::Marked(mark.clone()),
                    None => Fitted::New { works: self.works },
                },
                old_mark: self.old_mark.clone(),
            },
            other => {
                return Err(Error::new(
                    ErrorKind::Usage,
                    format!(
                        "expected `take-in`, `round`, `measure`, `power`, `reseat`, `resolder`, `clean`, `pull`, `fit`, `swap`, \
                         `mend`, `settle`, `shelve`, `take-back`, `limits`, `order` or `undo`, found {}",
                        quoted(other)
                    ),
                ));
            }
        })
    }
}

fn need(key: &str, value: &Option<String>) -> Result<String> {
    value.clone().ok_or_else(|| {
        Error::new(
            ErrorKind::Usage,
            format!("expected `{key}`, found a step without it"),
        )
    })
}
