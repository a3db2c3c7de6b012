//! Writing findings: one line about one machine, or one check over many.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::Profile;
use journal::{Draft, Line, Shown};

use crate::{
    Error, ErrorKind, Workshop,
    change::{leads, written},
    entry::{Finding, Reader, Understanding, find_tag, round_entries},
    error::wrong,
    pile::Machine,
    say,
    views::{Understood, Written},
    words::listed,
    workshop::{Inner, Result, State},
};

impl Workshop {
    /// How a line would be understood; writes nothing.
    ///
    /// # Errors
    /// Everything that is wrong in the line.
    pub fn understand(&self, tag: &str, line: &str) -> Result<Vec<Understood>> {
        let mut inner = self.fresh()?;
        let understanding = read_line(&mut inner, tag, line)?;
        let state = inner.state();
        let machine = state.machine(tag)?;
        let board = state.folder.board(&machine.board)?;
        Ok(understood(&board, &understanding.findings))
    }

    /// Writes the findings of one line.
    ///
    /// # Errors
    /// Everything that is wrong in the line; nothing is written then.
    pub fn measure(&self, tag: &str, line: &str) -> Result<Written> {
        let mut inner = self.fresh()?;
        let understanding = read_line(&mut inner, tag, line)?;
        let tag = inner.state().machine(tag)?.tag.clone();
        write_findings(&mut inner, |state| {
            let machine = state.machine(&tag)?;
            let board = state.folder.board(&machine.board)?;
            allowed(machine, &board, &understanding.findings)?;
            Ok(vec![(tag.clone(), board, understanding.clone())])
        })
    }

    /// Writes one check over many machines: tag and value.
    ///
    /// # Errors
    /// Everything that is wrong; nothing is written then.
    pub fn round(&self, check: &str, entries: &[(String, String)]) -> Result<Written> {
        let mut inner = self.fresh()?;
        write_findings(&mut inner, |state| round_findings(state, check, entries))
    }

    /// The same from one line: one value a machine in the order of tags, or `T-03=4.98; T-05=black`.
    ///
    /// # Errors
    /// Everything that is wrong; nothing is written then.
    pub fn round_line(&self, check: &str, line: &str) -> Result<Written> {
        let mut inner = self.fresh()?;
        write_findings(&mut inner, |state| {
            let tags = state.bench_tags();
            if tags.is_empty() {
                let all = state.tags();
                let problem = match all.as_slice() {
                    [] => "nothing is taken in yet",
                    _ => "no machine is on the bench",
                };
                return Err(Error::new(ErrorKind::Refused, problem)
                    .hint("take a lot in first, or take a machine back from the shelf"));
            }
            let entries = round_entries(line, &tags).map_err(wrong)?;
            round_findings(state, check, &entries)
        })
    }
}

fn read_line(inner: &mut Inner, tag: &str, line: &str) -> Result<Understanding> {
    let state = inner.state();
    let machine = state.machine(tag)?;
    let board = state.folder.board(&machine.board)?;
    let mut reader = Reader {
        profile: &board,
        settings: &state.folder.settings,
        open: None,
    };
    let understanding = match reader.line(line) {
        Ok(understanding) => understanding,
        // Only a line that cannot be read otherwise is worth asking which check comes next.
        Err(problems) => {
            let open = crate::card::open_check(inner, &machine.tag);
            reader.open = open.as_deref().and_then(|id| board.check(id));
            if reader.open.is_none() {
                return Err(wrong(problems));
            }
            reader.line(line).map_err(wrong)?
        }
    };
    allowed(machine, &board, &understanding.findings)?;
    Ok(understanding)
}

/// Refuses findings at parts that are not there.
pub(crate) fn allowed(machine: &Machine, board: &Profile, findings: &[Finding]) -> Result<()> {
    let problems: Vec<String> = findings
        .iter()
        .filter_map(|finding| absent(machine, board, finding))
        .collect();
    if problems.is_empty() {
        return Ok(());
    }
    Err(Error::new(ErrorKind::Refused, problems.join("\n"))
        .hint("nothing was written; write `skip`, or fit the part first"))
}

