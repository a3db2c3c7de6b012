//! What only the whole profile shows: loops among functions.

use std::collections::BTreeMap;

use crate::problem::Problems;
use crate::profile::{Function, Need, Profile, Target};
use crate::raw::RawFunction;
use crate::resolve::loop_words;

/// Checks the finished profile.
pub(crate) fn check_whole(profile: &Profile, written: &[RawFunction], problems: &mut Problems<'_>) {
    if let Some(names) = find_loop(&profile.functions) {
        let span = written
            .iter()
            .find(|function| names.contains(&function.id.value.as_str()))
            .map_or(0..0, |function| function.id.span.clone());
        let hint = "cut it by two functions, such as `cpu-could-run` and `cpu-runs`".to_owned();
        let found = format!("the loop {}", loop_words(&names));
        problems.add_with(
            &span,
            "functions that do not need themselves",
            found,
            Some(hint),
        );
    }
}

/// A loop among functions, its first name repeated at the end.
pub(crate) fn find_loop(functions: &[Function]) -> Option<Vec<&str>> {
    let by_id: BTreeMap<&str, usize> = functions
        .iter()
        .enumerate()
        .map(|(index, function)| (function.id.as_str(), index))
        .collect();
    let needs: Vec<Vec<usize>> = functions
        .iter()
        .map(|function| needed(function, &by_id))
        .collect();
    let mut done = vec![false; functions.len()];
    for start in 0..functions.len() {
        if let Some(path) = walk(start, &needs, &mut done) {
            return Some(
                path.into_iter()
                    .map(|index| functions[index].id.as_str())
                    .collect(),
            );
        }
    }
    None
}

fn needed(function: &Function, by_id: &BTreeMap<&str, usize>) -> Vec<usize> {
    let target = |need: &Need| match need {
        Need::Target {
            target: Target::Function(id),
            ..
        } => by_id.get(id.as_str()).copied(),
        _ => None,
    };
    function.needs.iter().filter_map(target).collect()
}

/// Depth first from one function, with an own stack so that long chains do no harm.
fn walk(start: usize, needs: &[Vec<usize>], done: &mut [bool]) -> Option<Vec<usize>> {
    let mut path: Vec<(usize, usize)> = vec![(start, 0)];
    let mut on_path = vec![false; needs.len()];
    on_path[start] = true;
    while let Some((at, next)) = path.last_mut() {
        let at = *at;
        let Some(&to) = needs[at].get(*next).filter(|_| !done[at]) else {
            done[at] = true;
            on_path[at] = false;
            path.pop();
            continue;
        };
        *next += 1;
        if on_path[to] {
            let first = path.iter().position(|&(index, _)| index == to).unwrap_or(0);
            return Some(
                path[first..]
                    .iter()
                    .map(|&(index, _)| index)
                    .chain([to])
                    .collect(),
            );
        }
        if !done[to] {
            on_path[to] = true;
            path.push((to, 0));
        }
    }
    None
}
