//! Every declared dependency is used by the crate that declares it.

use super::Finding;
use super::files::{File, Files};
use super::rust_text::{code_only, has_word};
use crate::workspace::{Kind, Workspace};

/// Looks for each dependency's crate name in the sources it is declared for.
pub(crate) fn unused(workspace: &Workspace, files: &Files) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (folder, package) in workspace.members() {
        let sources: Vec<(&str, String)> = files
            .below(folder, ".rs")
            .flat_map(|file| {
                let own = &file.path[folder.len() + 1..];
                let taken_in = taken_in(file, files).map(code_only);
                std::iter::once(code_only(file.source()))
                    .chain(taken_in)
                    .map(move |code| (own, code))
            })
            .collect();
        let used = |name: &str, kind: Kind| {
            sources
                .iter()
                .any(|(path, code)| is_seen(path, kind) && has_word(code, name))
        };
        for declared in &package.declared {
            if used(&declared.crate_name, declared.kind) {
                continue;
            }
            let in_tests = declared.kind == Kind::Normal && used(&declared.crate_name, Kind::Dev);
            findings.push(Finding::new(
                format!("{folder}/Cargo.toml"),
                format!("`{}` is not used", declared.package),
                match in_tests {
                    true => "only tests name it; move it to [dev-dependencies]",
                    false => "delete the line",
                },
            ));
        }
    }
    findings
}

/// Sources of other crates that a file takes in by `#[path = "…"]`: they see this crate's dependencies.
fn taken_in<'a>(file: &'a File, files: &'a Files) -> impl Iterator<Item = &'a str> {
    let paths = file
        .source()
        .lines()
        .filter_map(|line| line.trim().strip_prefix("#[path = \"")?.strip_suffix("\"]"));
    paths.filter_map(|path| {
        let mut at: Vec<&str> = file.path.split('/').collect();
        at.pop();
        for step in path.split('/') {
            match step {
                ".." => drop(at.pop()),
                step => at.push(step),
            }
        }
        Some(files.get(&at.join("/"))?.source())
    })
}

/// Whether a file of a crate can see dependencies of a kind.
fn is_seen(path: &str, kind: Kind) -> bool {
    match kind {
        Kind::Normal => path.starts_with("src/"),
        Kind::Dev => path != "build.rs",
        Kind::Build => path == "build.rs",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lints::files::tests::files;
    use crate::workspace::tests::sketch;

    fn check(kind: Kind, path: &str, code: &str, expect: &[&str]) {
        let mut workspace = sketch("a -> toml-parser\n*toml-parser");
        for package in workspace.packages.values_mut() {
            package
                .declared
                .iter_mut()
                .for_each(|declared| declared.kind = kind);
        }
        let findings = unused(&workspace, &files(&[(path, code)]));
        let found: Vec<_> = findings.into_iter().map(|finding| finding.advice).collect();
        assert_eq!(found, expect, "{path}: {code}");
    }

    #[test]
    fn names_in_a_file_taken_in() {
        let workspace = sketch("a -> toml-parser\n*toml-parser");
        let files = files(&[
            (
                "crates/a/src/lib.rs",
                "#[path = \"../../b/src/x.rs\"]\nmod x;",
            ),
            ("crates/b/src/x.rs", "use toml_parser::Source;"),
        ]);
        assert!(unused(&workspace, &files).is_empty());
    }

    #[test]
    fn names_in_the_sources() {
        let code = "use toml_parser::Source;";
        let delete: &[&str] = &["delete the line"];
        check(Kind::Normal, "crates/a/src/lib.rs", code, &[]);
        check(
            Kind::Normal,
            "crates/a/src/lib.rs",
            "// toml_parser",
            delete,
        );
        check(
            Kind::Normal,
            "crates/a/src/lib.rs",
            "use toml_parser2;",
            delete,
        );
        check(Kind::Normal, "crates/b/src/lib.rs", code, delete);
        check(
            Kind::Normal,
            "crates/a/tests/t.rs",
            code,
            &["only tests name it; move it to [dev-dependencies]"],
        );
        check(Kind::Dev, "crates/a/src/lib.rs", code, &[]);
        check(Kind::Dev, "crates/a/tests/t.rs", code, &[]);
        check(Kind::Dev, "crates/a/build.rs", code, delete);
        check(Kind::Build, "crates/a/build.rs", code, &[]);
        check(Kind::Build, "crates/a/src/lib.rs", code, delete);
    }
}