fn absent(machine: &Machine, board: &Profile, finding: &Finding) -> Option<String> {
    if matches!(finding.shown, Shown::Skipped) {
        return None;
    }
    let check = board.check(&finding.check)?;
    let part = |at: &String| {
        at.rsplit_once('.')
            .map_or(at.as_str(), |(part, _)| part)
            .to_string()
    };
    let parts: Vec<String> = check.at.iter().map(part).collect();
    let gone = !parts.is_empty() && parts.iter().all(|part| machine.empty.contains(part));
    gone.then(|| {
        format!(
            "`{}` looks at {}, and {} is absent on {}",
            check.id,
            say::at(check),
            listed(&parts, "and"),
            machine.tag
        )
    })
}

fn round_findings(
    state: &State,
    check: &str,
    entries: &[(String, String)],
) -> Result<Vec<(String, Arc<Profile>, Understanding)>> {
    let tags = state.tags();
    let mut problems = Vec::new();
    let mut rows = Vec::new();
    if entries.is_empty() {
        problems.push("expected a value for at least one machine, found nothing".to_string());
    }
    for (typed, value) in entries {
        let tag = match find_tag(typed, &tags) {
            Ok(tag) => tag,
            Err(problem) => {
                problems.push(problem);
                continue;
            }
        };
        let machine = state.machine(&tag)?;
        let board = state.folder.board(&machine.board)?;
        let reader = Reader {
            profile: &board,
            settings: &state.folder.settings,
            open: None,
        };
        let found = reader
            .check(check)
            .and_then(|check| reader.value(check, value));
        let found = found.and_then(|finding| match absent(machine, &board, &finding) {
            Some(problem) => Err(format!("{problem}; write `skip`")),
            None => Ok(finding),
        });
        match found {
            Ok(finding) => {
                let understanding = Understanding {
                    findings: vec![finding],
                    ..Understanding::default()
                };
                rows.push((tag, board, understanding));
            }
            Err(problem) => problems.push(format!("{tag}: {problem}")),
        }
    }
    // The same word is wrong in the same way for every machine.
    problems.dedup_by_key(|problem| {
        problem
            .split_once(": ")
            .map_or(problem.clone(), |(_, rest)| rest.to_string())
    });
    if problems.is_empty() {
        Ok(rows)
    } else {
        Err(wrong(problems))
    }
}

type Rows = Vec<(String, Arc<Profile>, Understanding)>;

fn write_findings(inner: &mut Inner, rows: impl Fn(&State) -> Result<Rows>) -> Result<Written> {
    let first = rows(&inner.state())?;
    let tags: Vec<String> = first.iter().map(|(tag, ..)| tag.clone()).collect();
    let mut before = BTreeMap::new();
    for tag in &tags {
        before.extend(leads(inner, tag));
    }
    let entries = inner.write(|state| {
        let mut drafts = Vec::new();
        for (tag, _, understanding) in rows(state)? {
            drafts.extend(finding_drafts(state.machine(&tag)?, &understanding));
        }
        Ok(drafts)
    })?;
    let understood = first
        .iter()
        .flat_map(|(_, board, one)| understood(board, &one.findings))
        .collect();
    written(inner, &entries, understood, &before)
}

/// The lines of what was seen on a machine; a supply that is not said is the one it was switched on with.
pub(crate) fn finding_drafts(machine: &Machine, seen: &Understanding) -> Vec<Draft> {
    let supply = seen.supply.or(machine.powered).unwrap_or_default();
    let draft = |finding: &Finding| Draft {
        machine: Some(machine.tag.clone()),
        epoch: machine.epoch,
        line: Line::Finding {
            check: finding.check.clone(),
            text: finding.text.clone(),
            shown: finding.shown.clone(),
            supply,
            minutes_on: seen.minutes_on,
        },
    };
    seen.findings.iter().map(draft).collect()
}

fn understood(board: &Profile, findings: &[Finding]) -> Vec<Understood> {
    let one = |finding: &Finding| {
        let check = board.check(&finding.check)?;
        let mut sentence = say::understood(check, &finding.shown);
        if let Some(source) = finding
            .source
            .as_deref()
            .filter(|source| *source == crate::settings::NO_SOURCE)
        {
            sentence = format!("{sentence} (accuracy: {source})");
        }
        Some(Understood {
            check: check.id.clone(),
            sentence,
            cell: say::cell(check, &finding.shown),
            alternatives: say::alternatives(check, &finding.shown),
        })
    };
    findings.iter().filter_map(one).collect()
}
