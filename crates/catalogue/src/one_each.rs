//! Functions and checks that stand for one each of several parts, such as the bits of a memory.

use crate::fields::{At, Fields};
use crate::problem::Problems;
use crate::range::expand_range;
use crate::raw::{RawCheck, RawFunction, RawNeed, RawTells};
use crate::read::read_function;
use crate::read_check::read_check;

/// Reads `[[function]]`; `each` gives several.
pub(crate) fn read_functions(
    fields: &mut Fields<'_>,
    problems: &mut Problems<'_>,
) -> Option<Vec<RawFunction>> {
    let parts = read_each(fields, problems);
    let function = read_function(fields, problems)?;
    Some(one_each(&parts, function, |function, n, fill| {
        function.id.value.push_str(n);
        function.title.iter_mut().for_each(fill);
        for need in &mut function.needs {
            let (RawNeed::Name(name) | RawNeed::Mode(name, _) | RawNeed::Target(name, _)) = need;
            fill(&mut name.value);
        }
    }))
}

/// Reads `[[check]]`; `each` gives several.
pub(crate) fn read_checks(
    fields: &mut Fields<'_>,
    problems: &mut Problems<'_>,
) -> Option<Vec<RawCheck>> {
    let parts = read_each(fields, problems);
    let check = read_check(fields, problems)?;
    Some(one_each(&parts, check, |check, n, fill| {
        let own = &mut check.check;
        check.id.value.push_str(n);
        own.id.clone_from(&check.id.value);
        fill(&mut own.title);
        fill(&mut own.how);
        own.caution.iter_mut().for_each(fill);
        own.aliases.iter_mut().for_each(fill);
        for name in check.at.iter_mut().chain(&mut check.requires) {
            fill(&mut name.value);
        }
        for harm in &mut check.harms {
            fill(&mut harm.when.value);
            fill(&mut harm.mode.value);
        }
        match &mut check.tells {
            Some(RawTells::Target(name)) => fill(&mut name.value),
            Some(RawTells::Rows(rows, _)) => {
                let fails = rows.iter_mut().flat_map(|row| &mut row.fails);
                fails.for_each(|name| fill(&mut name.value));
            }
            None => {}
        }
    }))
}

/// The parts that `each` names.
fn read_each(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Vec<String> {
    let members = |name: At<String>| expand_range(&name.value).unwrap_or(vec![name.value]);
    let names = fields.texts("each", problems);
    names.into_iter().flat_map(members).collect()
}

/// What was read, or one of it for each part: `{part}` is its reference, `{n}` its number from 0, which the id ends in.
fn one_each<T: Clone>(
    parts: &[String],
    read: T,
    fill_in: impl Fn(&mut T, &str, &dyn Fn(&mut String)),
) -> Vec<T> {
    if parts.is_empty() {
        return vec![read];
    }
    let numbered = parts.iter().enumerate().map(|(n, part)| {
        let mut one = read.clone();
        let n = n.to_string();
        let fill = |text: &mut String| *text = text.replace("{part}", part).replace("{n}", &n);
        fill_in(&mut one, &n, &fill);
        one
    });
    numbered.collect()
}
