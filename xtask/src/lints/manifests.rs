//! Every crate takes its version, licence, lints and dependencies from the workspace.

use toml::{Table, Value};

use super::Finding;
use super::files::{File, Files};
use crate::workspace::Workspace;

const PACKAGE_FIELDS: [&str; 5] = ["version", "edition", "rust-version", "license", "publish"];
const DEPENDENCY_TABLES: [&str; 3] = ["dependencies", "dev-dependencies", "build-dependencies"];

/// Reads the manifest of every own crate.
pub(crate) fn inherit(workspace: &Workspace, files: &Files) -> Vec<Finding> {
    workspace
        .members()
        .filter_map(|(folder, _)| files.get(&format!("{folder}/Cargo.toml")))
        .flat_map(check_manifest)
        .collect()
}

fn check_manifest(file: &File) -> Vec<Finding> {
    let manifest: Table = match file.source().parse() {
        Ok(table) => table,
        Err(error) => {
            return vec![Finding::new(
                &file.path,
                format!("`{error}`"),
                "correct the manifest",
            )];
        }
    };
    let mut findings = Vec::new();
    let mut expect = |inherits: bool, found: String, line: String| {
        if !inherits {
            findings.push(Finding::new(&file.path, found, format!("write `{line}`")));
        }
    };
    for field in PACKAGE_FIELDS {
        expect(
            from_workspace(
                manifest
                    .get("package")
                    .and_then(|package| package.get(field)),
            ),
            format!("`{field}` is not the workspace's"),
            format!("{field}.workspace = true"),
        );
    }
    expect(
        from_workspace(manifest.get("lints")),
        "the lints are not the workspace's".to_owned(),
        "[lints] workspace = true".to_owned(),
    );
    for table in dependency_tables(&manifest) {
        for (name, value) in table {
            expect(
                from_workspace(Some(value)),
                format!("`{name}` is not the workspace's"),
                format!("{name}.workspace = true"),
            );
        }
    }
    findings
}

/// The three tables, for all targets and for single ones.
fn dependency_tables(manifest: &Table) -> Vec<&Table> {
    let targets = manifest.get("target").and_then(Value::as_table);
    let of_targets = targets
        .into_iter()
        .flat_map(Table::values)
        .filter_map(Value::as_table);
    std::iter::once(manifest)
        .chain(of_targets)
        .flat_map(|table| DEPENDENCY_TABLES.iter().filter_map(|name| table.get(*name)))
        .filter_map(Value::as_table)
        .collect()
}

fn from_workspace(value: Option<&Value>) -> bool {
    value
        .and_then(|value| value.get("workspace"))
        .and_then(Value::as_bool)
        .unwrap_or(false)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lints::files::tests::files;
    use crate::workspace::tests::sketch;

    const GOOD: &str = "[package]
name = \"a\"
version.workspace = true
edition.workspace = true
rust-version.workspace = true
license.workspace = true
publish.workspace = true
[dependencies]
units.workspace = true
toml = { workspace = true, features = [\"x\"] }
[lints]
workspace = true
";

    fn check(from: &str, to: &str, expect: &[&str]) {
        let manifest = GOOD.replace(from, to);
        assert!(
            from.is_empty() || manifest != GOOD,
            "`{from}` is not in the sample"
        );
        let findings = inherit(&sketch("a"), &files(&[("crates/a/Cargo.toml", &manifest)]));
        let advice: Vec<_> = findings.into_iter().map(|finding| finding.advice).collect();
        assert_eq!(advice, expect, "{manifest}");
    }

    #[test]
    fn inheritance() {
        check("", "", &[]);
        check(
            "version.workspace = true\ne",
            "version = \"1.0.0\"\ne",
            &["write `version.workspace = true`"],
        );
        check(
            "publish.workspace = true\n",
            "",
            &["write `publish.workspace = true`"],
        );
        check(
            "[lints]\nworkspace = true",
            "",
            &["write `[lints] workspace = true`"],
        );
        check(
            "[lints]\nworkspace = true",
            "[lints]\nworkspace = false",
            &["write `[lints] workspace = true`"],
        );
        check(
            "units.workspace = true",
            "units = \"1\"",
            &["write `units.workspace = true`"],
        );
        check(
            "[lints]",
            "[target.'cfg(unix)'.dev-dependencies]\nx = { path = \"x\" }\n[lints]",
            &["write `x.workspace = true`"],
        );
        check("[package]", "[package", &["correct the manifest"]);
    }
}
