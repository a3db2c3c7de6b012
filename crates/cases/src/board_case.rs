//! Reads a case folder: a board profile and the steps made with machines of it.

use std::{collections::BTreeMap, fs, path::Path, sync::Arc};

use catalogue::Library;
use diagnosis::{Machine, Situation};
use serde::Deserialize;
use serde_json::Value;

use crate::{case_steps::StepLine, error::Error};

/// A case with what is expected of it.
#[derive(Debug, Clone)]
pub struct BoardCase {
    /// Machines and everything done with them.
    pub situation: Situation,
    /// What an exact program answers after the last step; null where the file does not say.
    pub expected: Value,
    /// Values derived on paper: `what` is a path into `expected`.
    pub by_hand: Vec<Value>,
    /// Keys that this format does not know: nothing was done with them.
    pub unused: Vec<String>,
}

/// `case.json` as it is written.
#[derive(Deserialize)]
struct CaseFile {
    machines: Vec<MachineLine>,
    #[serde(default)]
    lots: BTreeMap<String, LotLine>,
    #[serde(default)]
    steps: Vec<StepLine>,
    #[serde(default)]
    expected: Value,
    #[serde(default)]
    by_hand: Vec<Value>,
}

#[derive(Deserialize)]
struct MachineLine {
    tag: String,
    lot: Option<String>,
    #[serde(default)]
    known: BTreeMap<String, bool>,
    #[serde(default)]
    empty: Vec<String>,
    outside: Option<Vec<String>>,
    #[serde(default)]
    mule: bool,
    #[serde(flatten)]
    rest: BTreeMap<String, Value>,
}

#[derive(Deserialize)]
struct LotLine {
    #[serde(default)]
    known: BTreeMap<String, bool>,
}

/// Reads a case folder.
///
/// # Errors
/// A file is missing, is not of the format, or names what the board does not have.
pub fn read_case(folder: &Path) -> Result<BoardCase, Error> {
    let board_file = folder.join("board.toml");
    let board =
        fs::read_to_string(&board_file).map_err(|error| Error::unreadable(&board_file, &error))?;
    let profile = catalogue::parse_profile(
        &board,
        &board_file.display().to_string(),
        &Library::default(),
    )
    .map_err(|problems| {
        let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
        Error::new(&board_file, lines.join("\n"))
    })?;
    let case_file = folder.join("case.json");
    let text =
        fs::read_to_string(&case_file).map_err(|error| Error::unreadable(&case_file, &error))?;
    let case: CaseFile =
        serde_json::from_str(&text).map_err(|error| Error::json(&case_file, &error))?;
    let mut unused = Vec::new();
    for machine in &case.machines {
        unused.extend(
            machine
                .rest
                .keys()
                .map(|key| format!("machine {}: `{key}`", machine.tag)),
        );
    }
    let mut steps = Vec::new();
    for (index, line) in case.steps.into_iter().enumerate() {
        let at = format!("steps[{index}]");
        unused.extend(line.rest.keys().map(|key| format!("{at}: `{key}`")));
        steps.push(
            line.read()
                .map_err(|message| Error::new(&case_file, format!("{at}: {message}")))?,
        );
    }
    let machines = case.machines.into_iter().map(|machine| Machine {
        tag: machine.tag,
        profile: profile.id.clone(),
        lot: machine.lot,
        known: machine.known,
        empty: machine.empty,
        outside: machine.outside,
        mule: machine.mule,
    });
    let situation = Situation {
        machines: machines.collect(),
        lots: case
            .lots
            .into_iter()
            .map(|(lot, line)| (lot, line.known))
            .collect(),
        steps,
        profiles: BTreeMap::from([(profile.id.clone(), Arc::new(profile))]),
    };
    Ok(BoardCase {
        situation,
        expected: case.expected,
        by_hand: case.by_hand,
        unused,
    })
}
