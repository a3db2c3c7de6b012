//! Every package that the program is built from has a licence that the project may pass on.

use super::Finding;
use super::spdx;
use crate::workspace::{Package, Workspace};

const PERMISSIVE: [&str; 11] = [
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Allowed for libraries that are used as their authors published them.
const UNMODIFIED_ONLY: &str = "MPL-2.0";

/// Exceptions that only permit more than the licence they stand with.
const EXCEPTIONS: [&str; 1] = ["LLVM-exception"];

/// Reads the licence of every package in the dependency graph, for every platform.
pub(crate) fn allowed(workspace: &Workspace) -> Vec<Finding> {
    workspace
        .packages
        .values()
        .filter_map(|package| {
            let problem = problem(package)?;
            Some(Finding::new(
                format!("{} {}", package.name, package.version),
                problem,
                "use another library, or one that may be passed on under the list in xtask/src/lints/licences.rs",
            ))
        })
        .collect()
}

fn problem(package: &Package) -> Option<String> {
    let Some(licence) = &package.license else {
        return Some("no licence expression".to_owned());
    };
    let published = package
        .source
        .as_ref()
        .is_some_and(|source| source.starts_with("registry+"));
    let may = |id: &str, exception: Option<&str>| {
        (PERMISSIVE.contains(&id) || (id == UNMODIFIED_ONLY && published))
            && exception.is_none_or(|exception| EXCEPTIONS.contains(&exception))
    };
    match spdx::parse(licence) {
        Ok(expression) if expression.is_met(&may) => None,
        Ok(_) => Some(format!("the licence `{licence}` is not on the list")),
        Err(error) => Some(format!("the licence `{licence}` cannot be read: {error}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::workspace::tests::sketch;

    fn check(name: &str, licence: Option<&str>, expect: &[&str]) {
        let mut workspace = sketch(name);
        for package in workspace.packages.values_mut() {
            package.license = licence.map(str::to_owned);
        }
        let found: Vec<_> = allowed(&workspace)
            .into_iter()
            .map(|finding| finding.found)
            .collect();
        assert_eq!(found, expect, "{licence:?}");
    }

    #[test]
    fn licences() {
        check("*lib", Some("MIT OR Apache-2.0"), &[]);
        check("*lib", Some("MIT OR Apache-2.0 OR LGPL-2.1-or-later"), &[]);
        check("*lib", Some("(MIT OR Apache-2.0) AND Unicode-3.0"), &[]);
        check("*lib", Some("Apache-2.0 WITH LLVM-exception"), &[]);
        check("*lib", Some("MPL-2.0"), &[]);
        check(
            "own",
            Some("MPL-2.0"),
            &["the licence `MPL-2.0` is not on the list"],
        );
        check(
            "*lib",
            Some("GPL-3.0-only"),
            &["the licence `GPL-3.0-only` is not on the list"],
        );
        check(
            "*lib",
            Some("MIT AND LGPL-2.1-only"),
            &["the licence `MIT AND LGPL-2.1-only` is not on the list"],
        );
        check(
            "*lib",
            Some("MIT WITH Some-exception"),
            &["the licence `MIT WITH Some-exception` is not on the list"],
        );
        check(
            "*lib",
            Some("MIT,ISC"),
            &["the licence `MIT,ISC` cannot be read: expected a licence, found `MIT,ISC`"],
        );
        check("*lib", None, &["no licence expression"]);
    }
}
