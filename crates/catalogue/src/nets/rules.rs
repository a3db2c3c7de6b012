//! Reads `rules/nets.toml`.

use std::sync::OnceLock;

use crate::built_in::NETS;
use crate::problem::Problem;
use crate::read::each;
use crate::rules::read_file;

/// What nets tell.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct NetRules {
    /// Chance that a dead driver holds a shared line.
    pub(super) jam: f64,
    /// Places to probe, the easiest first.
    pub(super) probes: Vec<ProbeRule>,
}

/// One kind of place to probe.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ProbeRule {
    /// Letters of references; `*` is any.
    pub(super) letters: Vec<String>,
    /// Only corner pins.
    pub(super) corner: bool,
    pub(super) title: String,
}

/// The rules that come with the program.
pub(super) fn net_rules() -> &'static NetRules {
    static RULES: OnceLock<NetRules> = OnceLock::new();
    RULES.get_or_init(|| {
        let read = read(NETS, "rules/nets.toml");
        debug_assert_eq!(read.as_ref().err(), None, "the rules are read by a test");
        read.unwrap_or_default()
    })
}

fn read(text: &str, file: &str) -> Result<NetRules, Vec<Problem>> {
    read_file(
        text,
        file,
        "a table of rules for nets",
        |fields, problems| {
            let mut rules = NetRules::default();
            if let Some(mut jam) = fields
                .need("jam", problems)
                .and_then(|item| item.fields("`jam`", problems))
            {
                rules.jam = jam.chance("chance", problems).unwrap_or(0.0);
                jam.finish(problems);
            }
            rules.probes = each(
                fields,
                "probe",
                "a place to probe",
                problems,
                |row, problems| {
                    let letters = row.text("letters", problems)?.value;
                    Some(ProbeRule {
                        letters: letters.split_whitespace().map(str::to_owned).collect(),
                        corner: row.flag("corner", problems).unwrap_or(false),
                        title: row.text("title", problems)?.value,
                    })
                },
            );
            rules
        },
    )
}
