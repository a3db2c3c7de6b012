//! Rules for every Rust file.

use super::Finding;
use super::files::Files;
use super::rust_text::{code_only, lines_with};

const PRINTING: [&str; 5] = ["println!", "print!", "eprintln!", "eprint!", "dbg!"];

/// The one file of the product that prints.
const PRINTER: &str = "crates/boardwright/src/printer.rs";

/// The first line of every file is a module doc.
pub(crate) fn module_docs(files: &Files) -> Vec<Finding> {
    files
        .rust()
        .filter(|file| {
            let first = file.source().lines().next().unwrap_or_default();
            first
                .strip_prefix("//! ")
                .is_none_or(|text| text.trim().is_empty())
        })
        .map(|file| {
            Finding::new(
                format!("{}:1", file.path),
                "no module doc in the first line",
                "begin the file with `//! ` and what it is for",
            )
        })
        .collect()
}

/// Nothing prints but the printer, the chores, tests, examples and build scripts.
pub(crate) fn printing(files: &Files) -> Vec<Finding> {
    let mut findings = Vec::new();
    for file in files.rust().filter(|file| !may_print(&file.path)) {
        let code = code_only(file.source());
        for word in PRINTING {
            findings.extend(lines_with(&code, word).map(|line| {
                Finding::new(
                    format!("{}:{line}", file.path),
                    format!("`{word}`"),
                    format!("return the text to the caller; only `{PRINTER}` prints"),
                )
            }));
        }
    }
    findings
}

/// No test is put aside.
pub(crate) fn ignored_tests(files: &Files) -> Vec<Finding> {
    let mut findings = Vec::new();
    for file in files.rust() {
        findings.extend(
            lines_with(&code_only(file.source()), "#[ignore").map(|line| {
                Finding::new(
                    format!("{}:{line}", file.path),
                    "a test that does not run",
                    "let it run, or delete it",
                )
            }),
        );
    }
    findings
}

fn may_print(path: &str) -> bool {
    let mut folders = path.split('/').skip(2);
    path == PRINTER
        || path.starts_with("xtask/")
        || path.ends_with("/build.rs")
        || folders
            .next()
            .is_some_and(|folder| ["tests", "benches", "examples"].contains(&folder))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lints::files::tests::files;

    fn check(lint: fn(&Files) -> Vec<Finding>, path: &str, text: &str, expect: &[&str]) {
        let found: Vec<_> = lint(&files(&[(path, text)]))
            .into_iter()
            .map(|f| f.place)
            .collect();
        assert_eq!(found, expect, "{path}: {text}");
    }

    #[test]
    fn first_lines() {
        check(
            module_docs,
            "crates/a/src/lib.rs",
            "//! What it is for.\nfn f() {}",
            &[],
        );
        check(
            module_docs,
            "crates/a/src/lib.rs",
            "fn f() {}",
            &["crates/a/src/lib.rs:1"],
        );
        check(
            module_docs,
            "crates/a/src/lib.rs",
            "//!\nfn f() {}",
            &["crates/a/src/lib.rs:1"],
        );
        check(
            module_docs,
            "crates/a/src/lib.rs",
            "\n//! Late.",
            &["crates/a/src/lib.rs:1"],
        );
        check(
            module_docs,
            "crates/a/src/lib.rs",
            "",
            &["crates/a/src/lib.rs:1"],
        );
        check(module_docs, "README.md", "", &[]);
    }

    #[test]
    fn who_prints() {
        let code = "fn f() {\n    println!(\"x\");\n}";
        check(
            printing,
            "crates/a/src/lib.rs",
            code,
            &["crates/a/src/lib.rs:2"],
        );
        check(
            printing,
            "crates/a/src/tests/b.rs",
            code,
            &["crates/a/src/tests/b.rs:2"],
        );
        for path in [
            PRINTER,
            "xtask/src/main.rs",
            "crates/a/tests/b.rs",
            "crates/a/examples/b.rs",
            "crates/a/build.rs",
        ] {
            check(printing, path, code, &[]);
        }
        check(
            printing,
            "crates/a/src/lib.rs",
            "// println!(1)\nlet s = \"dbg!\";",
            &[],
        );
        check(
            printing,
            "crates/a/src/lib.rs",
            "my_println!(1); print(2)",
            &[],
        );
        check(
            printing,
            "crates/a/src/lib.rs",
            "dbg!(1)",
            &["crates/a/src/lib.rs:1"],
        );
    }

    #[test]
    fn tests_run() {
        check(
            ignored_tests,
            "crates/a/src/lib.rs",
            "#[test]\nfn f() {}",
            &[],
        );
        check(
            ignored_tests,
            "crates/a/src/lib.rs",
            "#[ignore]\nfn f() {}",
            &["crates/a/src/lib.rs:1"],
        );
        check(
            ignored_tests,
            "crates/a/tests/b.rs",
            "\n#[ignore = \"slow\"]",
            &["crates/a/tests/b.rs:2"],
        );
        check(ignored_tests, "crates/a/src/lib.rs", "// #[ignore]", &[]);
    }
}
