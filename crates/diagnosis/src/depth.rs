//! An order of functions in which those that hang together stand together.

use std::cmp::Reverse;

use crate::wiring::{Needed, Wiring};

/// The place of each function in a walk from the one with the longest way down, what it needs before itself.
///
/// What runs along the functions in this order, as the place of an unmodelled fault does, ties the fewest of them together.
pub(crate) fn ranks(wiring: &Wiring) -> Vec<usize> {
    let count = wiring.profile.functions.len();
    let mut depths = vec![0; count];
    for function in bottom_up(0..count, wiring) {
        let below = needed(wiring, function).map(|below| depths[below]).max();
        depths[function] = below.map_or(0, |below| below + 1);
    }
    let mut from: Vec<usize> = (0..count).collect();
    from.sort_by_key(|&function| Reverse(depths[function]));
    let mut ranks = vec![0; count];
    let order = bottom_up(from.into_iter(), wiring).into_iter();
    for (rank, function) in order.enumerate() {
        ranks[function] = rank;
    }
    ranks
}

/// The functions that a function needs, in the order of its needs.
fn needed(wiring: &Wiring, function: usize) -> impl DoubleEndedIterator<Item = usize> {
    let functions = wiring.profile.functions.len();
    let needs = wiring.needs(function).iter();
    needs.filter_map(move |need| match *need {
        Needed::Target(target, _) => Some(target as usize).filter(|&target| target < functions),
        Needed::Part(_) => None,
    })
}

/// Each function after those it needs, with an own stack so that long chains do no harm.
fn bottom_up(from: impl DoubleEndedIterator<Item = usize>, wiring: &Wiring) -> Vec<usize> {
    let mut stack: Vec<(usize, bool)> = from.rev().map(|one| (one, false)).collect();
    let mut seen = vec![false; stack.len()];
    let mut order = Vec::with_capacity(stack.len());
    while let Some((function, below_done)) = stack.pop() {
        if below_done {
            order.push(function);
        } else if !std::mem::replace(&mut seen[function], true) {
            stack.push((function, true));
            stack.extend(needed(wiring, function).rev().map(|one| (one, false)));
        }
    }
    order
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use catalogue::{Library, parse_profile};

    use super::ranks;
    use crate::wiring::Wiring;

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
        let ids = profile.functions.iter().map(|function| function.id.clone());
        let ids: Vec<String> = ids.collect();
        let mut order: Vec<_> = ranks(&Wiring::of(Arc::new(profile)))
            .into_iter()
            .zip(ids)
            .collect();
        order.sort();
        let order: Vec<String> = order.into_iter().map(|(_, id)| id).collect();
        let expected = ["power", "run", "rom", "ram", "boot", "sound", "lamp"];
        assert_eq!(order, expected);
    }
}
