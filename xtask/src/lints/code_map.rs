//! The code map in `ARCHITECTURE.md` names exactly the crates that exist.

use std::collections::BTreeSet;

use super::Finding;
use super::files::Files;
use crate::workspace::Workspace;

const MAP: &str = "ARCHITECTURE.md";

/// Compares the headings of the map with the members of the workspace.
pub(crate) fn names_the_crates(workspace: &Workspace, files: &Files) -> Vec<Finding> {
    let Some(map) = files.get(MAP) else {
        return vec![Finding::new(MAP, "no such file", "write the code map")];
    };
    let mut missing: BTreeSet<&str> = workspace.members().map(|(folder, _)| folder).collect();
    let mut findings = Vec::new();
    for (index, line) in map.source().lines().enumerate() {
        let Some(folder) = heading(line) else {
            continue;
        };
        if !missing.remove(folder) {
            findings.push(Finding::new(
                format!("{MAP}:{}", index + 1),
                format!("`{folder}` is no crate, or stands here twice"),
                "correct the heading or delete its section",
            ));
        }
    }
    findings.extend(missing.into_iter().map(|folder| {
        Finding::new(
            MAP,
            format!("no section for `{folder}`"),
            format!("add one under the heading \"### `{folder}`\""),
        )
    }));
    findings
}

/// Reads "### `crates/units`".
fn heading(line: &str) -> Option<&str> {
    line.strip_prefix("### `")?.trim_end().strip_suffix('`')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lints::files::tests::files;
    use crate::workspace::tests::sketch;

    fn check(map: &str, expect: &[&str]) {
        let findings = names_the_crates(&sketch("units\nweb\n*serde"), &files(&[(MAP, map)]));
        let found: Vec<_> = findings.into_iter().map(|finding| finding.found).collect();
        assert_eq!(found, expect, "{map}");
    }

    #[test]
    fn headings_and_crates() {
        check("# Map\n### `crates/units`\ntext\n### `crates/web`\n", &[]);
        check("### `crates/units`\n", &["no section for `crates/web`"]);
        check(
            "### `crates/units`\n### `crates/web`\n### `crates/web`\n### `crates/gone`\n",
            &[
                "`crates/web` is no crate, or stands here twice",
                "`crates/gone` is no crate, or stands here twice",
            ],
        );
        check(
            "## `crates/units`\n### crates/web\n",
            &[
                "no section for `crates/units`",
                "no section for `crates/web`",
            ],
        );
    }
}
