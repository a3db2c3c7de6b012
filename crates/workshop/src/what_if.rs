//! What if: an act, an answer or a truth supposed, and nothing written.

use catalogue::{Check, Profile};
use journal::{Draft, Line, Shown, Truth};
use serde::Serialize;

use crate::{
    Act, Error, ErrorKind, Fitted, Workshop,
    acts::{drafts, find_truth},
    card::{card_of, mode_words, standing},
    economy::economy,
    entry::{Reader, Understanding},
    error::wrong,
    findings::{allowed, finding_drafts},
    pile::Machine,
    reckon::{Boards, Reckoned},
    say,
    supposing::{Speaker, Supposed},
    views::NextStep,
    words::{quoted, sentence, small},
    workshop::{Inner, Result, State},
};

/// Suspects below this are not named, neither now nor then.
const LEAST: f64 = 0.01;
/// Suspects of an act or an answer.
const MOST: usize = 8;
/// Suspects of one of several answers.
const MOST_OF_ANSWER: usize = 3;

/// What would follow from something that is only supposed.
#[derive(Debug, Clone, Serialize)]
pub struct WhatIf {
    /// Machine tag.
    pub tag: String,
    /// What was asked, as typed: `pull U9`, `sound none`, `sound`.
    pub asked: String,
    /// `If U9 were pulled`, `What would sound tell?`
    pub heading: String,
    /// Chance that it comes so, where it is something seen or found out.
    pub chance: Option<f64>,
    /// Chance that the machine works as things stand.
    pub works_now: f64,
    /// Chance that it works then.
    pub works: Option<f64>,
    /// Suspects, the likeliest then first; empty for a check whose answer is left open.
    pub suspects: Vec<WouldBe>,
    /// Chance then of a fault the profile does not know.
    pub unmodelled: Option<f64>,
    /// The next steps then.
    pub next: Vec<NextStep>,
    /// The best course without further checks then.
    pub course: String,
    /// What each answer of a check would change.
    pub answers: Vec<Answer>,
    /// How it is written for real; nothing for a check whose answer is left open.
    pub record: Option<Record>,
}

/// A suspect now and then.
#[derive(Debug, Clone, Serialize)]
pub struct WouldBe {
    /// Position: `U9`.
    pub part: String,
    /// Mode id: `dead`.
    pub mode: String,
    /// `U9, the video controller, is dead.`
    pub title: String,
    /// Posterior as things stand.
    pub now: f64,
    /// Posterior then; nothing if its chip is no longer there.
    pub then: Option<f64>,
}

/// One answer of a check.
#[derive(Debug, Clone, Serialize)]
pub struct Answer {
    /// What is typed: `none`.
    pub word: String,
    /// What it says: `none at all`.
    pub title: String,
    /// Chance of this answer.
    pub chance: f64,
    /// The three suspects that lead then.
    pub suspects: Vec<WouldBe>,
    /// How it is written for real.
    pub record: Record,
}

/// How something supposed is written for real.
#[derive(Debug, Clone, Serialize)]
pub struct Record {
    /// `measure`, `settle`, or the act: `pull`.
    pub act: String,
    /// The line of a finding, the truth, or the position.
    pub part: String,
    /// What goes in, or who it is exchanged with; may be empty.
    pub what: String,
    /// The words after `boardwright`: `pull T-03 U9`.
    pub command: String,
}

/// What is supposed.
enum Deed {
    Act(Act),
    Truth(String),
    Findings(Understanding),
    /// A check, whatever it shows.
    Check(String),
}

impl Workshop {
    /// What would follow if something were done (`pull U9`), seen (`sound none`), looked at (`sound`) or found out
    /// (`settle U9.dead`); writes nothing.
    ///
    /// # Errors
    /// If the line cannot be understood, or what it says cannot be.
    pub fn what_if(&self, tag: &str, line: &str) -> Result<WhatIf> {
        let mut inner = self.fresh()?;
        let tag = inner.state().machine(tag)?.tag.clone();
        let case = Case::of(&mut inner, tag)?;
        let now = inner.reckoned()?;
        case.answer(&now, line.trim())
    }
}

/// A machine about which something is asked.
struct Case {
    state: std::sync::Arc<State>,
    boards: Boards,
    board: std::sync::Arc<Profile>,
    tag: String,
    speaker: Speaker,
}

impl Case {
    fn of(inner: &mut Inner, tag: String) -> Result<Case> {
        let state = inner.state();
        let board = state.folder.board(&state.machine(&tag)?.board)?;
        Ok(Case {
            boards: state.boards()?,
            board,
            tag,
            speaker: Speaker {
                who: inner.who().to_string(),
                time: inner.now(),
            },
            state,
        })
    }

