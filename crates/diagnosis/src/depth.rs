//! An order of functions in which those that hang together stand together.

use std::{
    cmp::Reverse,
    collections::{BTreeMap, BTreeSet},
};

use catalogue::{Function, Need, Target};

/// The place of each function in a walk from the one with the longest way down, what it needs before itself.
///
/// What runs along the functions in this order, as the place of an unmodelled fault does, ties the fewest of them together.
pub(crate) fn ranks(functions: &[Function]) -> BTreeMap<&str, usize> {
    let by_id: BTreeMap<&str, &Function> = functions
        .iter()
        .map(|function| (function.id.as_str(), function))
        .collect();
    let mut depths: BTreeMap<&str, usize> = BTreeMap::new();
    for function in bottom_up(functions.iter(), &by_id) {
        let below = needed(function).filter_map(|id| depths.get(id)).max();
        depths.insert(&function.id, below.map_or(0, |below| below + 1));
    }
    let mut from: Vec<&Function> = functions.iter().collect();
    from.sort_by_key(|function| Reverse(depths[function.id.as_str()]));
    let order = bottom_up(from.into_iter(), &by_id).into_iter();
    order
        .enumerate()
        .map(|(rank, function)| (function.id.as_str(), rank))
        .collect()
}

/// The functions that a function needs, in the order of its needs.
fn needed(function: &Function) -> impl DoubleEndedIterator<Item = &str> {
    function.needs.iter().filter_map(|need| match need {
        Need::Target {
            target: Target::Function(id),
            ..
        } => Some(id.as_str()),
        _ => None,
    })
}

/// Each function after those it needs, with an own stack so that long chains do no harm.
fn bottom_up<'f>(
    from: impl DoubleEndedIterator<Item = &'f Function>,
    by_id: &BTreeMap<&str, &'f Function>,
) -> Vec<&'f Function> {
    let mut stack: Vec<(&Function, bool)> = from.rev().map(|one| (one, false)).collect();
    let mut seen = BTreeSet::new();
    let mut order = Vec::new();
    while let Some((function, below_done)) = stack.pop() {
        if below_done {
            order.push(function);
        } else if seen.insert(&function.id) {
            stack.push((function, true));
            let below = needed(function).rev().filter_map(|id| by_id.get(id));
            stack.extend(below.map(|&one| (one, false)));
        }
    }
    order
}

#[cfg(test)]
mod tests {
    use catalogue::{Library, parse_profile};

    use super::ranks;

    #[test]
    fn the_longest_way_comes_first() {
        let text = r#"
            board = { id = "b" }
            function = [
              { id = "lamp" },
              { id = "sound", needs = ["power"] },
              { id = "boot", needs = ["rom", "ram"] },
              { id = "rom", needs = ["power", "run"] },
              { id = "ram", needs = ["run"] },
              { id = "run", needs = ["power"] },
              { id = "power" },
            ]
        "#;
        let profile = parse_profile(text, "b", &Library::default()).expect("a good board");
        let mut order: Vec<_> = ranks(&profile.functions).into_iter().collect();
        order.sort_by_key(|&(_, rank)| rank);
        let order: Vec<&str> = order.into_iter().map(|(id, _)| id).collect();
        let expected = ["power", "run", "rom", "ram", "boot", "sound", "lamp"];
        assert_eq!(order, expected);
    }
}
