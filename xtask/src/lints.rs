//! The rules of the repository itself, each a function from the workspace and its files to what breaks the rule.

mod arrows;
mod code_map;
mod dependencies;
mod files;
mod licences;
mod manifests;
mod rust_text;
mod sources;
mod spdx;
mod texts;

use std::fmt;

use self::files::Files;
use crate::shell::Tally;
use crate::workspace::Workspace;

/// Something that breaks a rule.
#[derive(Debug, PartialEq, Eq)]
struct Finding {
    /// File, with the line where there is one.
    place: String,
    /// What is there.
    found: String,
    /// What to do about it.
    advice: String,
}

impl Finding {
    fn new(
        place: impl fmt::Display,
        found: impl fmt::Display,
        advice: impl fmt::Display,
    ) -> Finding {
        Finding {
            place: place.to_string(),
            found: found.to_string(),
            advice: advice.to_string(),
        }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}; {}", self.place, self.found, self.advice)
    }
}

type Lint = fn(&Workspace, &Files) -> Vec<Finding>;

const LINTS: [(&str, Lint); 11] = [
    ("dependency arrows", |workspace, _| {
        arrows::direction(workspace)
    }),
    ("outside crates kept at the edge", |workspace, _| {
        arrows::outside(workspace)
    }),
    ("code map", code_map::names_the_crates),
    ("module docs", |_, files| sources::module_docs(files)),
    ("printing", |_, files| sources::printing(files)),
    ("ignored tests", |_, files| sources::ignored_tests(files)),
    ("licences", |workspace, _| licences::allowed(workspace)),
    ("unused dependencies", dependencies::unused),
    ("manifests inherit", manifests::inherit),
    ("data files", |_, files| texts::data_files(files)),
    ("absolute paths", |_, files| texts::absolute_paths(files)),
];

/// Runs every lint, prints what it finds, and counts each lint as one check.
pub(crate) fn run(workspace: &Workspace) -> Tally {
    let files = match Files::of(&workspace.root) {
        Ok(files) => files,
        Err(error) => {
            println!("error: {error:#}");
            return Tally::one(false);
        }
    };
    let mut tally = Tally::default();
    for (name, lint) in LINTS {
        let findings = lint(workspace, &files);
        match findings.len() {
            0 => println!("{name}: ok"),
            count => println!("{name}: {count} found"),
        }
        for finding in &findings {
            println!("    {finding}");
        }
        tally += Tally::one(findings.is_empty());
    }
    tally
}