    fn answer(&self, now: &Reckoned, line: &str) -> Result<WhatIf> {
        let machine = self.state.machine(&self.tag)?;
        let deed = read(line, &self.state, machine, &self.board)?;
        let mut view = WhatIf {
            tag: self.tag.clone(),
            asked: line.to_string(),
            heading: self.heading(&deed),
            chance: None,
            works: None,
            works_now: self.works(now, &self.state)?,
            suspects: Vec::new(),
            unmodelled: None,
            next: Vec::new(),
            course: String::new(),
            answers: Vec::new(),
            record: record(&self.tag, &deed, line),
        };
        if let Deed::Check(id) = &deed {
            let check = self.board.check(id).ok_or_else(|| gone(id))?;
            view.answers = self.answers(now, machine, check)?;
            return Ok(view);
        }
        let then = self
            .suppose(now, &self.drafts(machine, &deed)?)?
            .ok_or_else(|| {
                Error::new(
                    ErrorKind::Refused,
                    "that cannot be true together with what was found",
                )
                .hint("nothing was written; the card says what is suspect")
            })?;
        view.chance = says_what_was_seen(&deed).then(|| then.chance(now));
        view.works = Some(self.works(&then.reckoned, &then.state)?);
        view.suspects = self.would_be(now, &then, MOST)?;
        view.unmodelled = Some(then.reckoned.diagnosis.unmodelled(&self.tag));
        let machine = then.state.machine(&self.tag)?;
        let set_up = standing(&then.state, machine, &self.speaker.time);
        let economy = economy(&then.state.folder, &self.board, machine, &set_up);
        // what is shown of the card tells nothing of before
        let was = || Ok(Vec::new());
        let card = card_of(&then.state, &self.tag, &then.reckoned, was, &economy, None)?;
        view.next = card.next;
        view.course = card.course;
        Ok(view)
    }

    fn suppose(&self, now: &Reckoned, drafts: &[Draft]) -> Result<Option<Supposed>> {
        Supposed::with(&self.state, &self.boards, now, drafts, &self.speaker)
    }

    fn drafts(&self, machine: &Machine, deed: &Deed) -> Result<Vec<Draft>> {
        match deed {
            Deed::Act(act) => drafts(&self.state, &self.tag, act),
            Deed::Truth(truth) => Ok(vec![Draft {
                machine: Some(self.tag.clone()),
                epoch: machine.epoch,
                line: Line::Settled {
                    truth: find_truth(truth, machine, &self.board)?,
                },
            }]),
            Deed::Findings(seen) => Ok(finding_drafts(machine, seen)),
            Deed::Check(_) => Ok(Vec::new()),
        }
    }

    /// Chance that no function fails: what settling `works` would have.
    fn works(&self, now: &Reckoned, state: &State) -> Result<f64> {
        let works = Draft {
            machine: Some(self.tag.clone()),
            epoch: 0,
            line: Line::Settled {
                truth: Truth::Works,
            },
        };
        let then = Supposed::with(state, &self.boards, now, &[works], &self.speaker)?;
        Ok(then.map_or(0.0, |then| then.chance(now)))
    }

    /// What each answer of a check would change.
    fn answers(&self, now: &Reckoned, machine: &Machine, check: &Check) -> Result<Vec<Answer>> {
        let cannot =
            (!check.requires.is_empty()).then_some(("cannot", "cannot be done", Shown::Cannot));
        let outcomes = check.outcomes.iter().map(|outcome| {
            let shown = Shown::Outcome(outcome.id.clone());
            (outcome.id.as_str(), outcome.title.as_str(), shown)
        });
        let mut answers = Vec::new();
        for (id, title, shown) in outcomes.chain(cannot) {
            let seen = Understanding {
                findings: vec![crate::entry::Finding {
                    check: check.id.clone(),
                    text: id.to_string(),
                    shown,
                    source: None,
                }],
                ..Understanding::default()
            };
            let line = format!("{} {id}", check.id);
            let Some(then) = self.suppose(now, &finding_drafts(machine, &seen))? else {
                continue;
            };
            answers.push(Answer {
                word: id.to_string(),
                title: if title.is_empty() { id } else { title }.to_string(),
                chance: then.chance(now),
                suspects: self.would_be(now, &then, MOST_OF_ANSWER)?,
                record: measured(&self.tag, &line),
            });
        }
        Ok(answers)
    }

