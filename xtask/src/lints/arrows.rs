//! Which crate may use which: the direction of the house, and what stays at its edge.

use std::collections::{BTreeMap, BTreeSet};

use super::Finding;
use crate::workspace::{Kind, Workspace};

/// Each crate with the own crates it may use; `ARCHITECTURE.md` says why.
///
/// Tests may use whatever their crate reaches along these arrows, and the [`AIDS`].
const ARROWS: [(&str, &[&str]); 13] = [
    ("units", &[]),
    ("catalogue", &["units"]),
    ("diagnosis", &["catalogue", "units"]),
    ("rehearsal", &["catalogue", "diagnosis", "units"]),
    ("optimum", &["units"]),
    ("purchasing", &["optimum", "units"]),
    ("planning", &["purchasing", "optimum", "units"]),
    ("journal", &["units"]),
    (
        "workshop",
        &[
            "catalogue",
            "diagnosis",
            "rehearsal",
            "optimum",
            "purchasing",
            "planning",
            "journal",
            "units",
        ],
    ),
    ("web", &["workshop", "units"]),
    ("boardwright", &["web", "workshop", "units"]),
    (
        "cases",
        &["catalogue", "diagnosis", "planning", "purchasing", "units"],
    ),
    ("xtask", &[]),
];

/// Crates made for tests: the tests of those below them may use them too.
const AIDS: [&str; 1] = ["cases"];

/// Outside crates that stay at the edge: who may declare them, and who may have them below.
const OUTSIDE: [(&str, &[&str], &[&str]); 5] = [
    (
        "rusqlite",
        &["journal"],
        &["journal", "workshop", "web", "boardwright"],
    ),
    ("axum", &["web", "boardwright"], &["web", "boardwright"]),
    ("tokio", &["web", "boardwright"], &["web", "boardwright"]),
    ("maud", &["web", "boardwright"], &["web", "boardwright"]),
    (
        "jiff",
        &["journal", "workshop", "web", "boardwright"],
        &["journal", "workshop", "web", "boardwright"],
    ),
];

/// Own crates use own crates only along [`ARROWS`].
pub(crate) fn direction(workspace: &Workspace) -> Vec<Finding> {
    let table = BTreeMap::from(ARROWS);
    let own: BTreeSet<&str> = workspace
        .members()
        .map(|(_, package)| &package.name[..])
        .collect();
    let mut findings = Vec::new();
    for (folder, package) in workspace.members() {
        let place = format!("{folder}/Cargo.toml");
        let Some(arrows) = table.get(&package.name[..]) else {
            findings.push(Finding::new(
                place,
                format!("the crate `{}` has no arrows", package.name),
                "add it to the table in xtask/src/lints/arrows.rs and to ARCHITECTURE.md",
            ));
            continue;
        };
        for declared in &package.declared {
            let to = &declared.package[..];
            let allowed = match declared.kind {
                Kind::Dev => {
                    to == package.name
                        || AIDS.contains(&to)
                        || along_arrows(&table, &package.name).contains(to)
                }
                Kind::Normal | Kind::Build => arrows.contains(&to),
            };
            if own.contains(to) && !allowed {
                findings.push(Finding::new(
                    &place,
                    format!(
                        "`{}` uses `{to}` against the direction of the house",
                        package.name
                    ),
                    format!(
                        "it may use {}; take what it needs from those, or move the code down",
                        names(arrows)
                    ),
                ));
            }
        }
    }
    findings
}

/// Outside crates are declared and reached only where [`OUTSIDE`] says.
pub(crate) fn outside(workspace: &Workspace) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (id, package) in &workspace.packages {
        let Some(folder) = &package.folder else {
            continue;
        };
        let place = format!("{folder}/Cargo.toml");
        let reached = workspace.reached(id);
        for (outside, declared_by, reached_by) in OUTSIDE {
            let declares = package
                .declared
                .iter()
                .any(|declared| declared.package == outside && declared.kind != Kind::Dev);
            if declares && !declared_by.contains(&&package.name[..]) {
                findings.push(Finding::new(
                    &place,
                    format!("`{}` declares `{outside}`", package.name),
                    format!("only {} may; do that work there", names(declared_by)),
                ));
            } else if let Some(through) = reached.get(outside)
                && !reached_by.contains(&&package.name[..])
            {
                findings.push(Finding::new(
                    &place,
                    format!("`{}` reaches `{outside}` through `{through}`", package.name),
                    format!("only {} may; leave `{through}` out", names(reached_by)),
                ));
            }
        }
    }
    findings
}

fn along_arrows<'a>(table: &BTreeMap<&'a str, &[&'a str]>, from: &str) -> BTreeSet<&'a str> {
    let mut found = BTreeSet::new();
    let mut open: Vec<&str> = table
        .get(from)
        .map_or_else(Vec::new, |arrows| arrows.to_vec());
    while let Some(next) = open.pop() {
        if found.insert(next) {
            open.extend(table.get(next).into_iter().copied().flatten());
        }
    }
    found
}

fn names(names: &[&str]) -> String {
    match names {
        [] => "no own crate".to_owned(),
        _ => format!("`{}`", names.join("`, `")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::workspace::tests::sketch;

    fn check(lint: fn(&Workspace) -> Vec<Finding>, sketched: &str, expect: &[&str]) {
        let found: Vec<_> = lint(&sketch(sketched))
            .into_iter()
            .map(|f| f.found)
            .collect();
        assert_eq!(found, expect, "{sketched}");
    }

    #[test]
    fn the_table_has_no_cycle_and_no_stranger() {
        let table = BTreeMap::from(ARROWS);
        for (name, arrows) in ARROWS {
            assert!(!along_arrows(&table, name).contains(name), "{name}");
            assert!(arrows.iter().all(|to| table.contains_key(to)), "{name}");
        }
    }

    #[test]
    fn arrows_run_down() {
        check(direction, "units\ncatalogue -> units\n*serde", &[]);
        check(
            direction,
            "planning -> purchasing optimum\npurchasing -> optimum\noptimum",
            &[],
        );
        check(
            direction,
            "catalogue -> diagnosis\ndiagnosis",
            &["`catalogue` uses `diagnosis` against the direction of the house"],
        );
        check(
            direction,
            "web -> journal\njournal",
            &["`web` uses `journal` against the direction of the house"],
        );
        check(
            direction,
            "sundries",
            &["the crate `sundries` has no arrows"],
        );
    }

    #[test]
    fn tests_may_use_what_is_below_and_the_aids() {
        let check = |sketched: &str| {
            let mut workspace = sketch(sketched);
            assert_eq!(direction(&workspace).len(), 1, "{sketched}");
            for package in workspace.packages.values_mut() {
                package
                    .declared
                    .iter_mut()
                    .for_each(|declared| declared.kind = Kind::Dev);
            }
            assert_eq!(direction(&workspace), [], "{sketched}");
        };
        check("boardwright -> diagnosis\ndiagnosis");
        check("diagnosis -> cases\ncases");
    }

    #[test]
    fn the_edge_holds() {
        check(
            outside,
            "journal -> rusqlite\nworkshop -> journal\n*rusqlite",
            &[],
        );
        check(
            outside,
            "workshop -> rusqlite\n*rusqlite",
            &["`workshop` declares `rusqlite`"],
        );
        check(
            outside,
            "diagnosis -> helpful\n*helpful -> tokio\n*tokio",
            &["`diagnosis` reaches `tokio` through `helpful`"],
        );
        check(
            outside,
            "units -> jiff\n*jiff",
            &["`units` declares `jiff`"],
        );
    }
}