    /// Suspects now and then, the likeliest then first.
    fn would_be(&self, now: &Reckoned, then: &Supposed, most: usize) -> Result<Vec<WouldBe>> {
        let modes = |reckoned: &Reckoned, state: &State| -> Result<Vec<(String, String, f64)>> {
            let of = reckoned.modes(state.machine(&self.tag)?, &self.board);
            Ok(of
                .into_iter()
                .map(|one| (one.part, one.mode, one.chance))
                .collect())
        };
        let before = modes(now, &self.state)?;
        let after = modes(&then.reckoned, &then.state)?;
        let find = |list: &[(String, String, f64)], part: &str, mode: &str| {
            let found = list
                .iter()
                .find(|(other, of, _)| other == part && of == mode);
            found.map(|(_, _, chance)| *chance)
        };
        let gone = before
            .iter()
            .filter(|(part, mode, _)| find(&after, part, mode).is_none());
        let mut rows: Vec<WouldBe> = after
            .iter()
            .chain(gone)
            .map(|(part, mode, _)| WouldBe {
                part: part.clone(),
                mode: mode.clone(),
                title: mode_words(&self.board, part, mode),
                now: find(&before, part, mode).unwrap_or(0.0),
                then: find(&after, part, mode),
            })
            .filter(|row| row.now.max(row.then.unwrap_or(0.0)) >= LEAST)
            .collect();
        // what leads then; a chip that is gone stands where it stood
        rows.sort_by(|a, b| {
            let size = |row: &WouldBe| (row.then.unwrap_or(row.now) * 1e9).round();
            size(b).total_cmp(&size(a)).then(b.now.total_cmp(&a.now))
        });
        rows.truncate(most);
        Ok(rows)
    }

    fn heading(&self, deed: &Deed) -> String {
        let parts = |names: &[String]| names.join(" ");
        match deed {
            Deed::Act(Act::Pull { part, .. }) => format!("If {part} were pulled"),
            Deed::Act(Act::Fit { part, what, .. }) => match what {
                Fitted::New { .. } => format!("If a new part were fitted in {part}"),
                Fitted::Marked(mark) => format!("If the chip marked {mark} were fitted in {part}"),
            },
            Deed::Act(Act::Swap { part, with, .. }) => {
                format!("If {part} were exchanged with {}", crate::rows::owner(with))
            }
            Deed::Act(Act::Mend(what)) => format!("If the fault, {what}, were mended"),
            Deed::Act(Act::Reseat(names)) => format!("If {} were reseated", parts(names)),
            Deed::Act(Act::Resolder(names)) => format!("If {} were resoldered", parts(names)),
            Deed::Act(Act::Clean(names)) => format!("If {} were cleaned", parts(names)),
            Deed::Truth(truth) => format!("If it were settled: {truth}"),
            Deed::Findings(seen) => {
                let said = seen.findings.iter().filter_map(|finding| {
                    let check = self.board.check(&finding.check)?;
                    Some(say::understood(check, &finding.shown))
                });
                format!("If it showed: {}", said.collect::<Vec<_>>().join("; "))
            }
            Deed::Check(id) => {
                let title = self.board.check(id).map(say::check_title);
                format!("What would {} tell?", small(&title.unwrap_or_default()))
            }
        }
    }
}

fn gone(id: &str) -> Error {
    Error::new(
        ErrorKind::NotFound,
        format!("there is no check {}", quoted(id)),
    )
}

/// The chance of findings can be said where all of them are outcomes; of a reading there are too many.
fn says_what_was_seen(deed: &Deed) -> bool {
    let outcome = |shown: &Shown| matches!(shown, Shown::Outcome(_) | Shown::Cannot);
    match deed {
        Deed::Findings(seen) => seen.findings.iter().all(|finding| outcome(&finding.shown)),
        Deed::Truth(_) => true,
        Deed::Act(_) | Deed::Check(_) => false,
    }
}

/// An act by its verb, a truth after `settle`, a check alone, or findings.
fn read(line: &str, state: &State, machine: &Machine, board: &Profile) -> Result<Deed> {
    if line.len() > 1000 {
        return Err(wrong(vec![
            "expected a line of at most 1000 characters".to_string(),
        ]));
    }
    if let Some(deed) = act_or_truth(line)? {
        return Ok(deed);
    }
    let reader = Reader {
        profile: board,
        settings: &state.folder.settings,
        open: None,
    };
    match reader.line(line) {
        Ok(seen) => {
            allowed(machine, board, &seen.findings)?;
            Ok(Deed::Findings(seen))
        }
        Err(problems) => match reader.check(line) {
            Ok(check) => Ok(Deed::Check(check.id.clone())),
            Err(_) => Err(Error::new(ErrorKind::Usage, problems.join("\n")).hint(
                "suppose an act (`pull U9`, `reseat U9`, `swap U9 mule`), a check (`sound`), or what it shows (`sound none`)",
            )),
        },
    }
}

fn act_or_truth(line: &str) -> Result<Option<Deed>> {
    let (verb, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
    let words: Vec<String> = rest.split_whitespace().map(str::to_string).collect();
    let nothing = |what: &str| {
        Error::new(
            ErrorKind::Usage,
            format!("expected {what} after {}, found nothing", quoted(verb)),
        )
        .hint("such as `pull U9`, `fit U9 new`, `swap U9 mule`, `reseat U9`, `mend track`, `settle U9.dead`")
    };
    let part = || words.first().cloned().ok_or_else(|| nothing("a part"));
    let places = |act: fn(Vec<String>) -> Act| match words.is_empty() {
        true => Err(nothing("parts or a block")),
        false => Ok(Deed::Act(act(words.clone()))),
    };
    let deed = match verb.to_lowercase().as_str() {
        "pull" => Deed::Act(Act::Pull {
            part: part()?,
            mark: None,
        }),
        "fit" => Deed::Act(Act::Fit {
            part: part()?,
            what: Fitted::read(rest.trim_start()[part()?.len()..].trim())?,
            old_mark: None,
        }),
        "swap" => Deed::Act(Act::Swap {
            part: part()?,
            with: words
                .get(1)
                .cloned()
                .ok_or_else(|| nothing("a part and who it is exchanged with"))?,
            there: words.get(2).cloned(),
            old_mark: None,
        }),
        "reseat" => places(Act::Reseat)?,
        "resolder" => places(Act::Resolder)?,
        "clean" => places(Act::Clean)?,
        "mend" => Deed::Act(Act::Mend(match rest.trim() {
            "" => "track".to_string(),
            what => what.to_string(),
        })),
        "settle" if rest.trim().is_empty() => return Err(nothing("a truth")),
        "settle" => Deed::Truth(rest.trim().to_string()),
        _ => return Ok(None),
    };
    Ok(Some(deed))
}

/// How it would be written for real.
fn record(tag: &str, deed: &Deed, line: &str) -> Option<Record> {
    let text = |part: &str, what: &str| (part.to_string(), what.to_string());
    let (act, (part, what)) = match deed {
        Deed::Check(_) => return None,
        Deed::Findings(_) => return Some(measured(tag, line)),
        Deed::Truth(truth) => ("settle", text(truth, "")),
        Deed::Act(Act::Pull { part, .. }) => ("pull", text(part, "")),
        Deed::Act(Act::Fit { part, what, .. }) => ("fit", text(part, &what.word())),
        Deed::Act(Act::Swap {
            part, with, there, ..
        }) => {
            let there = there.as_ref().map(|part| format!(" {part}"));
            (
                "swap",
                text(part, &format!("{with}{}", there.unwrap_or_default())),
            )
        }
        Deed::Act(Act::Mend(what)) => ("mend", text(what, "")),
        Deed::Act(Act::Reseat(names)) => ("reseat", text(&names.join(" "), "")),
        Deed::Act(Act::Resolder(names)) => ("resolder", text(&names.join(" "), "")),
        Deed::Act(Act::Clean(names)) => ("clean", text(&names.join(" "), "")),
    };
    let command = match deed {
        Deed::Act(Act::Fit {
            what: Fitted::Marked(mark),
            ..
        }) => format!("fit {tag} {part} --mark {}", shell(mark)),
        Deed::Act(Act::Fit {
            what: Fitted::New { works: Some(works) },
            ..
        }) => format!("fit {tag} {part} --works {works}"),
        Deed::Act(Act::Fit { .. }) => format!("fit {tag} {part}"),
        Deed::Act(Act::Mend(what)) => format!("mend {tag} {}", shell(what)),
        _ => format!("{act} {tag} {part} {what}").trim().to_string(),
    };
    Some(Record {
        act: act.to_string(),
        part,
        what,
        command,
    })
}

fn measured(tag: &str, line: &str) -> Record {
    Record {
        act: "measure".to_string(),
        part: line.to_string(),
        what: String::new(),
        command: format!("measure {tag} {}", shell(line)),
    }
}

/// In quotes where a shell would split or read it.
fn shell(text: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "+-., %".contains(c);
    match text.chars().all(plain) && !text.contains("  ") {
        true => text.to_string(),
        false => format!("\"{}\"", text.replace('"', "")),
    }
}

impl WhatIf {
    /// The heading with its chance: `If it showed: sound: none (3 %).`
    #[must_use]
    pub fn title(&self) -> String {
        match self.chance {
            Some(chance) => sentence(&format!(
                "{} ({})",
                self.heading,
                crate::words::percent(chance)
            )),
            None => sentence(&self.heading),
        }
    }
}
